"""How much of every pixel each piece covers, exactly.

The edges of the pieces are cut where they cross pixel borders, so that each cut lies in one pixel;
areas and sums over a piece then follow from its cuts alone (Green's theorem), for pieces of any
shape, larger or smaller than a pixel.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.convert import Floats

Ints = NDArray[np.int64]


class Cuts(NamedTuple):
    """Parts of edges: the piece each belongs to, its middle and its signed height, in pixels."""

    owner: Ints
    x: Floats
    y: Floats
    dy: Floats


def cut_at_pixels(ring_px: Floats, owner: Ints, width: int, height: int) -> Cuts:
    """Cut closed rings where they cross the borders of pixels.

    Parameters
    ----------
    ring_px : ndarray, shape (k, 2)
        Corners of all rings, each closed, one ring after the other, in pixels.
    owner : ndarray of int, shape (k,)
        The ring of each corner.
    width, height : int
        Of the picture; outside it only its outer border cuts.
    """
    same = owner[1:] == owner[:-1]
    start, end, owner = ring_px[:-1][same], ring_px[1:][same], owner[:-1][same]
    edges = np.arange(len(start))
    keys = [2.0 * edges, 2.0 * edges + 1]
    for axis, size in ((0, width), (1, height)):
        a, b = start[:, axis], end[:, axis]
        first = np.maximum(np.floor(np.minimum(a, b)) + 1, 0).astype(np.int64)
        last = np.minimum(np.ceil(np.maximum(a, b)) - 1, size).astype(np.int64)
        count = np.maximum(last - first + 1, 0)
        edge = np.repeat(edges, count)
        within = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
        t = (first[edge] + within - a[edge]) / (b[edge] - a[edge])
        keys.append(2.0 * edge + t)
    # One sort orders the cuts of every edge: edge number and share of its length in one key.
    key = np.sort(np.concatenate(keys))
    edge = (key[:-1] / 2).astype(np.int64)
    t0, t1 = key[:-1] - 2 * edge, key[1:] - 2 * edge
    real = (t1 > t0) & (t1 <= 1)
    edge, t0, t1 = edge[real], t0[real], t1[real]
    step = (end - start)[edge]
    x, y = (start[edge] + ((t0 + t1) / 2)[:, None] * step).T
    return Cuts(owner[edge], x, y, (t1 - t0) * step[:, 1])


def painted(
    polygons: NDArray[np.object_],
    light: Floats,
    ground: Floats,
    size_mm: tuple[float, float],
    mm_per_px: float,
) -> Floats:
    """Paint pieces on a ground, every pixel the mean of what lies in it.

    Parameters
    ----------
    polygons : ndarray of Polygon, shape (n,)
        In mm, not overlapping.
    light : ndarray, shape (n, 3)
        Linear light of the pieces.
    ground : ndarray, shape (3,)
        Linear light between the pieces.
    size_mm : tuple of float
        Width and height of what is shown, from the work's upper left corner.

    Returns
    -------
    ndarray, shape (height, width, 3)
        Linear light.
    """
    width = max(1, round(size_mm[0] / mm_per_px))
    height = max(1, round(size_mm[1] / mm_per_px))
    ring_mm, owner = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
    cuts = cut_at_pixels(ring_mm / mm_per_px, owner, width, height)
    on = (cuts.y >= 0) & (cuts.y < height) & (cuts.x < width) & (cuts.dy != 0)
    x, row, owner = np.maximum(cuts.x[on], 0), cuts.y[on].astype(np.int64), cuts.owner[on]
    column = x.astype(np.int64)
    # Rings may run either way round; the sign of its area says which way a piece's does.
    turn = np.sign(np.bincount(cuts.owner, cuts.x * cuts.dy, len(polygons)))
    dy = -cuts.dy[on] * turn[owner]
    inside = x - column
    # A cut covers what is right of it: part of its own pixel, and all of every pixel beyond.
    at = np.concatenate([row * (width + 1) + column, row * (width + 1) + column + 1])
    part = np.concatenate([dy * (1 - inside), dy * inside])
    other = (light - ground)[owner]
    picture = np.empty((height, width, 3))
    for channel in range(3):
        weight = part * np.tile(other[:, channel], 2)
        sums = np.bincount(at, weight, height * (width + 1)).reshape(height, width + 1)
        picture[..., channel] = ground[channel] + np.cumsum(sums, axis=1)[:, :width]
    return picture
