"""What is laid, by material, field, motif and sheet, and what cutting and sorting lose of it.

Each piece is held against the share of its blank that it uses up (`core.quantities`), so that the
parts of a work add up to the whole whichever way it is parted. What is left of the last blank is
not in it: it is laid later.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission
from core.files import write_text
from core.pieces import Layout
from core.plaintext import csv_text
from core.quantities import blank_of, laid_whole
from core.sheets.made import sheet_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BY: Final = ("material", "field", "motif", "sheet")
COLUMNS: Final = (
    *("by", "name", "code", "pieces", "net_area_mm2", "net_kg"),
    *("offcuts_kg", "lost_in_cutting_kg", "sorted_out_kg", "to_buy_kg"),
)
NO_MOTIF: Final = "no motif"
NO_SHEET: Final = "no sheet"
BARE: Final = "no material"


@dataclass(frozen=True, slots=True)
class Tally:
    """Some of the pieces. Areas mm2, weights kg.

    `offcuts_kg` is what is left of the blanks that they are cut from, `cutting_kg` what breaks or
    goes wrong beside (the material's share lost in cutting), `sorting_kg` what sorting puts aside
    (broken, off colour, of the wrong size) so that the rest is enough.
    """

    name: str
    pieces: int
    net_mm2: float
    net_kg: float
    offcuts_kg: float
    cutting_kg: float
    sorting_kg: float

    @property
    def buy_kg(self) -> float:
        """What is to be had for them, losses and all."""
        return self.net_kg + self.offcuts_kg + self.cutting_kg + self.sorting_kg


@dataclass(frozen=True, slots=True)
class Parts:
    """Every piece of a layout with what it weighs and loses; all arrays (n,), mm2 and kg.

    `stock` indexes the commission's materials (-1: none), `field` its layout's fields.
    """

    doc: Commission
    field: Ints
    stock: Ints
    sheet: Ints
    net_mm2: Floats
    net_kg: Floats
    offcuts_kg: Floats
    cutting_kg: Floats
    sorting_kg: Floats
    names: tuple[str, ...]
    motifs: tuple[str, ...]

    def by(self, what: str) -> tuple[Ints, tuple[str, ...]]:
        """Return which part each piece belongs to, and the parts' names (see `BY`)."""
        if what == "material":
            codes = tuple(m.code for m in self.doc.materials)
            return np.where(self.stock < 0, len(codes), self.stock), (*codes, BARE)
        if what == "field":
            return self.field, self.names
        if what == "motif":
            known = tuple(dict.fromkeys(self.motifs))
            of = np.array([known.index(m) for m in self.motifs] or [0], np.int64)
            return of[self.field], tuple(m or NO_MOTIF for m in known)
        numbers = sorted(s.number for s in self.doc.sheets)
        at = np.searchsorted(np.array(numbers, np.int64), self.sheet)
        names = (*(f"sheet {n}" for n in numbers), NO_SHEET)
        return np.where(self.sheet == 0, len(numbers), at), names

    def tallies(self, what: str) -> tuple[Tally, ...]:
        """Return what is in each part that holds a piece, in the document's order."""
        of, names = self.by(what)
        return self._summed(of, names)

    def by_code(self, what: str) -> tuple[tuple[str, Tally], ...]:
        """Return what is of each material in each part: (the part's name, tally by code)."""
        of, names = self.by(what)
        stock, codes = self.by("material")
        both = self._summed(of * len(codes) + stock, tuple(c for _ in names for c in codes))
        at = np.unique(of * len(codes) + stock) // len(codes)
        return tuple((names[k], t) for k, t in zip(at.tolist(), both, strict=True))

    def _summed(self, of: Ints, names: tuple[str, ...]) -> tuple[Tally, ...]:
        columns = (self.net_mm2, self.net_kg, self.offcuts_kg, self.cutting_kg, self.sorting_kg)
        count = np.bincount(of, minlength=len(names))
        sums = [np.bincount(of, column, len(names)) for column in columns]
        return tuple(
            Tally(names[k], int(count[k]), *(float(s[k]) for s in sums))
            for k in np.flatnonzero(count).tolist()
        )


def parts_of(doc: Commission, layout: Layout) -> Parts:
    """Return every piece with what it weighs and loses."""
    some = [f for f in layout.fields if len(f.pieces)]
    fields = [doc.field_by_id(f.field_id) for f in some]

    stock = np.concatenate([f.stock for f in some] or [np.empty(0, np.int64)])
    area = np.concatenate([f.pieces.area_mm2 for f in some] or [np.empty(0)])
    box = np.concatenate([f.pieces.box_mm for f in some] or [np.empty((0, 2))])
    whole = np.concatenate(
        [laid_whole(f, laid.pieces) for f, laid in zip(fields, some, strict=True)]
        or [np.empty(0, bool)]
    )
    net, offcuts, cutting, sorting = np.zeros((4, len(stock)))
    for k in np.unique(stock[stock >= 0]).tolist():
        m, on = doc.materials[k], np.flatnonzero(stock == k)
        blank = blank_of(m, doc.rates)
        spent = blank.shares(blank.spent(box[on], whole[on])) * blank.area_mm2
        spent = np.maximum(spent, area[on])  # a piece may be drawn a little larger than its blank
        cut = spent / (1 - m.waste)
        net[on] = area[on] * m.kg_mm2
        offcuts[on] = (spent - area[on]) * m.kg_mm2
        cutting[on] = (cut - spent) * m.kg_mm2
        sorting[on] = (cut / (1 - m.sorted_out) - cut) * m.kg_mm2
    return Parts(
        doc,
        np.repeat(np.arange(len(some)), [len(f.pieces) for f in some]),
        stock,
        sheet_of(doc.sheets, layout.polygons),
        area,
        *(net, offcuts, cutting, sorting),
        tuple(f.name for f in fields),
        tuple(f.motif for f in fields),
    )


def write_quantities_csv(path: str | Path, doc: Commission, layout: Layout) -> None:
    """Write each material's part of each field, motif and sheet, and of the whole work.

    The rows of one way of parting (`by`) add up to the whole; so do those of any other.
    """
    parts = parts_of(doc, layout)
    rows: list[list[object]] = [[*COLUMNS]]
    for what in BY:
        if what == "sheet" and not doc.sheets:
            continue
        for name, t in parts.by_code(what):
            code = "" if t.name == BARE else t.name
            kilos = (t.net_kg, t.offcuts_kg, t.cutting_kg, t.sorting_kg, t.buy_kg)
            rows.append(
                [
                    *(what, code if what == "material" else name, code, t.pieces),
                    *(f"{t.net_mm2:.1f}", *(f"{kg:.5f}" for kg in kilos)),
                ]
            )
    write_text(path, csv_text(rows))
