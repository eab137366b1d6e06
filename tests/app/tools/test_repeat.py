"""Repeat with a real mouse: chosen, seen, laid in one step; linked until parted."""

import shapely
from jobcard_rig import pump
from PySide6.QtCore import Qt
from tools_rig import ENTER, ESCAPE, choose, menu_at, one_step_back, picture
from window_rig import laid, make, panel

from app.tools.repeat import RepeatTool
from core.agreed import agree
from core.archive import Work
from core.commission import change_field
from core.fields import add_outline, gaps_and_overlaps

SQUARE = [(40.0, 60.0), (70.0, 55.0), (75.0, 85.0), (45.0, 90.0)]


def motif_panel():
    """Return a panel with one small motif, and its id."""
    made = add_outline(panel(300.0, 200.0), SQUARE, "Leaf", "leaf", tessera_mm=6.0, joint_mm=1.0)
    return made.doc, made.field_id


def take(t, **choices):
    """Take the tool up with the motif chosen."""
    doc, leaf = motif_panel()
    t.begin(doc)
    t.session.select((leaf,))
    t.bench.tools.setdefault(RepeatTool.name, RepeatTool(t.bench))
    t.bench.take(RepeatTool.name)
    t.bench.tool.ask(**{"way": "line", "places": 0, "mirrored": False, **choices})
    return t.bench.tool, leaf


def leaves(t):
    return [f for f in t.session.doc.fields if f.motif == "leaf"]


def test_along_a_line_it_is_seen_and_laid_in_one_step(bench):
    tool, leaf = take(bench)
    before, still = bench.session.doc, picture(bench)
    bench.click((60, 70), (150, 50), (250, 120))
    assert bench.session.doc is before and picture(bench) != still
    assert "from middle to middle" in tool.words[0]
    places = len(tool.seen.moves) + 1
    bench.key(ENTER)
    assert len(leaves(bench)) == places > 3
    assert gaps_and_overlaps(bench.session.doc) == ()
    assert bench.bench.tool.name == "Hand" and bench.session.selection == (leaf,)
    assert "from middle to middle" in bench.said[-1]
    bench.lay()
    one_step_back(bench, "Repeat a motif", before)


def test_a_closed_line_is_closed_by_a_click_on_its_first_point(bench):
    tool, _ = take(bench)
    corners = [(50, 50), (250, 50), (250, 150), (50, 150)]
    bench.click(*corners, corners[0])
    assert tool.points[0] == tool.points[-1] and tool.seen is not None
    bench.click((150, 100))
    assert len(tool.points) == 5


def test_round_a_frame_and_about_a_centre(bench):
    tool, _ = take(bench, way="frame")
    bench.drag((5, 5), (295, 195))
    assert tool.words[0].startswith("Level sides:")
    bench.key(ENTER)
    assert bench.session.doc.repeats and gaps_and_overlaps(bench.session.doc) == ()
    tool, _ = take(bench, way="centre", places=4, mirrored=True)
    bench.click((130, 95))
    assert tool.words[0].startswith("4 places, one each 90 degrees")
    bench.key(ENTER)
    assert [m.move.mirrored for m in bench.session.doc.repeats[0].places] == [
        *(False, True, False, True)
    ]


def test_what_has_no_room_is_said_and_nothing_is_laid(bench):
    tool, _ = take(bench, places=40)
    before = bench.session.doc
    bench.click((60, 70), (150, 70))
    assert tool.seen is None and "lie on one another" in tool.words[0]
    bench.key(ENTER)
    assert bench.session.doc is before and "lie on one another" in bench.said[-1]
    bench.key(ESCAPE)
    assert tool.points == []
    bench.session.select(())
    bench.bench.take(RepeatTool.name)
    assert tool.words == ("Choose a motif or fields first.",)


def test_work_by_hand_in_one_place_shows_in_all_and_is_one_step(bench):
    _, leaf = take(bench, places=3)
    bench.click((60, 70), (250, 70))
    bench.key(ENTER)
    bench.lay()
    other = bench.session.doc.repeats[0].places[1].fields[0]
    before = bench.session.doc
    count = len(bench.session.layout.by_id(leaf).pieces)
    x, y = bench.session.layout.by_id(other).pieces.centre_mm[3]
    bench.bench.take("Lift")
    bench.click((float(x), float(y)))
    assert bench.said[-1] == "Changed in all 3 places."
    bench.lay()
    for f in leaves(bench):
        assert len(bench.session.layout.by_id(f.id).pieces) == count - 1
    bench.session.undo()
    assert bench.session.doc is before


def test_a_change_of_an_agreed_place_asks_first(bench):
    take(bench, places=3)
    bench.click((60, 70), (250, 70))
    bench.key(ENTER)
    bench.lay()
    session = bench.session
    first, other = (place.fields[0] for place in session.doc.repeats[0].places[:2])
    session.apply("Agree", agree(session.doc, [other], "2025-01-01"))
    asked = []
    session.ask = lambda words: asked.append(words) and False
    try:
        before = session.doc
        assert not session.try_apply("Finer", change_field(before, first, tessera_mm=5.0))
        assert session.doc is before and "Leaf 2" in asked[0]
    finally:
        session.ask = lambda words: True


def test_the_menu_parts_a_place(bench):
    take(bench, places=3)
    bench.click((60, 70), (250, 70))
    bench.key(ENTER)
    bench.lay()
    at = shapely.Point(bench.bench.shape_of(leaves(bench)[2]).centroid)
    choose(menu_at(bench, (at.x, at.y)), "Part this place")
    assert len(bench.session.doc.repeats[0].places) == 2
    assert bench.session.undo_label == "Part a place"


def test_the_leaf_repeats_marks_and_parts():
    w = make()
    try:
        doc, leaf_id = motif_panel()
        w.session.begin(Work(doc, {}))
        laid(w)
        w.card.turn_to("Fields")
        leaf = w.card.leaves["Fields"]
        assert not leaf.repeats.isEnabled() and not leaf.part_place.isEnabled()
        w.session.select((leaf_id,))
        leaf.repeats.click()
        assert leaf.repeat.isVisible() and w.bench.tool.name == "Repeat"
        assert not leaf.repeat.lay.isEnabled() and leaf.repeat.words.text().startswith("Click")
        assert not leaf.repeat.corners.isVisible()
        leaf.repeat.way.box.setCurrentIndex(leaf.repeat.way.box.findData("frame"))
        assert leaf.repeat.corners.isVisible()
        w.bench.tool.points = [(5.0, 5.0), (295.0, 195.0)]
        leaf.repeat.places.spin.setValue(4)
        leaf.repeat.mirrored.click()
        leaf.repeat.corners.click()
        assert w.bench.tool.wish.mirrored and not w.bench.tool.wish.corners
        assert "4 repeats" in leaf.repeat.words.text()
        leaf.repeat.lay.click()
        assert not leaf.repeat.isVisible()
        n = len(w.session.doc.repeats[0].places)
        shown = [leaf.list.item(k).text() for k in range(leaf.list.count())]
        assert sum(f"of {n}" in words for words in shown) == n
        assert not leaf.repeats.isEnabled() and leaf.part_place.isEnabled()
        leaf.all_places.click()
        assert len(w.session.selection) == n
        w.session.select((leaf_id,))
        leaf.part_place.click()
        assert len(w.session.doc.repeats[0].places) == n - 1 and leaf.repeats.isEnabled()
        w.session.undo()
        w.session.undo()
        assert w.session.doc is doc
        assert pump(lambda: w.session.layout_is_current)
        w.bench.setFocus(Qt.FocusReason.OtherFocusReason)
    finally:
        w.session.forget_kept()
        w.end()
        w.close()
