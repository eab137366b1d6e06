"""What a whole layout needs, weighs, costs and takes.

Grout is reckoned from the joints as they are laid, not from a formula for even tiles. Every figure
is an estimate for the studio; the wall's own limits and local codes decide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from core.commission import Commission, Rates
from core.figures.counts import Count, counts
from core.figures.hours import Work
from core.figures.money import dec, money
from core.figures.pace import work_of
from core.figures.quote import NOT_PRICED, Quote, quote_of
from core.figures.weights import short_grout_kg_m2
from core.geometry import polygon_of
from core.goods import GOODS
from core.pieces import Layout
from core.place import WALLS


@dataclass(frozen=True, slots=True)
class Good:
    """What a work takes of one of the setting goods (`core.goods`): so much for all of it."""

    words: str
    amount: float
    unit: str
    price: Decimal
    cost: Decimal


@dataclass(frozen=True, slots=True)
class Figures:
    """A whole layout in figures. Areas in m2, weights in kg, money in the commission's currency.

    `grout_kg` is what the joints hold, `grout_bought_kg` that with its surplus; `work` is what the
    hours are made of, in the order of the fields. `walls` says of each kind of wall whether it
    carries `kg_m2` (BS 5385-1:2018). `short_grout_kg` is what the trade's short form says of the
    grout; `goods` are paper, paste, film and the like, of which putty stays on the wall.
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
    walls: tuple[tuple[str, float, bool], ...]
    short_grout_kg: float = 0.0
    bed_mm: float = 0.0
    adhesive_bought_kg: float = 0.0
    goods: tuple[Good, ...] = ()
    putty_kg: float = 0.0
    price: Quote = NOT_PRICED

    @property
    def hours(self) -> float:
        """Of laying, all together."""
        return sum(w.hours for w in self.work)

    @property
    def total_kg(self) -> float:
        """Pieces, grout, adhesive and putty on the wall."""
        return self.pieces_kg + self.grout_kg + self.adhesive_kg + self.putty_kg

    @property
    def cost(self) -> Decimal:
        """What it costs the studio."""
        bought = self.materials_cost + self.grout_cost + self.adhesive_cost + self.goods_cost
        return bought + self.work_cost

    @property
    def goods_cost(self) -> Decimal:
        """Of paper, paste, film and the like."""
        return sum((g.cost for g in self.goods), Decimal("0.00"))

    @property
    def margin(self) -> Decimal:
        """The studio's, on what it costs."""
        return self.price.amount("margin")

    @property
    def tax(self) -> Decimal:
        """On the price with the margin and all fees."""
        return self.price.tax

    @property
    def quote(self) -> Decimal:
        """Everything together: what the client pays."""
        return self.price.total


def figures(doc: Commission, layout: Layout) -> Figures:
    """Reckon a layout by the commission's own rates."""
    rates: Rates = doc.rates
    table = counts(doc, layout)
    thickness = np.array([m.thickness_mm for m in doc.materials] or [4.0])
    area = grout_mm3 = short_kg = 0.0
    for laid in layout.fields:
        f = doc.field_by_id(laid.field_id)
        field_mm2 = polygon_of(f.outline).area
        piece_mm2 = laid.pieces.area_mm2
        on = laid.stock >= 0
        deep = thickness[laid.stock[on]].mean() if on.any() else float(thickness.mean())
        area += field_mm2
        grout_mm3 += max(field_mm2 - float(piece_mm2.sum()), 0.0) * float(deep)
        size, joint = f.laying.tessera_mm, f.laying.joint_mm
        short_kg += field_mm2 / 1e6 * short_grout_kg_m2(size, size, deep, joint, rates.grout_kg_dm3)
    work = work_of(doc, layout)
    area_m2 = area / 1e6
    grout_kg = grout_mm3 / 1e6 * rates.grout_kg_dm3
    bed_mm = rates.goods.bed_mm(rates.bed_mm)
    adhesive_kg = area_m2 * bed_mm * rates.adhesive_kg_m2_mm
    adhesive_bought = adhesive_kg * (1 + rates.goods.adhesive_surplus)
    putty_kg = area_m2 * rates.goods.putty_kg_m2
    pieces_kg = sum(c.weight_kg for c in table)
    kg_m2 = (pieces_kg + grout_kg + adhesive_kg + putty_kg) / area_m2 if area_m2 else 0.0
    bought_grout = grout_kg * (1 + rates.grout_surplus)
    zero = Decimal("0.00")
    parts: dict[str, Any] = {
        "materials_cost": sum((c.cost for c in table if c.cost is not None), zero),
        "grout_cost": money(rates.grout_kg * dec(bought_grout)),
        "adhesive_cost": money(rates.adhesive_kg * dec(adhesive_bought)),
        "work_cost": money(rates.hour * dec(sum(w.hours for w in work))),
    }
    goods = _goods(rates, area_m2)
    whole = Figures(
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
        walls=tuple((name, limit, kg_m2 <= limit) for name, limit in WALLS),
        short_grout_kg=short_kg,
        bed_mm=bed_mm,
        adhesive_bought_kg=adhesive_bought,
        goods=goods,
        putty_kg=putty_kg,
    )
    return replace(whole, price=quote_of(doc, whole))


def _goods(rates: Rates, area_m2: float) -> tuple[Good, ...]:
    """Return the setting goods that are used at all."""
    found = []
    for amount_of, price_of, words, unit in GOODS:
        amount = area_m2 * float(getattr(rates.goods, amount_of))
        price: Decimal = getattr(rates.goods, price_of)
        if amount:
            found.append(Good(words, amount, unit, price, money(price * dec(amount))))
    return tuple(found)
