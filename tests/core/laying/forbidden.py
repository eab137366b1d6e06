"""What geometry alone forbids a field, worked out from its outline and flow lines.

Nothing here knows how the solver lays: each check builds what exact courses would do, so that an
excuse for a missed bound is proved for the very shape it is given for.
"""

from __future__ import annotations

import numpy as np
import shapely
from measures import Array, quarter_deg
from shapely import MultiPolygon, Polygon

from core.laying import Setting


def turn_on_offsets_deg(s: Setting) -> float:
    """Return the 80th percentile of the turn from piece to piece on exact courses.

    They run parallel to the border at half a pitch, one and a half and so on (a parallel of a
    curve of curvature k at distance d has k / (1 - k d)), cut into a whole number of pieces each.
    """
    return float(np.percentile(joints_on_offsets(s)[1], 80))


def joints_on_offsets(s: Setting) -> tuple[Array, Array]:
    """Return the joints of exact courses, (n, 2) mm, and how much the course turns at each, deg."""
    found = [_joints(ring, s.pitch_mm) for ring in _courses(s)]
    return np.concatenate([xy for xy, _ in found]), np.concatenate([turn for _, turn in found])


def courses_turn(s: Setting) -> bool:
    """Say whether exact courses along the border turn more than 10 degrees at a fifth of joints."""
    return turn_on_offsets_deg(s) > 10.0


def few_pieces(s: Setting) -> bool:
    """Say whether there is room for less than ten pieces."""
    return s.outline.area < 10 * s.pitch_mm**2


def line_bends_tightly(s: Setting) -> bool:
    """Say whether a flow line has a radius below two pitches, where a piece spans 28 degrees."""
    return any(_least_radius(line, s.pitch_mm) < 2 * s.pitch_mm for line in s.flow)


def line_turns_back(s: Setting) -> bool:
    """Say whether a flow line has a corner of more than 90 degrees, inside the field.

    Beside such a corner pieces a pitch apart are asked for directions 45 degrees apart or more.
    """
    for line in s.flow:
        c = shapely.get_coordinates(line)
        d = np.diff(c, axis=0)
        inner = (d[1:] * d[:-1]).sum(1) < 0
        if (inner & shapely.contains_xy(s.outline, c[1:-1])).any():
            return True
    return False


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


def _least_radius(line: shapely.LineString, pitch: float) -> float:
    """Return the least radius of circles through three points of a line a pitch apart."""
    at = np.arange(0.0, line.length, pitch / 4)
    p = [
        shapely.get_coordinates(shapely.line_interpolate_point(line, at[4:-4] + side * pitch))
        for side in (-1, 0, 1)
    ]
    if not len(p[0]):
        return float("inf")
    a, b, c = (np.hypot(*(p[i] - p[j]).T) for i, j in ((0, 1), (1, 2), (0, 2)))
    area = np.array([Polygon(q).area for q in np.stack(p, axis=1)])
    return float((a * b * c / np.maximum(4 * area, 1e-12)).min())
