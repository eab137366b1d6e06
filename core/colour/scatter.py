"""Spreads pieces evenly over a field, and grades them from one side of it to the other.

An even spread is an order of the pieces in which every beginning is well apart: each next piece
is the one farthest from those before it, as void-and-cluster dithering finds it on a grid. A
share of the pieces is then the beginning of that order, a mixture a few stretches of it.

References
----------
Ulichney 1993, "The void-and-cluster method for dither array generation", doi 10.1117/12.152707.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Hashable
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse import csgraph
from scipy.sparse.linalg import lsmr
from scipy.spatial import cKDTree

from core.colour.convert import Floats
from core.pieces import Pieces

Ints = NDArray[np.int64]

_REACH = 4.0  # how far a piece keeps others off, in distances between neighbours
_SPREAD = 1.1
_EDGE = 0.3


_kept: WeakKeyDictionary[Pieces, dict[Hashable, Any]] = WeakKeyDictionary()


def _once(pieces: Pieces, what: Hashable, make: Callable[[], Any]) -> Any:
    """Return what hangs on the pieces alone, made once for as long as there are these pieces."""
    mine = _kept.setdefault(pieces, {})
    if what not in mine:
        mine[what] = make()
    return mine[what]


def order_of(pieces: Pieces, seed: int) -> Floats:
    """Return the pieces' `even_order`."""
    order: Floats = _once(pieces, ("order", seed), lambda: even_order(pieces.centre_mm, seed))
    return order


def even_order(centre_mm: Floats, seed: int) -> Floats:
    """Return each piece's place in an even spread, 0 to 1.

    Parameters
    ----------
    centre_mm : ndarray, shape (n, 2)
    seed : int
        Decides between equals.

    Returns
    -------
    ndarray, shape (n,)
        (rank + 1/2) / n; the pieces below any share s are about s of all, evenly spread.
    """
    n = len(centre_mm)
    if n == 0:
        return np.empty(0)
    tree = cKDTree(centre_mm)
    # From how far the eighth neighbour is, which counts in every direction; runs are long and low.
    around = min(8, n - 1)
    reach = np.asarray(tree.query(centre_mm, k=[around + 1])[0])
    pitch = float(np.median(reach)) * np.sqrt(np.pi / max(around, 1)) or 1.0
    pairs = tree.query_pairs(_REACH * pitch, output_type="ndarray")
    step = (centre_mm[pairs[:, 0]] - centre_mm[pairs[:, 1]]) / (_SPREAD * pitch)
    near = sparse.coo_array(
        (np.exp(-(step * step).sum(axis=1) / 2), (pairs[:, 0], pairs[:, 1])), shape=(n, n)
    ).tocsr()
    near = sparse.csr_array(near + near.T)
    first, other = near.indptr.tolist(), near.indices
    # At the field's edge, where neighbours are missing, those there count for more and a piece
    # starts a little crowded, as if the field went on mirrored; else the edge is taken first.
    about = 1 + near.sum(axis=1)
    about = np.minimum(about / np.median(about), 1.0)
    weight = near.data / about[other]
    crowd = np.random.default_rng(seed).random(n) * 0.05 + _EDGE * (1 - about)
    # Crowding only grows, so an outdated entry at the top is put back where it now belongs.
    heap = [(c, k) for k, c in enumerate(crowd.tolist())]
    heapq.heapify(heap)
    place = np.empty(n)
    rank = 0
    while heap:
        was, k = heap[0]
        now = float(crowd[k])
        if now > was:
            heapq.heapreplace(heap, (now, k))
            continue
        heapq.heappop(heap)
        place[k] = rank
        rank += 1
        row = slice(first[k], first[k + 1])
        crowd[other[row]] += weight[row]
    return (place + 0.5) / n


def accents(pieces: Pieces, share: float, along: bool, seed: int) -> NDArray[np.bool_]:
    """Choose the pieces that take a second material.

    Parameters
    ----------
    share : float
        Of the pieces, 0 to 1.
    along : bool
        In short runs along the courses; else one by one, evenly.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    key = ("accents", share, along, seed)
    struck: NDArray[np.bool_] = _once(pieces, key, lambda: _struck(pieces, share, along, seed))
    return struck


def _struck(pieces: Pieces, share: float, along: bool, seed: int) -> NDArray[np.bool_]:
    n = len(pieces)
    wanted = round(n * min(max(share, 0.0), 1.0))
    chosen = np.zeros(n, bool)
    if wanted == 0:
        return chosen
    run, count = _runs(pieces) if along else (np.arange(n), n)
    size = np.bincount(run, minlength=count)
    centre = pieces.centre_mm
    middle = np.stack([np.bincount(run, c, count) for c in centre.T], axis=1) / size[:, None]
    order = np.argsort(even_order(middle, seed), kind="stable")
    upto = np.cumsum(size[order])
    whole = int(np.searchsorted(upto, wanted, side="right"))
    chosen[np.isin(run, order[:whole])] = True
    missing = wanted - int(chosen.sum())
    if missing:
        chosen[np.flatnonzero(run == order[whole])[:missing]] = True
    return chosen


_RUN = 6


def _runs(pieces: Pieces) -> tuple[Ints, int]:
    """Number stretches of about six pieces along each course; a piece of no course is its own."""
    n = len(pieces)
    order = np.lexsort((pieces.piece, pieces.course))
    course = pieces.course[order]
    new = np.concatenate([[True], (course[1:] != course[:-1]) | (course[1:] < 0)])
    start = np.flatnonzero(new)
    length = np.diff(np.append(start, n))
    within = np.arange(n) - np.repeat(start, length)
    parts = np.repeat(np.maximum(np.rint(length / _RUN), 1).astype(np.int64), length)
    part = within * parts // np.repeat(length, length)
    begins = new | np.concatenate([[True], part[1:] != part[:-1]])
    run = np.empty(n, np.int64)
    run[order] = np.cumsum(begins) - 1
    return run, int(begins.sum())


def progress(pieces: Pieces, along: bool) -> Floats:
    """Return how far each piece lies from one side of the field to the other, with the flow.

    A height whose slope is everywhere the flow (or square to it) is fitted over the pieces; where
    the flow closes on itself and no such height exists, distance along the mean flow serves.

    Parameters
    ----------
    along : bool
        Along the flow, to the right (where it is upright, downwards); else across it, downwards
        (where that is level, to the right).

    Returns
    -------
    ndarray, shape (n,)
        0 to 1.
    """
    n = len(pieces)
    if n < 3:
        return np.linspace(0, 1, n)
    centre = pieces.centre_mm
    angle = pieces.angle_rad if along else pieces.angle_rad + np.pi / 2
    towards = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    near = np.asarray(cKDTree(centre).query(centre, k=min(7, n))[1])
    one, two = np.repeat(np.arange(n), near.shape[1] - 1), near[:, 1:].ravel()
    towards *= _agreeing(towards, one, two)[:, None]
    # a little aslant, so that the last digits never choose the end that an upright flow begins at
    ahead = np.array([1.0, 0.1]) if along else np.array([0.1, 1.0])
    if towards.sum(axis=0) @ ahead < 0:
        towards = -towards
    rise = ((towards[one] + towards[two]) / 2 * (centre[two] - centre[one])).sum(axis=1)
    k = np.arange(len(one))
    slope = sparse.coo_array(
        (np.repeat([-1.0, 1.0], len(k)), (np.tile(k, 2), np.concatenate([one, two]))),
        shape=(len(k), n),
    ).tocsr()
    height = lsmr(slope, rise, atol=1e-8, btol=1e-8, maxiter=4 * n)[0]
    left = slope @ height - rise
    if left @ left > 0.25 * (rise @ rise):
        mean = np.exp(2j * angle).mean()
        axis = np.array([np.cos(np.angle(mean) / 2), np.sin(np.angle(mean) / 2)])
        height = centre @ (axis if axis @ ahead >= 0 else -axis)
    low, high = float(height.min()), float(height.max())
    return np.asarray((height - low) / (high - low) if high > low else np.zeros(n))


def _agreeing(towards: Floats, one: Ints, two: Ints) -> Floats:
    """Return signs (1 or -1) that turn neighbouring directions the same way."""
    n = len(towards)
    agree = (towards[one] * towards[two]).sum(axis=1)
    graph = sparse.coo_array((2.0 - np.abs(agree), (one, two)), shape=(n, n)).tocsr()
    tree = csgraph.minimum_spanning_tree(graph)
    sign = np.ones(n)
    _, piece = csgraph.connected_components(tree, directed=False)
    for root in np.unique(piece, return_index=True)[1]:
        order, before = csgraph.breadth_first_order(tree, int(root), directed=False)
        for k in order[1:]:
            b = before[k]
            sign[k] = sign[b] if towards[k] @ towards[b] >= 0 else -sign[b]
    return sign


def graded(place: Floats, order: Floats, materials: int) -> Ints:
    """Grade from the first material to the last.

    Parameters
    ----------
    place : ndarray, shape (n,)
        How far along, 0 to 1 (`progress`).
    order : ndarray, shape (n,)
        The pieces' even spread (`even_order`).
    materials : int
        How many there are, in order.

    Returns
    -------
    ndarray of int, shape (n,)
        0 to `materials` - 1; between two neighbours in the row the pieces are mixed in proportion.
    """
    at = np.clip(place, 0, 1) * (materials - 1)
    lower = np.minimum(at.astype(np.int64), max(materials - 2, 0))
    return np.asarray(lower + (order < at - lower), np.int64)
