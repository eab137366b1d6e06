"""The trays: what they count, and what a tray dropped on another does."""

import time
from dataclasses import replace

import pytest
from jobcard_rig import pump, rig, square
from PySide6.QtCore import QMimeData, QPointF, Qt
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.canvas.bench import MATERIAL
from app.trays import HIGH


@pytest.fixture(scope="module")
def table():
    with rig() as r:
        yield r


def drop(tray, code: str) -> None:
    data = QMimeData()
    data.setData(MATERIAL, code.encode())
    copy, left, none = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton, Qt.KeyboardModifier(0)
    at = QPointF(20, 20)
    QApplication.sendEvent(tray, QDragEnterEvent(at.toPoint(), copy, data, left, none))
    QApplication.sendEvent(tray, QDropEvent(at, copy, data, left, none))


def test_trays_hold_what_is_laid(table):
    laid = table.laid_codes("f1") | table.laid_codes("f2")
    assert {t.material.code for t in table.trays.trays} == laid
    assert sum(t.count.pieces for t in table.trays.trays) == len(table.session.layout)
    pieces = [t.count.pieces for t in table.trays.trays]
    assert pieces == sorted(pieces, reverse=True)
    assert HIGH >= 64


def test_the_whole_stock_can_be_seen(table):
    few = len(table.trays.trays)
    table.trays._more.click()
    assert len(table.trays.trays) == len(table.session.doc.materials) > few
    table.trays._more.click()
    assert len(table.trays.trays) == few


def test_a_tray_dropped_on_another_swaps_everywhere_and_undo_takes_it_back(table):
    old, new = (t.material.code for t in table.trays.trays[:2])
    n = [t.count.pieces for t in table.trays.trays[:2]]
    drop(table.trays.trays[0], new)
    assert table.session.undo_label == f"Swap {old} for {new} everywhere"
    table.lay()
    by_code = {t.material.code: t.count for t in table.trays.trays}
    assert old not in by_code
    assert by_code[new].pieces == sum(n)
    table.session.undo()
    table.lay()
    assert {t.material.code: t.count.pieces for t in table.trays.trays}[old] == n[0]


def test_a_tray_dropped_on_itself_does_nothing(table):
    before = table.session.doc
    drop(table.trays.trays[0], table.trays.trays[0].material.code)
    assert table.session.doc is before


def test_a_click_lights_the_pieces(table):
    tray = table.trays.trays[0]
    QTest.mouseClick(tray, Qt.MouseButton.LeftButton)
    assert table.bench.lit == tray.material.code and tray.lit
    QTest.mouseClick(tray, Qt.MouseButton.LeftButton)
    assert table.bench.lit is None


def test_a_short_tray_says_so(table):
    code = table.trays.trays[0].material.code
    doc = table.session.doc
    few = tuple(replace(m, pieces=1) if m.code == code else m for m in doc.materials)
    table.session.apply("few", replace(doc, materials=few))
    table.lay()
    tray = next(t for t in table.trays.trays if t.material.code == code)
    assert tray.count.short > 0 and "short" in tray.toolTip()
    table.session.undo()
    table.lay()


def test_a_swap_among_many_pieces_lays_nothing_again(table):
    doc = table.session.doc
    fields = tuple(
        replace(
            doc.fields[0], id=f"f{k}", name=f"Field {k}", outline=square(x, y, x + 200, y + 200)
        )
        for k, (x, y) in enumerate(((x, y) for x in range(0, 1000, 200) for y in (0, 200)), 1)
    )
    wide = replace(
        doc,
        width_mm=1000.0,
        height_mm=400.0,
        sketch=replace(doc.sketch, mm_per_px=9.0),
        fields=fields,
    )
    table.session.apply("wide", wide)
    assert pump(lambda: table.session.layout_is_current, 60)
    assert len(table.session.layout) > 2_500
    pieces = table.session.layout.fields[0].pieces
    old, new = (t.material.code for t in table.trays.trays[:2])
    begun = time.perf_counter()
    table.trays.swap(old, new)
    table.lay()
    taken = time.perf_counter() - begun
    assert table.session.layout.fields[0].pieces is pieces
    assert old not in {t.material.code for t in table.trays.trays}
    print(f"{len(table.session.layout):,} pieces: a swap shown after {1000 * taken:.0f} ms")
    assert taken < 0.1
    table.session.undo()
