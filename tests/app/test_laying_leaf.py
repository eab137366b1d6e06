"""The Laying leaf says what governs a laying, and asks before a field becomes one piece."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jobcard_rig import pump
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMessageBox

from core.commission import add_flow_line, change_field


@pytest.fixture
def leaf(table):
    table.card.turn_to("Laying")
    table.session.select(("f1",))
    pump(lambda: table.card.leaf.of.text() == "Left")
    return table.card.leaf


def answer(monkeypatch, words: str, seen: list[str]) -> None:
    def run(box: QMessageBox) -> int:
        seen.append(box.text())
        next(b for b in box.buttons() if b.text() == words).click()
        return 0

    monkeypatch.setattr(QMessageBox, "exec", run)


def test_what_leads_the_courses_is_said_and_switched_there(table, leaf):
    session = table.session
    assert leaf.follow.isChecked()
    assert leaf.led.text() == "Led by its border."
    QTest.mouseClick(leaf.follow, Qt.MouseButton.LeftButton, pos=leaf.follow.rect().center())
    leaf.follow.setChecked(False)
    assert not session.doc.field_by_id("f1").laying.follow_border
    assert "level" in leaf.led.text()
    session.apply("line", add_flow_line(session.doc, [(5, 5), (50, 40)], "f1")[0])
    leaf.refresh()
    assert leaf.led.text() == "Led by 1 flow line."


def test_what_has_no_effect_is_grey(table, leaf):
    session = table.session
    for opus, free in (("tessellatum", False), ("palladianum", True), ("circumactum", True)):
        session.apply("opus", change_field(session.doc, "f1", opus=opus, follow_border=True))
        leaf.refresh()
        assert leaf.follow.isEnabled() is not free
    session.apply("hug", change_field(session.doc, "f1", opus="classicum", hug=("sea",)))
    leaf.refresh()
    assert not leaf.follow.isEnabled()
    assert "sea" in leaf.led.text()


def test_a_grid_that_bends_with_its_border_is_told(table, leaf):
    session = table.session
    slanted = ((((0.0, 0.0), (60.0, 8.0), (60.0, 80.0), (0.0, 80.0)),),)
    fields = tuple(replace(f, outline=slanted) if f.id == "f1" else f for f in session.doc.fields)
    doc = change_field(replace(session.doc, fields=fields), "f1", opus="regulatum")
    session.apply("slanted", doc)
    leaf.refresh()
    assert "grid bends" in leaf.led.text()
    session.apply("free", change_field(session.doc, "f1", follow_border=False))
    leaf.refresh()
    assert "grid bends" not in leaf.led.text()


def test_one_large_piece_is_asked_about_first(table, leaf, monkeypatch):
    session, seen = table.session, []
    session.apply("small", change_field(session.doc, "f1", tessera_mm=8.0))
    leaf.refresh()
    answer(monkeypatch, "Leave it", seen)
    leaf.buttons["sectile"].click()
    assert seen == ["'Left' would be one piece of 80 mm: no flow line of its own cuts it."]
    assert session.doc.field_by_id("f1").laying.opus == "tessellatum"
    assert leaf.buttons["tessellatum"].isChecked()
    answer(monkeypatch, "Lay it so", seen)
    leaf.buttons["sectile"].click()
    assert session.doc.field_by_id("f1").laying.opus == "sectile"
    session.undo()
    # a line of its own cuts it: nothing to ask
    session.apply("line", add_flow_line(session.doc, [(0, 40), (60, 40)], "f1")[0])
    leaf.refresh()
    leaf.buttons["sectile"].click()
    assert len(seen) == 2
    assert session.doc.field_by_id("f1").laying.opus == "sectile"
    QApplication.processEvents()
