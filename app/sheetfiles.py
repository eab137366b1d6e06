"""All that is written about sheets into one folder: for the window and the command line alike."""

from __future__ import annotations

from pathlib import Path

from app.painting import write_pdf
from core.commission import Commission
from core.errors import EmblemaError
from core.export import write_tesserae_csv
from core.paper.printer import TRUE as PLAIN
from core.paper.printer import Correction
from core.pieces import Layout
from core.sheets.keyplan import keyplan_pages
from core.sheets.made import Sheets, sheets_of, write_sheets_csv
from core.sheets.notes import notes_page
from core.sheets.pages import TRUE, sheet_pages


def write_sheets(
    folder: str | Path,
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    fill: str = "lines",
    mirrored: bool | None = None,
    sheets: Sheets | None = None,
    correction: Correction = PLAIN,
) -> Sheets:
    """Write a page for each sheet, the key plan, the setter's notes and both lists.

    As sheets.pdf, keyplan.pdf, notes.pdf, sheets.csv and tesserae.csv; `paper`, `fill`,
    `mirrored` and `correction` as for `core.sheets.pages.sheet_pages`.

    Raises
    ------
    EmblemaError
        There are no sheets, or the folder cannot be written to.
    """
    if not doc.sheets:
        raise EmblemaError("There are no sheets yet; divide the work into sheets first.")
    sheets = sheets_of(doc, layout) if sheets is None else sheets
    out = Path(folder)
    pages = sheet_pages(doc, layout, sheets, paper, fill, mirrored, correction)
    write_pdf(out / "sheets.pdf", pages, doc.title)
    plan = keyplan_pages(doc, layout, sheets, "A4" if paper == TRUE else paper)
    write_pdf(out / "keyplan.pdf", plan, doc.title)
    write_pdf(out / "notes.pdf", [notes_page(doc, layout, sheets)], doc.title)
    write_sheets_csv(out / "sheets.csv", sheets)
    write_tesserae_csv(out / "tesserae.csv", doc, layout, sheets.sheet)
    return sheets
