"""The quote on the Figures leaf, its room, and its command: typed, seen, written, taken back."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from jobcard_rig import Rig, press, pump, rig, small
from pypdf import PdfReader

from app.cli import main
from app.jobcard.quoteroom import QuoteRoom, payments_of
from core import archive
from core.errors import EmblemaError
from core.terms import Terms


@pytest.fixture(scope="module")
def table() -> Iterator[Rig]:
    with rig() as r:
        yield r


@pytest.fixture
def room(table: Rig) -> QuoteRoom:
    table.session.apply("plain", replace(table.session.doc, terms=Terms(), currency="EUR"))
    table.card.turn_to("Figures")
    table.lay()
    leaf = table.card.leaves["Figures"]
    press(leaf, "Quote ...")
    return leaf.quote.room


def said(path: Path) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(path).pages).split())


def test_what_is_typed_is_the_commissions_and_is_taken_back(table: Rig, room: QuoteRoom) -> None:
    room.numbers["drawing"].spin.setValue(450)
    room.numbers["overhead"].spin.setValue(15)
    room.numbers["board_kg_m2"].spin.setValue(9.5)
    room.lines["client"].setText("A client")
    room.lines["client"].editingFinished.emit()
    terms = table.session.doc.terms
    assert (terms.drawing, terms.overhead, terms.client) == (Decimal("450.00"), 0.15, "A client")
    assert terms.panel.board_kg_m2 == 9.5
    table.session.undo()
    assert table.session.doc.terms.client == "" and room.lines["client"].text() == ""
    table.session.redo()
    assert table.session.doc.terms == terms


def test_the_table_shows_options_side_by_side(table: Rig, room: QuoteRoom) -> None:
    assert pump(lambda: heads(room) == ["Fixed in place"])
    room.beside["panel"].click()
    assert pump(lambda: heads(room) == ["Fixed in place", "On a removable panel"])
    assert not room.beside["fixed"].isEnabled()
    room.numbers["fixing"].spin.setValue(100)
    assert pump(lambda: "100.00" in shown(room))


def heads(room: QuoteRoom) -> list[str]:
    t = room.table
    return [t.horizontalHeaderItem(j).text() for j in range(1, t.columnCount())]


def shown(room: QuoteRoom) -> list[str]:
    t = room.table
    return [t.item(k, j).text() for k in range(t.rowCount()) for j in range(t.columnCount())]


def test_the_leaf_opens_every_line_and_adds_up(table: Rig, room: QuoteRoom) -> None:
    room.numbers["revision"].spin.setValue(75)
    room.numbers["revisions"].spin.setValue(2)
    table.lay()
    leaf = table.card.leaves["Figures"]
    leaf.refresh()
    revisions = leaf.quote.lines["revisions"]
    assert revisions.figure.text() == "150.00 EUR" and "2 rounds" in revisions.parts[0][0]
    parts = sum(Decimal(v.split()[0].replace(",", "")) for _, v in leaf.quote.total.parts)
    assert parts == Decimal(leaf.quote.total.figure.text().split()[0].replace(",", ""))
    room.numbers["revisions"].spin.setValue(0)
    table.lay()
    leaf.refresh()
    assert "revisions" not in leaf.quote.lines


def test_payments_are_a_line_each() -> None:
    told = payments_of("40 % On order\n\n35,5% laid, and seen\n24.5 the rest \n")
    words = [(s.words, s.share) for s in told]
    assert words == [("On order", 0.4), ("laid, and seen", 0.355), ("the rest", 0.245)]
    with pytest.raises(EmblemaError, match="is no payment"):
        payments_of("half of it")


def test_payments_that_do_not_make_all_of_it_are_refused(table: Rig, room: QuoteRoom) -> None:
    room.payments.setPlainText("40 % on order")
    room._payments()
    assert table.session.doc.terms.stages == () and "40 % of the price" in table.said[-1]
    room.payments.setPlainText("40 % on order\n60 % at the end")
    room._payments()
    assert [s.share for s in table.session.doc.terms.stages] == [0.4, 0.6]


def test_the_document_is_written(table: Rig, room: QuoteRoom, tmp_path: Path) -> None:
    room.lines["number"].setText("77")
    room.lines["number"].editingFinished.emit()
    room.write(str(tmp_path / "q.pdf"))
    assert pump((tmp_path / "q.pdf").exists)
    assert "No. 77" in said(tmp_path / "q.pdf") and "Threshold" in said(tmp_path / "q.pdf")
    assert pump(lambda: bool(table.session.doc.quoted))
    given = table.session.doc.quoted[-1]
    leaf = table.card.leaves["Figures"]
    total = leaf.quote.total.figure.text()
    assert given.number == "77" and f"{given.total:,.2f} EUR" == total
    assert given.mark in said(tmp_path / "q.pdf")
    table.lay()
    assert leaf.quote.given.text().endswith("as it stands.")
    room.numbers["drawing"].spin.setValue(999)
    table.lay()
    assert "changed since" in leaf.quote.given.text() and total in leaf.quote.given.text()
    table.session.undo()
    table.session.undo()
    assert table.session.doc.quoted[-1] == given  # it was given all the same


def test_the_command_writes_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    doc, images = small()
    terms = Terms(number="9", options=("panel", "vitreous"), drawing=Decimal(300))
    rates = replace(doc.rates, hour=Decimal(40))
    archive.save(tmp_path / "t.emblema", replace(doc, terms=terms, rates=rates), images)
    out = tmp_path / "q.pdf"
    assert main(["quote", str(tmp_path / "t.emblema"), "--out", str(out)]) == 0
    total = capsys.readouterr().out.split()[0]
    assert total in said(out) and "In vitreous glass" in said(out)
    page = PdfReader(out).pages[0].mediabox
    assert (float(page.width), float(page.height)) == pytest.approx((595.28, 841.89), abs=0.01)


def test_nothing_laid_is_told_in_one_line(tmp_path: Path, capsys) -> None:
    doc, images = small()
    archive.save(tmp_path / "t.emblema", replace(doc, fields=()), images)
    assert main(["quote", str(tmp_path / "t.emblema"), "--out", str(tmp_path / "q.pdf")]) == 2
    assert "no piece laid" in capsys.readouterr().err and not (tmp_path / "q.pdf").exists()
