"""The stockroom worked as by hand: Enter, counts, forms, lists, and another window beside it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from jobcard_rig import Rig, pump
from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog, QInputDialog, QMessageBox, QPushButton, QWidget

from app.jobcard.lotform import LotForm
from app.jobcard.materialform import MaterialForm
from app.jobcard.share import OURS
from app.jobcard.stockroom import LEDGER, LOTS, SHELF, SHOWN, Stockroom
from core.material import Material
from core.stock import StockStore

SEA = Material(
    "SEA",
    "sea green",
    "smalti",
    (52.12345, -24.5, 8.75),
    illuminant="D50",
    observer=10,
    price=Decimal("0.125"),
    price_unit="piece",
    pieces=120,
    waste=0.1234,
)


@pytest.fixture
def room(table: Rig, tmp_path: Path) -> Iterator[Stockroom]:
    """A stockroom with one material chosen."""
    room = Stockroom(table.session, path=tmp_path / "stock.sqlite")
    room.store.add_material(SEA)
    room.refresh()
    choose(room, "SEA")
    room.show()
    room.activateWindow()
    pump(room.isActiveWindow, 2)
    yield room
    room.done(0)


def choose(room: Stockroom, code: str) -> None:
    room.shelf.selectRow([m.code for m in room.materials].index(code))


def press(where: QWidget, words: str) -> None:
    (found,) = [b for b in where.findChildren(QPushButton) if b.text() == words]
    if found.isVisible():
        QTest.mouseClick(found, Qt.MouseButton.LeftButton)
    else:  # on the other page
        found.click()


def opened(room: Stockroom, kind: type[QDialog] = QDialog) -> list[QDialog]:
    return [d for d in room.findChildren(kind) if d.isVisible()]


def form(room: Stockroom) -> MaterialForm:
    press(room, "Change ...")
    (found,) = opened(room, MaterialForm)
    assert isinstance(found, MaterialForm)
    return found


def answer(room: Stockroom, words: str, n: int) -> int:
    """Press a button that asks for a number, type it; return what was proposed."""
    proposed = []

    def type_it() -> None:
        dialog = QApplication.activeModalWidget()
        assert isinstance(dialog, QInputDialog)
        proposed.append(dialog.intValue())
        dialog.setIntValue(n)
        dialog.accept()

    QTimer.singleShot(0, type_it)
    press(room, words)
    return proposed[0]


def cells(room: Stockroom, row: int = 0) -> dict[str, str]:
    return {h: room.lots.item(row, j).text() for j, h in enumerate(LOTS)}


def on_shelf(room: Stockroom, code: str) -> dict[str, str]:
    row = [m.code for m in room.materials].index(code)
    return {h: room.shelf.item(row, j).text() for j, h in enumerate(SHELF)}


def test_enter_while_finding_opens_nothing(room: Stockroom) -> None:
    room.find.setFocus()
    QTest.keyClicks(room.find, "sea")
    QTest.keyClick(room.find, Qt.Key.Key_Return)
    QApplication.processEvents()
    assert opened(room) == [] and room.isVisible()


def test_enter_in_a_form_keeps_it(room: Stockroom) -> None:
    shown = form(room)
    shown.lines["grade"].setFocus()
    QTest.keyClicks(shown.lines["grade"], "A")
    QTest.keyClick(shown.lines["grade"], Qt.Key.Key_Return)
    assert not shown.isVisible() and opened(room) == []
    assert room.store.material("SEA") == replace(SEA, grade="A")


def test_a_form_keeps_the_digits_that_it_does_not_show(room: Stockroom) -> None:
    shown = form(room)
    assert shown.choices["observer"].value == "10"
    shown.numbers["a"].spin.setValue(-25)
    press(shown, "Keep")
    assert room.store.material("SEA") == replace(SEA, lab=(52.12345, -25.0, 8.75))


def test_what_is_being_typed_is_kept(room: Stockroom) -> None:
    """Where a press on a button does not take the focus, as on macOS."""
    shown = form(room)
    spin = shown.numbers["thickness_mm"].spin
    spin.selectAll()
    QTest.keyClicks(spin, "8.5")
    shown.keep()
    assert room.store.material("SEA").thickness_mm == 8.5


def test_lots_say_what_was_bought_used_and_lost(room: Stockroom) -> None:
    press(room, "Add a lot ...")
    (form,) = opened(room, LotForm)
    QTest.keyClicks(form.pieces.spin, "50")
    press(form, "Keep")
    assert cells(room, room.lots.rowCount() - 1)["Bought"] == "50"
    assert room.lot() == room.lot_ids[-1] and "50 pieces" in room.told.text()
    room.lots.selectRow(0)
    assert answer(room, "Count a lot ...", 110) == 120
    assert cells(room)["In hand"] == "110" and cells(room)["Lost"] == "10 (8.3 %)"
    answer(room, "Write off ...", 20)
    assert cells(room)["Lost"] == "30 (25.0 %)"
    room.store.set_aside("wall", {"SEA": 40})
    room.store.take_out("wall", {"SEA": 15})
    room.store.set_aside("wall", {"SEA": 4})
    room.refresh()
    shown = cells(room)
    assert (shown["Bought"], shown["Used"], shown["Set aside"]) == ("120", "15", "4")
    assert shown["In hand"] == "75"


def test_removing_is_asked_first(room: Stockroom, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []
    answers = [QMessageBox.StandardButton.No, QMessageBox.StandardButton.Yes]

    def question(*given: object) -> QMessageBox.StandardButton:
        asked.append(str(given[-1]))
        return answers.pop(0)

    monkeypatch.setattr(QMessageBox, "question", question)
    press(room, "Remove")
    assert room.store.material("SEA").pieces == 120
    press(room, "Remove")
    assert "SEA" not in room.store.available()
    assert all("120 pieces" in words for words in asked) and len(asked) == 2


def test_a_price_list_changes_prices_alone(room: Stockroom, tmp_path: Path) -> None:
    (tmp_path / "prices.csv").write_text("Item;Price\nSEA;0,25\nNEW;1,00\n")
    dialog = room.take_list(str(tmp_path / "prices.csv"))
    assert dialog is not None
    assert "0 new, 1 that are stocked. Refused lines: 1." in dialog.words.text()
    assert "colour's L is missing" in dialog.faults.item(0).text()
    room.store.lose(room.store.lots("SEA")[0].id, 20)  # while the list is looked at
    press(dialog, "Take 1")
    assert room.store.material("SEA") == replace(SEA, price=Decimal("0.25"), pieces=100)


def test_what_measurements_do_not_say_is_asked(room: Stockroom, tmp_path: Path) -> None:
    nm = range(400, 701, 10)
    (tmp_path / "bands.txt").write_text(
        f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID {' '.join(f'nm{n}' for n in nm)}\n"
        f"END_DATA_FORMAT\nBEGIN_DATA\nSEA {' '.join('0.9' for _ in nm)}\nEND_DATA\n"
    )
    for answer, light in (
        ("Leave it", SEA.lab[0]),
        ("Per cent, white is 100", 8.13),
        ("Shares, white is 1", 95.996),
    ):
        room.take_measured(str(tmp_path / "bands.txt"))
        (asked,) = opened(room, QMessageBox)
        assert "shares" in asked.text() and "L* 96.0" in asked.text() and "L* 8.1" in asked.text()
        press(asked, answer)
        assert room.store.material("SEA").lab[0] == pytest.approx(light, abs=0.01)
        assert pump(lambda: not opened(room, QMessageBox), 5)
    assert room.told.text() == "1 materials measured."


def test_another_windows_changes_are_shown(room: Stockroom) -> None:
    with StockStore(room.store.path) as other:
        other.lose(other.lots("SEA")[0].id, 20, "dropped")
        assert pump(lambda: on_shelf(room, "SEA")["In hand"] == "100", 5)
        assert room.ledger.item(0, LEDGER.index("Note")).text() == "dropped"
        # a form that was open meanwhile does not count the pieces back
        shown = form(room)
        other.lose(other.lots("SEA")[0].id, 10)
        shown.lines["grade"].setText("B")
        press(shown, "Keep")
        assert room.store.material("SEA") == replace(SEA, grade="B", pieces=90)


def test_what_another_window_removed_is_said(room: Stockroom) -> None:
    with StockStore(room.store.path) as other:
        other.remove_material("SEA")
    press(room, "Change ...")
    (shown,) = opened(room, MaterialForm)
    press(shown, "Keep")
    assert "no material 'SEA'" in shown.told.text()
    shown.reject()
    for words in ("Change the lot ...", "Count a lot ...", "Write off ..."):
        room.say("")
        press(room, words)
        assert "SEA" in room.told.text() or "Choose a lot" in room.told.text()


def test_what_is_taken_out_is_not_set_aside_again(room: Stockroom, table: Rig) -> None:
    press(room, "Use in this commission")
    table.lay()
    room.refresh()
    press(room, "Take out, it is laid")
    assert "Nothing is set aside" in room.told.text()
    press(room, "Set aside what it needs")
    needed = sum(c.take for c in room.share.counted())
    press(room, "Take out, it is laid")
    assert room.told.text() == f"{needed:,} pieces are taken off the shelf."
    press(room, "Set aside what it needs")
    assert room.told.text() == "All that it needs is taken out already."
    assert room.store.set_aside_for(table.session.doc.key) == {}
    shown = [room.share.table.item(0, OURS.index(h)).text() for h in ("To take", "Taken out")]
    assert shown[0] == shown[1] != "0"


def test_the_ledger_can_be_looked_through(room: Stockroom) -> None:
    room.store.set_aside("k1", {"SEA": 5}, title="Kitchen")
    room.refresh()
    every = room.ledger.rowCount()
    room.find_moves.setText("kitchen")
    assert room.ledger.rowCount() == 1 < every
    assert room.ledger.item(0, LEDGER.index("Set aside")).text() == "+5"


def test_what_is_set_aside_for_a_commission_that_is_gone_is_given_back(
    room: Stockroom, monkeypatch: pytest.MonkeyPatch
) -> None:
    which = room.promises.which
    assert room.promises.isHidden()
    room.store.set_aside("k1", {"SEA": 5, "SM-01": 1200}, title="Kitchen")
    room.store.set_aside("k2", {"SEA": 7}, title="Kitchen")
    room.store.set_aside(room.session.doc.key, {"SEA": 9}, title="Here")
    room.refresh()
    shown = [which.itemText(k) for k in range(which.count())]
    assert sorted(shown) == [
        "Here: 9 pieces, this commission", "Kitchen: 1,205 pieces", "Kitchen: 7 pieces",
    ]  # fmt: skip
    which.setCurrentIndex(which.findData("k1"))
    answers = [QMessageBox.StandardButton.No, QMessageBox.StandardButton.Yes]
    asked = []

    def question(*given: object) -> QMessageBox.StandardButton:
        asked.append(str(given[2]))
        return answers.pop(0)

    monkeypatch.setattr(QMessageBox, "question", question)
    press(room, "Give back ...")
    assert set(room.store.commissions()) == {"k1", "k2", room.session.doc.key}
    press(room, "Give back ...")
    assert len(asked) == 2 and "Kitchen: 1,205 pieces" in asked[0]
    assert set(room.store.commissions()) == {"k2", room.session.doc.key}
    assert which.findData("k1") == -1 and which.count() == 2
    assert room.told.text() == "Nothing is set aside for 'Kitchen' any more."
    assert on_shelf(room, "SM-01")["Free"] == on_shelf(room, "SM-01")["In hand"]


@pytest.mark.parametrize("fault", ["damaged", "later", "no folder"])
def test_a_stock_that_cannot_be_opened_is_said_in_the_window(
    table: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    folder = tmp_path / "data"
    if fault == "no folder":
        folder.write_text("a file")
    else:
        folder.mkdir()
        (folder / "stock.sqlite").write_bytes(b"no stock file, but long enough for one" * 99)
    if fault == "later":
        (folder / "stock.sqlite").unlink()
        with StockStore(folder / "stock.sqlite") as store:
            store._db.execute("PRAGMA user_version = 99")
    monkeypatch.setenv("EMBLEMA_DATA", str(folder))
    table.card.turn_to("Colour")
    for words in ("Open the stock ...", "Colour from a photograph ..."):
        table.said.clear()
        press(table.card.leaf, words)
        assert len(table.said) == 1 and str(folder) in table.said[0]
        assert not [d for d in table.card.leaf.findChildren(QDialog) if d.isVisible()]


def test_of_a_vast_stock_the_first_are_shown_and_all_are_found(room: Stockroom) -> None:
    assert not room.more.isVisible()
    room.store.take_list(lambda _: [replace(SEA, code=f"Z-{k}") for k in range(SHOWN)])
    every = len(room.store.materials())
    room.refresh()
    assert room.shelf.rowCount() == SHOWN
    assert room.more.isVisible() and room.more.text().startswith(f"{every - SHOWN:,} more")
    room.find.setText(f"z-{SHOWN - 1}")
    assert [m.code for m in room.materials] == [f"Z-{SHOWN - 1}"] and not room.more.isVisible()


def test_how_a_material_is_bought_and_sorted_is_changed_in_the_form(room: Stockroom) -> None:
    room.store.add_material(replace(SEA, code="Z-1", broken=0.0123456, pieces_a_kg=333.33))
    room.refresh()
    room.find.setText("Z-1")
    room.shelf.selectRow(0)
    shown = form(room)
    assert shown.numbers["pack"].spin.text() == "loose"
    shown.lines["supplier_no"].setText("S 12")
    shown.numbers["pack"].spin.setValue(2.5)
    shown.choices["pack_unit"].show_value("m2")
    shown.numbers["wrong_size"].spin.setValue(15.0)
    shown.numbers["frost_cycles"].spin.setValue(56)
    press(shown, "Keep")
    kept = room.store.material("Z-1")
    assert (kept.supplier_no, kept.pack, kept.pack_unit) == ("S 12", 2.5, "m2")
    assert (kept.wrong_size, kept.frost_cycles) == (0.15, 56)
    assert (kept.broken, kept.pieces_a_kg) == (0.0123456, 333.33)  # not touched, not rounded
