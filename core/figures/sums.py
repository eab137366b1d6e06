"""The whole work in figures, one a row, for whoever reckons on with them."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Final

from core.commission import Commission, Rates
from core.figures.whole import Figures, figures
from core.files import write_text
from core.pieces import Layout
from core.plaintext import csv_text

COLUMNS: Final = ("figure", "value", "unit", "made_of")


def write_sums_csv(path: str | Path, doc: Commission, layout: Layout) -> None:
    """Write every sum of the work with its unit and what it is made of."""
    write_text(path, csv_text([[*COLUMNS], *sums(doc, figures(doc, layout))]))


def sums(doc: Commission, f: Figures) -> list[list[str]]:
    """Return the rows: figure, value, unit, what it is made of."""
    r = doc.rates
    limit = doc.place.limit_kg_m2
    rows: list[tuple[str, float | int | Decimal, str, str]] = [
        ("pieces", f.pieces, "", ""),
        ("pieces without a material", f.unmatched, "", ""),
        ("area", f.area_m2, "m2", "of all fields"),
        ("pieces weigh", f.pieces_kg, "kg", "area x thickness x density, or pieces weighed"),
        ("joints", f.joint_dm3, "dm3", "area between the pieces x depth"),
        ("grout in the joints", f.grout_kg, "kg", f"joints x {r.grout_kg_dm3:g} kg/dm3"),
        ("grout to buy", f.grout_bought_kg, "kg", f"{r.grout_surplus:g} surplus"),
        ("grout by the trade's short form", f.short_grout_kg, "kg", "(L + W)/(L W) t j rho"),
        ("bed", f.bed_mm, "mm", bed_said(r)),
        ("adhesive on the wall", f.adhesive_kg, "kg", f"{r.adhesive_kg_m2_mm:.4g} kg/m2 a mm"),
        ("adhesive to buy", f.adhesive_bought_kg, "kg", f"{r.goods.adhesive_surplus:g} surplus"),
        *((g.words.lower(), g.amount, g.unit, "") for g in f.goods),
        ("weight with bed and grout", f.total_kg, "kg", "pieces, grout, adhesive, putty"),
        ("weight a m2", f.kg_m2, "kg/m2", "weight / area"),
        *([("limit of " + doc.place.substrate, limit, "kg/m2", "BS 5385-1:2018")] if limit else []),
        ("hours", f.hours, "h", ""),
        ("materials", f.materials_cost, doc.currency, ""),
        ("grout", f.grout_cost, doc.currency, ""),
        ("adhesive", f.adhesive_cost, doc.currency, ""),
        ("setting goods", f.goods_cost, doc.currency, "paper, film, mesh, paste, putty"),
        ("work", f.work_cost, doc.currency, ""),
        ("cost", f.cost, doc.currency, ""),
    ]
    return [[name, _written(value), unit, made_of] for name, value, unit, made_of in rows]


def bed_said(r: Rates) -> str:
    """Return how deep the bed is, and by what."""
    if not r.goods.notch_mm:
        return f"a bed of {r.bed_mm:g} mm"
    bed = r.goods.bed_mm(r.bed_mm)
    return f"a bed of {bed:g} mm, {r.goods.notch_share:g} of a notch of {r.goods.notch_mm:g} mm"


def _written(value: float | int | Decimal) -> str:
    return f"{value:.5f}" if isinstance(value, float) else str(value)
