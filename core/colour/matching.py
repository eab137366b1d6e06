"""Which stocked colours to lay: a few chosen well, all pieces within what is in hand, stand-ins.

Everything here works on plain colours and counts, so that it serves a field, a motif or a whole
commission alike. Differences are CIEDE2000; a `kl` above 1 forgives lightness to keep the hue,
below 1 keeps the lightness before the hue.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.colour.convert import Floats
from core.colour.difference import ciede2000, nearest
from core.colour.transport import share_out
from core.colour.wanted import stocked_lab
from core.errors import EmblemaError
from core.material import Lab, Material, price_per_m2

Ints = NDArray[np.int64]

# One step of each shift, in CIELAB. Warm lies towards orange (hue 60 degrees), cool opposite.
SHIFTS: Final[Mapping[str, Lab]] = {
    "lighter": (3.0, 0.0, 0.0),
    "darker": (-3.0, 0.0, 0.0),
    "warmer": (0.0, 1.5, 2.6),
    "cooler": (0.0, -1.5, -2.6),
}


def shifted(shift: Lab, how: str, steps: float = 1.0) -> Lab:
    """Return a field's shift moved "lighter", "darker", "warmer" or "cooler" by some steps."""
    by = SHIFTS[how]
    return (shift[0] + steps * by[0], shift[1] + steps * by[1], shift[2] + steps * by[2])


def differences(wanted: ArrayLike, palette: ArrayLike, kl: float = 1.0) -> Floats:
    """Return CIEDE2000 of all wanted colours (n, 3) to all of a palette (m, 3): (n, m)."""
    want, have = np.asarray(wanted, np.float64), np.asarray(palette, np.float64)
    table = np.empty((len(want), len(have)))
    for start in range(0, len(want), 256):  # blocks that stay in the processor's cache
        table[start : start + 256] = ciede2000(want[start : start + 256, None], have, kl=kl)
    return table


@dataclass(frozen=True, slots=True)
class Choice:
    """A few colours of a palette that stand for all wanted ones.

    `index` names them in the palette's order; `mean` and `worst` are CIEDE2000 of the wanted
    colours to the nearest of them.
    """

    index: tuple[int, ...]
    mean: float
    worst: float


def choose_colours(
    wanted: ArrayLike,
    weights: ArrayLike | None,
    palette: ArrayLike,
    at_most: int,
    kl: float = 1.0,
    seed: int = 1,
) -> Choice:
    """Choose the few colours of a palette that serve the wanted ones with the least difference.

    Colours are added one by one, then changed one for another while that helps; a few starts
    drawn at random guard against a poor beginning.

    Parameters
    ----------
    wanted : array_like, shape (n, 3)
    weights : array_like, shape (n,), optional
        How much each counts, such as its pieces or area.
    palette : array_like, shape (m, 3)
    at_most : int
        How many to choose; fewer when the palette is smaller.

    Raises
    ------
    EmblemaError
        `at_most` is below one, or there is nothing to choose from.

    References
    ----------
    Kaufman & Rousseeuw 1990, "Finding Groups in Data", chapter 2 (PAM); Schubert & Rousseeuw
    2019, doi 10.1007/978-3-030-32047-8_16 (all changes of one iteration at once).
    """
    want, have = np.asarray(wanted, np.float64), np.asarray(palette, np.float64)
    if at_most < 1:
        raise EmblemaError("Choose at least one colour.")
    if len(have) == 0 or len(want) == 0:
        raise EmblemaError("There is no colour to choose from.")
    share = np.ones(len(want)) if weights is None else np.asarray(weights, np.float64)
    few, share_few = _gathered(want, share)
    cost = differences(few, have, kl)
    size = min(at_most, len(have))
    rng = np.random.default_rng(seed)
    starts = [_added(cost, share_few, size)]
    starts += [rng.choice(len(have), size, replace=False) for _ in range(_STARTS)]
    best = min(
        (_improved(cost, share_few, start) for start in starts),
        key=lambda chosen: float(share_few @ cost[:, chosen].min(axis=1)),
    )
    best = np.sort(best)
    _, delta_e = nearest(want, have[best], kl)
    return Choice(
        tuple(int(k) for k in best), float(np.average(delta_e, weights=share)), float(delta_e.max())
    )


_STARTS: Final = 6
_GATHERED: Final = 1500


def _gathered(wanted: Floats, share: Floats) -> tuple[Floats, Floats]:
    """Gather wanted colours into at most some hundred means, the finest grid that gives so few."""
    step = 0.25
    while True:
        cell = np.floor(wanted / step).astype(np.int64)
        _, owner = np.unique(cell, axis=0, return_inverse=True)
        n = int(owner.max()) + 1
        if n <= _GATHERED:
            break
        step *= 1.5
    total = np.asarray(np.bincount(owner, share, n), np.float64)
    kept = total > 0
    means = np.stack([np.bincount(owner, share * c, n) for c in wanted.T], axis=1)[kept]
    return means / total[kept, None], total[kept]


def _added(cost: Floats, share: Floats, size: int) -> Ints:
    chosen: list[int] = []
    now = np.full(len(cost), np.inf)
    for _ in range(size):
        total = share @ np.minimum(cost, now[:, None])
        total[chosen] = np.inf
        chosen.append(int(total.argmin()))
        now = np.minimum(now, cost[:, chosen[-1]])
    return np.array(chosen)


def _improved(cost: Floats, share: Floats, chosen: Ints) -> Ints:
    """Change one colour for another, the best change first, until none helps."""
    chosen = chosen.copy()
    rows = np.arange(len(cost))
    while True:
        among = cost[:, chosen]
        first = among.argmin(axis=1)
        near = among[rows, first]
        among[rows, first] = np.inf
        second = among.min(axis=1)
        # A newcomer serves whom it is nearest to; whoever loses its colour takes the next best.
        gain = np.minimum(cost - near[:, None], 0) * share[:, None]
        lost = (np.minimum(cost, second[:, None]) - near[:, None]) * share[:, None] - gain
        change = gain.sum(axis=0) + np.stack(
            [lost[first == k].sum(axis=0) for k in range(len(chosen))]
        )
        change[:, chosen] = np.inf
        out, new = np.unravel_index(int(change.argmin()), change.shape)
        if change[out, new] >= -1e-9 * max(1.0, float(share @ near)):
            return chosen
        chosen[out] = new


@dataclass(frozen=True, slots=True)
class Short:
    """A material of which the free match would lay more than is in hand."""

    index: int
    wanted: int
    in_hand: int


@dataclass(frozen=True, slots=True)
class StockMatch:
    """Every piece matched within what is in hand.

    Attributes
    ----------
    index : ndarray of int, shape (n,)
        Into the palette; -1 for pieces for which nothing is left.
    delta_e : ndarray, shape (n,)
        CIEDE2000; NaN where `index` is -1.
    free_mean, mean : float
        Mean difference of the pieces served: each with its nearest colour, and as matched. What
        the shelf costs in colour is the one less the other.
    short : tuple of Short
        What to order so that every piece could have its nearest colour.
    """

    index: Ints
    delta_e: Floats
    free_mean: float
    mean: float
    short: tuple[Short, ...]

    @property
    def left_over(self) -> int:
        """Pieces for which the shelf has nothing left."""
        return int((self.index < 0).sum())


def match_within_stock(
    wanted: ArrayLike,
    palette: ArrayLike,
    available: ArrayLike,
    kl: float = 1.0,
    group: ArrayLike | None = None,
    allowed: ArrayLike | None = None,
    becomes: ArrayLike | None = None,
) -> StockMatch:
    """Match all pieces at once, never using more of a material than is in hand.

    The total difference is the least there is. Where the shelf holds too few pieces altogether,
    those hardest to serve are left out.

    Parameters
    ----------
    wanted : array_like, shape (n, 3)
    palette : array_like, shape (m, 3)
    available : array_like of int, shape (m,)
        Pieces in hand.
    group : array_like of int, shape (n,), optional
        Which row of `allowed` (g, m) says what a piece may take; all where left out.
    becomes : array_like of int, shape (g, m), optional
        What is laid in a material's place for pieces of a group: at the difference of the one it
        replaces, which is laid itself only where nothing is left of the other.
    """
    want = np.asarray(wanted, np.float64).reshape(-1, 3)
    have = np.asarray(palette, np.float64).reshape(-1, 3)
    room = np.maximum(np.asarray(available, np.int64), 0)
    n, m = len(want), len(have)
    if n == 0 or m == 0:
        nothing = np.full(n, -1, np.int64)
        return StockMatch(nothing, np.full(n, np.nan), np.nan, np.nan, ())
    of = np.zeros(n) if group is None else np.asarray(group, np.float64)
    both, owner, supply = np.unique(
        np.column_stack([of, want]), axis=0, return_inverse=True, return_counts=True
    )
    owner = owner.reshape(-1)
    cost = differences(both[:, 1:], have, kl)
    # Dearer than any row of changes through all materials that would serve one piece more.
    dear = m * float(cost.max()) + 1
    kind = both[:, 0].astype(np.int64)
    if allowed is not None:
        cost = np.where(np.asarray(allowed, bool)[kind], cost, 2 * dear)
    if becomes is not None:
        cost = _replaced(cost, np.asarray(becomes, np.int64)[kind])
    barred = cost > dear
    close = cost.argmin(axis=1)
    demand = np.bincount(close, supply, m).astype(np.int64)
    # with palettes the shelf may hold enough and still not for every piece
    missing = n if allowed is not None else max(n - int(room.sum()), 0)
    # "Nothing" is one material more, dear beyond all others, that takes what cannot be served.
    flow = share_out(
        np.hstack([cost, np.full((len(both), 1), dear)]) if missing else cost,
        supply,
        np.append(room, missing) if missing else room,
    )
    index = _handed_out(flow, owner, supply)
    index[index == m] = -1
    index[(index >= 0) & barred[owner, index.clip(0)]] = -1
    served = index >= 0
    delta_e = np.full(n, np.nan)
    delta_e[served] = cost[owner[served], index[served]]
    free = cost[owner, close[owner]][served]
    return StockMatch(
        index,
        delta_e,
        float(free.mean()) if served.any() else np.nan,
        float(delta_e[served].mean()) if served.any() else np.nan,
        tuple(Short(int(j), int(demand[j]), int(room[j])) for j in np.flatnonzero(demand > room)),
    )


_NOT_SWAPPED: Final = 1e-4  # so much dearer, only to decide between equals


def _replaced(cost: Floats, becomes: Ints) -> Floats:
    """Return the least cost (n, m) at which each material can be laid, for itself or another."""
    least = np.where(becomes == np.arange(cost.shape[1]), cost, cost + _NOT_SWAPPED)
    rows, old = np.nonzero(becomes != np.arange(cost.shape[1]))
    np.minimum.at(least, (rows, becomes[rows, old]), cost[rows, old])
    return least


def _handed_out(flow: Ints, owner: Ints, supply: Ints) -> Ints:
    """Give each piece a material, those of one kind and several materials evenly interleaved."""
    order = np.argsort(owner, kind="stable")
    kind, material = np.nonzero(flow)
    count = flow[kind, material]
    # The q-th of c pieces of a material stands at (q + 1/2) / c along the pieces of its kind.
    rank = np.arange(int(count.sum())) - np.repeat(np.cumsum(count) - count, count)
    along = (rank + 0.5) / np.repeat(count, count)
    turn = np.lexsort((along, np.repeat(kind, count)))
    index = np.empty(len(owner), np.int64)
    index[order] = np.repeat(material, count)[turn]
    return index


@dataclass(frozen=True, slots=True)
class StandIn:
    """A material that could take another's place.

    `price_change_m2` is what a square metre of it costs more (None where a price is by the sheet
    and cannot be compared); `enough` says whether the pieces in hand would do.
    """

    material: Material
    delta_e: float
    price_change_m2: Decimal | None
    enough: bool


def stand_ins(
    short: Material,
    materials: Iterable[Material],
    pieces: int = 0,
    available: Mapping[str, int] | None = None,
    kl: float = 1.0,
) -> tuple[StandIn, ...]:
    """Return every other material as a stand-in, nearest in colour first.

    Where differences are alike to a tenth, other lots of the same material come before the rest.

    Parameters
    ----------
    pieces : int
        How many are needed.
    available : mapping of str to int, optional
        Pieces to be had by code; each material's own count where left out.
    """
    others: Sequence[Material] = [m for m in materials if m.code != short.code]
    if not others:
        return ()
    lab = stocked_lab([short, *others])
    delta_e = ciede2000(lab[0], lab[1:], kl=kl)
    own = price_per_m2(short)
    other = np.array([m.order_code != short.order_code for m in others])
    found = []
    for k in np.lexsort((delta_e, other, np.round(delta_e, 1))):
        m = others[int(k)]
        price = price_per_m2(m)
        change = None if own is None or price is None else price - own
        in_hand = m.pieces if available is None else available.get(m.code, 0)
        found.append(StandIn(m, float(delta_e[k]), change, in_hand >= pieces))
    return tuple(found)
