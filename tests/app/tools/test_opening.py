"""Openings drawn on the bench: one step each, their ground left open, chosen, taken away."""

import pytest
from jobcard_rig import pump
from PySide6.QtCore import Qt
from tools_rig import ESCAPE, choose, menu_at, one_step_back, picture
from window_rig import panel

from app.tools.opening import OpeningTool
from core.agreed import agree
from core.openings import lies_on_fields, shape_of


@pytest.fixture
def bench(shared):
    shared.begin(panel())
    shared.bench.tools[OpeningTool.name] = OpeningTool(shared.bench)
    shared.bench.openings.choose(None)
    shared.bench.take("Opening")
    yield shared
    shared.bench.take("Hand")


def test_a_dragged_rectangle_is_left_open_in_one_step(bench):
    before, area = bench.session.doc, bench.session.doc.fields[0].outline
    bench.drag((30, 20), (55, 50))
    bench.lay()
    doc = bench.session.doc
    (o,) = doc.openings
    x0, y0, x1, y1 = shape_of(o).bounds
    assert (o.kind, o.name) == ("socket", "Socket")
    assert abs(x0 - 30) < 1 and abs(x1 - 55) < 1 and abs(y0 - 20) < 1 and abs(y1 - 50) < 1
    assert not lies_on_fields(doc, o) and doc.fields[0].outline != area
    assert all(not p.intersects(shape_of(o)) for p in bench.session.layout.polygons)
    assert bench.bench.openings.chosen == 0
    one_step_back(bench, "Put in Socket", before)


def test_a_mark_takes_no_ground_and_nothing_is_laid_for_it(bench):
    bench.bench.tool.leave_open, bench.bench.tool.kind = False, "tap"
    fields = bench.session.doc.fields
    bench.drag((30, 20), (55, 50))
    assert bench.session.layout_is_current
    assert bench.session.doc.fields == fields and bench.session.doc.openings[0].name == "Tap"
    bench.drag((60, 20), (80, 50))
    assert [o.name for o in bench.session.doc.openings] == ["Tap", "Tap 2"]


def test_agreed_ground_is_asked_for_first(bench):
    asked = []
    doc = bench.session.doc
    bench.session.apply("Agree", agree(doc, {f.id for f in doc.fields}, "2026-01-05"))
    before, bench.session.ask = bench.session.doc, lambda words: asked.append(words)
    try:
        bench.drag((30, 20), (55, 50))
    finally:
        bench.session.ask = lambda words: True
    assert len(asked) == 1 and "Put in Socket" in asked[0]
    assert bench.session.doc is before


def test_it_is_chosen_by_a_click_and_taken_away_by_a_key_or_the_menu(bench):
    bench.drag((30, 20), (55, 50))
    bench.drag((65, 20), (85, 50))
    bench.click((5, 5))
    assert bench.bench.openings.chosen is None
    bench.click((40, 35))
    assert bench.bench.openings.chosen == 0
    bench.key(Qt.Key.Key_Delete)
    assert [o.name for o in bench.session.doc.openings] == ["Socket 2"]
    choose(menu_at(bench, (75, 35)), "Take away")
    assert bench.session.doc.openings == ()
    assert bench.session.doc.fields[0].outline == panel().fields[0].outline or (
        pump(lambda: bench.session.layout_is_current)
    )


def test_escape_gives_a_drag_up_and_the_drag_is_seen(bench):
    still = picture(bench)
    bench.hold((30, 20), (55, 50))
    assert picture(bench) != still
    bench.key(ESCAPE)
    bench.let_go()
    assert bench.session.undo_label is None and bench.session.doc.openings == ()


def test_openings_stand_on_the_bench_while_outlines_are_shown(bench):
    bench.bench.tool.leave_open = False
    bench.drag((30, 20), (55, 50))
    bench.bench.take("Hand")
    shown = picture(bench)
    bench.bench.layers["outlines"] = False
    bench.bench.update()
    assert picture(bench) != shown
    bench.bench.layers["outlines"] = True
