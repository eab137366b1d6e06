"""What geometry alone forbids a field, worked out from its outline and flow lines.

Nothing here knows how the solver lays: each check builds what exact courses would do, so that an
excuse for a missed bound is proved for the very shape it is given for.
"""

from __future__ import annotations

import numpy as np
import shapely
from measures import Array, quarter_deg
from shapely import MultiPolygon

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


def _coverage(laid_mm2: float, s: Setting) -> float:
    return laid_mm2 / s.outline.area / (s.laying.tessera_mm / s.pitch_mm) ** 2


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
