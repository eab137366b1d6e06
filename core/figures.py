"""What a layout needs, weighs, costs and takes: counts, grout, adhesive, hours and a quote.

Grout is reckoned from the joints as they are laid, not from a formula for even tiles. Money is
Decimal. Every figure is an estimate for the studio; the wall's own limits and local codes decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Final

import numpy as np

from core.commission import Commission, Rates
from core.files import write_text
from core.geometry import polygon_of
from core.material import Material
from core.pieces import Layout
from core.plaintext import csv_text

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
    *("code", "description", "kind", "pieces", "area_mm2", "weight_kg", "take_pieces"),
    *("take_kg", "in_hand", "short", "cost", "currency", "order"),
)

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
    """One material as it is laid.

    `take` is the bought pieces to take from stock, with what sorting and cutting lose;
    `cost` is None where the price is by the sheet, whose pieces are not known.
    """

    material: Material
    pieces: int
    area_mm2: float
    weight_kg: float
    take: int
    take_kg: float
    cost: Decimal | None

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
    """Return what is laid of each material, in the order of the commission's materials."""
    m = len(doc.materials)
    pieces, area = np.zeros(m), np.zeros(m)
    for laid in layout.fields:
        on = laid.stock >= 0
        pieces += np.bincount(laid.stock[on], minlength=m)
        area += np.bincount(laid.stock[on], laid.pieces.area_mm2[on], minlength=m)
    return tuple(
        _count(doc.materials[k], int(pieces[k]), float(area[k])) for k in np.flatnonzero(pieces)
    )


def _count(m: Material, pieces: int, area_mm2: float) -> Count:
    side = math.sqrt(area_mm2 / pieces)
    # a bought piece larger than the tessera gives several
    each = max(1, math.floor(m.length_mm / side) * math.floor(m.width_mm / side))
    take = math.ceil(pieces / each / (1 - m.waste) - 1e-9)
    per_mm2 = m.thickness_mm * m.density_kg_m3 / 1e9
    take_kg = area_mm2 / (1 - m.waste) * per_mm2
    cost: Decimal | None
    if m.price_unit == "kg":
        cost = m.price * _dec(take_kg)
    elif m.price_unit == "m2":
        cost = m.price * _dec(area_mm2 / (1 - m.waste) / 1e6)
    elif m.price_unit == "piece":
        cost = m.price * take
    else:
        cost = None
    return Count(m, pieces, area_mm2, area_mm2 * per_mm2, take, take_kg, _money(cost))


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
class Figures:
    """A whole layout in figures. Areas in m2, weights in kg, money in the commission's currency.

    `walls` says of each kind of wall whether it carries `kg_m2` (BS 5385-1:2018).
    """

    counts: tuple[Count, ...]
    pieces: int
    unmatched: int
    area_m2: float
    pieces_kg: float
    grout_kg: float
    adhesive_kg: float
    kg_m2: float
    hours: float
    materials_cost: Decimal
    unpriced: tuple[str, ...]
    grout_cost: Decimal
    adhesive_cost: Decimal
    work_cost: Decimal
    walls: tuple[tuple[str, float, bool], ...]

    @property
    def total_kg(self) -> float:
        """Pieces, grout and adhesive on the wall."""
        return self.pieces_kg + self.grout_kg + self.adhesive_kg

    @property
    def quote(self) -> Decimal:
        """Everything together."""
        return self.materials_cost + self.grout_cost + self.adhesive_cost + self.work_cost


def figures(doc: Commission, layout: Layout) -> Figures:
    """Reckon a layout by the commission's own rates."""
    rates: Rates = doc.rates
    table = counts(doc, layout)
    thickness = np.array([m.thickness_mm for m in doc.materials] or [4.0])
    area = grout_mm3 = seconds = 0.0
    unmatched = 0
    for laid in layout.fields:
        f = doc.field_by_id(laid.field_id)
        field_mm2 = polygon_of(f.outline).area
        piece_mm2 = laid.pieces.area_mm2
        on = laid.stock >= 0
        unmatched += int((~on).sum())
        deep = thickness[laid.stock[on]].mean() if on.any() else float(thickness.mean())
        area += field_mm2
        grout_mm3 += max(field_mm2 - float(piece_mm2.sum()), 0.0) * float(deep)
        seconds += len(laid.pieces) * rates.seconds_a_piece * EFFORT.get(f.laying.opus, 1.0)
    area_m2 = area / 1e6
    grout_kg = grout_mm3 / 1e6 * rates.grout_kg_dm3
    adhesive_kg = area_m2 * rates.bed_mm * rates.adhesive_kg_m2_mm
    pieces_kg = sum(c.weight_kg for c in table)
    kg_m2 = (pieces_kg + grout_kg + adhesive_kg) / area_m2 if area_m2 else 0.0
    bought_grout = grout_kg * (1 + rates.grout_surplus)
    zero = Decimal("0.00")
    return Figures(
        counts=table,
        pieces=len(layout),
        unmatched=unmatched,
        area_m2=area_m2,
        pieces_kg=pieces_kg,
        grout_kg=grout_kg,
        adhesive_kg=adhesive_kg,
        kg_m2=kg_m2,
        hours=seconds / 3600,
        materials_cost=sum((c.cost for c in table if c.cost is not None), zero),
        unpriced=tuple(c.material.code for c in table if c.cost is None),
        grout_cost=_money(rates.grout_kg * _dec(bought_grout)) or zero,
        adhesive_cost=_money(rates.adhesive_kg * _dec(adhesive_kg)) or zero,
        work_cost=_money(rates.hour * _dec(seconds / 3600)) or zero,
        walls=tuple((name, limit, kg_m2 <= limit) for name, limit in WALLS),
    )


def write_counts_csv(path: str | Path, doc: Commission, layout: Layout) -> None:
    """Write one row a material: what is laid, what to take with waste, in hand and short, and
    under which code to order that.
    """
    rows: list[list[object]] = [[*COLUMNS]]
    for c in counts(doc, layout):
        rows.append(
            [
                c.material.code,
                c.material.description,
                c.material.kind,
                c.pieces,
                f"{c.area_mm2:.1f}",
                f"{c.weight_kg:.4f}",
                c.take,
                f"{c.take_kg:.4f}",
                c.material.pieces,
                c.short,
                "" if c.cost is None else str(c.cost),
                doc.currency,
                c.order,
            ]
        )
    write_text(path, csv_text(rows))
