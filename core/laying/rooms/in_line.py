"""Cuts for regulatum: every joint across the courses runs in line from course to course.

The joints are the courses of the direction square to the flow, so that they bend with it, and
whole pieces end at a border where the field has room for them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.laying.exact import SOLVED, angles, quantised, turns
from core.laying.field.grid import Array
from core.laying.field.phase import Phase, carried
from core.laying.rooms.cuts import Ruler, Stretches

LEAST = 0.5  # pitches below which the piece at a course's end is left to its neighbour


def divide_in_line(ruler: Ruler, joints: Phase, pitch: float) -> Stretches:
    """Divide every course where the phase square to it stands at a joint."""
    course = np.searchsorted(ruler.start, ruler.at, side="right") - 1
    t = ruler.tangent(ruler.at, 0.3 * pitch, course)
    psi = carried(joints, ruler.xy, t)
    # turns beyond one a pitch; unwrapped along each course, then counted from the joint (phase pi)
    psi = quantised(psi * turns(-2 * np.pi / pitch * ruler.at), SOLVED)
    rest = angles(psi.imag, psi.real)
    numbers: list[NDArray[np.int64]] = []
    firsts, lasts = [], []
    for k in range(len(ruler.start)):
        mine = slice(*np.searchsorted(course, [k, k + 1]))
        at = ruler.at[mine]
        count = np.unwrap(rest[mine]) / (2 * np.pi) + at / pitch - 0.5
        count = np.maximum.accumulate(count)
        whole = np.arange(np.ceil(count[0]), np.floor(count[-1]) + 1)
        cut = np.interp(whole, count + 1e-9 * np.arange(len(count)), at)
        u = _ends(cut, ruler.start[k], ruler.stop[k], bool(ruler.ring[k]), pitch)
        numbers.append(np.full(len(u) - 1, k))
        firsts.append(u[:-1])
        lasts.append(u[1:])
    which = np.concatenate(numbers)
    piece = np.arange(len(which)) - np.searchsorted(which, which)
    return Stretches(which, piece, np.concatenate(firsts), np.concatenate(lasts))


def _ends(cut: Array, start: float, stop: float, ring: bool, pitch: float) -> Array:
    """Return all cuts of one course, its ends among them, none nearer than a piece allows."""
    cut = cut[np.r_[True, np.diff(cut) > LEAST * pitch]] if len(cut) else cut
    if ring and len(cut) > 2:
        if cut[0] + (stop - start) - cut[-1] < LEAST * pitch:
            cut = cut[:-1]
        closed: Array = np.r_[cut, cut[0] + (stop - start)]
        return closed
    cut = cut[(cut > start + LEAST * pitch) & (cut < stop - LEAST * pitch)]
    out: Array = np.r_[start, cut, stop]
    return out
