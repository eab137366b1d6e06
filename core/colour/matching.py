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
from scipy import sparse
from scipy.sparse import csgraph

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
    sizes: tuple[NDArray[np.bool_], Ints] | None = None,
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
    sizes : (fits, size), optional
        Which rows of `fits`, shape (f, m), say what each piece can be cut from.

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
    fits, kind = (np.ones((1, len(have)), bool), None) if sizes is None else sizes
    size_of = np.zeros(len(want), np.int64) if kind is None else kind
    few, share_few, size_few = _gathered(want, share, size_of)
    cost = np.where(fits[size_few], differences(few, have, kl), _TOO_LARGE)
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
_TOO_LARGE: Final = 200.0  # a difference beyond any


def _gathered(wanted: Floats, share: Floats, size: Ints) -> tuple[Floats, Floats, Ints]:
    """Gather wanted colours into at most some hundred means, the finest grid that gives so few.

    Those of each size by themselves.
    """
    step = 0.25
    while True:
        cell = np.column_stack([size, np.floor(wanted / step).astype(np.int64)])
        cells, owner = np.unique(cell, axis=0, return_inverse=True)
        n = len(cells)
        if n <= max(_GATHERED, 2 * len(np.unique(size))):
            break
        step *= 1.5
    total = np.asarray(np.bincount(owner, share, n), np.float64)
    kept = total > 0
    means = np.stack([np.bincount(owner, share * c, n) for c in wanted.T], axis=1)[kept]
    return means / total[kept, None], total[kept], cells[kept, 0]


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


def match_within_stock(
    costs: Sequence[Floats], kinds: Sequence[Ints], available: ArrayLike
) -> list[Ints]:
    """Match the pieces of several fields at once, never using more than is in hand.

    The total cost is the least there is. Where not every piece can be served, as many as possible
    are, and those hardest to serve are left out.

    Parameters
    ----------
    costs : sequence of ndarray, shape (k, m)
        For each field, the cost of each kind of its pieces in each material, such as the colour
        difference; inf down all the column of a material that the field may not take.
    kinds : sequence of ndarray of int, shape (n,)
        For each field, which of those kinds its pieces are of.
    available : array_like of int, shape (m,)
        Pieces in hand.

    Returns
    -------
    list of ndarray of int, shape (n,)
        The materials, -1 for pieces for which nothing is left.
    """
    room = np.asarray(available, np.int64)
    pieces, m = [len(k) for k in kinds], len(room)
    if sum(pieces) == 0 or m == 0:
        return [np.full(n, -1, np.int64) for n in pieces]
    room = np.clip(room, 0, sum(pieces))
    supplies = [np.bincount(k, minlength=len(c)) for c, k in zip(costs, kinds, strict=True)]
    asked = [np.flatnonzero(s) for s in supplies]
    start = np.cumsum([0, *(len(a) for a in asked)])
    may = np.array([np.isfinite(c[a[:1]]).any(axis=0) for c, a in zip(costs, asked, strict=True)])
    missing = sum(pieces) - _most_served(np.array(pieces), may, room)
    # "Nothing" is one material more. Exactly as many as must go without take it, whatever it
    # costs.
    cost = np.empty((start[-1], m + (missing > 0)))
    for first, c, a in zip(start, costs, asked, strict=False):
        cost[first : first + len(a), :m] = c[a]
    if missing:
        cost[:, m] = np.max(cost[:, :m], where=np.isfinite(cost[:, :m]), initial=0.0)
        room = np.append(room, missing)
    supply = np.concatenate([s[a] for s, a in zip(supplies, asked, strict=True)])
    place = [np.cumsum(s > 0) - 1 for s in supplies]
    owner = [first + p[k] for first, p, k in zip(start, place, kinds, strict=False)]
    index = _handed_out(*share_out(cost, supply, room), np.concatenate(owner))
    index[index == m] = -1
    return np.split(index, np.cumsum(pieces)[:-1])


def _most_served(pieces: Ints, may: NDArray[np.bool_], room: Ints) -> int:
    """Return how many pieces can be served at all where fields may take only some materials."""
    fields, m = may.shape
    flow = np.zeros((fields + m + 2, fields + m + 2), np.int32)
    flow[-2, :fields] = pieces
    flow[:fields, fields:-2] = np.where(may, pieces[:, None], 0)
    flow[fields:-2, -1] = room
    end = fields + m
    return int(csgraph.maximum_flow(sparse.csr_array(flow), end, end + 1).flow_value)


def _handed_out(kind: Ints, material: Ints, count: Ints, owner: Ints) -> Ints:
    """Give each piece a material, those of one kind and several materials evenly interleaved."""
    order = np.argsort(owner, kind="stable")
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
    needed: int | Mapping[str, int] = 0,
    available: Mapping[str, int] | None = None,
    kl: float = 1.0,
) -> tuple[StandIn, ...]:
    """Return every other material as a stand-in, nearest in colour first.

    Where differences are alike to a tenth, other lots of the same material come before the rest.

    Parameters
    ----------
    needed : int or mapping of str to int
        How many are needed; by code where that hangs on how large they are stocked. A material
        that has no place in it cannot take the other's.
    available : mapping of str to int, optional
        Pieces to be had by code; each material's own count where left out.
    """
    others: Sequence[Material] = [
        m
        for m in materials
        if m.code != short.code and (isinstance(needed, int) or m.code in needed)
    ]
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
        enough = in_hand >= (needed if isinstance(needed, int) else needed[m.code])
        found.append(StandIn(m, float(delta_e[k]), change, enough))
    return tuple(found)
