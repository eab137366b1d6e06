"""The Sheets leaf: the work divided, its sheets listed, chosen and altered; what is refused."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from jobcard_rig import pump, rig
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMenu, QPushButton

from core import archive
from core.commission import Sheet, Sheeting
from core.geometry import polygon_of
from core.sheets.made import sheet_of


@pytest.fixture(scope="module")
def one():
    with rig() as r:
        yield r


@pytest.fixture
def t(one):
    """Two fields of 120 x 80 mm over a sketch, at the Sheets leaf, in sheets of 60 x 60 at most."""
    s = one.session
    one.card.turn_to("Brief")
    doc = replace(s.doc, sheeting=Sheeting(60.0, 60.0, 2.0), sheets=())
    s.begin(archive.Work(doc, dict(s.images)))
    s.ask = lambda words: True
    one.lay()
    one.card.turn_to("Sheets")
    one.said.clear()
    return one


def leaf(t):
    return t.card.leaves["Sheets"].dividing


def settle(t) -> None:
    assert pump(lambda: leaf(t).settled() and not t.session._calm.isActive()), t.said


def divide(t) -> None:
    leaf(t).divide.click()
    settle(t)


def on(t):
    polygons = np.concatenate([f.pieces.polygons for f in t.session.layout.fields])
    return sheet_of(t.session.doc.sheets, polygons)


def cells(t) -> list[list[str]]:
    table = leaf(t).list
    return [
        [table.item(k, j).text() for j in range(table.columnCount())]
        for k in range(table.rowCount())
    ]


def test_the_work_is_divided_in_one_step_and_nothing_else_changes(t):
    before, layout = t.session.doc, t.session.layout
    divide(t)
    after = t.session.doc
    assert len(after.sheets) >= 4 and replace(after, sheets=()) == before
    assert t.session.layout is layout and t.session.layout_is_current
    assert t.said[-1] == f"Divided into {len(after.sheets)} sheets."
    assert (on(t) > 0).all()
    t.session.undo()
    assert t.session.doc is before and t.session.undo_label is None
    t.session.redo()
    assert t.session.doc is after


def test_each_sheet_is_listed_with_its_figures(t):
    divide(t)
    known, which = leaf(t).seams.sheets, on(t)
    rows = cells(t)
    assert [int(r[0]) for r in rows] == [s.number for s in t.session.doc.sheets]
    assert sorted(int(r[1]) for r in rows) == list(range(1, len(rows) + 1))
    polygons = known.polygons
    heavy = [m.thickness_mm * m.density_kg_m3 / 1e9 for m in t.session.doc.materials]
    weight = shapely.area(polygons) * np.array(heavy)[known.stock]
    for number, _, size, kg, pieces in rows:
        mine = which == int(number)
        x0, y0, x1, y1 = shapely.total_bounds(polygons[mine])
        assert size == f"{x1 - x0:.0f} x {y1 - y0:.0f}"
        assert int(pieces) == mine.sum()
        assert float(kg) == pytest.approx(weight[mine].sum(), abs=0.0051)
    assert sum(int(r[4]) for r in rows) == len(polygons)


def test_a_sheet_is_chosen_in_the_list_with_the_keys_and_on_the_bench(t):
    divide(t)
    table = leaf(t).list
    numbers = [int(r[0]) for r in cells(t)]
    table.setFocus()
    table.selectRow(0)
    assert t.bench.seams.chosen == numbers[0]
    QTest.keyClick(table, Qt.Key.Key_Down)
    assert t.bench.seams.chosen == numbers[1]
    t.bench.seams.choose(numbers[-1])
    assert table.chosen() == len(numbers) - 1
    t.bench.seams.choose(None)
    assert table.chosen() is None and not leaf(t).part.isEnabled()


def test_join_part_and_pin_alter_the_chosen_sheet(t):
    divide(t)
    before, d = t.session.doc, leaf(t)
    t.bench.seams.choose(1)
    words = [f"Sheet {n}, {side}" for n, side in d.beside()]
    assert words
    d.join.click()
    menu = QApplication.activePopupWidget()
    assert isinstance(menu, QMenu) and [a.text() for a in menu.actions()] == words
    other = d.beside()[0][0]
    menu.actions()[0].trigger()
    menu.close()
    settle(t)
    assert {s.number for s in t.session.doc.sheets} == {s.number for s in before.sheets} - {other}
    d.part.click()
    settle(t)
    assert len(t.session.doc.sheets) >= len(before.sheets)
    d.pin.click()
    settle(t)
    assert [s.number for s in t.session.doc.sheets if s.pinned] == [1]
    assert d.pin.isChecked() and not d.list.item(0, 0).icon().isNull()
    for _ in range(3):
        t.session.undo()
    assert t.session.doc is before
    assert not d.pin.isChecked()


def test_a_pinned_sheet_stays_and_the_rest_is_asked_for(t):
    divide(t)
    t.bench.seams.choose(1)
    leaf(t).pin.click()
    held, asked = t.session.doc, []
    t.session.ask = lambda words: asked.append(words) and False
    leaf(t).divide.click()
    settle(t)
    assert t.session.doc is held and len(asked) == 1 and "no longer hold" in asked[0]
    t.session.ask = lambda words: True
    leaf(t).numbers["width_mm"].spin.setValue(45)
    leaf(t).numbers["height_mm"].spin.setValue(45)
    divide(t)
    assert held.sheets[0] in t.session.doc.sheets
    assert len(t.session.doc.sheets) > len(held.sheets)


def test_dividing_again_names_what_was_printed_of_the_sheets(t, tmp_path):
    divide(t)
    t.card.leaves["Sheets"].papers.write(str(tmp_path))
    assert pump(lambda: t.session.doc.printed), t.said
    settle(t)
    (printed,), asked = t.session.doc.printed, []
    t.session.ask = lambda words: asked.append(words) and False
    leaf(t).divide.click()
    assert f"Printed of them: {printed.what} on {printed.on}." in asked[0]


def test_limits_are_edits_and_nothing_is_laid_for_them(t):
    layout, d = t.session.layout, leaf(t)
    d.numbers["weight_kg"].spin.setValue(1.5)
    assert t.session.doc.sheeting.weight_kg == 1.5
    assert t.session.undo_label == "Change the sheets' heaviest"
    told = d.explained.text()
    d.laid.box.setCurrentIndex(d.laid.box.findData("mirrored"))
    assert t.session.doc.sheeting.laid == "mirrored" and d.explained.text() != told
    assert t.session.layout is layout and t.session.layout_is_current
    t.session.undo()
    t.session.undo()
    assert d.numbers["weight_kg"].value == 2.0 and d.explained.text() == told


def test_what_is_over_its_limit_is_told(t):
    divide(t)
    d = leaf(t)
    assert d.wrong.text() == ""
    d.numbers["width_mm"].spin.setValue(20)
    d.numbers["weight_kg"].spin.setValue(0.05)
    settle(t)
    assert "larger than 20 x 60 mm" in d.wrong.text()
    d.numbers["width_mm"].spin.setValue(60)
    settle(t)
    assert "larger" not in d.wrong.text()


def test_a_sheet_hardly_larger_than_its_tesserae_is_refused_in_words(t):
    t.session.apply("small", replace(t.session.doc, sheeting=Sheeting(20.0, 20.0)))
    before = t.session.doc
    divide(t)
    assert t.session.doc is before
    assert "hardly larger than" in t.said[-1]
    assert leaf(t).divide.isVisible() and not leaf(t).dividing.isVisible()


def test_what_was_divided_for_another_state_is_dropped(t):
    leaf(t).divide.click()
    t.session.apply("rename", replace(t.session.doc, title="Other"))
    renamed = t.session.doc
    settle(t)
    assert t.session.doc is renamed and renamed.sheets == ()
    assert t.said[-1].startswith("The work changed meanwhile")
    t.lay()


def test_dividing_is_stopped(t):
    before, d = t.session.doc, leaf(t)
    d.divide.click()
    assert d.dividing.isVisible() and not d.divide.isVisible()
    next(b for b in d.dividing.findChildren(QPushButton) if b.text() == "Stop").click()
    settle(t)
    assert d.divide.isVisible()
    if t.session.doc is before:  # it may have been done before it was asked to stop
        assert t.said[-1] == "Stopped; the sheets stay."


def test_nothing_is_divided_while_the_work_is_laid(t):
    t.session.apply("seed", replace(t.session.doc, seed=t.session.doc.seed + 1))
    leaf(t).divide.click()
    assert t.said[-1] == "The work is being laid; divide it when that is done."
    assert not leaf(t).dividing.isVisible()
    t.lay()


def test_after_a_new_laying_sheets_stay_and_loose_pieces_are_told(t):
    """The room of a sheet is kept; a piece beyond all rooms is on none."""
    divide(t)
    rooms = t.session.doc.sheets
    t.session.apply("seed", replace(t.session.doc, seed=t.session.doc.seed + 1))
    t.lay()
    settle(t)
    assert t.session.doc.sheets == rooms
    right = [s for s in rooms if polygon_of(s.outline).centroid.x > 60]
    t.session.apply("fewer", replace(t.session.doc, sheets=(rooms[0],)))
    settle(t)
    loose = int((on(t) == 0).sum())
    assert right and loose > 10
    assert f"{loose} pieces are on no sheet" in leaf(t).wrong.text()
    assert leaf(t).told.text().startswith("1 sheet, ")


def test_a_sheet_without_pieces_is_told(t):
    divide(t)
    far = Sheet(99, (((((900.0, 900.0), (950.0, 900.0), (950.0, 950.0))),),))
    t.session.apply("far", replace(t.session.doc, sheets=(*t.session.doc.sheets, far)))
    settle(t)
    assert leaf(t).wrong.text() == "Sheet 99: without a piece."


def test_sheets_are_saved_and_opened(t, tmp_path):
    divide(t)
    t.bench.seams.choose(1)
    leaf(t).pin.click()
    leaf(t).numbers["level_mm"].spin.setValue(30)
    doc, file = t.session.doc, tmp_path / "sheets.emblema"
    t.session.save(file)
    t.session.open(file)
    t.lay()
    settle(t)
    assert t.session.doc.sheets == doc.sheets and t.session.doc.sheeting == doc.sheeting
    assert len(cells(t)) == len(doc.sheets)
    assert t.bench.seams.shown


def test_the_tools_go_with_the_leaf(t):
    divide(t)
    for name, b in leaf(t).tools.items():
        if b.isVisible():
            b.click()
            assert t.bench.tool.name == name and b.isChecked()
    t.card.turn_to("Figures")
    assert t.bench.tool.name == "Hand" and not t.bench.seams.shown
    assert not any(b.isChecked() for b in leaf(t).tools.values())


def test_a_tools_button_pressed_again_puts_it_away(t):
    b = leaf(t).tools["Draw a seam"]
    b.click()
    assert t.bench.tool.name == "Draw a seam"
    b.click()
    assert t.bench.tool.name == "Hand"
