"""Tracing from the window: seen first, made in one step; one area picked by a click or a ring."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jobcard_rig import press, pump
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from core.geometry import polygon_of


@pytest.fixture
def tracing(table):
    session = table.session
    session.apply("bare", replace(session.doc, fields=()))
    table.card.turn_to("Sketch")
    table.bench.resize(500, 400)
    table.bench.show()
    table.bench.fit()
    yield table.card.leaf.tracing
    table.bench.take("Hand")
    table.bench.hide()  # a window left open takes the pointer from later ones


def test_what_is_found_is_seen_and_made_in_one_step(table, tracing):
    session = table.session
    tracing.count_auto.setChecked(False)
    tracing.count.slider.setValue(3)
    tracing.calm.slider.setValue(0)
    press(tracing, "Trace from sketch")
    assert pump(lambda: tracing.found is not None), table.said
    assert not session.doc.fields  # nothing is changed yet
    seen = table.bench.tool.seen
    assert len(seen) == len(tracing.found.field_ids) > 1
    QTest.keyClick(table.bench, Qt.Key.Key_Return)
    assert len(session.doc.fields) == len(seen)
    assert session.undo_label == "Trace from sketch"
    assert table.bench.tool.name == "Hand"
    session.undo()
    assert not session.doc.fields


def test_another_choice_is_seen_at_once(table, tracing):
    tracing.calm.slider.setValue(0)
    tracing.count_auto.setChecked(False)
    tracing.count.slider.setValue(2)
    press(tracing, "Trace from sketch")
    assert pump(lambda: tracing.found is not None)
    first = tracing.found
    tracing.count.slider.setValue(6)
    assert pump(lambda: tracing.found is not None and tracing.found is not first)
    assert len(tracing.found.field_ids) > len(first.field_ids)
    QTest.keyClick(table.bench, Qt.Key.Key_Escape)
    assert table.bench.tool.name == "Hand"
    assert tracing.found is None
    assert not table.session.doc.fields
    assert not tracing.trace_button.isHidden()


def test_a_commission_that_changed_meanwhile_is_looked_at_again(table, tracing):
    tracing.calm.slider.setValue(0)
    press(tracing, "Trace from sketch")
    assert pump(lambda: tracing.found is not None)
    first = tracing.found
    table.session.apply("title", replace(table.session.doc, title="Another"))
    tracing.make()
    assert not table.session.doc.fields
    assert pump(lambda: tracing.found is not None and tracing.found is not first)
    tracing.make()
    assert table.session.doc.fields
    assert table.session.doc.title == "Another"


def test_a_click_and_a_ring_pick_one_area(table, tracing):
    session, bench = table.session, table.bench
    tracing.alike.slider.setValue(6)
    press(tracing, "Pick an area")
    QTest.mouseClick(bench, Qt.MouseButton.LeftButton, pos=bench.to_px(10, 40).toPoint())
    assert pump(lambda: len(session.doc.fields) == 1), tracing.words.text()
    shape = polygon_of(session.doc.fields[0].outline)
    assert 0.05 < shape.area / (120 * 80) < 0.7  # the red side of a sketch that runs to blue
    assert session.selection == (session.doc.fields[0].id,)
    session.undo()
    # a ring that runs through the colours that it encloses finds nothing, and says so
    tracing.alike.slider.setValue(6)
    ring = [(20, 20), (40, 20), (40, 60), (20, 60)]
    QTest.mousePress(bench, Qt.MouseButton.LeftButton, pos=bench.to_px(*ring[0]).toPoint())
    for at in ring[1:]:
        QTest.mouseMove(bench, bench.to_px(*at).toPoint())
    QTest.mouseRelease(bench, Qt.MouseButton.LeftButton, pos=bench.to_px(*ring[-1]).toPoint())
    assert pump(lambda: "colours that the line runs through" in tracing.words.text())
    assert not session.doc.fields
    QTest.keyClick(bench, Qt.Key.Key_Escape)
    assert bench.tool.name == "Hand"


def test_without_a_sketch_nothing_can_be_traced(table, tracing):
    table.session.apply("no sketch", replace(table.session.doc, sketch=None))
    assert pump(lambda: not tracing.trace_button.isEnabled())
    assert not tracing.pick_button.isEnabled()
