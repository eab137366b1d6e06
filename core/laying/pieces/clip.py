"""Convex pieces as dense arrays of corners, and many straight cuts of them at once."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.laying.exact import dot
from core.laying.field.grid import Array


def padded(rings: NDArray[np.object_]) -> tuple[Array, NDArray[np.bool_]]:
    """Return ring corners as (n, k, 2), anticlockwise by the sign of area, and which are real."""
    xy, index = shapely.get_coordinates(rings, return_index=True)
    count = np.bincount(index) - 1
    start = np.cumsum(count + 1) - count - 1
    k = int(count.max())
    slot = np.arange(k)[None, :]
    live = slot < count[:, None]
    flip = ~shapely.is_ccw(rings)
    pick = np.where(flip[:, None], count[:, None] - 1 - slot, slot)
    pick = start[:, None] + np.where(live, pick, 0)
    return xy[pick], live


def polygons_of(xy: Array, owner: NDArray[np.int64]) -> NDArray[np.object_]:
    """Return polygons of corners (m, 2), those of each owner together and in order, none closed.

    There is one for each owner that has corners, in the order of the owners.
    """
    if not len(owner):
        return np.empty(0, dtype=object)
    new = np.r_[True, owner[1:] != owner[:-1]]
    first = np.flatnonzero(new)
    last = np.r_[first[1:], len(owner)] - 1
    # after each one's last corner its first again
    pick = np.insert(np.arange(len(owner)), last + 1, first)
    ends = np.r_[0, last + 1 + np.arange(1, len(first) + 1)]
    polygons = shapely.from_ragged_array(
        shapely.GeometryType.POLYGON, xy[pick], (ends, np.arange(len(ends)))
    )
    return np.asarray(polygons, dtype=object)


def beyond(
    xy: Array,
    live: NDArray[np.bool_],
    owner: NDArray[np.int64],
    normal: Array,
    offset: Array,
    least: Array,
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return convex pieces cut by half-planes {x : normal . x >= offset}, and whose each is.

    Parameters
    ----------
    xy, live : ndarray (n, k, 2) and (n, k)
        Corners as `padded` returns them.
    owner, normal, offset : ndarray (m,), (m, 2), (m,)
        The cuts, and which piece each is of.
    least : ndarray (n,)
        What is smaller than this is not returned, mm2.
    """
    k = live.shape[1]
    last = live.sum(1) - 1
    after = np.where(np.arange(k) < last[:, None], np.arange(1, k + 1), 0)
    high = dot(xy[owner], normal[:, None]) - offset[:, None]
    there = live[owner]
    onwards = after[owner]
    next_high = np.take_along_axis(high, onwards, 1)
    kept = there & (high >= 0)
    crossed = there & (high * next_high < 0)
    share = high / np.where(crossed, high - next_high, 1.0)
    corner = xy[owner]
    next_corner = np.take_along_axis(corner, onwards[..., None], 1)
    met = corner + share[..., None] * (next_corner - corner)
    # round the piece: each corner, then where the side after it is cut
    points = np.stack([corner, met], axis=2).reshape(len(owner), 2 * k, 2)
    use = np.stack([kept, crossed], axis=2).reshape(len(owner), 2 * k)
    order = np.argsort(~use, axis=1, kind="stable")
    points = np.take_along_axis(points, order[..., None], 1)
    use = np.take_along_axis(use, order, 1)
    points = np.where(use[..., None], points, points[:, :1])
    on = np.roll(points, -1, axis=1)
    area = (points[..., 0] * on[..., 1] - points[..., 1] * on[..., 0]).sum(1) / 2
    good = (use.sum(1) >= 3) & (area > least[owner])
    points, use = points[good], use[good]
    index = np.broadcast_to(np.arange(len(use))[:, None], use.shape)
    return polygons_of(points[use], index[use]), owner[good]
