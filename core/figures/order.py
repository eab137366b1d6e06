"""What is to be ordered, supplier by supplier: whole packs, or as much as is short.

What is short is what a layout takes, losses and all, beyond what is in hand; lots of a material
are ordered as their material, since a lot cannot be bought again.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from decimal import ROUND_CEILING, Decimal
from pathlib import Path
from typing import Final

from core.commission import Commission
from core.figures.counts import Count
from core.figures.money import dec, money
from core.files import write_text
from core.material import Material
from core.plaintext import csv_text

COLUMNS: Final = (
    *("supplier", "supplier_no", "code", "description", "grade", "length_mm", "width_mm"),
    *("thickness_mm", "needed_pieces", "in_hand_pieces", "short_pieces", "packs", "pack"),
    *("pack_unit", "amount", "unit", "pieces_ordered", "weight_kg", "price", "price_unit", "cost"),
    "currency",
)
NOBODY: Final = "No supplier named"
_ALIKE: Final = 1e-9
# Of what is sold loose no less than this is weighed or measured out.
_STEP: Final = {"kg": Decimal("0.1"), "m2": Decimal("0.01")}
_LONGEST_NAME: Final = 60


@dataclass(frozen=True, slots=True)
class Line:
    """One material to order: `packs` whole packs where it is sold so, else an amount.

    `amount` is in `unit` (kg, m2 or pieces), `pieces` what that brings, `cost` None where the price
    is by the sheet and no pack says what that holds.
    """

    material: Material
    needed: int
    in_hand: int
    short: int
    packs: int
    amount: Decimal
    unit: str
    pieces: int
    kg: float
    cost: Decimal | None


@dataclass(frozen=True, slots=True)
class Order:
    """All that is ordered of one supplier ("" where none is named)."""

    supplier: str
    lines: tuple[Line, ...]

    @property
    def named(self) -> str:
        """The supplier, or that there is none."""
        return self.supplier or NOBODY

    @property
    def cost(self) -> Decimal:
        """Of all lines whose cost is known."""
        return sum((x.cost for x in self.lines if x.cost is not None), Decimal("0.00"))

    @property
    def kg(self) -> float:
        """What is ordered weighs."""
        return sum(x.kg for x in self.lines)


def orders(doc: Commission, table: tuple[Count, ...]) -> tuple[Order, ...]:
    """Return an order for each supplier of whom something is short, by name; "" last.

    Parameters
    ----------
    table : tuple of Count
        What is laid (`core.figures.counts`).
    """
    short: dict[str, list[Count]] = {}
    for c in table:
        if c.order:
            short.setdefault(c.order, []).append(c)
    stocked = {m.code: m for m in doc.materials if m.lot is None}
    lines: dict[str, list[Line]] = {}
    for code, some in short.items():
        bare = replace(some[0].material, code=code, lot=None, lot_of="")
        m = stocked.get(code, bare)
        needed, in_hand, missing = (
            sum(values)
            for values in zip(*((c.take, c.material.pieces, c.short) for c in some), strict=True)
        )
        lines.setdefault(m.supplier.strip(), []).append(_line(m, needed, in_hand, missing))
    names = sorted(lines, key=lambda s: (not s, s.casefold(), s))
    return tuple(Order(s, tuple(sorted(lines[s], key=lambda x: x.material.code))) for s in names)


def _line(m: Material, needed: int, in_hand: int, short: int) -> Line:
    mm2 = m.length_mm * m.width_mm
    each = {"kg": m.kg_mm2 * mm2, "m2": mm2 / 1e6}
    packs = 0
    if m.pack:
        packs = max(1, math.ceil(short / m.pack_pieces - _ALIKE))
        amount, unit = packs * dec(m.pack), m.pack_unit
    elif m.price_unit in each:
        unit = m.price_unit
        step = _STEP[unit]
        steps = (dec(short * each[unit]) / step).to_integral_value(ROUND_CEILING)
        amount = steps * step
    else:
        amount, unit = Decimal(short), "pieces"
    pieces = float(amount) / each.get(unit, 1.0)
    cost: Decimal | None
    if m.price_unit == "sheet":
        cost = m.price * packs if m.pack else None
    elif m.price_unit == unit:
        cost = m.price * amount
    else:
        cost = m.price * dec(pieces * each.get(m.price_unit, 1.0))
    return Line(
        material=m,
        needed=needed,
        in_hand=in_hand,
        short=short,
        packs=packs,
        amount=amount,
        unit=unit,
        pieces=math.floor(pieces + _ALIKE),
        kg=pieces * each["kg"],
        cost=None if cost is None else money(cost),
    )


def write_order_csv(path: str | Path, order: Order, currency: str) -> None:
    """Write one row a material."""
    rows: list[list[object]] = [[*COLUMNS]]
    for x in order.lines:
        m = x.material
        rows.append(
            [
                *(order.supplier, m.supplier_no, m.code, m.description, m.grade),
                *(f"{v:g}" for v in (m.length_mm, m.width_mm, m.thickness_mm)),
                *(x.needed, x.in_hand, x.short),
                *((x.packs, f"{m.pack:g}", m.pack_unit) if m.pack else ("", "", "")),
                *(f"{x.amount:f}", x.unit, x.pieces, f"{x.kg:.3f}"),
                *(f"{m.price:f}", m.price_unit, "" if x.cost is None else f"{x.cost:f}", currency),
            ]
        )
    write_text(path, csv_text(rows))


def file_names(some: tuple[Order, ...]) -> tuple[str, ...]:
    """Return a name for each order's files without ending, safe on every disk and no two alike."""
    taken: set[str] = set()
    names = []
    for order in some:
        plain = re.sub(r"[^\w]+", "-", order.supplier.casefold()).strip("-_")[:_LONGEST_NAME]
        name = first = f"order-{plain or 'no-supplier'}"
        number = 2
        while name in taken:
            name, number = f"{first}-{number}", number + 1
        taken.add(name)
        names.append(name)
    return tuple(names)
