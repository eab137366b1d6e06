"""Lots in the stockroom: bought, dated, of their own colour, changed, refused, in the file."""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest
from jobcard_rig import pump
from PySide6.QtCore import QPoint, QSize, Qt
from PySide6.QtGui import QIcon
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QDateEdit,
    QDialog,
    QDoubleSpinBox,
    QLabel,
    QMessageBox,
    QPushButton,
)
from skimage.color import deltaE_ciede2000

from app.jobcard.lotform import LotForm
from app.jobcard.materialform import MaterialForm
from app.jobcard.stockroom import LOTS, Stockroom
from app.session import Session
from app.widgets import material_rgb
from core.material import Material
from core.stock import StockStore

SEA = Material("SEA", "sea green", "smalti", (52.25, -24.5, 8.75), pieces=120, waste=0.125)
OWN = (55.123456, -20.25, 4.5)
COLOUR, NOTE = LOTS.index("Colour"), LOTS.index("Note")


@pytest.fixture
def room(tmp_path: Path) -> Iterator[Stockroom]:
    """A stockroom with the material chosen: three lots, the second of its own colour."""
    session = Session()
    room = Stockroom(session, path=tmp_path / "stock.sqlite")
    room.store.add_material(SEA)
    room.store.add_lot("SEA", 30, "2031-01-02", OWN, "second pour")
    room.store.add_lot("SEA", 40, "2031-02-03")
    room.refresh()
    choose(room, "SEA")
    room.show()
    yield room
    room.done(0)
    session.close()


def choose(room: Stockroom, code: str) -> None:
    room.shelf.selectRow([m.code for m in room.materials].index(code))


def cell(room: Stockroom, row: int, column: int) -> str:
    item = room.lots.item(row, column)
    assert item is not None
    return item.text()


def press(form: QDialog, words: str) -> None:
    (found,) = [b for b in form.findChildren(QPushButton) if b.text() == words]
    QTest.mouseClick(found, Qt.MouseButton.LeftButton)


def form_of(room: Stockroom, row: int) -> LotForm:
    """Open the form of a lot by the room's own button."""
    room.lots.selectRow(row)
    return opened_by(room, "Change the lot ...")


def opened_by(room: Stockroom, words: str) -> LotForm:
    (b,) = [b for b in room.findChildren(QPushButton) if b.text() == words]
    QTest.mouseClick(b, Qt.MouseButton.LeftButton)
    (form,) = [f for f in room.findChildren(LotForm) if f.isVisible()]
    return form


def type_in(spin: QDoubleSpinBox, words: str) -> None:
    spin.selectAll()
    QTest.keyClicks(spin, words)


def type_day(form: LotForm, day: str) -> None:
    """Type a date, part by part as the field goes on by itself."""
    form.date.setFocus()
    form.date.setSelectedSection(QDateEdit.Section.YearSection)
    QTest.keyClicks(form.date, day.replace("-", ""))
    assert form.date.date().toString("yyyy-MM-dd") == day


def answering(monkeypatch: pytest.MonkeyPatch, *answers: bool) -> list[str]:
    """Answer questions one after the other; return what is asked."""
    asked: list[str] = []
    left = list(answers)
    b = QMessageBox.StandardButton

    def question(*given: object) -> QMessageBox.StandardButton:
        asked.append(str(given[2]))
        return b.Yes if left.pop(0) else b.No

    monkeypatch.setattr(QMessageBox, "question", question)
    return asked


def painted(label: QLabel) -> tuple[int, int, int]:
    """The colour that is to be seen at the right end of a swatch."""
    picture = label.grab().toImage()
    at = picture.pixelColor(picture.width() - 4, picture.height() // 2)
    return at.red(), at.green(), at.blue()


def test_the_table_shows_each_lots_own_colour(room: Stockroom) -> None:
    off = float(deltaE_ciede2000(np.array(OWN), np.array(SEA.lab)))
    shown = [cell(room, k, COLOUR) for k in range(3)]
    assert shown.count("the material's") == 2
    row = [cell(room, k, NOTE) for k in range(3)].index("second pour")
    assert shown[row] == f"55.1  -20.2  +4.5, {off:.1f} off"
    for k in range(3):
        item = room.lots.item(k, COLOUR)
        assert item is not None
        at = item.icon().pixmap(34, 20).toImage().pixelColor(17, 10)
        lab = OWN if k == row else SEA.lab
        want = material_rgb(Material("x", "x", "smalti", lab))[0]
        assert (at.red(), at.green(), at.blue()) == want


def test_another_material_has_its_own_lots_in_the_table(room: Stockroom) -> None:
    choose(room, "SM-01")
    assert room.lots.rowCount() == 1 and cell(room, 0, COLOUR) == "the material's"
    room.find.setText("nothing of this name")
    assert room.lots.rowCount() == 0
    room.edit_lot()
    assert "Choose a lot" in room.told.text()


def test_a_lot_is_given_its_own_colour_and_a_note(room: Stockroom) -> None:
    lot = room.lot_ids[2]
    form = form_of(room, 2)
    assert form.same.isChecked() and not any(n.isEnabled() for n in form.numbers)
    at = QPoint(12, form.same.height() // 2)
    QTest.mouseClick(form.same, Qt.MouseButton.LeftButton, pos=at)
    assert not form.same.isChecked()
    assert all(n.isEnabled() for n in form.numbers)
    assert form.lab() == SEA.lab and "0.0 from the material" in form.words.text()
    for number, v in zip(form.numbers, (44.5, -18.0, 3.25), strict=True):
        number.spin.setValue(v)
    off = float(deltaE_ciede2000(np.array((44.5, -18.0, 3.25)), np.array(SEA.lab)))
    assert f"{off:.1f} from the material" in form.words.text()
    pump(lambda: False, 0.02)
    assert painted(form.common) == material_rgb(SEA)[0]
    assert painted(form.own) == material_rgb(Material("x", "x", "smalti", (44.5, -18.0, 3.25)))[0]
    form.note.setText("  darker pour ")
    press(form, "Keep")
    assert not form.isVisible()
    kept = {v.id: v for v in room.store.lots("SEA")}[lot]
    assert kept.lab == (44.5, -18.0, 3.25) and kept.note == "darker pour"
    # the lot stays chosen, is shown as it now is, and the file has it
    assert room.lot() == lot and cell(room, 2, COLOUR).startswith("44.5  -18.0  +3.2")
    with StockStore(room.store.path) as again:
        assert {v.id: v for v in again.lots("SEA")}[lot] == kept


def test_a_lot_is_the_same_as_the_material_again(room: Stockroom) -> None:
    row = [cell(room, k, NOTE) for k in range(3)].index("second pour")
    form = form_of(room, row)
    assert not form.same.isChecked() and form.note.text() == "second pour"
    form.same.setChecked(True)
    assert painted(form.own) == painted(form.common) == material_rgb(SEA)[0]
    press(form, "Keep")
    (kept,) = [v for v in room.store.lots("SEA") if v.note == "second pour"]
    assert kept.lab is None and cell(room, row, COLOUR) == "the material's"
    assert room.store.material("SEA").lab == SEA.lab


def test_what_is_not_touched_keeps_every_digit(room: Stockroom) -> None:
    row = [cell(room, k, NOTE) for k in range(3)].index("second pour")
    form = form_of(room, row)
    form.numbers[1].spin.setValue(-21.0)
    press(form, "Keep")
    (kept,) = [v for v in room.store.lots("SEA") if v.note == "second pour"]
    assert kept.lab == (OWN[0], -21.0, OWN[2])


def test_leaving_the_form_changes_nothing(room: Stockroom) -> None:
    before = room.store.lots("SEA"), room.store.movements()
    form = form_of(room, 0)
    form.same.setChecked(False)
    form.numbers[0].spin.setValue(3.0)
    form.note.setText("no")
    press(form, "Leave it")
    assert not form.isVisible()
    assert (room.store.lots("SEA"), room.store.movements()) == before


def test_a_lot_that_is_gone_is_told_in_the_form(room: Stockroom) -> None:
    """Something else has been at the stock file meanwhile."""
    form = form_of(room, 0)
    lot = room.lot_ids[0]
    with closing(sqlite3.connect(room.store.path)) as other, other:
        other.execute("DELETE FROM lot WHERE id = ?", (lot,))
    press(form, "Keep")
    assert form.isVisible() and f"no lot {lot}" in form.told.text()
    press(form, "Leave it")


def test_counts_stay_as_they_are_when_a_colour_changes(room: Stockroom) -> None:
    before = [(v.id, v.in_hand, v.bought) for v in room.store.lots("SEA")]
    form = form_of(room, 1)
    form.same.setChecked(False)
    form.numbers[2].spin.setValue(-160.0)
    press(form, "Keep")
    assert [(v.id, v.in_hand, v.bought) for v in room.store.lots("SEA")] == before
    assert room.store.lots("SEA")[1].lab is not None


def test_a_search_never_puts_another_material_in_the_chosen_ones_place(room: Stockroom) -> None:
    choose(room, "SM-04")
    room.find.setText("red")
    assert len(room.materials) > 2 and room.code() == "" and room.lots.rowCount() == 0
    choose(room, room.materials[1].code)
    code = room.code()
    room.find.setText("")
    assert room.code() == code and room.lots.rowCount() == 1


def test_a_chosen_row_does_not_tint_its_swatch(room: Stockroom) -> None:
    item = room.lots.item(0, COLOUR)
    assert item is not None
    seen = [
        item.icon().pixmap(QSize(34, 20), mode).toImage().pixelColor(17, 10)
        for mode in (QIcon.Mode.Normal, QIcon.Mode.Selected)
    ]
    assert seen[0] == seen[1]


def test_a_material_kept_unchanged_is_unchanged(room: Stockroom) -> None:
    room.edit()
    form = room.findChildren(MaterialForm)[-1]
    press(form, "Keep")
    assert not form.isVisible()
    assert room.store.material("SEA").waste == SEA.waste
    assert room.store.material("SEA").lab == SEA.lab
    assert sum(v.in_hand for v in room.store.lots("SEA")) == 190


def test_a_lot_is_bought_with_all_that_is_known_of_it(room: Stockroom) -> None:
    form = opened_by(room, "Add a lot ...")
    assert form.date.date().toPython() == datetime.date.today()
    assert form.same.isChecked() and form.focusWidget() is form.pieces.spin
    QTest.keyClicks(form.pieces.spin, "60")
    type_day(form, "2025-06-07")
    form.note.setFocus()
    QTest.keyClicks(form.note, "from the flood sale")
    QTest.mouseClick(form.same, Qt.MouseButton.LeftButton, pos=QPoint(12, form.same.height() // 2))
    for number, v in zip(form.numbers, ("48.5", "-20", "1.25"), strict=True):
        type_in(number.spin, v)
    lab = (48.5, -20.0, 1.25)
    QTest.keyClick(form.numbers[2].spin, Qt.Key.Key_Return)
    assert not form.isVisible()
    # bought before the others, so it stands, and is used, before them
    kept = room.store.lots("SEA")[0]
    assert (kept.bought, kept.in_hand, kept.bought_on) == (60, 60, "2025-06-07")
    assert (kept.lab, kept.note) == (lab, "from the flood sale")
    off = float(deltaE_ciede2000(np.array(lab), np.array(SEA.lab)))
    assert room.lot() == kept.id == room.lot_ids[0]
    assert cell(room, 0, COLOUR) == f"48.5  -20.0  +1.2, {off:.1f} off"
    assert cell(room, 0, LOTS.index("Bought on")) == "2025-06-07"
    assert room.told.text() == f"Lot {kept.id} of SEA: 60 pieces."
    with StockStore(room.store.path) as again:
        assert again.lots("SEA")[0] == kept


def test_a_lot_bought_now_is_of_today_and_of_the_materials_colour(room: Stockroom) -> None:
    form = opened_by(room, "Add a lot ...")
    QTest.keyClicks(form.pieces.spin, "12")
    press(form, "Keep")
    (kept,) = [v for v in room.store.lots("SEA") if v.bought == 12]
    assert kept.bought_on == datetime.date.today().isoformat()
    assert kept.lab is None and kept.note == ""


def test_escape_leaves_the_form_and_the_shelf_as_it_was(room: Stockroom) -> None:
    before = room.store.lots("SEA"), room.store.movements()
    for words in ("Add a lot ...", "Change the lot ..."):
        form = opened_by(room, words)
        form.pieces.spin.setValue(40)
        form.note.setText("no")
        QTest.keyClick(form.note, Qt.Key.Key_Escape)
        assert not form.isVisible() and room.isVisible()
    assert (room.store.lots("SEA"), room.store.movements()) == before


def test_bad_numbers_are_told_beside_them_and_nothing_typed_is_lost(room: Stockroom) -> None:
    before = room.store.movements()
    form = opened_by(room, "Add a lot ...")
    told = form.faults
    assert not any(label.text() for label in told.values())
    form.note.setText("darker")
    QTest.keyClick(form.note, Qt.Key.Key_Return)
    assert form.isVisible() and told[form.pieces].text() == "How many are there?"
    assert form.focusWidget() is form.pieces.spin
    type_in(form.pieces.spin, "123456789")
    QTest.keyClick(form.pieces.spin, Qt.Key.Key_Return)
    assert form.isVisible() and told[form.pieces].text() == "100,000,000 are the most"
    type_in(form.pieces.spin, "40")
    form.same.setChecked(False)
    light, a, b = form.numbers
    type_in(light.spin, "150")
    type_in(b.spin, "-161")
    press(form, "Keep")
    assert form.isVisible() and form.focusWidget() is light.spin
    assert [told[n].text() for n in (light, a, b)] == ["L* is 0 to 100", "", "b* is -160 to 160"]
    assert told[form.pieces].text() == "" and form.note.text() == "darker"
    assert room.store.movements() == before
    type_in(light.spin, "50")
    type_in(b.spin, "-16")
    assert b.value == -16 and told[b].text() == ""
    press(form, "Keep")
    assert not form.isVisible()
    kept = max(room.store.lots("SEA"), key=lambda v: v.id)
    assert (kept.bought, kept.lab, kept.note) == (40, (50.0, SEA.lab[1], -16.0), "darker")


def test_a_colour_left_to_the_material_is_not_checked(room: Stockroom) -> None:
    form = opened_by(room, "Add a lot ...")
    QTest.keyClicks(form.pieces.spin, "5")
    form.same.setChecked(False)
    type_in(form.numbers[0].spin, "150")
    form.same.setChecked(True)
    assert not any(label.text() for label in form.faults.values())
    press(form, "Keep")
    assert max(room.store.lots("SEA"), key=lambda v: v.id).lab is None


def test_a_day_still_to_come_is_asked_about(
    room: Stockroom, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = answering(monkeypatch, False, True)
    before = room.store.lots("SEA")
    form = opened_by(room, "Add a lot ...")
    QTest.keyClicks(form.pieces.spin, "5")
    tomorrow = datetime.date.today() + datetime.timedelta(days=1)
    type_day(form, tomorrow.isoformat())
    assert form.faults[form.date].text() == "Still to come"
    press(form, "Keep")
    assert form.isVisible() and room.store.lots("SEA") == before
    assert f"{tomorrow:%d %B %Y} is still to come" in asked[0]
    press(form, "Keep")
    assert not form.isVisible() and len(asked) == 2
    (kept,) = [v for v in room.store.lots("SEA") if v.bought == 5]
    assert kept.bought_on == tomorrow.isoformat()
    # a day that stays as it was is not asked about again
    form = form_of(room, room.lot_ids.index(kept.id))
    form.note.setText("ordered")
    press(form, "Keep")
    assert not form.isVisible() and len(asked) == 2


def test_a_lot_dated_anew_is_used_in_its_new_turn(room: Stockroom) -> None:
    last = room.lot_ids[-1]
    form = form_of(room, 2)
    assert not form.pieces.isVisible()
    type_day(form, "2019-08-09")
    press(form, "Keep")
    assert room.lot_ids[0] == last == room.lot()
    room.store.set_aside("wall", {"SEA": 45})
    aside = {v.id: v.set_aside for v in room.store.lots("SEA")}
    assert aside[last] == 40 and sum(aside.values()) == 45
