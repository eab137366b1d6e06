"""From territories to pieces: convex, three to six corners, half a joint inside.

A piece is the set of points that lie half a joint inside each of its few sides. Corners that
hardly turn are left out and the side leans out a little instead; where a neighbour pokes in, it
steps back, so that a piece never leaves its own territory.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from core.geometry import box_sides, cross, round_each
from core.laying.exact import dot, ways
from core.laying.field.grid import Array
from core.laying.pieces.clip import padded, polygons_of
from core.quality import EVEN_JOINT, OWN_SHARP_DEG, THIN

FLAT = 0.9  # joints by which a side may cut off a flat corner of its territory
SIZE = 0.25  # what a size unlike the others counts against bare grout
POKE = 0.30  # joints by which a side may ignore a neighbour that pokes in
LEAN = 0.3  # share of what a side cuts off by which it leans out, so that the joint stays even
NEVER = (-np.inf,) * 4  # a ring of three corners loses none
MOST_LEAN = (1 - EVEN_JOINT[0]) / 2  # joints: where both sides lean, the joint is still even


def shape_pieces(ground: NDArray[np.object_], joint: float) -> NDArray[np.object_]:
    """Return a convex piece (or an empty polygon) for each territory polygon."""
    n = len(ground)
    out = np.full(n, shapely.Polygon(), dtype=object)
    ok = np.nonzero(~shapely.is_missing(ground) & ~shapely.is_empty(ground))[0]
    if not len(ok):
        return out
    rings = shapely.get_exterior_ring(ground[ok])
    size = shapely.get_num_coordinates(rings) - 1
    # alike numbers of corners together, so that each batch is one dense array
    for low, high in pairwise((0, 6, 8, 12, 24, 48, 96, 192, 10**9)):
        batch = np.nonzero((size > low) & (size <= high))[0]
        if len(batch):
            xy, live = padded(rings[batch])
            out[ok[batch]] = _convex_inset(xy, live, joint)
    return out


def bare(ground: NDArray[np.object_], pitch: Array | float, joint: float) -> Array:
    """Return what the pieces of territories leave bare beyond their even joints, mm2.

    `pitch` is that of all, or of each (n,).
    """
    pieces = blunted(shape_pieces(ground, joint), pitch - joint)
    # half a joint along every side, and the four corners of it
    even = joint / 2 * shapely.length(pieces) + joint**2
    lost: Array = shapely.area(ground) - shapely.area(pieces) - even
    return lost


def cost(parts: NDArray[np.object_], pitch: Array | float, joint: float) -> Array:
    """Return what is wrong with territories: grout left bare, and size unlike the others, mm2."""
    size = shapely.area(parts) / pitch**2
    wide = np.hypot(*np.moveaxis(box_sides(parts), 2, 0)).min(axis=1) / pitch
    thin = np.maximum(THIN - wide, 0.0)
    out: Array = bare(parts, pitch, joint) + (SIZE * (size - 1) ** 2 + 4 * thin) * pitch**2
    return out


def blunted(pieces: NDArray[np.object_], tessera: Array | float) -> NDArray[np.object_]:
    """Nip the points off pieces where a corner is sharper than SHARP_DEG.

    A point that sharp breaks off the glass. The nip is a small side across the corner; it takes
    at most a third of a tessera from the length, so that the tip of a leaf stays a tip. `tessera`
    is that of all pieces, or of each (n,).
    """
    xy, index = shapely.get_coordinates(shapely.get_exterior_ring(pieces), return_index=True)
    if not len(xy):  # no pieces, or none that anything is left of
        return pieces
    open_ring = np.r_[index[1:] == index[:-1], False]
    xy, index = xy[open_ring], index[open_ring]
    m = len(xy)
    before, after = round_each(index)
    a, b = xy[before] - xy, xy[after] - xy
    la, lb = np.maximum(np.hypot(*a.T), 1e-12), np.maximum(np.hypot(*b.T), 1e-12)
    cosine = (dot(a, b) / (la * lb)).clip(-1, 1)
    sharp = cosine > float(ways(np.radians(OWN_SHARP_DEG))[0])
    if not sharp.any():
        return pieces
    # of half the angle, from its cosine alone
    sine = np.sqrt(np.maximum((1 - cosine) / 2, 1e-13))
    tangent = sine / np.sqrt(np.maximum((1 + cosine) / 2, 1e-13))
    base = np.minimum(0.11, 2 * 0.33 * tangent) * np.broadcast_to(tessera, len(pieces))[index]
    back = np.minimum(base / (2 * sine), 0.45 * np.minimum(la, lb))
    at = np.repeat(np.arange(m), 1 + sharp)
    second = np.r_[False, at[1:] == at[:-1]]
    one, two = xy + a * (back / la)[:, None], xy + b * (back / lb)[:, None]
    points = np.where(second[:, None], two[at], np.where(sharp[at][:, None], one[at], xy[at]))
    touched = np.unique(index[sharp])
    mine = np.isin(index[at], touched)
    out = pieces.copy()
    points, ids = points[mine], index[at][mine]
    out[touched] = polygons_of(points, ids)
    return out


def _neighbours(live: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for each slot the live slot before and after it, cyclic, each (n, k)."""
    n, k = live.shape
    slot = np.broadcast_to(np.arange(k), (n, k))
    seen = np.where(live, slot, -1)
    run = np.maximum.accumulate(seen, axis=1)
    last = run[:, -1:]
    before = np.concatenate([np.full((n, 1), -1), run[:, :-1]], axis=1)
    before = np.where(before < 0, last, before)
    seen = np.where(live, slot, k)
    run = np.minimum.accumulate(seen[:, ::-1], axis=1)[:, ::-1]
    first = run[:, :1]
    after = np.concatenate([run[:, 1:], np.full((n, 1), k)], axis=1)
    after = np.where(after >= k, first, after)
    return before.clip(0, k - 1), after.clip(0, k - 1)


def _take(xy: Array, at: NDArray[np.int64]) -> Array:
    n, k = at.shape
    out: Array = xy.reshape(n * k, *xy.shape[2:])[at + k * np.arange(n)[:, None]]
    return out


def _convex_inset(xy: Array, live: NDArray[np.bool_], joint: float) -> NDArray[np.object_]:
    there = live
    # 1. hull: drop the deepest reflex or all but straight corner until none is left
    live = _dropped(xy, live, np.array([*NEVER, np.nextafter(1e-9, 1)]))
    # 2. fewer corners: drop the flattest while it hardly shows, counting from all corners dropped
    live = _dropped(xy, live, np.array([*NEVER, 0.12 * joint, *(FLAT * joint,) * 2, 1.2 * joint]))
    # 3. each side steps back half a joint: further where a dropped corner pokes in, less where
    # one lies outside
    d = _take(xy, _neighbours(live)[1]) - xy
    length = np.maximum(np.hypot(d[..., 0], d[..., 1]), 1e-12)
    inward = np.stack([-d[..., 1], d[..., 0]], -1) / length[..., None]
    left_out = there & ~live
    poke = _poke(xy, live, left_out, inward)
    lean = np.minimum(LEAN * _poke(xy, live, left_out, -inward), MOST_LEAN * joint)
    inset = joint / 2 + np.maximum(poke - POKE * joint, 0.0) - np.maximum(lean - poke, 0.0)
    offset = dot(inward, xy) + inset
    return _half_planes(inward, offset, live)


def _dropped(xy: Array, live: NDArray[np.bool_], allow: Array) -> NDArray[np.bool_]:
    """Return which corners are left when the flattest is dropped again and again.

    One goes while it rises above its neighbours' chord by less than is allowed where so many
    corners are left, mm; the last of `allow` holds for more. Only what is beside it changes by it.
    """
    live = live.copy()
    before, after = _neighbours(live)
    many = live.sum(1)
    height = np.where(live, _rise(_take(xy, before), xy, _take(xy, after)), np.inf)
    some = np.arange(len(live))
    while len(some):
        worst = height[some].argmin(1)
        flat = height[some, worst] < allow[np.minimum(many[some], len(allow) - 1)]
        some, worst = some[flat], worst[flat]
        height[some, worst] = np.inf
        many[some] -= 1
        for k in _left_out(some, worst, live, before, after):
            beside = xy[some, before[some, k]], xy[some, k], xy[some, after[some, k]]
            height[some, k] = _rise(*beside)
    return live


def _left_out(
    rows: NDArray[np.int64],
    slot: NDArray[np.int64],
    live: NDArray[np.bool_],
    before: NDArray[np.int64],
    after: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Leave a slot out of each of some rows, in place; return the slots before and after it."""
    b, a = before[rows, slot], after[rows, slot]
    live[rows, slot] = False
    after[rows, b], before[rows, a] = a, b
    return b, a


def _rise(a: Array, xy: Array, b: Array) -> Array:
    """Return how high corners rise above the chords from those before to those after, mm."""
    chord = np.maximum(np.hypot(b[..., 0] - a[..., 0], b[..., 1] - a[..., 1]), 1e-9)
    out: Array = cross(xy - a, b - xy) / chord
    return out


def _poke(xy: Array, live: NDArray[np.bool_], left_out: NDArray[np.bool_], inward: Array) -> Array:
    """Return for each side how deep the corners left out along it lie inside, mm, (n, k).

    With `inward` turned about: how far they lie outside.
    """
    out = np.zeros(live.shape)
    owner, _ = _neighbours(live)  # the side that begins at the live slot before
    row, slot = np.nonzero(left_out)
    side = owner[row, slot]
    depth = dot(xy[row, slot] - xy[row, side], inward[row, side])
    np.maximum.at(out, (row, side), depth)
    return out


def _half_planes(inward: Array, offset: Array, live: NDArray[np.bool_]) -> NDArray[np.object_]:
    """Return the polygons {x : inward . x >= offset for every live side}.

    Sides are in order round the piece. Where a side vanishes it is left out and its neighbours
    meet instead.
    """
    n, k = live.shape
    live = live.copy()
    before, after = _neighbours(live)
    many = live.sum(1)
    corner = _meet(inward, offset, _take(inward, before), _take(offset, before))
    # a side runs from its own corner (with the side before) to the next side's corner
    way = np.stack([inward[..., 1], -inward[..., 0]], -1)
    length = np.where(live, dot(_take(corner, after) - corner, way), np.inf)
    some = np.arange(n)
    while len(some):
        worst = length[some].argmin(1)
        gone = (length[some, worst] <= 1e-9) & (many[some] >= 3)
        some, worst = some[gone], worst[gone]
        length[some, worst] = np.inf
        many[some] -= 1
        b, a = _left_out(some, worst, live, before, after)
        corner[some, a] = _meet(inward[some, a], offset[some, a], inward[some, b], offset[some, b])
        for side in (b, a):
            run = corner[some, after[some, side]] - corner[some, side]
            length[some, side] = dot(run, way[some, side])
    out = np.full(n, shapely.Polygon(), dtype=object)
    good = live.sum(1) >= 3
    use = live & good[:, None]
    if use.any():
        out[good] = polygons_of(corner[use], np.broadcast_to(np.arange(n)[:, None], (n, k))[use])
        bad = ~shapely.is_valid(out)
        out[bad] = shapely.Polygon()
    return out


def _meet(n1: Array, o1: Array, n2: Array, o2: Array) -> Array:
    """Return where lines n1 . x = o1 and n2 . x = o2 meet."""
    det = cross(n1, n2)
    det = np.where(np.abs(det) < 1e-12, np.nan, det)
    x = (o1 * n2[..., 1] - o2 * n1[..., 1]) / det
    y = (n1[..., 0] * o2 - n2[..., 0] * o1) / det
    return np.nan_to_num(np.stack([x, y], -1))
