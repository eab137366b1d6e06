"""Time on the Figures leaf and its room: ticked off, taken back, days, patches, the calendar."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import icalendar
import pytest
from jobcard_rig import Rig, press, pump, rig
from PySide6.QtCore import QDate, Qt
from PySide6.QtTest import QTest

from app.jobcard.timeroom import TimeRoom
from core.stock import StockStore
from core.terms import Days


@pytest.fixture(scope="module")
def table() -> Iterator[Rig]:
    with rig() as r:
        yield r


@pytest.fixture
def room(table: Rig) -> TimeRoom:
    table.session.apply("plain", replace(table.session.doc, days=Days(), done=()))
    table.card.turn_to("Figures")
    table.lay()
    leaf = table.card.leaves["Figures"]
    press(leaf, "Time and calendar ...")
    return leaf.time.room


def rows(t) -> list[list[str]]:
    return [[t.item(k, j).text() for j in range(t.columnCount())] for k in range(t.rowCount())]


def test_the_leaf_says_when_it_is_ready(table: Rig, room: TimeRoom) -> None:
    leaf = table.card.leaves["Figures"]
    words = leaf.time.words
    assert pump(lambda: "h of laying left; ready on" in words.text())
    before = words.text()
    assert leaf.time.figure.text().startswith("ready ")
    room.hours.spin.setValue(0.25)
    assert pump(lambda: words.text() != before)


def test_a_field_is_ticked_off_and_taken_back(table: Rig, room: TimeRoom) -> None:
    assert [r[0] for r in rows(room.work)] == ["Left", "Right"] and not room.tick.isEnabled()
    left = room.plan.hours_left
    room.work.selectRow(0)
    room.took.spin.setValue(3.5)
    room.on.setDate(QDate(2026, 11, 20))
    QTest.mouseClick(room.tick, Qt.MouseButton.LeftButton)
    (done,) = table.session.doc.done
    assert (done.what, done.of, done.hours, done.on) == ("field", "f1", 3.5, "2026-11-20")
    assert rows(room.work)[0][3:] == ["3.5 h", "2026-11-20"]
    assert "hours measured so far" in room.measured.text()
    assert any("your own" in r[-1] for r in rows(room.pace))
    assert len([s for s in room.plan.steps if s.key.startswith("lay")]) == 1
    table.session.undo()
    assert table.session.doc.done == () and room.plan.hours_left == pytest.approx(left)
    table.session.redo()
    room.work.selectRow(0)
    QTest.mouseClick(room.untick, Qt.MouseButton.LeftButton)
    assert table.session.doc.done == ()


def test_days_are_typed_and_refused_in_one_sentence(table: Rig, room: TimeRoom) -> None:
    room.promised.click()
    room.day.setDate(QDate(2030, 3, 29))
    assert table.session.doc.days.promised == "2030-03-29"
    assert "as promised" in room.head.text()
    QTest.mouseClick(room.week[5], Qt.MouseButton.LeftButton)
    assert table.session.doc.days.free_weekdays == (6,)
    room.free.setPlainText("2026-12-30 to 2027-01-01\n2027-05-14")
    room._free_days()
    assert table.session.doc.days.free_days == (
        "2026-12-30", "2026-12-31", "2027-01-01", "2027-05-14"
    )  # fmt: skip
    room.refresh()
    assert room.free.toPlainText() == "2026-12-30 to 2027-01-01\n2027-05-14"
    for wrong in ("soon", "2027-01-05 to 2027-01-01"):
        room.free.setPlainText(wrong)
        room._free_days()
        assert wrong in table.said[-1] and len(table.session.doc.days.free_days) == 4
    room.promised.click()
    assert table.session.doc.days.promised == ""


def test_the_calendar_is_written(table: Rig, room: TimeRoom, tmp_path: Path) -> None:
    out = tmp_path / "c.ics"
    room.write(str(out))
    assert pump(out.exists)
    events = icalendar.Calendar.from_ical(out.read_bytes()).walk("VEVENT")
    assert len(events) == sum(len(s.runs) for s in room.plan.steps)
    assert [r[0] for r in rows(room.steps)] == [s.words for s in room.plan.steps]


def test_a_field_in_patches(table: Rig, room: TimeRoom, tmp_path: Path) -> None:
    room.of.setCurrentIndex(1)
    press(room, "Divide into patches")
    assert pump(lambda: bool(room.patches))
    assert sum(p.pieces for p in room.patches) == room.parts[0].pieces
    assert all(p.seconds <= 20 * 60 + 1e-6 for p in room.patches)
    assert [r[1] for r in rows(room.mixed)] == [f"{p.pieces:,}" for p in room.patches]
    room.write_patches(str(tmp_path / "p.csv"))
    assert pump((tmp_path / "p.csv").exists)
    with (tmp_path / "p.csv").open(encoding="utf-8") as file:
        kg = sum(float(r["mix_kg"]) for r in csv.DictReader(file))
    assert kg == pytest.approx(sum(p.kg for p in room.patches), abs=1e-3)


def test_the_studio_keeps_the_pace_once_a_commission(table: Rig, room: TimeRoom) -> None:
    room.work.selectRow(0)
    room.took.spin.setValue(2.0)
    room.tick_off()
    for _ in range(2):
        room.keep()
    with StockStore() as store:
        kept = store.studio().rates.measured
    assert sum(m.hours for m in kept) == pytest.approx(2.0, abs=1e-3)
    assert {m.commission for m in kept} == {table.session.doc.key}
    table.card.turn_to("Brief")
    press(table.card.leaves["Brief"].studio, "Keep for the studio")
    with StockStore() as store:
        assert store.studio().rates.measured == kept


def test_where_to_is_asked(table: Rig, room: TimeRoom, tmp_path: Path, monkeypatch) -> None:
    asked: list[str] = []

    def where_to(parent, title, name, *_) -> str:
        asked.append(name)
        return str(tmp_path / name)

    monkeypatch.setattr("app.fileasking.where_to", where_to)
    room.choose()
    room.choose_patches()
    assert asked == ["calendar.ics", "patches.csv"]
    assert pump(lambda: all((tmp_path / name).exists() for name in asked))
