"""Papers of the sheets from the window: looked at, and written all at once."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

from jobcard_rig import press, pump
from pypdf import PdfReader
from PySide6.QtWidgets import QFileDialog

from core.commission import Sheeting
from core.errors import EmblemaError
from core.sheets.graph import joint_graph
from core.sheets.made import divided, moved_to, sheets_of


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


def test_what_was_written_is_noted_and_said_to_hold_until_its_pieces_change(table, tmp_path):
    session = table.session
    small = replace(session.doc, sheeting=Sheeting(width_mm=90.0, height_mm=90.0))
    session.apply("Divide", divided(small, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    table.card.turn_to("Sheets")
    leaf = table.card.leaf
    leaf.papers.write(str(tmp_path))
    assert pump(lambda: session.doc.printed), table.said
    (note,) = session.doc.printed
    assert note.what.startswith("Sheets, A4, ")
    assert [name for name, _ in note.marks] == [f"sheet {s.number}" for s in session.doc.sheets]
    leaf.prints.refresh()
    assert pump(lambda: "every page holds" in leaf.prints.words.text())
    pages = "".join(p.extract_text() for p in PdfReader(tmp_path / "sheets.pdf").pages)
    assert all(mark in pages for _, mark in note.marks)
    # a piece over the seam: its two sheets hold no longer, the others do
    seen = sheets_of(session.doc, session.layout)
    one = seen.each[0]
    two = one.beside[0].number
    graph = joint_graph(session.doc, session.layout)
    for a, b in ((graph.a, graph.b), (graph.b, graph.a)):
        for k in b[(seen.sheet[a] == one.number) & (seen.sheet[b] == two)].tolist():
            try:
                doc = moved_to(session.doc, session.layout, [k], one.number)
            except EmblemaError:
                continue
    session.apply("Move", doc)
    assert pump(lambda: session.laid_doc is session.doc)
    leaf.prints.refresh()
    gone = sorted((one.number, two))
    said = "no page holds" if len(seen.each) == 2 else f"sheet {gone[0]}, sheet {gone[1]}."
    assert pump(lambda: said in leaf.prints.words.text()), leaf.prints.words.text()


def test_sheets_are_printed_aside_and_noted(table, tmp_path):
    from PySide6.QtPrintSupport import QPrinter

    session = table.session
    session.apply("Divide", divided(session.doc, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    table.card.turn_to("Sheets")
    leaf = table.card.leaf.papers
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFileName(str(tmp_path / "printed.pdf"))
    leaf.printing.print_on(printer)
    assert pump(lambda: session.doc.printed), table.said
    assert session.doc.printed[0].what.startswith("Sheets, A4, ")
    assert len(PdfReader(tmp_path / "printed.pdf").pages) >= len(session.doc.sheets)


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
