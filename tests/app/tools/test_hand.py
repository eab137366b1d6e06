"""The hand with a real mouse: choosing, moving, and a menu that stays open meanwhile."""

import pytest
from PySide6.QtCore import Qt
from tools_rig import ESCAPE, choose, menu_at, one_step_back

from core.commission import change_field
from core.geometry import polygon_of


def test_the_hand_chooses_a_field_then_its_piece(bench):
    at = bench.centre(20)
    bench.click(at)
    assert bench.session.selection == ("f1",) and bench.session.selected_piece is None
    bench.click(at)
    assert bench.session.selected_piece == ("f1", 20)
    bench.key(ESCAPE)
    assert bench.session.selection == () and bench.session.selected_piece is None


def test_the_hand_drags_the_view_and_edits_nothing(bench):
    before = bench.session.doc
    a, b = bench.bench.to_px(0, 0), bench.px((30, 30))
    bench.drag((50, 40), (70, 50))
    moved = bench.bench.to_px(0, 0) - a
    scale = bench.bench.px_per_mm
    assert moved.x() == pytest.approx(20 * scale, abs=2)
    assert moved.y() == pytest.approx(10 * scale, abs=2)
    assert bench.px((30, 30)) != b
    assert bench.session.doc is before and bench.session.selection == ()


def test_alt_and_drag_moves_the_chosen_field_in_one_step(bench):
    from core.fields import add_outline

    doc = add_outline(bench.session.doc, [(20, 20), (50, 20), (50, 50), (20, 50)], "Fish").doc
    bench.begin(doc)
    fish = doc.fields[-1]
    bench.click((35, 35))
    alt = Qt.KeyboardModifier.AltModifier
    bench.hold((35, 35), (55, 40), alt)
    assert bench.session.doc is doc  # while the hand holds it, nothing is edited
    bench.let_go(alt)
    now = polygon_of(bench.session.doc.field_by_id(fish.id).outline)
    (a, b), (c, d) = bench.mm((35, 35)), bench.mm((55, 40))
    assert now.bounds == pytest.approx((20 + c - a, 20 + d - b, 50 + c - a, 50 + d - b), abs=0.3)
    one_step_back(bench, "Move a field", doc)


def test_escape_abandons_a_field_being_moved(bench):
    bench.click((35, 35))
    before = bench.session.doc
    alt = Qt.KeyboardModifier.AltModifier
    bench.hold((35, 35), (55, 40), alt)
    bench.key(ESCAPE)
    bench.let_go(alt)
    assert bench.session.doc is before and bench.session.selection == ("f1",)


def test_the_hand_menu_means_its_field_or_says_that_it_is_gone(bench):
    s = bench.session
    s.apply("Motif", change_field(s.doc, "f1", motif="sea"))
    bench.lay()
    menu = menu_at(bench, (30, 30))
    s.select(())
    choose(menu, "Choose the whole motif")
    assert s.selection == ("f1",)
    menu = menu_at(bench, (30, 30))
    s.apply("No motif", change_field(s.doc, "f1", motif=""))
    choose(menu, "Choose the whole motif")
    assert bench.said[-1] == "There is no motif 'sea' any more."
    menu = menu_at(bench, (30, 30))
    renamed = change_field(s.doc, "f1", name="Sand")
    s.apply("Other", type(s.doc)("Other", 90.0, 70.0, materials=renamed.materials))
    bare = s.doc
    choose(menu, "Remove")
    assert s.doc is bare and bench.said[-1] == "'Ground' is no longer there."
    bench.lay()
