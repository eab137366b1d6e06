"""Rounds in the window: kept with the client's words, gone back to, branched, never undone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from jobcard_rig import Rig, pump
from PySide6.QtCore import QDate
from PySide6.QtWidgets import QFileDialog
from test_standing import same

from app.jobcard import keptrounds
from core import archive
from core.agreed import agree
from core.archive import Work
from core.errors import EmblemaError


def leaf(table: Rig) -> keptrounds.KeptRounds:
    table.card.turn_to("Brief")
    return table.card.leaves["Brief"].rounds


def kept(table: Rig, words: str = "") -> None:
    leaf(table).book.keep("", words, "2026-05-14")


def test_a_round_is_kept_with_the_clients_words(table: Rig, monkeypatch) -> None:
    def answered(self: keptrounds.KeepDialog) -> bool:
        self.called.setText(" first sketch ")
        self.said.setPlainText("The sea is too calm.\nMore waves.")
        self.day.setDate(QDate(2026, 5, 14))
        return True

    monkeypatch.setattr(keptrounds.KeepDialog, "exec", answered)
    rounds = leaf(table)
    rounds.keep.click()
    (r,) = table.session.rounds
    assert (r.number, r.name, r.on) == (1, "first sketch", "2026-05-14")
    assert r.words == "The sea is too calm.\nMore waves."
    assert rounds.list.item(0).text() == (
        "Round 1, first sketch, 2026-05-14\nThe sea is too calm. More waves."
    )
    assert "Quote" in rounds.list.item(0).toolTip()
    pump(lambda: table.session.layout_is_current and "round 1" in rounds.stands.text(), 5)
    assert rounds.stands.text() == "The work is as it was in round 1."
    assert table.session.dirty


def test_undo_of_an_edit_takes_no_round_back(table: Rig) -> None:
    table.change(tessera_mm=7.0)
    kept(table)
    s = table.session
    s.undo()
    table.lay()
    assert [r.number for r in s.rounds] == [1]
    s.redo()
    table.lay()
    assert [r.number for r in s.rounds] == [1] and leaf(table).book.kept_as() is s.rounds[0]


def test_going_back_is_one_step_and_what_stood_is_kept_first(table: Rig) -> None:
    s = table.session
    first = s.layout
    kept(table)
    table.change(tessera_mm=7.0)
    second, doc = s.layout, s.doc
    rounds = leaf(table)
    rounds.choose(1)
    rounds.back.click()
    table.lay()
    assert same(s.layout, first) and s.doc == s.rounds[0].doc
    assert [r.name for r in s.rounds] == ["", "kept aside before going back"]
    assert same(rounds.book.states((2,))()[0].layout, second)
    assert s.undo_label == "Back to round 1"
    s.undo()
    table.lay()
    assert s.doc == doc and same(s.layout, second) and len(s.rounds) == 2
    rounds.choose(1)
    rounds.back.click()
    table.lay()
    assert len(s.rounds) == 2  # what stood was round 2 already


def test_going_back_asks_where_it_would_change_what_is_agreed(table: Rig) -> None:
    s = table.session
    kept(table)
    table.change(tessera_mm=7.0)
    s.apply("Agree", agree(s.doc, {"f1"}, "2026-05-20"))
    table.lay()
    asked = []
    s.ask = lambda words: bool(asked.append(words))
    before = s.doc, s.rounds
    with pytest.raises(EmblemaError, match="Left as it is agreed"):
        leaf(table).book.go_back(1)
    assert (s.doc, s.rounds) == before and "'Back to round 1' would change" in asked[0]


def test_nothing_is_kept_while_it_is_laid(table: Rig) -> None:
    s = table.session
    s.apply("Another throw", replace(s.doc, seed=9))
    assert not s.layout_is_current
    with pytest.raises(EmblemaError, match="Wait until all is laid"):
        leaf(table).book.keep()
    assert not leaf(table).keep.isEnabled() and s.rounds == ()
    table.lay()


def test_rounds_are_saved_and_are_a_reason_to_save(table: Rig, tmp_path: Path) -> None:
    s = table.session
    s.save(tmp_path / "threshold.emblema")
    assert not s.dirty
    kept(table, "So it shall be.")
    assert s.dirty
    s.save()
    assert not s.dirty
    s.open(tmp_path / "threshold.emblema")
    table.lay()
    assert [r.words for r in s.rounds] == ["So it shall be."] and not s.dirty
    s.begin(Work(*table_of(table)))
    table.lay()
    assert s.rounds == () and leaf(table).list.count() == 0


def table_of(table: Rig) -> tuple:
    return table.session.doc, table.session.images


def test_a_branch_is_a_file_of_its_own(table: Rig, tmp_path: Path, monkeypatch) -> None:
    s = table.session
    kept(table, "As it is.")
    first = s.layout
    table.change(tessera_mm=7.0)
    kept(table, "Finer.")
    path = tmp_path / "branch"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *_: (str(path), ""))
    rounds = leaf(table)
    rounds.choose(1)
    rounds.branch.click()
    assert pump(lambda: s.errands.idle)
    work = archive.open_work(path.with_suffix(".emblema"))
    assert work.doc.id != s.doc.id and work.doc.fields == s.rounds[0].doc.fields
    assert [r.words for r in work.rounds] == ["As it is."]
    s.open(path.with_suffix(".emblema"))
    table.lay()
    assert same(s.layout, first)
