"""Shares pieces out among materials of which only so many are in hand, at the least total cost.

This is the transportation problem. Every material gets a price, and a piece goes where its cost
and the price are least together; under the right prices no material is asked for beyond what is
in hand. Newton's method finds them all but exactly, from samples first; successive shortest paths
then move the few pieces that are left over, so that the answer is exact.

References
----------
Ahuja, Magnanti & Orlin 1993, "Network Flows", section 9.7 (successive shortest paths).
Kitagawa, Mérigot & Thibert 2019, doi 10.4171/JEMS/889 (Newton's method for the prices).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats

Ints = NDArray[np.int64]

_SAMPLE: Final = 500  # pieces of the first sample, at least; so few kinds are not sampled
_FINER: Final = 4  # how many times larger the next sample is
_STEPS: Final = 30  # of Newton's method, at most
_FIRST: Final = 4  # pieces between two materials that tell what a price moves, at least
_BLOCK: Final = 1024
_STUCK: Final = 1e4  # steps held back so much lead nowhere
_DIGITS: Final = 6  # of prices
_TINY: Final = 1e-9


def share_out(cost: Floats, supply: Ints, capacity: Ints) -> tuple[Ints, Ints, Ints]:
    """Return how many of each kind of piece go to each material.

    Parameters
    ----------
    cost : ndarray, shape (n, m)
        Of one piece of a kind in a material; inf where it may not be laid.
    supply : ndarray of int, shape (n,)
        Pieces of each kind, at least one.
    capacity : ndarray of int, shape (m,)
        Pieces in hand, enough for all.

    Returns
    -------
    kind, material, count : ndarray of int, shape (k,)
        In the order of the kinds. The counts of a kind sum to its supply, those of a material to
        at most its capacity; no other sharing has a lower total cost.

    Raises
    ------
    ValueError
        There is not enough in hand.
    """
    if capacity.sum() < supply.sum():
        raise ValueError("share_out() needs at least as many pieces in hand as are wanted")
    price, steps = np.zeros(len(capacity)), _STEPS
    upto, every = np.cumsum(supply), 1
    if len(cost) > _SAMPLE:
        while upto[-1] // (every * _FINER) >= _SAMPLE:
            every *= _FINER
    while every > 1:  # samples evenly drawn from all pieces
        # in the end, looking at all again takes longer than moving some one by one
        steps = 1
        drawn = np.diff((upto + every // 2) // every, prepend=0)
        some = np.flatnonzero(drawn)
        room = capacity * (drawn.sum() / upto[-1])
        price = _levelled(cost[some], drawn[some], room, price, len(price), _STEPS)[0]
        every //= _FINER
    return _settled(cost, supply, capacity, price, steps)


def _settled(
    cost: Floats, supply: Ints, capacity: Ints, price: Floats, steps: int
) -> tuple[Ints, Ints, Ints]:
    """Share out exactly, from prices that are about right.

    Only the kinds that go elsewhere for a small change in prices are looked at one by one; if in
    the end others would too, those as well.
    """
    n, m = cost.shape
    many = max(n // 8, 4 * _SAMPLE)
    price, seen = _levelled(cost, supply, capacity, price, 2 * m, steps)
    near = np.ones(n, bool)
    if many < n:
        near = seen.gap <= np.partition(seen.gap, many)[many]
        away = np.bincount(seen.first, np.where(near, 0, supply), m)
        near |= (away > capacity)[seen.first]
    while True:
        away = np.bincount(seen.first, np.where(near, 0, supply), m).astype(np.int64)
        some, less, room = cost[near], supply[near], capacity - away
        flow = _Flow(some, less, room, _levelled(some, less, room, price, m // 2, 6)[0])
        if flow.settle():
            final = flow.prices()
            moved = final - price
            far = np.flatnonzero(~near & (moved[seen.first] - moved.min() > seen.gap))
            total = cost[far] + final
            wrong = total[np.arange(len(far)), seen.first[far]] > total.min(axis=1) + _TINY
            if not wrong.any():
                break
            near[far[wrong]] = True
        elif near.all():
            raise ValueError("share_out() needs enough in hand of what each kind may take")
        else:
            near[:] = True
    k, material = np.nonzero(flow.held[:, :-1].T)
    held = flow.held[material, k]
    kind = np.concatenate([np.flatnonzero(~near), np.flatnonzero(near)[k]])
    material = np.concatenate([seen.first[~near], material])
    count = np.concatenate([supply[~near], held])
    order = np.argsort(kind, kind="stable")
    return kind[order], material[order], count[order]


@dataclass(frozen=True, slots=True)
class _Seen:
    """Where each kind goes at some prices, and where it would go for `gap` more.

    `over` are the pieces of each material beyond what is in hand. No sharing costs less than
    `bound`; under the right prices it is greatest, and what the best one costs.
    """

    first: Ints
    second: Ints
    gap: Floats
    over: Floats
    bound: float


def _look(cost: Floats, supply: Ints, capacity: Floats | Ints, price: Floats) -> _Seen:
    n = len(cost)
    first, second = np.empty((2, n), np.int64)
    least, gap = np.empty((2, n))
    for start in range(0, n, _BLOCK):  # blocks that stay in the processor's cache
        part = slice(start, start + _BLOCK)
        total = cost[part] + price
        rows = np.arange(len(total))
        first[part] = total.argmin(axis=1)
        least[part] = total[rows, first[part]]
        total[rows, first[part]] = np.inf
        second[part] = total.argmin(axis=1)
        gap[part] = total[rows, second[part]] - least[part]
    over = np.bincount(first, supply, len(price)).astype(np.float64) - capacity
    return _Seen(first, second, gap, over, float(least @ supply - price @ capacity))


def _levelled(
    cost: Floats,
    supply: Ints,
    capacity: Floats | Ints,
    price: Floats,
    few: int,
    steps: int,
) -> tuple[Floats, _Seen]:
    """Change prices by Newton's method until only a `few` pieces go wrong.

    What is asked for may jump with a price, so that a step makes things worse; then a shorter one
    is tried (Levenberg 1944), by how many pieces it was seen to move.
    """
    seen = _look(cost, supply, capacity, price)
    window, brake, steep = 1.0, 0.01, np.zeros(len(price))
    for _ in range(steps):
        some = np.flatnonzero((price > 0) | (seen.over > 0))
        wrong = float(np.abs(seen.over[some]).sum())
        if wrong <= few or brake > _STUCK:
            break
        moving = _moving(seen, supply, window * max(wrong, 8.0 * len(price)))
        each = moving.sum(axis=1)
        if not each.any():
            break
        brakes = brake * (each + 0.1 * each.mean()) + _TINY
        slope = np.diag(np.maximum(each, steep) + brakes) - moving
        step = np.zeros(len(price))
        step[some] = np.linalg.solve(slope[np.ix_(some, some)], seen.over[some])
        # rounded, so that the last digits of a solver never decide between equals
        tried = np.maximum(price + step, 0).round(_DIGITS)
        found = _look(cost, supply, capacity, tried)
        if found.bound > seen.bound:
            price, seen = tried, found
            window, brake, steep = min(2 * window, 1.0), max(brake / 5, 1e-4), steep / 2
        else:
            by = tried - price
            moved = np.divide(seen.over - found.over, by, out=np.zeros(len(by)), where=by != 0)
            window, brake, steep = window / 2, brake * 10, np.maximum(steep, moved)
    return price, seen


def _moving(seen: _Seen, supply: Ints, pieces: float) -> Floats:
    """Return how many pieces go from one material to another (m, m) for a price of one.

    So many `pieces` tell that as would go first, and the first few of each two materials.
    """
    m = len(seen.over)
    order = np.argsort(seen.gap, kind="stable")[: np.isfinite(seen.gap).sum()]
    one, two, gap, many = seen.first[order], seen.second[order], seen.gap[order], supply[order]
    if not len(gap):
        return np.zeros((m, m))
    reach = gap[min(int(np.searchsorted(np.cumsum(many), pieces)), len(gap) - 1)]
    pair = np.minimum(one, two) * m + np.maximum(one, two)
    paired = np.argsort(pair, kind="stable")
    pair, gap, upto = pair[paired], gap[paired], np.cumsum(many[paired])
    begin = np.flatnonzero(np.diff(pair, prepend=-1))
    before = np.append(0, upto)[begin]
    size = np.diff(begin, append=len(pair))
    upto -= np.repeat(before, size)
    telling = (gap <= reach) | (upto <= _FIRST)
    telling[begin] = True
    last = np.flatnonzero(telling)
    last = last[np.diff(pair[last], append=-1) != 0]
    moving = np.zeros((m, m))
    moving.flat[pair[last]] = upto[last] / (2 * np.maximum(np.maximum(gap[last], reach), _TINY))
    return moving + moving.T


class _Flow:
    """Pieces held by materials; the last kind stands for what stays on the shelf."""

    def __init__(self, cost: Floats, supply: Ints, capacity: Ints, price: Floats) -> None:
        n, m = cost.shape
        spare = int(capacity.sum() - supply.sum())
        self.start = price
        self.cost = np.vstack([cost, np.zeros(m)])
        self.held = np.zeros((m, n + 1), np.int64)
        self.held[np.argmin(cost + price, axis=1), np.arange(n)] = supply
        # What stays on the shelf stays where the price is least, first where there is room.
        cheap = np.flatnonzero(price <= price.min() + _TINY)
        room = np.maximum(capacity - self.held.sum(axis=1), 0)[cheap]
        before = np.concatenate([[0], np.cumsum(room)[:-1]])
        self.held[cheap, n] = np.clip(spare - before, 0, room)
        self.held[cheap[0], n] += max(spare - int(room.sum()), 0)
        self.excess = self.held.sum(axis=1) - capacity
        # The least cost of moving a piece to one material (row) from another (column).
        self.step = np.full((m, m), np.inf)
        for i in range(m):
            self._look(i)

    def _look(self, i: int) -> None:
        """Find again what moving a piece from material `i` costs."""
        kinds = np.flatnonzero(self.held[i])
        change = self.cost[kinds] - self.cost[kinds, i][:, None]
        self.step[:, i] = change.min(axis=0, initial=np.inf)
        self.step[i, i] = 0.0

    def settle(self) -> bool:
        """Move pieces from overfull materials, always along the cheapest path, until all fit.

        Returns whether they do.
        """
        to = np.arange(len(self.excess))
        while (self.excess > 0).any():
            reach = np.where(self.excess > 0, 0.0, np.inf)
            before = np.full(len(reach), -1)
            while True:
                through = self.step + reach
                via = through.argmin(axis=1)
                shorter = through[to, via]
                better = shorter < reach - _TINY
                if not better.any():
                    break
                reach = np.where(better, shorter, reach)
                before = np.where(better, via, before)
            end = int(np.where(self.excess < 0, reach, np.inf).argmin())
            if self.excess[end] >= 0 or np.isinf(reach[end]):
                return False
            path = [end]
            while before[path[-1]] >= 0:
                path.append(int(before[path[-1]]))
            self._move(path[::-1])
        return True

    def _move(self, path: list[int]) -> None:
        """Move along a path all pieces that can go at its cost."""
        steps = list(pairwise(path))
        movers = []
        for i, j in steps:
            kinds = np.flatnonzero(self.held[i])
            change = self.cost[kinds, j] - self.cost[kinds, i]
            movers.append(kinds[change <= self.step[j, i] + _TINY])
        count = min(
            int(self.excess[path[0]]),
            -int(self.excess[path[-1]]),
            *(int(self.held[i, k].sum()) for (i, _), k in zip(steps, movers, strict=True)),
        )
        for (i, j), k in zip(steps, movers, strict=True):
            there = self.held[i, k]
            going = np.clip(count - (np.cumsum(there) - there), 0, there)
            self.held[i, k] -= going
            self.held[j, k] += going
        self.excess[path[0]] -= count
        self.excess[path[-1]] += count
        for i in path:
            self._look(i)

    def prices(self) -> Floats:
        """Return prices under which every piece is held where cost and price are least."""
        reach = -self.start
        for _ in range(len(reach)):
            shorter = (self.step + reach).min(axis=1)
            if (shorter >= reach - _TINY).all():
                break
            reach = np.minimum(reach, shorter)
        return -reach
