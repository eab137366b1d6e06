"""What stands stays: through undo, files, versions; and what is agreed asks before it changes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from jobcard_rig import Rig, pump, rig
from pypdf import PdfReader
from PySide6.QtWidgets import QMessageBox

from core import archive
from core.archive import Work
from core.commission import change_field
from core.errors import EmblemaError
from core.laying import SOLVER_VERSION
from core.pieces import Layout


@pytest.fixture
def table():
    with rig() as r:
        yield r


def same(a: Layout, b: Layout) -> bool:
    """Return whether two layouts are the same to the last bit."""
    return all(
        bool(shapely.equals_identical(one.pieces.polygons, two.pieces.polygons).all())
        and np.array_equal(one.stock, two.stock)
        and np.array_equal(one.wanted_lab, two.wanted_lab)
        for one, two in zip(a.fields, b.fields, strict=True)
    )


def test_undo_and_redo_return_the_pieces_that_stood(table: Rig) -> None:
    s = table.session
    first = s.layout
    table.change(tessera_mm=7.0)
    second = s.layout
    s.undo()
    table.lay()
    assert s.layout.kept is first.kept and same(s.layout, first)
    s.redo()
    table.lay()
    assert s.layout.kept is second.kept and same(s.layout, second)


def test_a_change_to_one_field_leaves_the_others_as_they_stand(table: Rig) -> None:
    s = table.session
    before = s.layout.kept
    s.apply("Finer", change_field(s.doc, "f1", tessera_mm=7.0))
    table.lay()
    assert s.layout.kept["f2"] is before["f2"] and s.layout.kept["f1"] is not before["f1"]


def test_a_file_shows_what_stood_when_it_was_saved(table: Rig, tmp_path: Path) -> None:
    s, path = table.session, tmp_path / "wall.emblema"
    table.change(tessera_mm=7.0)
    # as an earlier version might have laid it: nobody could lay this again
    odd = {
        k: replace(one, packed=s.layout.kept["f2"].packed, solver=SOLVER_VERSION - 1)
        for k, one in s.layout.kept.items()
    }
    s.begin(Work(s.doc, s.images, odd))
    table.lay()
    stood = s.layout
    s.save(path)
    assert not s.dirty
    s.new(100.0, 100.0, "Other")
    s.open(path)
    table.lay()
    assert same(s.layout, stood) and not s.dirty
    assert {one.solver for one in s.layout.kept.values()} == {SOLVER_VERSION - 1}


def test_what_was_laid_since_the_last_save_is_there_to_save(table: Rig, tmp_path: Path) -> None:
    s = table.session
    s.apply("Finer", change_field(s.doc, "f1", tessera_mm=7.0))
    s.save(tmp_path / "early.emblema")  # before it could be laid
    table.lay()
    assert s.dirty
    s.save()
    assert not s.dirty
    assert set(archive.open_work(tmp_path / "early.emblema").kept) == {"f1", "f2"}


def test_a_file_from_before_pieces_were_kept_is_laid_and_needs_no_saving(
    table: Rig, tmp_path: Path
) -> None:
    s = table.session
    archive.save(tmp_path / "old.emblema", s.doc, s.images)
    s.open(tmp_path / "old.emblema")
    table.lay()
    assert not s.dirty and len(s.layout) > 0


def test_undo_forgets_its_oldest_steps_before_it_takes_too_much(table: Rig, monkeypatch) -> None:
    s = table.session
    each = sum(len(one.packed) for one in s.layout.kept.values())
    monkeypatch.setattr("app.session.MOST_UNDO_BYTES", int(4.5 * each))
    for k in range(8):
        table.change(tessera_mm=7.0 + 0.2 * k)
    steps = 0
    while s.undo_label is not None:
        s.undo()
        steps += 1
    assert 2 <= steps < 8


# --- agreed ---------------------------------------------------------------------------------


def test_what_is_agreed_asks_and_is_left_or_changed(table: Rig) -> None:
    s, asked = table.session, []
    leaf = table.card.turn_to("Fields") or table.card.leaves["Fields"]
    s.select(("f1",))
    leaf.agree.click()
    assert [a.field_id for a in s.doc.agreed] == ["f1"]
    assert "Agreed on" in leaf.agreed.text()

    def no(words: str) -> bool:
        asked.append(words)
        return False

    s.ask = no
    before = s.doc
    with pytest.raises(EmblemaError, match="Left as it is agreed"):
        s.apply("Finer", change_field(s.doc, "f1", tessera_mm=7.0))
    assert s.doc is before and "Finer" in asked[0] and "Left" in asked[0]
    s.apply("Finer", change_field(s.doc, "f2", tessera_mm=7.0))  # the other one may
    assert len(asked) == 1
    s.ask = lambda words: True
    s.apply("Finer", change_field(s.doc, "f1", tessera_mm=7.0))
    assert s.doc.agreed == () and s.doc.field_by_id("f1").laying.tessera_mm == 7.0
    s.undo()
    assert [a.field_id for a in s.doc.agreed] == ["f1"]
    s.ask = no
    s.redo()
    assert s.doc.field_by_id("f1").laying.tessera_mm == 10.0


def test_a_refused_control_shows_what_stands(table: Rig) -> None:
    s = table.session
    s.select(("f1",))
    table.card.turn_to("Fields")
    table.card.leaves["Fields"].agree.click()
    table.card.turn_to("Laying")
    leaf = table.card.leaves["Laying"]
    s.ask = lambda words: False
    leaf.numbers["tessera_mm"][0].spin.setValue(6.0)
    assert pump(lambda: leaf.numbers["tessera_mm"][0].spin.value() == 10.0, 3.0)
    assert s.doc.field_by_id("f1").laying.tessera_mm == 10.0


def test_a_written_cartoon_is_noted_agreed_and_its_marks_found(table: Rig, tmp_path: Path) -> None:
    s = table.session
    table.card.turn_to("Sheets")
    leaf = table.card.leaves["Sheets"]
    leaf.draw()
    assert "Nothing is printed yet" in leaf.prints.words.text()
    path = tmp_path / "cartoon.pdf"
    leaf.write(str(path))
    assert pump(lambda: bool(s.doc.printed))
    assert {a.field_id for a in s.doc.agreed} == {"f1", "f2"} and s.dirty
    assert s.undo_label is None  # a print is not taken back
    words = " ".join(PdfReader(path).pages[1].extract_text().split())
    mark = words.split("mark ")[1][:6]
    leaf.draw()
    assert pump(lambda: "every page holds" in leaf.prints.words.text())
    leaf.prints.line.setText(mark)
    assert leaf.prints.found.text().startswith("It holds: page A1")
    table.change(tessera_mm=7.0)
    leaf.draw()
    assert pump(lambda: "no page holds any more" in leaf.prints.words.text())
    leaf.prints.line.setText(mark.lower())
    assert leaf.prints.found.text().startswith("It no longer holds: page A1")
    leaf.prints.line.setText("222222")
    assert "No page printed" in leaf.prints.found.text()
    s.undo()
    table.lay()
    leaf.draw()
    assert pump(lambda: "every page holds" in leaf.prints.words.text())


# --- another version ------------------------------------------------------------------------


def test_laying_offers_this_version_says_what_changes_and_can_be_taken_back(
    table: Rig, monkeypatch
) -> None:
    s = table.session
    table.change(tessera_mm=7.0)
    new = s.layout.kept
    table.change(throw=3, variation=0.2)
    old = {
        k: replace(new[k], packed=one.packed, solver=SOLVER_VERSION - 1)
        for k, one in s.layout.kept.items()
    }
    s.undo()
    s.begin(Work(s.doc, s.images, old))
    table.lay()
    table.card.turn_to("Laying")
    leaf = table.card.leaves["Laying"]
    leaf.refresh()
    assert leaf.anew.isVisibleTo(leaf) and "laid them: 2 fields" in leaf.older.text()
    shown = []

    def answer(box: QMessageBox, take: bool) -> None:
        shown.append(box.text())
        role = QMessageBox.ButtonRole.AcceptRole if take else QMessageBox.ButtonRole.RejectRole
        next(b for b in box.buttons() if box.buttonRole(b) == role).click()

    monkeypatch.setattr(QMessageBox, "exec", lambda box: answer(box, False))
    leaf.anew.click()
    assert pump(lambda: len(shown) == 1)
    assert "pieces would be otherwise" in shown[0] and s.layout.kept is old
    monkeypatch.setattr(QMessageBox, "exec", lambda box: answer(box, True))
    leaf.anew.click()
    assert pump(lambda: len(shown) == 2)
    table.lay()
    assert {one.solver for one in s.layout.kept.values()} == {SOLVER_VERSION}
    assert s.layout.kept["f1"].packed == new["f1"].packed
    leaf.refresh()
    assert not leaf.anew.isVisibleTo(leaf)
    s.undo()
    table.lay()
    assert s.layout.kept is old
