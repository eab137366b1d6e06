"""The trays: what they count, and what a tray dropped on another does."""

from dataclasses import replace

import pytest
from jobcard_rig import pump, rig, square
from PySide6.QtCore import QMimeData, QPointF, Qt
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.canvas.dropped import MATERIAL
from app.trays import HIGH, Trays
from core.handwork import lay_in


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
    table.trays.swap(old, new)
    assert pump(lambda: table.session.layout_is_current)
    assert table.session.layout.fields[0].pieces is pieces
    assert old not in {t.material.code for t in table.trays.trays}
    table.session.undo()
    table.lay()  # the next test begins with what is shown


def strip_of(trays: Trays) -> tuple:
    """Return all that a strip tells: its picture, and of each tray what its tip says."""
    trays.resize(1600, trays.height())
    trays.show()
    pump(lambda: False, 0.02)
    picture = trays.grab().toImage()
    return picture, [(t.material, t.count, t.lit, t.toolTip()) for t in trays.trays]


def changed(doc, which: str, **changes):
    """Return the document with a material changed."""
    some = tuple(replace(m, **changes) if m.code == which else m for m in doc.materials)
    return replace(doc, materials=some)


@pytest.mark.parametrize("edit", ["swap", "colour", "code", "in hand", "order", "one piece"])
def test_the_strip_is_what_a_new_one_would_be(table, edit):
    """Trays that vanish, come, change places, colour, code or count; and as it is taken back."""
    s, trays = table.session, table.trays
    doc, before = s.doc, strip_of(trays)
    first, second, third = (t.material.code for t in trays.trays[:3])
    mine = {t.material.code: t for t in trays.trays}
    laid = set(mine)
    fresh = next(m.code for m in doc.materials if m.code not in laid)
    if edit == "swap":
        s.swap(third, fresh)  # one vanishes, one comes
        s.swap(first, second)  # and the most laid is another
    elif edit == "colour":
        s.apply("colour", changed(doc, first, lab=(70.0, -30.0, 40.0)))
    elif edit == "code":
        s.apply("code", changed(doc, first, code="XY-1"))
    elif edit == "in hand":
        s.apply("hand", changed(doc, first, pieces=1))
    elif edit == "order":
        s.apply("order", replace(doc, materials=doc.materials[::-1]))
    else:
        k = int(s.layout.fields[0].stock[0])
        code = doc.materials[k].code
        s.apply("piece", lay_in(doc, s.layout, "f1", 0, fresh))
        mine.pop(code, None)  # it may have been the only one
    table.lay()
    now = strip_of(trays)
    assert now != before or edit == "order"
    assert now == strip_of(Trays(s, table.bench))
    assert all(t is mine.get(t.material.code, t) for t in trays.trays)  # kept, not made anew
    while s.doc is not doc:
        s.undo()
        table.lay()
    assert strip_of(trays) == before == strip_of(Trays(s, table.bench))


def test_a_tray_in_the_hand_stays_its_own(table):
    """While a tray is pressed the pieces are laid anew and the trays change places."""
    first, second = table.trays.trays[:2]
    codes = first.material.code, second.material.code
    QTest.mousePress(first, Qt.MouseButton.LeftButton)
    table.session.swap(*codes)
    table.lay()
    assert first.material.code == codes[0] and first not in table.trays.trays
    QTest.mouseRelease(first, Qt.MouseButton.LeftButton)
    assert table.bench.lit == codes[0]
    table.bench.light(None)
    table.session.undo()
    table.lay()
    assert table.trays.trays[0] is first and not first.lit


def test_a_material_lit_elsewhere_lights_its_tray(table):
    tray = table.trays.trays[1]
    table.bench.light(tray.material.code)
    assert [t for t in table.trays.trays if t.lit] == [tray]
    table.bench.light(None)
    assert not any(t.lit for t in table.trays.trays)


def test_a_material_that_is_gone_is_not_swapped(table):
    before = table.session.doc
    table.said.clear()
    drop(table.trays.trays[0], "NO-1")
    assert table.session.doc is before
    assert table.said == ["NO-1 is no longer among the commission's materials."]
