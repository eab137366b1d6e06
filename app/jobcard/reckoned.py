"""What the figures are made of, in words: one line a figure, its parts beneath it."""

from __future__ import annotations

from app.jobcard.unfold import Part
from core.commission import Commission
from core.figures import Figures, work_parts
from core.figures.sums import bed_said
from core.material import Material

Line = tuple[str, str, list[Part]]


def work_line(f: Figures) -> Line:
    """Return the hours, laying by laying."""
    return "Laying", f"{f.hours:.1f} h", list(work_parts(f.work))


def _by(m: Material) -> str:
    """Return what an area is multiplied by to weigh it."""
    if m.pieces_a_kg:
        return f"at {m.pieces_a_kg:g} to the kilo"
    return f"x {m.thickness_mm:g} mm x {m.density_kg_m3:g} kg/m³"


def weight_lines(doc: Commission, f: Figures) -> list[Line]:
    """Return the weight on the wall and what it is made of."""
    r = doc.rates
    pieces = [
        (f"{c.material.code}: {c.area_mm2 / 100:,.0f} cm² {_by(c.material)}",
         f"{c.weight_kg:.2f} kg")
        for c in f.counts
        if not c.bare
    ]  # fmt: skip
    if f.unmatched:
        pieces.append((f"{f.unmatched:,} pieces without a material", "not weighed"))
    grout = [(f"joints {f.joint_dm3:.2f} dm³ x {r.grout_kg_dm3:g} kg/dm³", f"{f.grout_kg:.2f} kg")]
    bed = [
        (f"{f.area_m2:.3f} m² x {bed_said(r)} x {r.adhesive_kg_m2_mm:.2f} kg/m² a mm",
         f"{f.adhesive_kg:.2f} kg")
    ]  # fmt: skip
    if f.putty_kg:
        bed.append(("putty, not in this", f"{f.putty_kg:.2f} kg"))
    return [
        ("On the wall", f"{f.kg_m2:.1f} kg/m²",
         [(f"{f.total_kg:.2f} kg on {f.area_m2:.3f} m²", f"{f.kg_m2:.1f} kg/m²")]),
        ("Pieces", f"{f.pieces_kg:.2f} kg", pieces),
        ("Grout in the joints", f"{f.grout_kg:.2f} kg", grout),
        ("Adhesive", f"{f.adhesive_kg:.2f} kg", bed),
    ]  # fmt: skip
