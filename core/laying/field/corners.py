"""Corners of an outline, and the ways that its border has on either side of each."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.geometry import cross, unit
from core.laying.exact import dot
from core.laying.field.grid import Array

SEEN = 0.35  # pitches over which the way of a border beside a corner is seen
STRAIGHT = 0.015  # pitches that a border may stray without having a corner
TURN = 0.9  # cosine of the least turn that is a corner


def corners_of(part: Polygon, pitch: float, inward: bool) -> tuple[Array, Array]:
    """Return where a border turns inwards, or where outwards.

    Returns
    -------
    places : ndarray (n, 2)
        mm, in order round each ring, the field on the left.
    ways : ndarray (n, 2, 2)
        The unit ways back and on along the border from each.
    """
    places, ways = [np.empty((0, 2))], [np.empty((0, 2, 2))]
    for ring in shapely.get_rings(shapely.orient_polygons(part)):
        plain = shapely.get_coordinates(shapely.simplify(ring, STRAIGHT * pitch))[:-1]
        beside = np.stack([np.roll(plain, 1, axis=0), np.roll(plain, -1, axis=0)], axis=1)
        c = plain[_turning(unit(beside - plain[:, None]), inward)]
        at = shapely.line_locate_point(ring, shapely.points(c))
        step = min(SEEN * pitch, ring.length / 4)
        there = np.stack([(at - step) % ring.length, (at + step) % ring.length], axis=1)
        far = shapely.get_coordinates(shapely.line_interpolate_point(ring, there))
        way = unit(far.reshape(-1, 2, 2) - c[:, None])
        turned = _turning(way, inward)
        places.append(c[turned])
        ways.append(way[turned])
    return np.concatenate(places), np.concatenate(ways)


def _turning(ways: Array, inward: bool) -> NDArray[np.bool_]:
    """Say where ways back and on (n, 2, 2) make a corner."""
    back, on = ways[:, 0], ways[:, 1]
    area = cross(back, on)
    out: NDArray[np.bool_] = ((area > 0) if inward else (area <= 0)) & (dot(back, on) > -TURN)
    return out
