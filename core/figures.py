"""What a layout needs, weighs, costs and takes: counts, grout, adhesive, hours and a quote.

Grout is reckoned from the joints as they are laid, not from a formula for even tiles, and what is
taken from the stock by `core.quantities`. Money is Decimal. Every figure is an estimate for the
studio; the wall's own limits and local codes decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission, Rates
from core.files import write_text
from core.geometry import polygon_of
from core.material import Material
from core.pieces import LaidField, Layout
from core.plaintext import csv_text
from core.quantities import blank_of, laid_whole

# Hours a piece against one laid in courses (common practice).
EFFORT: Final = {
    "regulatum": 0.7,
    "vermiculatum": 1.25,
    "classicum": 1.1,
    "palladianum": 1.5,
    "circumactum": 1.2,
    "sectile": 12.0,
}

# Most a wall carries with bed and grout, kg/m2 (BS 5385-1:2018); the weakest layer governs.
WALLS: Final = (
    ("plaster", 20.0),
    ("plasterboard", 32.0),
    ("gypsum fibreboard", 40.0),
    ("glass-reinforced cement board", 50.0),
    ("foam-cored board", 60.0),
)

COLUMNS: Final = (
    *("code", "description", "kind", "pieces", "too_large", "area_mm2", "weight_kg"),
    *("take_pieces", "take_kg", "used_kg", "in_hand", "short", "cost", "currency", "order"),
)

# What stands for the material of pieces that have none.
BARE: Final = Material("", "without a material", "other", (62.0, 0.0, 0.0))

CAUTIONS: Final = (
    "Dust: cut wet or with extraction; respirable crystalline silica is limited to 50 ug/m3 "
    "(29 CFR 1926.1153). Wear a mask that fits.",
    "Eyes: wear eye protection (ANSI Z87.1 or EN 166) whenever glass, stone or shell is cut.",
    "Wet cement burns skin and eyes: gloves, and wash at once.",
    "Two-part epoxy sensitises skin: nitrile gloves and fresh air; mix what is laid in about "
    "20 minutes.",
    "Weight: the weakest layer of the wall governs; have the wall judged before setting.",
    "Sockets, cookers, hobs, water and structure: local codes and a licensed tradesperson decide.",
)


@dataclass(frozen=True, slots=True)
class Count:
    """One material as it is laid, or the pieces without one.

    `too_large` of the `pieces` cannot be cut from what the material is stocked as; they count as
    so many stocked pieces as cover them. `take` is the whole stocked pieces to take, with what
    sorting and cutting lose, `take_kg` what they weigh; `used_mm2` and `used_kg` what is used up
    of them, since the rest of a plate is laid later. `cost` is of what is used up, of whole pieces
    where the price is by the piece, None where it is by the sheet, whose pieces are not known.
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
    per_mm2 = m.thickness_mm * m.density_kg_m3 / 1e9
    used_mm2 = blank.used(spent, area_mm2) * blank.area_mm2
    cost: Decimal | None
    if m.price_unit == "kg":
        cost = m.price * _dec(used_mm2 * per_mm2)
    elif m.price_unit == "m2":
        cost = m.price * _dec(used_mm2 / 1e6)
    elif m.price_unit == "piece":
        cost = m.price * take
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
        cost=_money(cost),
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


def _dec(x: float) -> Decimal:
    return Decimal(repr(x))


def _money(x: Decimal | None) -> Decimal | None:
    return None if x is None else x.quantize(Decimal("0.01"), ROUND_HALF_UP)


def grout_kg_m2(
    length_mm: float, width_mm: float, thickness_mm: float, joint_mm: float, kg_dm3: float
) -> float:
    """Return the grout that even oblong tiles take, kg a m2, without surplus.

    Exact: the share of joint is 1 - LW / ((L + j)(W + j)).
    """
    share = 1 - length_mm * width_mm / ((length_mm + joint_mm) * (width_mm + joint_mm))
    return thickness_mm * kg_dm3 * share


@dataclass(frozen=True, slots=True)
class Work:
    """The hours that one way of laying takes: `pieces` at `seconds` each, times its `effort`."""

    opus: str
    pieces: int
    seconds: float
    effort: float

    @property
    def hours(self) -> float:
        """All of them."""
        return self.pieces * self.seconds * self.effort / 3600


@dataclass(frozen=True, slots=True)
class Figures:
    """A whole layout in figures. Areas in m2, weights in kg, money in the commission's currency.

    `grout_kg` is what the joints hold, `grout_bought_kg` that with its surplus; `work` is what the
    hours are made of, in the order of the fields. `walls` says of each kind of wall whether it
    carries `kg_m2` (BS 5385-1:2018).
    """

    counts: tuple[Count, ...]
    pieces: int
    unmatched: int
    area_m2: float
    joint_dm3: float
    pieces_kg: float
    grout_kg: float
    grout_bought_kg: float
    adhesive_kg: float
    kg_m2: float
    work: tuple[Work, ...]
    materials_cost: Decimal
    unpriced: tuple[str, ...]
    grout_cost: Decimal
    adhesive_cost: Decimal
    work_cost: Decimal
    margin: Decimal
    tax: Decimal
    walls: tuple[tuple[str, float, bool], ...]

    @property
    def hours(self) -> float:
        """Of laying, all together."""
        return sum(w.hours for w in self.work)

    @property
    def total_kg(self) -> float:
        """Pieces, grout and adhesive on the wall."""
        return self.pieces_kg + self.grout_kg + self.adhesive_kg

    @property
    def cost(self) -> Decimal:
        """What it costs the studio."""
        return self.materials_cost + self.grout_cost + self.adhesive_cost + self.work_cost

    @property
    def quote(self) -> Decimal:
        """Everything together, with the studio's margin and tax."""
        return self.cost + self.margin + self.tax


def figures(doc: Commission, layout: Layout) -> Figures:
    """Reckon a layout by the commission's own rates."""
    rates: Rates = doc.rates
    table = counts(doc, layout)
    thickness = np.array([m.thickness_mm for m in doc.materials] or [4.0])
    area = grout_mm3 = 0.0
    laid_by: dict[str, int] = {}
    for laid in layout.fields:
        f = doc.field_by_id(laid.field_id)
        field_mm2 = polygon_of(f.outline).area
        piece_mm2 = laid.pieces.area_mm2
        on = laid.stock >= 0
        deep = thickness[laid.stock[on]].mean() if on.any() else float(thickness.mean())
        area += field_mm2
        grout_mm3 += max(field_mm2 - float(piece_mm2.sum()), 0.0) * float(deep)
        laid_by[f.laying.opus] = laid_by.get(f.laying.opus, 0) + len(laid.pieces)
    work = tuple(
        Work(opus, n, rates.seconds_a_piece, EFFORT.get(opus, 1.0))
        for opus, n in laid_by.items()
        if n
    )
    area_m2 = area / 1e6
    grout_kg = grout_mm3 / 1e6 * rates.grout_kg_dm3
    adhesive_kg = area_m2 * rates.bed_mm * rates.adhesive_kg_m2_mm
    pieces_kg = sum(c.weight_kg for c in table)
    kg_m2 = (pieces_kg + grout_kg + adhesive_kg) / area_m2 if area_m2 else 0.0
    bought_grout = grout_kg * (1 + rates.grout_surplus)
    zero = Decimal("0.00")
    parts = {
        "materials_cost": sum((c.cost for c in table if c.cost is not None), zero),
        "grout_cost": _money(rates.grout_kg * _dec(bought_grout)) or zero,
        "adhesive_cost": _money(rates.adhesive_kg * _dec(adhesive_kg)) or zero,
        "work_cost": _money(rates.hour * _dec(sum(w.hours for w in work))) or zero,
    }
    cost = sum(parts.values(), zero)
    margin = _money(cost * _dec(rates.margin)) or zero
    return Figures(
        counts=table,
        pieces=len(layout),
        unmatched=sum(c.pieces for c in table if c.bare),
        area_m2=area_m2,
        joint_dm3=grout_mm3 / 1e6,
        pieces_kg=pieces_kg,
        grout_kg=grout_kg,
        grout_bought_kg=bought_grout,
        adhesive_kg=adhesive_kg,
        kg_m2=kg_m2,
        work=work,
        unpriced=tuple(c.material.code for c in table if c.cost is None),
        **parts,
        margin=margin,
        tax=_money((cost + margin) * _dec(rates.tax)) or zero,
        walls=tuple((name, limit, kg_m2 <= limit) for name, limit in WALLS),
    )


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
