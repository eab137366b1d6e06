"""What geometry alone forbids a field, worked out from its outline and flow lines.

Nothing here knows how the solver lays: each check builds what exact courses would do, so that an
excuse for a missed bound is proved for the very shape it is given for.
"""

from __future__ import annotations

import numpy as np
import shapely
from measures import Array, quarter_deg
from shapely import LineString, MultiPolygon, Polygon

from core.laying import Setting

LEAST_COVERAGE = 0.97  # of what whole tesserae with their joints would cover


def joints_on_offsets(s: Setting) -> tuple[Array, Array]:
    """Return the joints of exact courses, (n, 2) mm, and how much the course turns at each, deg.

    They run parallel to the border at half a pitch, one and a half and so on (a parallel of a
    curve of curvature k at distance d has k / (1 - k d)), cut into a whole number of pieces each.
    """
    found = [_joints(ring, s.pitch_mm) for ring in _courses(s)]
    return np.concatenate([xy for xy, _ in found]), np.concatenate([turn for _, turn in found])


def one_piece_falls_short(s: Setting) -> bool:
    """Say whether one piece that fills a field, half a joint from its border, covers too little.

    The room left for it is the outline moved in by half a joint, whatever its shape.
    """
    inner = shapely.buffer(s.outline, -s.laying.joint_mm / 2, join_style="mitre")
    return inner.area < 1.7 * s.laying.tessera_mm**2 and _coverage(inner.area, s) < LEAST_COVERAGE


def a_cake_falls_short(s: Setting) -> bool:
    """Say whether a small disc is covered too little by sectors, and by a ring round a middle.

    No piece may be larger than the tessera by more than a third (common practice), and four of
    five must have four corners: of a sector that leaves two straight sides along the border, of
    a piece of a ring one. Of the rest nothing is asked but to stay inside the circle half a joint
    from the border.
    """
    radius = float(np.sqrt(s.outline.area / np.pi))
    assert shapely.minimum_bounding_radius(s.outline) < 1.01 * radius, "not a disc"
    inner, largest = radius - s.laying.joint_mm / 2, 4 / 3 * s.laying.tessera_mm**2
    middle = float(np.sqrt(largest / np.pi))
    best = 0.0
    for n in range(2, 60):
        bent = np.floor(0.2 * n) / n  # share of pieces that may have more corners
        four, free = (_sectors_mm2(n, sides, inner, s.laying.joint_mm) for sides in (2, 64))
        if four / n <= largest:
            best = max(best, (1 - bent) * four + bent * free)
        bent = np.floor(0.2 * (n + 1)) / n
        plain, free = _inscribed_mm2(n, inner), np.pi * inner**2
        ring = (1 - bent) * plain + bent * free - n * s.laying.joint_mm * max(inner - middle, 0)
        if (ring - largest) / n <= largest:
            best = max(best, ring)
    assert best > 0, "so large a disc is more than one ring"
    return _coverage(best, s) < LEAST_COVERAGE


def _coverage(laid_mm2: float, s: Setting) -> float:
    return laid_mm2 / s.outline.area / (s.laying.tessera_mm / s.pitch_mm) ** 2


def _inscribed_mm2(n: int, radius: float) -> float:
    """Return the area of a regular polygon of n sides in a circle."""
    return n / 2 * radius**2 * float(np.sin(2 * np.pi / n))


def _sectors_mm2(n: int, sides: int, radius: float, joint: float) -> float:
    """Return the area of n even sectors with so many sides along the border, less their joints."""
    way = 2 * np.pi * np.arange(n * sides) / (n * sides)
    whole = Polygon(radius * np.stack([np.cos(way), np.sin(way)], axis=1))
    rays = [
        LineString([(0, 0), 2 * radius * np.array([np.cos(a), np.sin(a)])]) for a in way[::sides]
    ]
    joints = shapely.union_all(shapely.buffer(rays, joint / 2, cap_style="flat"))
    return float((whole - joints).area)


def _courses(s: Setting) -> list[shapely.LinearRing]:
    out = []
    for k in range(1000):
        inner = shapely.buffer(s.outline, -(k + 0.5) * s.pitch_mm, join_style="mitre", quad_segs=16)
        if inner.is_empty:
            break
        for part in (inner if isinstance(inner, MultiPolygon) else MultiPolygon([inner])).geoms:
            out += [part.exterior, *part.interiors]
    return out


def _joints(ring: shapely.LinearRing, pitch: float) -> tuple[Array, Array]:
    n = max(3, round(ring.length / pitch))
    at = shapely.line_interpolate_point(ring, np.arange(n) * ring.length / n)
    xy = shapely.get_coordinates(at)
    step = np.diff(xy, axis=0, append=xy[:1])
    angle = np.arctan2(step[:, 1], step[:, 0])
    return xy, np.abs(quarter_deg(angle - np.roll(angle, 1)))
