"""What is laid of each material, and what to take of it: one count for trays, orders and files.

What is taken from the stock is reckoned by `core.quantities`. Money is Decimal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission, Rates
from core.figures.money import dec, money
from core.files import write_text
from core.material import Material
from core.pieces import LaidField, Layout
from core.plaintext import csv_text
from core.quantities import blank_of, laid_whole

COLUMNS: Final = (
    *("code", "description", "kind", "pieces", "too_large", "area_mm2", "weight_kg"),
    *("take_pieces", "take_kg", "used_kg", "in_hand", "short", "cost", "currency", "order"),
)

# What stands for the material of pieces that have none.
BARE: Final = Material("", "without a material", "other", (62.0, 0.0, 0.0))


@dataclass(frozen=True, slots=True)
class Count:
    """One material as it is laid, or the pieces without one.

    `too_large` of the `pieces` cannot be cut from what the material is stocked as; they count as
    so many stocked pieces as cover them. `take` is the whole stocked pieces to take, with what
    sorting and cutting lose, `take_kg` what they weigh; `used_mm2` and `used_kg` what is used up
    of them, since the rest of a plate is laid later. `cost` is of what is used up, of whole pieces
    where the price is by the piece, None where it is by the sheet and no pack says what that holds.
    """

    material: Material
    pieces: int
    too_large: int
    area_mm2: float
    weight_kg: float
    take: int
    take_kg: float
    used_mm2: float
    used_kg: float
    cost: Decimal | None

    @property
    def bare(self) -> bool:
        """Whether these are the pieces without a material."""
        return self.material is BARE

    @property
    def short(self) -> int:
        """Pieces missing from what is in hand."""
        return max(0, self.take - self.material.pieces)

    @property
    def order(self) -> str:
        """The code to order what is missing under: the material's, since a lot is not sold again;
        nothing where enough is in hand.
        """
        return self.material.order_code if self.short else ""


def counts(doc: Commission, layout: Layout) -> tuple[Count, ...]:
    """Return what is laid of each material, in the order of the commission's materials.

    Pieces without a material come last, in a row of their own, so that every piece is counted.
    """
    some = [f for f in layout.fields if len(f.pieces)]
    if not some:
        return ()
    stock = np.concatenate([f.stock for f in some])
    area = np.concatenate([f.pieces.area_mm2 for f in some])
    box = np.concatenate([f.pieces.box_mm for f in some])
    whole = _laid_whole(doc, some)
    rows = []
    for k in np.unique(stock[stock >= 0]):
        on = stock == k
        mm2 = float(area[on].sum())
        rows.append(_count(doc.materials[k], doc.rates, mm2, box[on], whole[on]))
    bare = stock < 0
    if bare.any():
        mm2 = float(area[bare].sum())
        rows.append(Count(BARE, int(bare.sum()), 0, mm2, 0.0, 0, 0.0, 0.0, 0.0, Decimal("0.00")))
    return tuple(rows)


def _laid_whole(doc: Commission, laid: Sequence[LaidField]) -> NDArray[np.bool_]:
    by_id = {f.id: f for f in doc.fields}
    return np.concatenate([laid_whole(by_id[f.field_id], f.pieces) for f in laid])


def _count(
    m: Material,
    rates: Rates,
    area_mm2: float,
    box: NDArray[np.float64],
    whole: NDArray[np.bool_],
) -> Count:
    blank = blank_of(m, rates)
    spent = blank.spent(box, whole)
    take = blank.taken(spent, area_mm2)
    per_mm2 = m.kg_mm2
    used_mm2 = blank.used(spent, take) * blank.area_mm2
    cost: Decimal | None
    if m.price_unit == "kg":
        cost = m.price * dec(used_mm2 * per_mm2)
    elif m.price_unit == "m2":
        cost = m.price * dec(used_mm2 / 1e6)
    elif m.price_unit == "piece":
        cost = m.price * take
    elif m.pack:
        cost = m.price * dec(take / m.pack_pieces)
    else:
        cost = None
    return Count(
        material=m,
        pieces=len(box),
        too_large=int((~blank.holds(box)).sum()),
        area_mm2=area_mm2,
        weight_kg=area_mm2 * per_mm2,
        take=take,
        take_kg=take * blank.area_mm2 * per_mm2,
        used_mm2=used_mm2,
        used_kg=used_mm2 * per_mm2,
        cost=None if cost is None else money(cost),
    )


def needed_instead(doc: Commission, layout: Layout, code: str) -> dict[str, int]:
    """Return how many stocked pieces of each other material would serve in the place of one.

    Materials that some of its pieces are too large for are left out.
    """
    k = [m.code for m in doc.materials].index(code)
    on = [(f.pieces, f.stock == k) for f in layout.fields]
    box = np.concatenate([p.box_mm[some] for p, some in on])
    whole = _laid_whole(doc, layout.fields)[np.concatenate([some for _, some in on])]
    mm2 = sum(float(p.area_mm2[some].sum()) for p, some in on)
    blanks = {m.code: blank_of(m, doc.rates) for m in doc.materials}
    return {
        m.code: blanks[m.code].taken(blanks[m.code].spent(box, whole), mm2)
        for m in doc.materials
        if m.code != code and bool(blanks[m.code].holds(box).all())
    }


def write_counts_csv(path: str | Path, doc: Commission, layout: Layout) -> None:
    """Write one row a material: what is laid, what to take with waste, in hand and short, and
    under which code to order that; pieces without a material in the last row.
    """
    rows: list[list[object]] = [[*COLUMNS]]
    for c in counts(doc, layout):
        rows.append(
            [
                c.material.code,
                c.material.description,
                c.material.kind,
                c.pieces,
                c.too_large,
                f"{c.area_mm2:.1f}",
                f"{c.weight_kg:.4f}",
                c.take,
                f"{c.take_kg:.4f}",
                f"{c.used_kg:.4f}",
                c.material.pieces,
                c.short,
                "" if c.cost is None else str(c.cost),
                doc.currency,
                c.order,
            ]
        )
    write_text(path, csv_text(rows))
