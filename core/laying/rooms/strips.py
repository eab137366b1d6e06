"""Pieces thinner than a hand would cut are given up, where those beside do better with the room."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray

from core.geometry import box_sides
from core.laying.field.scale import Scale
from core.laying.pieces.shape import bare, blunted, cost, shape_pieces
from core.laying.rooms.cuts import Stretches
from core.laying.rooms.room import Rooms
from core.quality import BARE_ROOM

THIN = 0.45  # tesserae across below which a piece may be given up


def without_strips(
    rooms_of: Callable[[Stretches], Rooms],
    stretches: Stretches,
    scale: Scale,
) -> Rooms:
    """Return the rooms along stretches, and along those alone that keep one.

    Parameters
    ----------
    rooms_of : callable
        Gives the rooms along stretches.
    """
    rooms = rooms_of(stretches)
    ground, owner = rooms.shape, rooms.owner
    strips = np.flatnonzero(_thin(ground, scale))
    # of a piece that reaches into several places only the largest part counts
    whole = np.bincount(owner, shapely.area(ground), len(stretches.course))
    strips = strips[shapely.area(ground[strips]) > whole[owner[strips]] / 2]
    if not len(strips) or len(strips) == len(stretches.course):
        return rooms
    given_up = owner[strips]
    after = rooms_of(_less(stretches, given_up)).shape
    pitch = scale.pitch_of(ground[strips])
    now, then = (_worse(ground[strips], parts, scale) for parts in (ground, after))
    given_up = given_up[(then[0] < now[0]) & (then[1] < now[1] + BARE_ROOM * pitch**2)]
    return rooms_of(_less(stretches, given_up)) if len(given_up) else rooms


def _thin(ground: NDArray[np.object_], scale: Scale) -> NDArray[np.bool_]:
    """Say in which territories a piece is nowhere so wide as a hand would cut it."""
    joint, tessera = scale.joint_mm, scale.pitch_of(ground) - scale.joint_mm
    quarter = shapely.length(ground) / 4
    # of an oblong as large and as long round: most territories need no second look
    wide = quarter - np.sqrt(np.maximum(quarter**2 - shapely.area(ground), 0.0))
    out: NDArray[np.bool_] = wide < THIN * tessera + joint
    some = np.flatnonzero(out)
    pieces = blunted(shape_pieces(ground[some], joint), tessera[some])
    wide = np.hypot(*np.moveaxis(box_sides(pieces), 2, 0)).min(axis=1)
    out[some] = (wide > 0) & (wide < THIN * tessera[some])  # no piece, nothing to give up
    return out


def _less(stretches: Stretches, given_up: NDArray[np.int64]) -> Stretches:
    keep = np.ones(len(stretches.course), bool)
    keep[given_up] = False
    s = stretches
    return Stretches(s.course[keep], s.piece[keep], s.a[keep], s.b[keep])


def _worse(
    near: NDArray[np.object_], ground: NDArray[np.object_], scale: Scale
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return what is wrong with the territories near each place, and what is left bare there."""
    place, which = shapely.STRtree(ground).query(near, predicate="intersects")
    some, at = np.unique(which, return_inverse=True)
    wrong, empty = np.zeros((2, len(near)))
    pitch, joint = scale.pitch_of(ground[some]), scale.joint_mm
    np.add.at(wrong, place, cost(ground[some], pitch, joint)[at])
    np.add.at(empty, place, bare(ground[some], pitch, joint)[at])
    return wrong, empty
