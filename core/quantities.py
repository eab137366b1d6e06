"""How many stocked pieces a layout takes: the one place where stock is reckoned.

A stocked piece is a blank: a cut piece, a tile, a rod, a plate. A tessera is cut from it as the
smallest box about it, with what the cut itself takes; one larger than the blank cannot be cut from
it, and a pebble or shell laid as it is found takes one whatever its size. The blanks reckoned are
always enough, since a way to cut them is known, and never too few for more pieces than for less.

References
----------
Coffman, Garey, Johnson & Tarjan 1980, doi 10.1137/0209062 (shelves, next fit by falling height).
Lee & Lee 1985, doi 10.1145/3828.3833 (pieces of alike size share a grid: harmonic packing).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.commission import Field, Rates
from core.material import Material
from core.pieces import Pieces

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Common practice: a cut or nipped piece is true to about half a millimetre, and the joint takes it
# up, so a tessera drawn so much larger than its blank is still laid from it.
TOLERANCE_MM: Final = 0.5
# Common practice: what is bought so long is a plate, slab or rod, whose ends are rough.
PLATE_MM: Final = 50.0
STONE: Final = ("marble", "stone", "ceramic")
_ALIKE: Final = 1e-6  # millimetres that decide nothing


@dataclass(frozen=True, slots=True)
class Blank:
    """A stocked piece before it is cut: its usable sides, what a cut takes, and the share of what
    is cut that sorting and cutting do not lose.

    `box` is always the sides of the smallest boxes about pieces, the longer first, shape (n, 2).
    """

    long_mm: float
    short_mm: float
    kerf_mm: float
    area_mm2: float
    kept: float = 1.0

    def holds(self, box: Floats) -> Bools:
        """Return which pieces can be cut from one blank, shape (n,)."""
        side = _drawn_in(box)
        return np.asarray(
            (side[:, 0] <= self.long_mm + _ALIKE) & (side[:, 1] <= self.short_mm + _ALIKE)
        )

    def spent(self, box: Floats, whole: Bools) -> Floats:
        """Return what is spent on pieces: on those laid whole, as found, all of the blank."""
        all_of = np.maximum(box, (self.long_mm, self.short_mm))
        return np.where((whole & self.holds(box))[:, None], all_of, box)

    def each(self, box: Floats) -> Ints:
        """Return how many of its like are cut from one blank, 0 for those too large."""
        columns, rows = self._grid(box)
        return columns * rows

    def taken(self, box: Floats, area_mm2: float = 0.0) -> int:
        """Return how many blanks pieces take that are cut from them, with what is lost.

        The least of three ways to cut, each known to be enough: pieces of alike size by a grid;
        strips of a width, cut to length; shelves of falling height. One that is too large takes
        as many as cover it. Never less than `area_mm2`, what the pieces measure.
        """
        if not len(box):
            return 0
        on = self.holds(box)
        large = _up(float(self._covering(box[~on]).sum()) / self.kept)
        ways = [self._by_grid(box[on]), self._by_strips(box[on]), self._by_shelves(box[on])]
        return int(max(min(ways) + large, _up(area_mm2 / self.kept / self.area_mm2)))

    def used(self, box: Floats, taken: int | None = None) -> float:
        """Return how many blanks are used up, where what is left of the last can be laid later.

        Each piece its share of a blank that is cut into its like; never more than are `taken`.
        """
        taken = self.taken(box) if taken is None else taken
        return min(float(self.shares(box).sum()) / self.kept, float(taken))

    def shares(self, box: Floats) -> Floats:
        """Return what share of a blank each piece uses up, without loss, shape (n,)."""
        each = self.each(box)
        return np.where(each > 0, 1 / np.maximum(each, 1), self._covering(box))

    def _grid(self, box: Floats) -> tuple[Ints, Ints]:
        """Return into how many columns and rows of a blank each piece goes, the better way round.

        None where it is too large.
        """
        side = _drawn_in(box) + self.kerf_mm
        long, short = self.long_mm + self.kerf_mm + _ALIKE, self.short_mm + self.kerf_mm + _ALIKE
        along = np.stack([long // side[:, 0], short // side[:, 1]])
        across = np.stack([long // side[:, 1], short // side[:, 0]])
        better = across.prod(axis=0) > along.prod(axis=0)
        columns, rows = np.where(better, across, along).astype(np.int64)
        return columns, rows

    def _by_grid(self, box: Floats) -> float:
        columns, rows = self._grid(box)
        kinds, many = np.unique(columns * 1_000_000 + rows, return_counts=True)
        each = kinds // 1_000_000 * (kinds % 1_000_000)
        return float(np.maximum(np.ceil(many / self.kept / each - _ALIKE), 1).sum())

    def _by_strips(self, box: Floats) -> float:
        """Strips of the whole length; but for the last all are filled to less than a piece."""
        side = _drawn_in(box) + self.kerf_mm
        strips = (self.short_mm + self.kerf_mm + _ALIKE) // np.maximum(side[:, 1], _ALIKE)
        total = 0.0
        for each in np.unique(strips):
            lengths = side[strips == each, 0]
            longest = float(lengths.max(initial=0.0))
            room = self.long_mm + self.kerf_mm - longest
            strips_of = _filled(float(lengths.sum()) / self.kept, room)
            total += _up(strips_of / float(each))
        return total

    def _by_shelves(self, box: Floats) -> float:
        """Next fit by falling height fills all but (length - longest) (height - highest)."""
        if not len(box):
            return 0.0
        side = _drawn_in(box) + self.kerf_mm
        long, high = side.max(axis=0)
        area = float(side.prod(axis=1).sum())
        x, y = self.long_mm + self.kerf_mm, self.short_mm + self.kerf_mm
        least = max((x - long) * (y - high), (x - high) * (y - long) if long <= y else 0.0)
        return _filled(area / self.kept, least)

    def _covering(self, box: Floats) -> Floats:
        side = _drawn_in(box)
        sides = np.array([self.long_mm, self.short_mm])
        ways = [np.ceil(side / s - _ALIKE).prod(axis=1) for s in (sides, sides[::-1])]
        return np.asarray(np.minimum(*ways))


def _drawn_in(box: Floats) -> Floats:
    """Return the sides that pieces must have at least."""
    return np.maximum(box - TOLERANCE_MM, box / 2)


def _filled(sum_of: float, room: float) -> float:
    """Return how many are filled where at least `room` of each is."""
    return math.inf if room <= _ALIKE else _up(sum_of / room)


def _up(x: float) -> float:
    """Return the next whole number, one however little is taken of a great plate."""
    return float(max(np.ceil(x - _ALIKE), x > 0))


def cuts(rates: Rates) -> Rates:
    """Return of the studio's rates what says how many pieces a blank gives, the rest as usual."""
    return Rates(
        glass_kerf_mm=rates.glass_kerf_mm,
        stone_kerf_mm=rates.stone_kerf_mm,
        edge_mm=rates.edge_mm,
    )


def blank_of(m: Material, rates: Rates) -> Blank:
    """Return a material as it is cut, by the studio's own kerf and loss at rough edges."""
    kerf = rates.stone_kerf_mm if m.kind in STONE else rates.glass_kerf_mm
    sides = sorted((m.length_mm, m.width_mm), reverse=True)
    usable = [s - 2 * rates.edge_mm if s >= PLATE_MM else s for s in sides]
    long, short = (max(s, _ALIKE) for s in sorted(usable, reverse=True))
    return Blank(long, short, kerf, m.length_mm * m.width_mm, kept_of(m))


def kept_of(m: Material) -> float:
    """Return the share of what is bought that neither sorting nor cutting loses."""
    return (1 - m.waste) * (1 - m.sorted_out)


def fitting(materials: Sequence[Material], rates: Rates, box: Floats) -> Bools:
    """Return which pieces can be cut from which materials, shape (n, m)."""
    blanks = [blank_of(m, rates) for m in materials]
    known = {(b.long_mm, b.short_mm): b.holds(box) for b in dict.fromkeys(blanks)}
    out = np.empty((len(box), len(blanks)), bool)
    for k, b in enumerate(blanks):
        out[:, k] = known[b.long_mm, b.short_mm]
    return out


def laid_whole(field: Field, pieces: Pieces) -> Bools:
    """Return which of a field's pieces are laid as they are found, not cut, shape (n,)."""
    return np.full(len(pieces), field.laying.pieces != "cut")


class InHand:
    """What is in hand for some pieces, and which of them each material was taken for."""

    def __init__(
        self,
        materials: Sequence[Material],
        rates: Rates,
        box: Floats,
        area_mm2: Floats,
        whole: Bools | None = None,
    ) -> None:
        self.blanks = [blank_of(m, rates) for m in materials]
        self.room = [m.pieces for m in materials]
        self._box, self._area = box, area_mm2
        self._whole = np.zeros(len(box), bool) if whole is None else whole
        self._rows: list[Ints] = [np.empty(0, np.int64) for _ in materials]

    def taken(self, k: int, more: Ints | None = None) -> int:
        """Return the blanks taken of a material, with some `more` pieces."""
        rows = self._rows[k] if more is None else np.concatenate([self._rows[k], more])
        return self.blanks[k].taken(self._spent(k, rows), float(self._area[rows].sum()))

    def _spent(self, k: int, rows: Ints) -> Floats:
        return self.blanks[k].spent(self._box[rows], self._whole[rows])

    def left(self, k: int) -> int:
        """Return the blanks left of a material."""
        return max(self.room[k] - self.taken(k), 0)

    def could(self, k: int, rows: Ints) -> int:
        """Return how many pieces there are enough for, the first before the others."""
        if not len(rows) or self.taken(k, rows) <= self.room[k]:
            return len(rows)
        enough, short = 0, len(rows)
        while short - enough > 1:
            middle = (enough + short) // 2
            if self.taken(k, rows[:middle]) <= self.room[k]:
                enough = middle
            else:
                short = middle
        return enough

    def take(self, k: int, rows: Ints) -> None:
        """Take pieces, whether there is enough or not."""
        self._rows[k] = np.concatenate([self._rows[k], rows])

    def alike(self, k: int, rows: Ints) -> list[Ints]:
        """Part pieces by what they are cut from of a blank: which they are, the smaller first."""
        box = self._spent(k, rows)
        each = self.blanks[k].each(box)
        by_size = np.lexsort((box[:, 0], box[:, 1], -each))
        return np.split(by_size, np.flatnonzero(np.diff(each[by_size])) + 1)

    def pieces(self, k: int, rows: Ints) -> int:
        """Return for about how many more pieces there is enough, if they are like `rows`."""
        left = self.left(k)
        if not left or not len(rows):
            return left
        return int(left * max(len(rows) / self.blanks[k].taken(self._spent(k, rows)), 0.0) + 1e-9)
