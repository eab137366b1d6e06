"""Papers of the sheets from the window: looked at, and written all at once."""

from __future__ import annotations

import csv
import io

from jobcard_rig import press, pump
from pypdf import PdfReader
from PySide6.QtWidgets import QFileDialog

from core.sheets.made import divided, sheets_of


def test_all_papers_of_the_sheets_are_written_into_a_folder(table, tmp_path, monkeypatch):
    session = table.session
    table.card.turn_to("Sheets")
    leaf = table.card.leaf.papers
    press(leaf, "Write all into a folder ...")
    assert table.said[-1] == "Divide the work into sheets first."
    session.apply("Divide", divided(session.doc, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *a: str(tmp_path))
    press(leaf, "Write all into a folder ...")
    last = tmp_path / "tesserae.csv"
    assert pump(lambda: table.said[-1] == f"Written to {tmp_path}"), table.said
    seen = sheets_of(session.doc, session.layout)
    rows = list(csv.DictReader(io.StringIO((tmp_path / "sheets.csv").read_text("utf-8"))))
    assert [int(r["pieces"]) for r in rows] == [len(s.which) for s in seen.each]
    pieces = list(csv.DictReader(io.StringIO(last.read_text("utf-8"))))
    assert [int(r["sheet"]) for r in pieces] == seen.sheet.tolist()
    for name, least in (("sheets", len(seen.each)), ("keyplan", 1), ("notes", 1)):
        assert len(PdfReader(tmp_path / f"{name}.pdf").pages) >= least


def test_they_are_looked_at_first(table):
    session = table.session
    session.apply("Divide", divided(session.doc, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    table.card.turn_to("Sheets")
    leaf = table.card.leaf.papers
    for words, least in (
        ("Look at sheets ...", len(session.doc.sheets)),
        ("Key plan, notes ...", 2),
    ):
        press(leaf, words)
        assert pump(lambda: leaf.shown.pages)
        assert len(leaf.shown.pages) >= least
        leaf.shown.close()
