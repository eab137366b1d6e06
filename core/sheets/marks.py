"""The marks of the sheets' pages, by which a print of one is known to hold (`core.agreed`)."""

from __future__ import annotations

from core.agreed import mark_of, piece_marks
from core.commission import Commission
from core.pieces import Layout
from core.sheets.made import sheet_of

SHEETS = "sheets"  # what a print of the sheets' pages is noted as, in the place of its paper


def sheet_marks(doc: Commission, layout: Layout) -> dict[str, str]:
    """Return the mark of each sheet's page by its name, such as "sheet 3"."""
    on = sheet_of(doc.sheets, layout.polygons)
    marks = piece_marks(doc, layout)
    found = {s.number: marks[on == s.number] for s in doc.sheets}
    return {f"sheet {n}": mark_of(some) for n, some in found.items() if len(some)}
