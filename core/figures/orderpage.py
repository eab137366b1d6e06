"""A purchase order as pages: what a supplier is asked for, in the supplier's own words too."""

from __future__ import annotations

from core.commission import Commission
from core.drawing import Page
from core.figures.order import Line, Order
from core.report import Column, Report

_COLUMNS = (
    Column("Your number", 1.5),
    Column("Our code", 1.3),
    Column("Description", 3.4),
    Column("Size, mm", 1.9),
    Column("Amount", 2.3),
    Column("Price", 1.7, True),
    Column("Cost", 1.5, True),
)


def order_pages(doc: Commission, order: Order, on: str) -> list[Page]:
    """Return the order to one supplier, of a day (YYYY-MM-DD)."""
    currency = f" {doc.currency}" if doc.currency else ""
    sender = ", ".join(v for v in (doc.studio, *doc.address.splitlines()) if v.strip())
    about = " · ".join(v for v in (sender, on, f"for: {doc.title}" if doc.title else "") if v)
    report = Report(f"Order: {order.named}", about, f"{doc.title}   order to {order.named}   {on}")
    rows = [_row(x) for x in order.lines]
    kilos = f"{order.kg:.1f} kg"
    last = ["Together", "", "", "", kilos, "", f"{order.cost:,}{currency}"]
    report.table(_COLUMNS, rows, last)
    open_price = [x.material.code for x in order.lines if x.cost is None]
    if open_price:
        report.say(f"Price by the sheet, not in the sum: {', '.join(open_price)}.")
    report.say(
        "All of one number from one lot, please; if that cannot be, tell us before you send."
    )
    report.say(
        "Prices are those we last had of you; please confirm them, and the day of delivery."
        if any(x.material.price for x in order.lines)
        else "Please name your prices and the day of delivery."
    )
    return report.pages()


def _row(x: Line) -> list[str]:
    m = x.material
    described = f"{m.description}, {m.grade}" if m.grade else m.description
    unit = m.price_unit.replace("m2", "m²")
    return [
        m.supplier_no,
        m.code,
        described,
        f"{m.length_mm:g} × {m.width_mm:g} × {m.thickness_mm:g}",
        amount_said(x),
        f"{m.price:,.2f} a {unit}" if m.price else "",
        f"{x.cost:,}" if x.cost is not None and m.price else "",
    ]


def amount_said(x: Line) -> str:
    """Return how much is ordered, in words: packs and what they hold, or an amount."""
    unit = x.unit.replace("m2", "m²")
    if x.packs:
        what = "sheet" if x.material.price_unit == "sheet" else "pack"
        many = f"{x.packs:,} {what}{'s' if x.packs > 1 else ''} of {x.material.pack:g} {unit}"
        return f"{many} = {x.amount.normalize():,f} {unit}" if x.packs > 1 else many
    return f"{x.amount.normalize():,f} {unit}"
