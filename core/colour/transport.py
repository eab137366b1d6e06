"""Shares pieces out among materials of which only so many are in hand, at the least total cost.

This is the transportation problem, solved exactly by successive shortest paths over the
materials alone: a path moves one piece from the first material to the second, another from the
second to the third, until a material with room is reached. Solving a quarter of the pieces first
gives prices under which nearly all of the rest choose rightly by themselves.

References
----------
Ahuja, Magnanti & Orlin 1993, "Network Flows", section 9.7 (successive shortest paths).
"""

from __future__ import annotations

from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats

Ints = NDArray[np.int64]

_FEW: Final = 400  # so few kinds are solved from nothing
_TINY: Final = 1e-9


def share_out(cost: Floats, supply: Ints, capacity: Ints) -> Ints:
    """Return how many of each kind of piece go to each material.

    Parameters
    ----------
    cost : ndarray, shape (n, m)
        Of one piece of a kind in a material.
    supply : ndarray of int, shape (n,)
        Pieces of each kind.
    capacity : ndarray of int, shape (m,)
        Pieces in hand; their sum is at least that of `supply`.

    Returns
    -------
    ndarray of int, shape (n, m)
        Rows sum to `supply`, columns to at most `capacity`; no other has a lower total cost.

    Raises
    ------
    ValueError
        There is not enough in hand.
    """
    spare = int(capacity.sum() - supply.sum())
    if spare < 0:
        raise ValueError("share_out() needs at least as many pieces in hand as are wanted")
    flow = _Flow(cost, supply, capacity, spare, _prices(cost, supply, capacity))
    flow.settle()
    return flow.held[:, :-1].T


def _prices(cost: Floats, supply: Ints, capacity: Ints) -> Floats:
    """Return prices of the materials from every fourth kind, the capacities scaled to them."""
    n = len(cost)
    if n <= _FEW:
        return np.zeros(len(capacity))
    part = slice(n % 4 // 2, None, 4)
    fewer = supply[part]
    share = fewer.sum() / supply.sum()
    room = np.ceil(capacity * share).astype(np.int64)
    start = _prices(cost[part], fewer, room)
    flow = _Flow(cost[part], fewer, room, int(room.sum() - fewer.sum()), start)
    flow.settle()
    return flow.prices()


class _Flow:
    """Pieces held by materials; the last kind stands for what stays on the shelf."""

    def __init__(
        self, cost: Floats, supply: Ints, capacity: Ints, spare: int, prices: Floats
    ) -> None:
        n, m = cost.shape
        self.cost = np.vstack([cost, np.zeros(m)])
        self.held = np.zeros((m, n + 1), np.int64)
        self.held[np.argmin(cost + prices, axis=1), np.arange(n)] = supply
        # What stays on the shelf stays where the price is least, first where there is room.
        cheap = np.flatnonzero(prices <= prices.min() + _TINY)
        room = np.maximum(capacity - self.held.sum(axis=1), 0)[cheap]
        before = np.concatenate([[0], np.cumsum(room)[:-1]])
        self.held[cheap, n] = np.clip(spare - before, 0, room)
        self.held[cheap[0], n] += max(spare - int(room.sum()), 0)
        self.excess = self.held.sum(axis=1) - capacity
        # The least cost of moving a piece from one material to another, and which piece it is.
        self.step = np.full((m, m), np.inf)
        self.mover = np.zeros((m, m), np.int64)
        for i in range(m):
            self._look(i, np.arange(m))

    def _look(self, i: int, columns: Ints) -> None:
        """Find again what moving from material `i` to those of `columns` costs."""
        kinds = np.flatnonzero(self.held[i])
        if len(kinds) == 0:
            self.step[i, columns] = np.inf
        else:
            change = self.cost[kinds[:, None], columns] - self.cost[kinds, i][:, None]
            least = change.argmin(axis=0)
            self.step[i, columns] = change[least, np.arange(len(columns))]
            self.mover[i, columns] = kinds[least]
        self.step[i, i] = 0.0

    def settle(self) -> None:
        """Move pieces from overfull materials, always along the cheapest path, until all fit."""
        while (self.excess > 0).any():
            reach = np.where(self.excess > 0, 0.0, np.inf)
            before = np.full(len(reach), -1)
            while True:
                through = reach[:, None] + self.step
                via = through.argmin(axis=0)
                shorter = through[via, np.arange(len(reach))]
                better = shorter < reach - _TINY
                if not better.any():
                    break
                reach = np.where(better, shorter, reach)
                before = np.where(better, via, before)
            end = int(np.where(self.excess < 0, reach, np.inf).argmin())
            path = [end]
            while before[path[-1]] >= 0:
                path.append(int(before[path[-1]]))
            self._move(path[::-1])

    def _move(self, path: list[int]) -> None:
        steps = list(pairwise(path))
        kinds = [int(self.mover[i, j]) for i, j in steps]
        count = min(
            int(self.excess[path[0]]),
            -int(self.excess[path[-1]]),
            *(int(self.held[i, k]) for (i, _), k in zip(steps, kinds, strict=True)),
        )
        for (i, j), k in zip(steps, kinds, strict=True):
            self.held[i, k] -= count
            self.held[j, k] += count
        self.excess[path[0]] -= count
        self.excess[path[-1]] += count
        for (i, j), k in zip(steps, kinds, strict=True):
            if self.held[i, k] == 0:
                self._look(i, np.flatnonzero(self.mover[i] == k))
            change = self.cost[k] - self.cost[k, j]
            closer = change < self.step[j]
            self.step[j] = np.where(closer, change, self.step[j])
            self.mover[j] = np.where(closer, k, self.mover[j])

    def prices(self) -> Floats:
        """Return prices under which every piece is held where cost plus price is least."""
        reach = np.zeros(len(self.step))
        for _ in range(len(reach)):
            shorter = (reach[:, None] + self.step).min(axis=0)
            if (shorter >= reach - _TINY).all():
                break
            reach = np.minimum(reach, shorter)
        return np.asarray(reach.max() - reach)
