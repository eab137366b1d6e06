"""The stockroom and a commission: lots by themselves, its own promises, what is no longer there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from jobcard_rig import Rig
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QInputDialog, QPushButton, QTabWidget

from app.jobcard.share import OURS
from app.jobcard.stockroom import Stockroom
from app.trays import WIDE
from app.widgets import fit
from core.commission import Swap
from core.figures import counts
from core.material import named

LEDGER_COMMISSION = 6


@pytest.fixture
def room(table: Rig, tmp_path: Path) -> Iterator[Stockroom]:
    """A stockroom where the material laid most has a lot of another shade, which comes nearer."""
    room = Stockroom(table.session, path=tmp_path / "stock.sqlite")
    layout, doc = table.session.layout, table.session.laid_doc
    assert layout is not None and doc is not None
    most = max(counts(doc, layout), key=lambda c: c.pieces)
    near = next(
        w
        for one in layout.fields
        for w, k in zip(one.wanted_lab, one.stock, strict=True)
        if doc.materials[k] is most.material
    )
    room.store.add_lot(most.material.code, 9, "2031-01-02", tuple(map(float, near)), "of its own")
    room.show()
    tabs = room.findChild(QTabWidget)
    assert tabs is not None
    tabs.setCurrentIndex(1)
    yield room
    room.done(0)


def press(room: Stockroom, words: str) -> None:
    (found,) = [b for b in room.findChildren(QPushButton) if b.text() == words]
    if found.isVisible():
        QTest.mouseClick(found, Qt.MouseButton.LeftButton, pos=QPoint(8, 8))
    else:  # on the other page
        found.click()


def rows(room: Stockroom) -> dict[str, dict[str, str]]:
    found = {}
    for k in range(room.share.table.rowCount()):
        cells = [room.share.table.item(k, j).text() for j in range(len(OURS))]
        found[cells[0]] = dict(zip(OURS, cells, strict=True))
    return found


def the_lot(room: Stockroom) -> tuple[str, int]:
    (lot,) = [m for m in room.store.offered() if m.lot is not None]
    assert isinstance(lot.key, tuple)
    return lot.key


def use(room: Stockroom, table: Rig) -> str:
    """Take the stock into the commission; return the lot's code there."""
    press(room, "Use in this commission")
    table.lay()
    room.refresh()
    return named(the_lot(room))


def test_a_lot_has_a_tray_and_is_set_aside_taken_out_and_put_back_by_itself(
    room: Stockroom, table: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    name = use(room, table)
    assert f"tray, of their own: {name}." in room.told.text()
    assert name in [t.material.code for t in table.trays.trays]
    shown = rows(room)
    assert int(shown[name]["Laid"]) > 0 and shown[name]["Free"] == "9"
    plain, number = the_lot(room)
    assert f"Lot {number}" not in shown
    press(room, "Set aside what it needs")
    shown = rows(room)[name]
    assert int(shown["Set aside"]) == min(9, int(shown["To take"]))
    if shown["Short"]:
        assert f"{name}: {shown['Short']} short, to order as {plain}" in room.told.text()
    press(room, "Take out, it is laid")
    taken = int(rows(room)[name]["Taken out"])
    lot = {v.id: v for v in room.store.lots(plain)}[number]
    assert taken == int(shown["Set aside"]) and lot.in_hand == 9 - taken
    assert rows(room)[name]["Set aside"] == "0"
    monkeypatch.setattr(QInputDialog, "getInt", lambda *_: (2, True))
    room.share.table.selectRow([*rows(room)].index(name))
    press(room, "Put back ...")
    assert {v.id: v for v in room.store.lots(plain)}[number].in_hand == 9 - taken + 2
    assert rows(room)[name]["Taken out"] == str(taken - 2)


def test_what_is_short_of_a_lot_is_ordered_as_its_material(room: Stockroom, table: Rig) -> None:
    code, number = the_lot(room)
    room.store.count_lot(number, 1)
    room.store.count_lot(room.store.lots(code)[0].id, 0)  # nor is there any of the material
    name = use(room, table)
    press(room, "Set aside what it needs")
    short = rows(room)[name]["Short"]
    assert int(short) > 0
    assert f"{name}: {short} short, to order as {code}" in room.told.text()
    table.card.turn_to("Colour")
    table.card.leaf.shorts.refresh()
    which = table.card.leaf.shorts.which
    assert f"order {code}" in which.itemText(which.findData(name))


def test_a_lot_that_is_gone_is_said_and_its_promise_stays_to_be_seen(
    room: Stockroom, table: Rig
) -> None:
    name = use(room, table)
    code, number = the_lot(room)
    press(room, "Set aside what it needs")
    aside = int(rows(room)[name]["Set aside"])
    room.store.change_lot(number, lab=None, note="")
    press(room, "Use in this commission")
    assert f"No longer of a colour of their own, so laid as their material: {name}." in (
        room.told.text()
    )
    assert name not in [m.code for m in table.session.doc.materials]
    table.lay()
    room.refresh()
    assert name not in rows(room)
    assert int(rows(room)[code]["Set aside"]) >= aside


def test_what_was_promised_and_is_not_laid_is_shown(room: Stockroom, table: Rig) -> None:
    doc = table.session.doc
    code = next(m.code for m in doc.materials if m.code not in rows(room))
    room.store.set_aside(doc.key, {code: 12}, title=doc.title)
    room.refresh()
    shown = rows(room)[code]
    assert (shown["Laid"], shown["To take"], shown["Set aside"]) == ("0", "0", "12")
    assert shown["Short"] == ""


def test_a_commission_keeps_its_promises_when_it_is_renamed_and_a_copy_begins_anew(
    room: Stockroom, table: Rig
) -> None:
    session = table.session
    use(room, table)
    press(room, "Set aside what it needs")
    n = sum(room.store.set_aside_for(session.doc.key).values())
    assert n > 0 and not room.share.apart.isVisible()
    session.apply("Name", replace(session.doc, title="Hearth"))
    room.refresh()
    words = room.share.words.text()
    assert f"'Hearth': {n:,} pieces are set aside. Its title was 'Threshold'" in words
    assert room.share.apart.isVisible()
    press(room, "It is a commission of its own")
    assert "'Hearth': 0 pieces are set aside." in room.share.words.text()
    assert not room.share.apart.isVisible() and "Threshold" not in room.share.words.text()
    table.lay()
    room.refresh()
    press(room, "Set aside what it needs")
    assert len(room.store.commissions()) == 2
    names = {room.ledger.item(k, LEDGER_COMMISSION).text() for k in range(room.ledger.rowCount())}
    assert names == {"", "Threshold", "Hearth"}


def test_two_new_commissions_of_one_title_share_nothing(room: Stockroom, table: Rig) -> None:
    session = table.session
    keys = set()
    for _ in range(2):
        session.new(300, 200, "Hearth")
        keys.add(session.doc.key)
        room.store.set_aside(session.doc.key, {"SM-01": 100}, title=session.doc.title)
    assert len(keys) == 2 and room.store.available()["SM-01"] == 2300 - 200


def test_a_commission_without_a_title_is_told_to_have_one(room: Stockroom, table: Rig) -> None:
    use(room, table)
    table.session.apply("Name", replace(table.session.doc, title=""))
    table.lay()
    press(room, "Set aside what it needs")
    assert "Give the commission a title" in room.told.text()
    assert room.store.commissions() == {}


def test_swaps_that_the_shelf_cannot_serve_are_said(room: Stockroom, table: Rig) -> None:
    session = table.session
    layout = session.layout
    most = max(counts(session.laid_doc, layout), key=lambda c: c.pieces)
    new = next(m for m in session.doc.materials if m.code == "SM-01")
    materials = tuple(replace(new, pieces=3, waste=0.0) if m is new else m
                      for m in session.doc.materials)  # fmt: skip
    swaps = (Swap(most.material.code, "SM-01"),)
    session.apply("Swap", replace(session.doc, materials=materials, swaps=swaps, within_stock=True))
    table.lay()
    table.card.turn_to("Colour")
    words = table.card.leaf.swaps.text()
    (vain,) = session.layout.unswapped.values()
    assert vain >= most.pieces - 3
    assert f"Too few in hand, so not swapped: {vain:,} to SM-01." in words
    session.apply("Loose", replace(session.doc, within_stock=False))
    table.lay()
    assert "Too few" not in table.card.leaf.swaps.text()


@pytest.mark.parametrize("words", ["SM-78", "SM-78 lot 72", "SM-78 lot 1234"])
def test_a_lots_code_has_room_on_its_tray(table: Rig, words: str) -> None:
    font = table.trays.font()
    font.setPixelSize(13)
    font.setBold(True)
    fit(font, words, WIDE - 18)
    assert QFontMetrics(font).horizontalAdvance(words) <= WIDE - 18 or font.pixelSize() == 9
    assert (font.pixelSize() == 13) == (words == "SM-78")
