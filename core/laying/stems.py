"""A line one course wide that runs into another stops square against it.

Where the contours of a guilloche cross, one runs through and the other stops. Laid as one, the
courses of both would bend into one another at every crossing, and end there in points.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import cKDTree
from shapely import LineString, Polygon

from core.geometry import cross, unit
from core.laying.exact import PLACE_MM, dot, quantised
from core.laying.field.corners import STRAIGHT, corners_of
from core.laying.field.grid import Array

SLIM = 1.3  # pitches; mean width up to which a field is made of lines one course wide
WIDEST = 2.0  # pitches across that the end of a stem may be, at a slant
ON = 0.86  # cosine of the most by which the side that is run into may turn past a stem
SLANT = 0.5  # sine of the least angle between a stem and that side


def runs_of(part: Polygon, pitch: float) -> list[Polygon]:
    """Return the lines that a part of a field is made of, itself alone where it is no net of them.

    Each is cut off by the chord between the two corners where it meets the side of another.
    """
    if 2 * part.area > SLIM * pitch * part.length:
        return [part]
    corner, way = corners_of(part, pitch, inward=True)
    if len(corner) < 2:
        return [part]
    chords = _stems(part, corner, way, pitch)
    if not chords:
        return [part]
    lines = shapely.node(shapely.geometrycollections([part.boundary, *chords]))
    cells = shapely.get_parts(shapely.polygonize([lines]))
    inside = shapely.contains(part, shapely.point_on_surface(cells))
    # no crumbs where a chord leaves a corner that was drawn with two points
    whole = inside & (shapely.area(cells) > (2 * STRAIGHT * pitch) ** 2)
    runs: list[Polygon] = cells[whole].tolist()
    return runs


def _stems(part: Polygon, corner: Array, way: Array, pitch: float) -> list[LineString]:
    """Return the chords across the ends of stems, the shortest first; none share a corner."""
    i, j = cKDTree(corner).query_pairs(WIDEST * pitch, output_type="ndarray").T
    d = corner[j] - corner[i]
    size, e = np.hypot(*d.T), unit(d)
    # at either corner the border of what is run into goes on in line with the chord
    start, end = -dot(way[i], e[:, None]), dot(way[j], e[:, None])
    one, two = start.argmax(1), end.argmax(1)
    k = np.arange(len(i))
    beside = cross(e, way[i][k, 1 - one]), cross(e, way[j][k, 1 - two])
    stem = (start.max(1) > ON) & (end.max(1) > ON) & (beside[0] * beside[1] > 0)
    stem &= np.minimum(np.abs(beside[0]), np.abs(beside[1])) > SLANT
    out: list[LineString] = []
    used: set[int] = set()
    for n in np.lexsort((j, i, quantised(size, PLACE_MM))).tolist():
        ends = {int(i[n]), int(j[n])}
        chord = LineString(corner[[i[n], j[n]]])
        if not stem[n] or ends & used:
            continue
        if chord.difference(part).length < 2 * STRAIGHT * pitch:
            used |= ends
            out.append(chord)
    return out
