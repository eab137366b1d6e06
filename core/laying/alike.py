"""Congruent fields: one is laid, and the others are that one moved, turned or mirrored.

A repeat that is laid again each time differs a little each time, since a drawing is only as true
as its rounding; a hand that cuts a repeat copies the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from core.laying.exact import FINE, quantised
from core.laying.field.frame import Frame
from core.laying.field.grid import Array
from core.laying.spec import Setting
from core.pieces import Pieces

ALIKE = 0.03  # of a joint, by which the borders of repeats may differ: less than a hand can see
FELT = 4.0  # pitches beyond a field within which a flow line tells
MOST_POINTS = 4000  # of an outline: one drawn more finely is laid by itself
MOST_MOVES = 16  # ways round that are tried, as many as a rosette of eight has
ON_ITS_WALL = ("circumactum", "classicum")  # what opens upwards or lies level does so on its wall


def first_alike(settings: Sequence[Setting]) -> list[tuple[int, Frame | None]]:
    """Return for each setting the first that it is congruent with, and the move from that.

    It is itself, and None, where there is none before. Only what is laid in the same way, by the
    same seed, is congruent.
    """
    found: list[tuple[int, Frame | None]] = []
    firsts: dict[object, list[int]] = {}
    felt: dict[int, NDArray[np.object_]] = {}
    for k, setting in enumerate(settings):
        alike: tuple[int, Frame | None] = (k, None)
        several = firsts.setdefault(_likely(setting), [])
        for first in several:
            for n in (first, k):
                if n not in felt:
                    felt[n] = _guides(settings[n])
            move = _move(settings[first], setting, felt[first], felt[k])
            if move is not None:
                alike = first, move
                break
        else:
            several.append(k)
        found.append(alike)
    return found


def copied(pieces: Pieces, move: Frame, setting: Setting) -> Pieces:
    """Return pieces of a field moved into one that is congruent with it."""
    return move.pieces(pieces, setting.outline)


def congruent(a: Setting, b: Setting) -> Frame | None:
    """Return the move that carries a field with its lines onto another, None if there is none."""
    return _move(a, b, _guides(a), _guides(b))


def _move(
    a: Setting, b: Setting, lines: NDArray[np.object_], others: NDArray[np.object_]
) -> Frame | None:
    if (a.laying, a.seed, len(a.hug)) != (b.laying, b.seed, len(b.hug)):
        return None
    ring, other = _longest_ring(a.outline), _longest_ring(b.outline)
    if len(ring) != len(other) or not 3 <= len(ring) <= MOST_POINTS:
        return None
    near = ALIKE * a.laying.joint_mm
    if abs(a.outline.length - b.outline.length) > near * len(ring):
        return None
    if _grades(a) != _grades(b):
        return None
    for move in _moves(ring, other):
        if not _keeps_up(a, b, move):
            continue
        outline = shapely.transform(a.outline.boundary, move.out)
        if _same(np.array([outline]), np.array([b.outline.boundary]), near) and _same(
            shapely.transform(lines, move.out), others, near
        ):
            return move
    return None


def _likely(setting: Setting) -> object:
    """Return what congruent fields have in common, for a first sieve."""
    lines = len(setting.flow), _grades(setting)
    return setting.laying, setting.seed, lines, len(_longest_ring(setting.outline))


def _grades(setting: Setting) -> tuple[tuple[float, float], ...]:
    return tuple(sorted((s.tessera_mm, s.grade) for s in setting.sizes))


def _longest_ring(outline: MultiPolygon) -> Array:
    rings = shapely.get_rings(shapely.get_parts(outline))
    if not len(rings):
        return np.empty((0, 2))
    length = np.round(shapely.length(rings), 3)
    out: Array = shapely.get_coordinates(rings[int(length.argmax())])[:-1]
    return out


def _guides(setting: Setting) -> NDArray[np.object_]:
    """Return the flow lines and the hugged borders as far as they are felt, and lines of sizes."""
    felt = shapely.buffer(setting.outline, FELT * setting.pitch_mm)
    lines = [shapely.MultiLineString(g) for g in (setting.flow, setting.hug)]
    near = shapely.intersection(np.array(lines, dtype=object), felt)
    sizes = sorted(setting.sizes, key=lambda s: (s.tessera_mm, s.grade))
    return np.array([*near, *(s.lines for s in sizes)], dtype=object)


def _same(a: NDArray[np.object_], b: NDArray[np.object_], near: float) -> bool:
    """Return whether each shape lies within that distance of its twin, all along both."""
    empty = shapely.is_empty(a)
    if (empty != shapely.is_empty(b)).any():
        return False
    a, b = a[~empty], b[~empty]
    # no nearer than the boxes about them, which are far quicker to compare
    if (np.abs(shapely.bounds(a) - shapely.bounds(b)) > near).any():
        return False
    return not (shapely.hausdorff_distance(a, b) > near).any()


def _moves(a: Array, b: Array) -> list[Frame]:
    """Return the moves that carry a ring of points onto another, those that turn least first."""
    middle, place = a.mean(axis=0), b.mean(axis=0)
    found = []
    w = (b - place)[:, 0] + 1j * (b - place)[:, 1]
    for mirrored in (False, True):
        y = -(a - middle)[:, 1] if mirrored else (a - middle)[:, 1]
        z = (a - middle)[:, 0] + 1j * y
        for ring in (z, z[::-1]):
            fit = np.fft.ifft(np.conj(np.fft.fft(ring)) * np.fft.fft(w))
            best = np.abs(fit)
            whole = float(np.sqrt(np.sum(np.abs(z) ** 2) * np.sum(np.abs(w) ** 2)))
            for k in np.flatnonzero(best > 0.9999 * whole):
                turn = quantised(fit[k : k + 1] / best[k], FINE)[0]
                found.append((mirrored, turn))
    found.sort(key=lambda m: (m[0], -round(m[1].real, 3), -round(m[1].imag, 3)))
    return [_frame(middle, place, turn, mirrored) for mirrored, turn in found[:MOST_MOVES]]


def _frame(middle: Array, place: Array, turn: complex, mirrored: bool) -> Frame:
    """Return the frame whose way out turns points about their middle, and sets that in a place."""
    turned = Frame((0.0, 0.0), (turn.real, turn.imag), mirrored).out(middle[None])[0]
    origin = place - turned
    return Frame((float(origin[0]), float(origin[1])), (turn.real, turn.imag), mirrored)


def _keeps_up(a: Setting, b: Setting, move: Frame) -> bool:
    if a.laying.opus not in ON_ITS_WALL and (a.laying.follow_border or a.flow or a.hug):
        return True
    up = replace(move, origin_mm=(0.0, 0.0)).out(np.array([a.up]))[0]
    return bool(np.abs(up - b.up).max() < 1e-3)
