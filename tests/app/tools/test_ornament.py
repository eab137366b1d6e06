"""Ornament with a real mouse: seen first, placed in one step, taken back in one."""

import pytest
from jobcard_rig import pump
from PySide6.QtCore import Qt
from tools_rig import ENTER, ESCAPE, one_step_back, picture
from window_rig import laid, make, panel

from core.archive import Work
from core.fields import gaps_and_overlaps


def take(bench, **choices):
    """Take the tool up with small tesserae on a larger panel."""
    bench.begin(panel(200.0, 160.0))
    bench.bench.take("Ornament")
    tool = bench.bench.tool
    tool.ask(**{"kind": "dentils", "place": "frame", "tessera_mm": 4.0, "joint_mm": 1.0, **choices})
    return tool


def test_a_frame_is_dragged_seen_and_placed_in_one_step(bench):
    tool = take(bench)
    before, still = bench.session.doc, picture(bench)
    bench.drag((10, 10), (190, 150))
    assert bench.session.doc is before and picture(bench) != still
    assert tool.seen is not None and "repeats of" in tool.words[0]
    bench.key(ENTER)
    made = [f for f in bench.session.doc.fields if f.motif == "dentils"]
    assert {f.name for f in made} == {"dentils: dentils", "dentils: fillet", "dentils: ground"}
    assert set(bench.session.selection) == {f.id for f in made}
    assert gaps_and_overlaps(bench.session.doc) == ()
    assert bench.said[-1].startswith("Level sides:")
    bench.lay()
    one_step_back(bench, "Place an ornament", before)


@pytest.mark.parametrize(
    ("kind", "place", "points"),
    [
        ("dentils", "strip", [(10, 80), (100, 60), (190, 80)]),
        ("chequer", "disc", [(100, 80), (165, 80)]),
        ("rosette", "disc", [(100, 80), (165, 80)]),
    ],
)
def test_a_strip_is_clicked_and_a_disc_dragged(bench, kind, place, points):
    tool = take(bench, kind=kind, place=place)
    tool.ask(courses=1)
    if place == "strip":
        bench.click(*points)
    else:
        bench.drag(*points)
    assert tool.seen is not None, tool.words
    bench.key(ENTER)
    assert len({f.motif for f in bench.session.doc.fields}) == 2
    assert gaps_and_overlaps(bench.session.doc) == ()
    bench.session.undo()


def test_what_has_no_room_is_said_and_nothing_is_placed(bench):
    tool = take(bench, kind="plait")
    before = bench.session.doc
    bench.drag((10, 10), (60, 60))
    assert tool.seen is None
    bench.key(ENTER)
    assert bench.session.doc is before and "must be" in bench.said[-1]


def test_escape_gives_it_up_and_a_click_draws_nothing(bench):
    tool = take(bench)
    before = bench.session.doc
    bench.drag((10, 10), (190, 150))
    bench.key(ESCAPE)
    assert tool.seen is None
    bench.click((50, 50))
    assert tool.points == []
    bench.key(ENTER)
    assert bench.session.doc is before


def test_the_leaf_shows_the_choices_with_the_tool_in_hand_and_places():
    w = make()
    try:
        w.session.begin(Work(panel(400.0, 300.0), {}))
        laid(w)
        leaf = w.card.leaves["Fields"]
        assert not leaf.ornament.isVisible()
        w.session.select(("f1",))
        w.bench.take("Ornament")
        assert w.card.leaf is leaf and leaf.ornament.isVisible()
        tool = w.bench.tool
        assert tool.wish.tessera_mm == 10.0 and tool.wish.joint_mm == 2.0  # the chosen field's
        assert not leaf.ornament.lay.isEnabled()
        leaf.ornament.kind.box.setCurrentIndex(leaf.ornament.kind.box.findData("chequer"))
        assert tool.wish.kind == "chequer" and tool.wish.courses == 2
        leaf.ornament.courses.spin.setValue(1)
        assert leaf.ornament.width.text() == "24.0 mm wide."
        tool.points = [(10.0, 10.0), (390.0, 290.0)]
        leaf.ornament.repeats.spin.setValue(13)
        assert "13 repeats" in leaf.ornament.words.text()
        before = w.session.doc
        leaf.ornament.lay.click()
        assert "chequer" in w.session.doc.motifs()
        w.session.undo()
        assert w.session.doc is before
        w.bench.take("Hand")
        assert not leaf.ornament.isVisible()
        assert pump(lambda: w.session.layout_is_current)
        w.bench.setFocus(Qt.FocusReason.OtherFocusReason)
    finally:
        w.session.forget_kept()
        w.end()
        w.close()
