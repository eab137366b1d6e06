"""Which way pieces lie: a tessera has four sides and looks alike turned by a right angle."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.laying.exact import FINE, angles, dot, quantised
from core.laying.field.grid import Array
from core.laying.pieces.clip import padded

AS_SMALL = 1.001  # of the smallest box: of those that are as small the one along the course tells


def axis_rad(pieces: NDArray[np.object_], along_rad: Array | None = None) -> Array:
    """Return the angle of the smallest box round each convex piece, nan where it has none, (n,).

    All three boxes round an acute triangle are alike, and others nearly are: of those as small it
    is the one that lies best along `along_rad` (n,), the course or the flow; nan is level.
    """
    out = np.full(len(pieces), np.nan)
    sound = np.flatnonzero(
        (shapely.get_type_id(pieces) == 3) & ~shapely.is_empty(pieces) & (shapely.area(pieces) > 0)
    )
    if not len(sound):
        return out
    xy, live = padded(shapely.get_exterior_ring(pieces[sound]))
    last = live.sum(axis=1) - 1
    after = np.roll(xy, -1, axis=1)
    after[np.arange(len(xy)), last] = xy[:, 0]
    side = after - xy
    size = np.hypot(side[..., 0], side[..., 1])
    live &= size > 0
    way = side / np.where(live, size, 1.0)[..., None]
    square = np.stack([-way[..., 1], way[..., 0]], axis=-1)
    room = np.ones(live.shape)
    for axis in (way, square):
        at = dot(xy[:, None, :, :], axis[:, :, None, :])  # of every corner along every side
        room *= at.max(axis=2) - at.min(axis=2)
    room[~live] = np.inf
    as_small = room <= AS_SMALL * room.min(axis=1, keepdims=True)
    angle = angles(way[..., 1], way[..., 0])
    level = np.zeros(len(pieces)) if along_rad is None else np.nan_to_num(along_rad)
    off = quantised(quarter_rad(angle - level[sound, None]), FINE)
    off[~as_small] = np.inf
    out[sound] = angle[np.arange(len(xy)), off.argmin(axis=1)]
    return out


def quarter_rad(angle: Array) -> Array:
    """Return how far angles are from the nearest multiple of a right angle, 0 to pi / 4."""
    out: Array = np.abs((angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)
    return out


def course_rad(xy: Array, left: NDArray[np.int64]) -> Array:
    """Return the angle of the course at pieces with centres (n, 2), nan at those that are alone.

    Parameters
    ----------
    left : ndarray of int
        The pieces that the next one follows in their course.
    """
    step = xy[left + 1] - xy[left]
    run = np.zeros_like(xy)
    np.add.at(run, left, step)
    np.add.at(run, left + 1, step)
    out = angles(run[:, 1], run[:, 0])
    out[~run.any(axis=1)] = np.nan
    return out
