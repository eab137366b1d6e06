"""The manual in the window, every key, the libraries' licences, and the first tour."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeySequence
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from window_rig import LEFT, make

from app import settings
from app.shell import about, help
from app.shell.about import About
from app.shell.tour import STEPS
from app.tools import TOOLS

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def window():
    w = make()
    yield w
    w.end()
    w.hide()


def test_the_manual_is_the_one_handed_out_and_every_place_is_found(window) -> None:
    reader = help.read_manual(window)
    written = (ROOT / "README.md").read_text("utf-8")
    heads = re.findall(r"^#{1,3} (.*)$", written, re.M)
    assert [reader.headings.item(k).text().strip() for k in range(reader.headings.count())] == heads
    pages = reader.pages.toPlainText()
    reader.sought.setText("FLOW line")
    count = pages.lower().count("flow line")
    assert count > 3 and len(reader.found) == count
    assert reader.told.text() == f"1 of {count}"
    QTest.keyClick(reader.sought, Qt.Key.Key_Return)
    assert reader.told.text() == f"2 of {count}"
    place = reader.found[1]
    assert place.selectedText().lower() == "flow line"
    assert reader.pages.viewport().rect().intersects(reader.pages.cursorRect(place))
    for _ in range(count - 1):
        QTest.mouseClick(reader.on, LEFT)
    assert reader.at == 0
    reader.sought.setText("porphyry and pumpernickel")
    assert reader.told.text() == "Not found" and not reader.on.isEnabled()
    reader.sought.clear()
    assert reader.told.text() == "" and not reader.pages.extraSelections()
    reader.close()


def test_a_heading_is_turned_to_and_pictures_have_room(window) -> None:
    reader = help.read_manual(window)
    QApplication.processEvents()
    item = next(
        reader.headings.item(k)
        for k in range(reader.headings.count())
        if reader.headings.item(k).text().strip() == "Your files"
    )
    reader.headings.itemActivated.emit(item)
    assert reader.pages.textCursor().block().text() == "Your files"
    assert 0 <= reader.pages.cursorRect().top() <= reader.pages.viewport().height()
    assert reader.pages.document().idealWidth() <= reader.pages.viewport().width()
    reader.close()


def test_every_key_of_the_window_stands_on_the_page_of_keys(window) -> None:
    words = help.keys_text(window)
    native = QKeySequence.SequenceFormat.NativeText
    for action in window.actions():
        for key in action.shortcuts():
            assert f"{key.toString(native)} " in words, action.text()
    for kind in TOOLS:
        assert f"| {kind.key_letter} | {kind.name}: " in words
    everyday = {"New": "Ctrl+N", "Open": "Ctrl+O", "Save": "Ctrl+S", "Manual": "F1"}
    for name, key in everyday.items():
        assert window.actions_by_name[name].shortcut().toString() == key
    assert len(set(_keys(window))) == len(_keys(window))  # none means two things


def _keys(window) -> list[str]:
    return [k.toString() for a in window.actions() for k in a.shortcuts()]


def test_every_library_is_named_with_its_licence(window) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    needed = {re.match(r"[\w-]+", d).group().lower() for d in project["dependencies"]}
    assert needed == {name.lower() for name in about.LIBRARIES}
    assert about.version() == project["version"]
    dialog = About(window)
    listed = about.libraries()
    assert dialog.list.count() == len(listed) >= len(about.LIBRARIES) + 1
    names = {one.name.lower().replace("_", "-") for one in listed}
    assert needed <= names and "shiboken6" in names  # and what they need in turn
    for k, one in enumerate(listed):
        assert one.licence and one.version and one.words
        dialog.list.setCurrentRow(k)
        assert dialog.words.toPlainText() == one.words.replace("\r\n", "\n").rstrip("\x00")
    words = {one.name: one.words for one in listed}
    assert "Redistribution and use in source and binary forms" in words["numpy"]


def test_the_tour_has_five_steps_beside_the_parts_they_tell_of(window) -> None:
    settings.change(toured=False)
    tour = window.show_round()
    assert len(STEPS) == 5
    for k, (part, head, _) in enumerate(STEPS):
        QApplication.processEvents()
        assert (tour.step, tour.head.text()) == (k, head)
        assert window.rect().contains(tour.geometry())
        at = getattr(window, part)
        assert tour._frame.geometry().topLeft() == at.mapTo(window, at.rect().topLeft())
        if part != "bench":
            assert not tour.geometry().contains(tour._frame.geometry().center())
        assert window.focusWidget() is tour.on
        QTest.keyClick(tour.on, Qt.Key.Key_Return)
    assert not tour.isVisible() and settings.read().toured
    tour = window.show_round()
    QTest.keyClick(tour.on, Qt.Key.Key_Escape)
    assert not tour.isVisible()


def test_the_welcome_has_three_ways(window) -> None:
    window.session.new(900, 600, "", saved=True)
    window.welcome.open_up()
    assert list(window.welcome.ways) == ["A sketch", "An empty wall", "The demo"]
    assert window.bench.rect().contains(window.welcome.geometry())
    QTest.mouseClick(window.welcome.ways["The demo"], LEFT)
    assert window.session.doc.title == "Heron among reeds" and not window.welcome.isVisible()
    assert window.session.path is None
