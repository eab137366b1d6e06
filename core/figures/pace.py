"""How many pieces an hour: by default, until the studio's own measured work takes over.

What was ticked off is set against what it should have taken by default. With E hours by default
and H measured, the pace is a share (k + H) / (k + E) of the default's time, k standing for so many
hours of work at the default: the mean between both, each weighted by its work, as for a rate with
a gamma distribution (Gelman et al. 2013, "Bayesian Data Analysis", 3rd ed., section 2.6). The same
is done once more for each laying, size and kind, towards the studio's pace in all its work. What
is so far off the rest that it must be a slip counts no more than the farthest that is not.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission, Rates
from core.figures.hours import EFFORT, Work
from core.pieces import Layout
from core.terms import Laid, Measured, WorkDone

PRIOR_HOURS: Final = 4.0
TELLS_HOURS: Final = 1.0  # of one kind: less is told as a part of all work
FAR: Final = 3.0  # times the usual: beyond it is a slip of the pen
# A piece's side (root of its area) in mm, from which it is of the next size.
SIDES_MM: Final = (7.0, 14.0)
SIZES: Final = ("fine", "medium", "large")
NO_KIND: Final = "no material"

Group = tuple[str, str, str]  # laying, size, kind of material


def groups_of(doc: Commission, layout: Layout) -> tuple[tuple[Group, ...], NDArray[np.int64]]:
    """Return the groups in the order of the fields, and the number of each piece's, shape (n,)."""
    kinds = [*(m.kind for m in doc.materials), NO_KIND]
    number: dict[Group, int] = {}
    out = []
    for laid in layout.fields:
        size = np.digitize(np.sqrt(laid.pieces.area_mm2), SIDES_MM)
        both, mine = np.unique(size * len(kinds) + laid.stock + 1, return_inverse=True)
        opus = doc.field_by_id(laid.field_id).laying.opus
        some = [(opus, SIZES[k // len(kinds)], kinds[k % len(kinds) - 1]) for k in both.tolist()]
        to = [number.setdefault(group, len(number)) for group in some]
        out.append(np.array(to, np.int64)[mine.ravel()])
    return tuple(number), np.concatenate(out or [np.empty(0, np.int64)])


def counted(groups: Sequence[Group], of: NDArray[np.int64]) -> tuple[Laid, ...]:
    """Return how many pieces there are of each group that has any; `of` (n,) is each piece's."""
    many = np.bincount(of, minlength=len(groups)).tolist()
    return tuple(Laid(*group, n) for group, n in zip(groups, many, strict=True) if n)


def by_group(doc: Commission, layout: Layout) -> tuple[Laid, ...]:
    """Return how many pieces there are of each laying, size and kind, in the order of fields."""
    return counted(*groups_of(doc, layout))


@dataclass(frozen=True, slots=True)
class Pace:
    """Pieces an hour of one laying, size and kind.

    `hours` and `pieces` were measured of its very kind, `all_hours` of everything together.
    """

    group: Group
    by_default: float
    an_hour: float
    hours: float
    pieces: int
    all_hours: float

    @property
    def words(self) -> str:
        """How many, and where that is from."""
        if self.hours >= TELLS_HOURS:
            return f"your own {self.an_hour:.0f} pieces an hour, from {_hours(self.hours)}"
        if self.all_hours:
            return f"{self.an_hour:.0f} pieces an hour, by your pace in all work"
        return f"{self.an_hour:.0f} pieces an hour, by default"


def _hours(h: float) -> str:
    return f"{h:.1f}".removesuffix(".0") + (" hour" if abs(h - 1) < 0.05 else " hours")


class Paces:
    """What is known of a studio's pace."""

    def __init__(self, seconds_a_piece: float, seen: Sequence[tuple[tuple[Laid, ...], float]]):
        self._seconds = seconds_a_piece
        self._expected: dict[Group, float] = {}
        self._took: dict[Group, float] = {}
        self._seen: dict[Group, tuple[float, int]] = {}  # hours as they were written, pieces
        rows = [(laid, self._hours(laid), took) for laid, took in seen]
        rows = [r for r in rows if r[1] > 0 and r[2] > 0]
        shares = [1.0, *(t / e for _, e, t in rows)]
        usual = _middle(shares, [PRIOR_HOURS, *(e for _, e, _ in rows)])
        for laid, expected, took in rows:
            share = min(max(took / expected, usual / FAR), usual * FAR)
            for one in laid:
                group, e = (one.opus, one.size, one.kind), self._hours((one,))
                self._expected[group] = self._expected.get(group, 0.0) + e
                self._took[group] = self._took.get(group, 0.0) + e * share
                h, n = self._seen.get(group, (0.0, 0))
                self._seen[group] = h + took * e / expected, n + one.pieces
        self.hours = sum(h for h, _ in self._seen.values())
        took, expected = sum(self._took.values()), sum(self._expected.values())
        self._all = (PRIOR_HOURS + took) / (PRIOR_HOURS + expected)

    def _hours(self, laid: Iterable[Laid]) -> float:
        """Return what pieces take by default."""
        each = sum(one.pieces * EFFORT.get(one.opus, 1.0) for one in laid)
        return each * self._seconds / 3600

    def share(self, group: Group) -> float:
        """Return the time that pieces of a group take, as a share of the default's."""
        took, expected = self._took.get(group, 0.0), self._expected.get(group, 0.0)
        return (PRIOR_HOURS * self._all + took) / (PRIOR_HOURS + expected)

    def share_of_laying(self, opus: str) -> float:
        """Return the same of a laying, whatever the size and kind of its pieces."""
        took = sum(h for g, h in self._took.items() if g[0] == opus)
        expected = sum(h for g, h in self._expected.items() if g[0] == opus)
        return (PRIOR_HOURS * self._all + took) / (PRIOR_HOURS + expected)

    def of(self, group: Group) -> Pace:
        """Return the pace of a group."""
        seconds = self._seconds * EFFORT.get(group[0], 1.0)
        plain = 3600 / seconds if seconds else 0.0
        hours, pieces = self._seen.get(group, (0.0, 0))
        return Pace(group, plain, plain / self.share(group), hours, pieces, self.hours)

    def hours_of(self, laid: Iterable[Laid]) -> float:
        """Return the hours that pieces take."""
        return sum(self._hours((x,)) * self.share((x.opus, x.size, x.kind)) for x in laid)


def _middle(values: list[float], weights: list[float]) -> float:
    """Return the weighted median."""
    order = np.argsort(values, kind="stable")
    so_far = np.cumsum(np.array(weights)[order])
    return values[int(order[np.searchsorted(so_far, so_far[-1] / 2)])]


def quoted_paces(rates: Rates) -> Paces:
    """Return the pace that a price is reckoned by: that of earlier commissions.

    What is ticked off in this one does not change its price.
    """
    return Paces(rates.seconds_a_piece, [((m.laid,), m.hours) for m in rates.measured])


def paces(doc: Commission) -> Paces:
    """Return the pace by all that is known: earlier commissions, and what is ticked off in this."""
    earlier = [((m.laid,), m.hours) for m in doc.rates.measured if m.commission != doc.key]
    here = [(d.laid, d.hours) for d in doc.done]
    return Paces(doc.rates.seconds_a_piece, [*earlier, *here])


def measured_with(earlier: tuple[Measured, ...], doc: Commission) -> tuple[Measured, ...]:
    """Return what a studio measured, this commission's work in place of what it had of it."""
    own: dict[Group, tuple[int, float]] = {}
    for d in doc.done:
        _add(own, d)
    mine = tuple(Measured(doc.key, Laid(*g, n), round(h, 4)) for g, (n, h) in own.items() if n)
    return (*(m for m in earlier if m.commission != doc.key), *mine)


def _add(own: dict[Group, tuple[int, float]], done: WorkDone) -> None:
    """Add one sheet's work to sums, its hours shared out as the defaults would have them."""
    weight = [one.pieces * EFFORT.get(one.opus, 1.0) for one in done.laid]
    for one, w in zip(done.laid, weight, strict=True):
        group = one.opus, one.size, one.kind
        n, h = own.get(group, (0, 0.0))
        own[group] = n + one.pieces, h + (done.hours * w / sum(weight) if sum(weight) else 0.0)


def work_of(doc: Commission, layout: Layout) -> tuple[Work, ...]:
    """Return what the hours of a price are made of: by laying, where the studio measured work by
    size and kind too.
    """
    seconds = doc.rates.seconds_a_piece
    if not doc.rates.measured:
        pieces: dict[str, int] = {}
        for laid in layout.fields:
            opus = doc.field_by_id(laid.field_id).laying.opus
            pieces[opus] = pieces.get(opus, 0) + len(laid.pieces)
        return tuple(Work(o, n, seconds, EFFORT.get(o, 1.0)) for o, n in pieces.items() if n)
    known = quoted_paces(doc.rates)
    return tuple(
        Work(
            x.opus,
            x.pieces,
            seconds,
            EFFORT.get(x.opus, 1.0),
            known.share((x.opus, x.size, x.kind)),
            f"{x.size} {x.kind}",
        )
        for x in by_group(doc, layout)
    )
