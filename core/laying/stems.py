"""A line one course wide that runs into another stops square against it.

Where the contours of a guilloche cross, one runs through and the other stops. Laid as one, the
courses of both would bend into one another at every crossing, and end there in points.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import LineString, Polygon

from core.laying.exact import PLACE_MM, dot, quantised
from core.laying.field.grid import Array

SLIM = 1.3  # pitches; mean width up to which a field is made of lines one course wide
WIDEST = 2.0  # pitches across that the end of a stem may be, at a slant
SEEN = 0.35  # pitches over which the way of a border beside a corner is seen
STRAIGHT = 0.015  # pitches that a border may stray without having a corner
TURN = 0.9  # cosine of the least turn inwards that is a corner
ON = 0.86  # cosine of the most by which the side that is run into may turn past a stem
SLANT = 0.5  # sine of the least angle between a stem and that side

Corners = tuple[Array, Array]  # places (n, 2) mm, and both ways along the border, (n, 2, 2)


def runs_of(part: Polygon, pitch: float) -> list[Polygon]:
    """Return the lines that a part of a field is made of, itself alone where it is no net of them.

    Each is cut off by the chord between the two corners where it meets the side of another.
    """
    if 2 * part.area > SLIM * pitch * part.length:
        return [part]
    corner, way = _inward(part, pitch)
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


def _inward(part: Polygon, pitch: float) -> Corners:
    """Return the corners where a border turns inwards, and its ways on from each."""
    places, ways = [np.empty((0, 2))], [np.empty((0, 2, 2))]
    for ring in shapely.get_rings(shapely.orient_polygons(part)):
        plain = shapely.get_coordinates(shapely.simplify(ring, STRAIGHT * pitch))[:-1]
        near = _units(np.stack([np.roll(plain, 1, 0) - plain, np.roll(plain, -1, 0) - plain], 1))
        c = plain[_turns_in(near)]
        at = shapely.line_locate_point(ring, shapely.points(c))
        step = min(SEEN * pitch, ring.length / 4)
        there = [
            shapely.get_coordinates(shapely.line_interpolate_point(ring, to % ring.length))
            for to in (at - step, at + step)
        ]
        far = _units(np.stack([t - c for t in there], axis=1))
        turned = _turns_in(far)
        places.append(c[turned])
        ways.append(far[turned])
    return np.concatenate(places), np.concatenate(ways)


def _units(v: Array) -> Array:
    out: Array = v / np.maximum(np.hypot(v[..., 0], v[..., 1]), 1e-12)[..., None]
    return out


def _turns_in(ways: Array) -> NDArray[np.bool_]:
    """Say where the way back and the way on (n, 2, 2) make a corner inwards, the field left."""
    back, on = ways[:, 0], ways[:, 1]
    out: NDArray[np.bool_] = (_cross(back, on) > 0) & (dot(back, on) > -TURN)
    return out


def _cross(a: Array, b: Array) -> Array:
    out: Array = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def _stems(part: Polygon, corner: Array, way: Array, pitch: float) -> list[LineString]:
    """Return the chords across the ends of stems, the shortest first; none share a corner."""
    i, j = cKDTree(corner).query_pairs(WIDEST * pitch, output_type="ndarray").T
    d = corner[j] - corner[i]
    size, e = np.hypot(*d.T), _units(d)
    # at either corner the border of what is run into goes on in line with the chord
    start, end = -dot(way[i], e[:, None]), dot(way[j], e[:, None])
    one, two = start.argmax(1), end.argmax(1)
    k = np.arange(len(i))
    beside = _cross(e, way[i][k, 1 - one]), _cross(e, way[j][k, 1 - two])
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
