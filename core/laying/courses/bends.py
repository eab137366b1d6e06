"""Shorter pieces where courses bend, so that they turn little from each piece to the next.

A course of radius r turns by length / r from piece to piece, so a bend asks for short pieces. How
much courses turn is seen on pieces that are laid already. Only so many are shortened as it takes
for four joints of five to keep the limit: the tightest bends are left, since no piece is short
enough for them, and where shortening would show in the sizes nothing is asked for.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.laying.field.grid import Array
from core.laying.pieces.axis import axis_rad, course_rad, quarter_rad
from core.quality import UNEVEN_LENGTHS

SOUGHT_DEG = (9.6, 9.0)  # turn from piece to piece that is sought, one after the other
PLAIN = (1.0, 0.96, 0.92, 0.88)  # pitches; how long the other pieces are, the longest that will do
LEFT = 0.17  # share of joints that may turn more
NEARLY = 1.05  # bends so nearly as tight as one that is shortened are shortened too
EVENINGS = 3  # times turns are averaged with those beside: single pieces lie a little off it
SHORT = 0.8  # pitches below which pieces would on the whole be another tessera


@dataclass(frozen=True, slots=True)
class Bends:
    """Places where pieces meet in their courses, (n, 2) mm, and the lengths wanted there, (n,).

    Lengths are in pitches.
    """

    xy: Array
    length: Array

    def at(self, xy: Array) -> Array:
        """Return the length wanted at points (m, 2), in pitches, shape (m,)."""
        out: Array = self.length[cKDTree(self.xy).query(xy)[1]]
        return out


def wanted_lengths(
    polygons: NDArray[np.object_],
    course: NDArray[np.int64],
    pitch: Array | float,
    plain: float,
    sought: float,
    before: Bends | None = None,
) -> Bends | None:
    """Return how long pieces should be for courses to keep the limit; None where that cannot be.

    Parameters
    ----------
    polygons, course : ndarray (n,)
        Pieces in order along their courses.
    pitch : float or ndarray (n,)
        Of all, or at each.
    plain : float
        How long pieces are where nothing is asked, in pitches.
    sought : float
        Turn from piece to piece that is sought, radians.
    before : Bends, optional
        The lengths that were wanted of them.
    """
    left, turn = joint_turns(polygons, course, pitch)
    if not len(left):
        return None
    xy = shapely.get_coordinates(shapely.centroid(polygons))
    middle = (xy[left] + xy[left + 1]) / 2
    was = np.ones(len(left)) if before is None else before.at(middle)
    # of a pitch
    bend = _evened(turn, course[left]) / was
    length = _lengths(bend, was, plain, sought)
    number = was / length
    mean = was.sum() / number.sum()
    spread = np.sqrt((number * (length - mean) ** 2).sum() / number.sum()) / mean
    return Bends(middle, length) if mean >= SHORT and spread <= UNEVEN_LENGTHS else None


def _lengths(bend: Array, was: Array, plain: float, sought: float) -> Array:
    """Return the lengths by which four joints of five keep the limit, in pitches.

    Parameters
    ----------
    bend : ndarray (n,)
        How much a course turns in a pitch at each joint, radians.
    was : ndarray (n,)
        How long pieces are there, in pitches.
    """
    order = np.argsort(bend, kind="stable")
    short = np.minimum(sought / np.maximum(bend[order], 1e-9), plain)
    mended = np.cumsum(was[order] / short)  # pieces up to each bend, if all so far are shortened
    left = (was.sum() - np.cumsum(was[order])) / plain  # and beyond it
    k = int(np.argmax(left <= LEFT * (mended + left)))
    length = np.where(bend <= NEARLY * bend[order[k]], sought / np.maximum(bend, 1e-9), plain)
    out: Array = np.minimum(length, plain)
    return out


def _evened(turn: Array, course: NDArray[np.int64]) -> Array:
    """Return turns averaged along their course, those of the joints beside counting most."""
    same = np.r_[False, course[1:] == course[:-1], False]
    for _ in range(EVENINGS):
        before = np.where(same[:-1], np.roll(turn, 1), turn)
        after = np.where(same[1:], np.roll(turn, -1), turn)
        turn = (before + 2 * turn + after) / 4
    return turn


def joint_turns(
    polygons: NDArray[np.object_], course: NDArray[np.int64], pitch: Array | float
) -> tuple[NDArray[np.int64], Array]:
    """Return the pieces that another follows, and the turn from each to the next, radians."""
    xy = shapely.get_coordinates(shapely.centroid(polygons))
    left = np.flatnonzero(course[1:] == course[:-1])
    left = left[np.hypot(*(xy[left + 1] - xy[left]).T) < 2 * np.broadcast_to(pitch, len(xy))[left]]
    angle = axis_rad(polygons, course_rad(xy, left))
    return left, np.nan_to_num(quarter_rad(angle[left] - angle[left + 1]))
