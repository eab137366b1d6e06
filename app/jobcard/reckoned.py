"""What the figures are made of, in words: one line a figure, its parts beneath it."""

from __future__ import annotations

from decimal import Decimal

from app.jobcard.unfold import Part
from core.commission import Commission
from core.figures import Figures

Line = tuple[str, str, list[Part]]


def _share(x: float) -> str:
    return f"{100 * x:.3g} %"


def work_line(f: Figures) -> Line:
    """Return the hours, laying by laying."""
    parts = [
        (
            f"{w.opus}: {w.pieces:,} x {w.seconds:g} s"
            + (f" x {w.effort:g}" if w.effort != 1 else ""),
            f"{w.hours:.1f} h",
        )
        for w in f.work
    ]
    if any(w.effort != 1 for w in f.work):
        parts.append(("x: its effort, against a piece laid in courses", ""))
    return "Laying", f"{f.hours:.1f} h", parts


def weight_lines(doc: Commission, f: Figures) -> list[Line]:
    """Return the weight on the wall and what it is made of."""
    r = doc.rates
    pieces = [
        (f"{c.material.code}: {c.area_mm2 / 100:,.0f} cm² x {c.material.thickness_mm:g} mm",
         f"{c.weight_kg:.2f} kg")
        for c in f.counts
        if not c.bare
    ]  # fmt: skip
    if f.unmatched:
        pieces.append((f"{f.unmatched:,} pieces without a material", "not weighed"))
    grout = [(f"joints {f.joint_dm3:.2f} dm³ x {r.grout_kg_dm3:g} kg/dm³", f"{f.grout_kg:.2f} kg")]
    bed = [
        (f"{f.area_m2:.3f} m² x {r.bed_mm:g} mm x {r.adhesive_kg_m2_mm:.2f} kg/m² mm",
         f"{f.adhesive_kg:.2f} kg")
    ]  # fmt: skip
    return [
        ("On the wall", f"{f.kg_m2:.1f} kg/m²",
         [(f"{f.total_kg:.2f} kg on {f.area_m2:.3f} m²", f"{f.kg_m2:.1f} kg/m²")]),
        ("Pieces", f"{f.pieces_kg:.2f} kg", pieces),
        ("Grout in the joints", f"{f.grout_kg:.2f} kg", grout),
        ("Adhesive", f"{f.adhesive_kg:.2f} kg", bed),
    ]  # fmt: skip


def quote_lines(doc: Commission, f: Figures) -> list[Line]:
    """Return the quote, part by part, the sum last; parts that are not asked for are empty."""
    r, money = doc.rates, f" {doc.currency}" if doc.currency else ""

    def paid(x: Decimal) -> str:
        return f"{x:,}{money}"

    materials = []
    for c in f.counts:
        m = c.material
        if c.bare:
            materials.append((f"{c.pieces:,} pieces without a material", "not reckoned"))
        elif c.cost is None:
            materials.append((f"{m.code}: sold by the sheet", "not reckoned"))
        else:
            amount = {
                "kg": f"{c.used_kg:.2f} kg",
                "m2": f"{c.used_mm2 / 1e6:.3f} m²",
            }.get(m.price_unit, f"{c.take:,}")
            materials.append((f"{m.code}: {amount} at {m.price:,}", paid(c.cost)))
    grout = [
        (f"in the joints {f.grout_kg:.2f} kg, and {_share(r.grout_surplus)} surplus",
         f"{f.grout_bought_kg:.2f} kg"),
        (f"{f.grout_bought_kg:.2f} kg at {r.grout_kg:,}", paid(f.grout_cost)),
    ]  # fmt: skip
    adhesive = [(f"{f.adhesive_kg:.2f} kg at {r.adhesive_kg:,}", paid(f.adhesive_cost))]
    work = [*work_line(f)[2], (f"{f.hours:.2f} h at {r.hour:,}", paid(f.work_cost))]
    margin = [(f"{_share(r.margin)} of {paid(f.cost)}", paid(f.margin))]
    tax = [(f"{_share(r.tax)} of {paid(f.cost + f.margin)}", paid(f.tax))]
    lines: list[Line] = [
        ("Materials, with waste", paid(f.materials_cost), materials),
        ("Grout", paid(f.grout_cost), grout),
        ("Adhesive", paid(f.adhesive_cost), adhesive),
        (f"Work, {f.hours:.1f} h", paid(f.work_cost), work),
        ("Margin", paid(f.margin) if r.margin else "", margin),
        ("Tax", paid(f.tax) if r.tax else "", tax),
    ]
    lines.append(("Together", paid(f.quote), [(words, sum_) for words, sum_, _ in lines if sum_]))
    return lines
