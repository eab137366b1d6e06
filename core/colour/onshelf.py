"""Matching within what is in hand where a stocked piece gives several tesserae, or one.

How many a blank gives hangs on the pieces that are cut from it, and those on the matching. So the
pieces are shared out by about how many there are enough for, the blanks reckoned, and shared out
again where that was too few or too many; a piece that is then without a material takes what there
still is.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats
from core.colour.matching import match_within_stock
from core.quantities import InHand

Ints = NDArray[np.int64]

_TURNS: Final = 5  # sharings out, at most; one where every blank gives one piece


def match_on_shelf(
    in_hand: InHand,
    costs: Sequence[Floats],
    kinds: Sequence[Ints],
    rows: Sequence[Ints],
    order: Floats,
) -> Ints:
    """Match pieces in several groups at once, never taking more blanks than are in hand.

    Parameters
    ----------
    in_hand : InHand
        What was taken before; what is matched here is taken as well.
    costs, kinds
        For each group what its kinds of pieces cost in each material, and which kind each piece
        is of (see `match_within_stock`).
    rows : sequence of ndarray of int, shape (n,)
        For each group its pieces among those of `in_hand`.
    order : ndarray
        By which of these some go without, evenly spread; of all pieces of `in_hand`.

    Returns
    -------
    ndarray of int
        The material of each piece, group after group; -1 where none that it may take is left.
    """
    every = np.concatenate([*rows, np.empty(0, np.int64)])
    if not len(every):
        return np.empty(0, np.int64)
    capacity = _first_guess(in_hand, costs, kinds, rows)
    best = np.full(len(every), -1, np.int64)
    for turn in range(_TURNS):
        index = np.concatenate(match_within_stock(costs, kinds, capacity))
        capacity, before = capacity.copy(), capacity
        for k in range(len(capacity)):
            mine = np.flatnonzero(index == k)
            enough = in_hand.could(k, every[mine])
            if enough < len(mine):
                mine = mine[np.argsort(order[every[mine]], kind="stable")]
                enough = in_hand.could(k, every[mine])
                index[mine[enough:]] = -1
                capacity[k] = enough
            elif len(mine) and len(mine) == before[k]:
                capacity[k] += _more(in_hand, k, every[mine])
        if turn == 0 or (index < 0).sum() <= (best < 0).sum():
            best = index
        if (capacity == before).all():
            break
    for k in range(len(capacity)):
        in_hand.take(k, every[best == k])
    _fill(in_hand, costs, kinds, every, best)
    return best


def _first_guess(
    in_hand: InHand, costs: Sequence[Floats], kinds: Sequence[Ints], rows: Sequence[Ints]
) -> Ints:
    """Return for about how many pieces there is enough of each material.

    As if they were like those to which it is the nearest, or may be laid at all.
    """
    m = len(in_hand.room)
    like: list[list[Ints]] = [[] for _ in range(m)]
    may: list[list[Ints]] = [[] for _ in range(m)]
    for cost, kind, here in zip(costs, kinds, rows, strict=True):
        first = cost.argmin(axis=1)[kind]
        some = np.isfinite(cost[kind[:1]]).any(axis=0)
        for k in np.flatnonzero(some).tolist():
            like[k].append(here[first == k])
            may[k].append(here)
    capacity = np.zeros(m, np.int64)
    for k in range(m):
        for groups in (like[k], may[k]):
            pieces = np.concatenate([*groups, np.empty(0, np.int64)])
            if len(pieces):
                capacity[k] = in_hand.pieces(k, pieces)
                break
    return capacity


def _more(in_hand: InHand, k: int, mine: Ints) -> int:
    """Return for about how many pieces more there is enough, if they are like `mine`."""
    taken = in_hand.taken(k, mine)
    own = max(taken - in_hand.taken(k), 1)
    return int((in_hand.room[k] - taken) * len(mine) / own)


def _fill(
    in_hand: InHand, costs: Sequence[Floats], kinds: Sequence[Ints], every: Ints, index: Ints
) -> None:
    """Lay what is still to be had, the cheapest first, where a piece has no material."""
    start = 0
    for cost, kind in zip(costs, kinds, strict=True):
        bare = start + np.flatnonzero(index[start : start + len(kind)] < 0)
        start, first = start + len(kind), start
        if not len(bare):
            continue
        some = cost[kind[bare - first]]
        for k in np.argsort(some.min(axis=0), kind="stable").tolist():
            if not np.isfinite(some[0, k]) or not in_hand.room[k]:
                continue
            for alike in in_hand.alike(k, every[bare]):
                mine = bare[alike]
                mine = mine[index[mine] < 0]
                mine = mine[: in_hand.could(k, every[mine])]
                in_hand.take(k, every[mine])
                index[mine] = k
