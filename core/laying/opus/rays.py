"""A star: one ray is laid, and turned round the middle for the others.

Laid as one, courses that meet in the middle come out otherwise on every side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from core.geometry import cross
from core.laying.alike import ALIKE
from core.laying.exact import PLACE_MM, angles, quantised, ways
from core.laying.field.grid import Array
from core.laying.measure import quality_of
from core.laying.opus.coursed import lay_courses
from core.laying.spec import Setting
from core.pieces import Pieces, together

LEAST_RAYS = 3


@dataclass(frozen=True, slots=True)
class Star:
    """One ray with its share of the middle, its border outside, and how many there are."""

    sector: Polygon
    border: LineString
    middle: Array  # (2,), mm
    rays: int


def lay_star(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay a star ray by ray, or as one where that keeps more of the limits; see `star_of`."""
    star = star_of(setting)
    assert star is not None
    ray = replace(
        setting,
        outline=MultiPolygon([star.sector]),
        hug=(star.border,),
        share=setting.share / star.rays,
    )
    first = lay_courses(ray, stop)
    whole = together([_turned(first, star, k) for k in range(star.rays)])

    def wrong(pieces: Pieces) -> tuple[int, float]:
        found = quality_of(
            pieces.polygons,
            pieces.course,
            setting.outline.area,
            setting.scale,
        )
        return len(found.missed), sum(found.missed)

    if not wrong(whole)[0]:
        return whole
    other = lay_courses(setting, stop)
    return whole if wrong(whole) <= wrong(other) else other


def star_of(setting: Setting) -> Star | None:
    """Return the star that a field which follows its border is, None where it is none.

    Its rays are alike, and between each two its border turns inwards where it comes nearest to
    the middle.
    """
    parts = setting.outline.geoms
    if not setting.laying.follow_border or setting.hug or len(parts) != 1:
        return None
    (part,) = shapely.orient_polygons(np.array(parts, dtype=object))
    ring = shapely.get_coordinates(part.exterior)[:-1]
    if part.interiors or any(w.intersects(part) for w in setting.flow):
        return None
    middle = shapely.get_coordinates(shapely.centroid(part))[0]
    rays = _rays(ring - middle, ALIKE * setting.laying.joint_mm)
    if rays < LEAST_RAYS:
        return None
    each = len(ring) // rays
    start = int(quantised(np.hypot(*(ring - middle).T), PLACE_MM).argmin())
    before, after = ring[start] - ring[start - 1], ring[(start + 1) % len(ring)] - ring[start]
    if quantised(cross(before, after), PLACE_MM) >= 0:
        return None
    border = np.roll(ring, -start, axis=0)[: each + 1]
    sector = Polygon(np.vstack([middle, border]))
    if not sector.is_valid or not np.isclose(sector.area * rays, part.area, rtol=1e-3):
        return None
    return Star(sector, LineString(border), middle, rays)


def _rays(ring: Array, near: float) -> int:
    """Return how often points about a middle come to lie on themselves in one turn round it."""
    for rays in range(len(ring) // 2, LEAST_RAYS - 1, -1):
        if len(ring) % rays == 0:
            on = np.roll(ring, -(len(ring) // rays), axis=0)
            if (np.hypot(*(_turn(ring, 2 * np.pi / rays) - on).T) <= near).all():
                return rays
    return 0


def _turn(xy: Array, by: float) -> Array:
    c, s = ways(np.array(by))
    return np.stack([c * xy[:, 0] - s * xy[:, 1], s * xy[:, 0] + c * xy[:, 1]], axis=1)


def _turned(pieces: Pieces, star: Star, k: int) -> Pieces:
    """Return the pieces of the first ray as those of another, `k` places on."""
    by = 2 * np.pi * k / star.rays
    polygons = shapely.transform(
        pieces.polygons, lambda xy: _turn(xy - star.middle, by) + star.middle
    )
    way = _turn(ways(pieces.angle_rad), by)
    return replace(pieces, polygons=polygons, angle_rad=angles(way[:, 1], way[:, 0]))
