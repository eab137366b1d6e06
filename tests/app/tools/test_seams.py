"""Sheets by hand on the bench: pieces over a seam, seams to follow, places to spare."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from jobcard_rig import pump, square
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from tools_rig import ENTER, ESCAPE, choose, menu_at, one_step_back, picture
from window_rig import LEFT, NONE, panel

from app.tools.seams import SHEET_TOOLS
from core.commission import Sheet, Sheeting
from core.sheets.made import sheet_of

LEFT_SHEET = Sheet(1, square(0, 0, 50, 80))
RIGHT_SHEET = Sheet(2, square(50, 0, 100, 80))


@pytest.fixture
def bench(shared):
    """About 60 pieces on two sheets, the seam down the middle, the seams shown."""
    begin(shared, (LEFT_SHEET, RIGHT_SHEET))
    yield shared
    shared.bench.take("Hand")
    shared.bench.seams.show(False)


def begin(t, sheets) -> None:
    t.begin(replace(panel(), sheeting=Sheeting(60, 90, 2), sheets=sheets))
    for kind in SHEET_TOOLS:
        t.bench.tools.setdefault(kind.name, kind(t.bench))
    t.bench.seams.choose(None)
    t.bench.seams.show(True)
    assert pump(t.bench.seams.settled)
    t.bench.take("Seams")
    t.said.clear()


def on(t):
    """Return the sheet of each piece, from the document alone."""
    return sheet_of(t.session.doc.sheets, t.bench.table.polygons)


def middles(t):
    return np.array([(p.centroid.x, p.centroid.y) for p in t.bench.table.polygons])


def at_seam(t, sheet: int, row: int = 0) -> int:
    """Return a piece of a sheet that lies at the seam x = 50, a middle one of them."""
    xy, which = middles(t), np.flatnonzero(on(t) == sheet)
    middle = which[np.abs(xy[which, 1] - 40 - 12 * row) < 6.5]
    return int(middle[np.argmin(np.abs(xy[middle, 0] - 50))])


def corner(t, sheet: int) -> int:
    """Return the piece of a sheet that lies farthest from the seam."""
    xy, which = middles(t), np.flatnonzero(on(t) == sheet)
    return int(which[np.argmax(np.abs(xy[which, 0] - 50))])


def place(t, piece: int) -> tuple[float, float]:
    x, y = middles(t)[piece]
    return float(x), float(y)


def test_a_click_at_the_seam_moves_the_piece_next_door_and_back_in_one_step(bench):
    before, was, piece = bench.session.doc, on(bench), at_seam(bench, 1)
    bench.click(place(bench, piece))
    now = on(bench)
    assert now[piece] == 2
    assert (np.delete(now, piece) == np.delete(was, piece)).all()
    assert bench.session.layout_is_current  # nothing is laid for it
    one_step_back(bench, "Move a piece to sheet 2", before)
    assert on(bench)[piece] == 2


def test_a_click_moves_a_neighbours_piece_to_the_chosen_sheet(bench):
    bench.bench.seams.choose(1)
    piece = at_seam(bench, 2)
    bench.click(place(bench, piece))
    assert on(bench)[piece] == 1
    assert bench.bench.seams.chosen == 1


def test_quick_clicks_one_after_the_other_all_count(bench):
    bench.bench.seams.choose(1)
    pieces = [at_seam(bench, 2, row) for row in (-1, 0, 1)]
    bench.click(*(place(bench, k) for k in pieces))
    assert (on(bench)[pieces] == 1).all(), bench.said


def test_a_click_away_from_the_seam_chooses_the_sheet_there(bench):
    before = bench.session.doc
    for sheet in (2, 1, 2):
        bench.click(place(bench, corner(bench, sheet)))
        assert bench.bench.seams.chosen == sheet
    assert bench.session.doc is before
    bench.key(ESCAPE)
    assert bench.bench.seams.chosen is None


def test_the_hand_chooses_sheets_while_they_are_shown(bench):
    bench.bench.take("Hand")
    bench.click((80, 40))
    assert bench.bench.seams.chosen == 2 and bench.session.selection == ()
    bench.bench.seams.show(False)
    bench.click((20, 40))
    assert bench.bench.seams.chosen == 2 and bench.session.selection == ("f1",)


def test_a_drag_takes_several_pieces_over_and_shows_them(bench):
    first = at_seam(bench, 1)
    y = place(bench, first)[1]
    way = shapely.LineString([place(bench, first), (72, y)])
    swept = shapely.intersects(bench.bench.table.polygons, way) & (on(bench) == 2)
    still = picture(bench)
    bench.hold(place(bench, first), (72, y))
    assert picture(bench) != still
    bench.let_go()
    assert swept.sum() >= 2
    assert (on(bench)[swept] == 1).all()
    assert bench.session.undo_label.startswith("Move") and bench.session.undo_label.endswith("1")
    bench.session.undo()
    assert bench.session.doc.sheets == (LEFT_SHEET, RIGHT_SHEET)


def test_escape_gives_a_drag_up(bench):
    before = bench.session.doc
    bench.hold((45, 40), (72, 40))
    bench.key(ESCAPE)
    bench.let_go()
    assert bench.session.doc is before and bench.said == []


def test_what_would_leave_a_sheet_in_two_is_refused_in_words(bench):
    """A whole course of the right sheet to the left one: what is above and below comes apart."""
    before = bench.session.doc
    bench.bench.seams.choose(1)
    bench.drag((45, 40), (99, 40))
    assert bench.session.doc is before
    assert len(bench.said) == 1 and bench.said[0].startswith("Sheet 2 would come apart")


@pytest.mark.parametrize("seed", [3, 8])
def test_whatever_is_clicked_and_dragged_no_piece_is_lost(bench, seed):
    """Each sheet stays a whole, refusals change nothing, and undo leads all the way back."""
    random, before = np.random.default_rng(seed), bench.session.doc
    xy, done, refused = middles(bench), 0, 0
    for _ in range(30):
        near = np.flatnonzero(np.abs(xy[:, 0] - 50) < 25)
        a, b = (tuple(xy[k]) for k in random.choice(near, 2))
        was = bench.session.doc
        bench.bench.seams.choose([None, 1, 2][random.integers(3)])
        bench.said.clear()
        bench.click(a) if random.integers(2) else bench.drag(a, b)
        if bench.session.doc is was:
            refused += "would come apart" in "".join(bench.said)
            continue
        done += 1
        for number in np.unique(on(bench)):
            room = shapely.buffer(bench.bench.table.polygons[on(bench) == number], 1.1)
            assert shapely.get_num_geometries(shapely.union_all(room)) == 1
        assert (on(bench) > 0).all()
    assert done > 5 and refused > 0
    for _ in range(done):
        bench.session.undo()
    assert bench.session.doc is before


def test_a_piece_on_no_sheet_goes_where_it_is_clicked(bench):
    begin(bench, (LEFT_SHEET,))
    known = bench.bench.seams.sheets
    assert known.loose == (on(bench) == 0).sum() > 10
    xy = middles(bench)
    far = int(np.argmax(xy[:, 0]))
    bench.click(place(bench, far))
    assert bench.said == ["That piece touches no sheet; choose first on which it is to be."]
    next_door = at_seam(bench, 0)
    bench.click(place(bench, next_door))
    assert on(bench)[next_door] == 1


def test_without_sheets_or_while_it_is_laid_the_hand_is_told(bench):
    begin(bench, ())
    bench.click((40, 40))
    assert bench.said == ["The work is not divided into sheets yet."]
    begin(bench, (LEFT_SHEET, RIGHT_SHEET))
    piece = place(bench, at_seam(bench, 1))
    bench.session.apply("seed", replace(bench.session.doc, seed=bench.session.doc.seed + 1))
    laying = bench.session.doc
    bench.click(piece)
    assert bench.session.doc is laying
    assert bench.said == ["The work is being laid; try again in a moment."]
    bench.lay()


def test_undo_while_pieces_are_held_is_borne(bench):
    bench.click(place(bench, at_seam(bench, 1)))
    moved = bench.session.doc
    bench.hold((45, 40), (60, 40))
    bench.session.undo()
    bench.let_go()
    assert bench.session.doc is not moved
    assert bench.session.undo_label is None or bench.session.undo_label.startswith("Move")


def test_the_menu_joins_parts_and_pins(bench):
    before = bench.session.doc
    choose(menu_at(bench, (20, 40)), "Join with sheet 2, right")
    (whole,) = bench.session.doc.sheets
    assert whole.number == 1 and (on(bench) == 1).all()
    assert pump(bench.bench.seams.settled)
    choose(menu_at(bench, (20, 40)), "Part in two")
    assert len(bench.session.doc.sheets) == 2 and (on(bench) > 0).all()
    choose(menu_at(bench, (10, 40)), "Pin")
    number = bench.bench.seams.chosen
    assert [s.pinned for s in bench.session.doc.sheets if s.number == number] == [True]
    choose(menu_at(bench, (10, 40)), "Take the pin out")
    assert not any(s.pinned for s in bench.session.doc.sheets)
    for _ in range(4):
        bench.session.undo()
    assert bench.session.doc is before


def test_sheets_apart_cannot_be_joined_and_nothing_is_lost(bench):
    begin(bench, (Sheet(1, square(0, 0, 20, 80)), RIGHT_SHEET, Sheet(3, square(20, 0, 50, 80))))
    before = bench.session.doc
    bench.bench.guarded(lambda: bench.bench.seams.join(1, 2))
    assert bench.session.doc is before
    assert bench.said == ["Sheets 1 and 2 do not lie side by side."]


def test_a_seam_is_drawn_and_rubbed_out(bench):
    before = bench.session.doc
    bench.bench.take("Draw a seam")
    bench.click((30, 0), (30, 40))
    bench.double((30, 80))
    ((a, _, c),) = bench.session.doc.sheeting.seams
    assert a == pytest.approx((30, 0), abs=0.2) and c == pytest.approx((30, 80), abs=0.2)
    assert a[1] == 0 and c[1] == 80  # drawn to the work's edge
    one_step_back(bench, "Draw a seam", before)
    bench.bench.take("Rub out")
    bench.said.clear()
    bench.click((70, 40))
    assert bench.said == ["There is no drawn seam or spared place here."]
    bench.click((30, 60))
    assert bench.session.doc == before


def test_the_keys_end_a_seam_and_take_points_back(bench):
    bench.bench.take("Draw a seam")
    bench.click((30, 10), (60, 40))
    bench.key(ESCAPE)
    bench.key(ENTER)
    bench.click((30, 10))
    bench.key(ENTER)  # a point is no line
    assert bench.session.doc.sheeting.seams == ()
    bench.click((30, 10), (30, 70))
    bench.key(ENTER)
    assert len(bench.session.doc.sheeting.seams[0]) == 2


def ring(t, corners) -> None:
    """Drag round corners without letting go."""
    px = [t.px(q) for q in corners]
    QTest.mousePress(t.bench, LEFT, NONE, px[0])
    for a, b in pairwise(px):
        for k in range(1, 9):
            QTest.mouseMove(t.bench, a + (b - a) * (k / 8))
    QTest.mouseRelease(t.bench, LEFT, NONE, px[-1])


def test_a_place_is_spared_by_a_drag_or_by_clicks_and_rubbed_out(bench):
    before = bench.session.doc
    bench.bench.take("Spare a place")
    ring(bench, [(40, 20), (70, 20), (70, 60), (40, 60), (40, 24)])
    (drawn,) = bench.session.doc.sheeting.spared
    x, y = np.array(drawn).T
    assert (x.min(), x.max(), y.min(), y.max()) == pytest.approx((40, 70, 20, 60), abs=1)
    one_step_back(bench, "Spare a place", before)
    bench.click((10, 10), (30, 10), (30, 30))
    bench.key(ENTER)
    assert len(bench.session.doc.sheeting.spared) == 2
    bench.bench.take("Rub out")
    bench.click((55, 40), (28, 15))
    assert bench.session.doc == before


def test_a_ring_without_room_is_refused_in_words(bench):
    before = bench.session.doc
    bench.bench.take("Spare a place")
    bench.click((10, 10), (30, 10), (50, 10))
    bench.said.clear()
    bench.key(ENTER)
    assert bench.session.doc is before and bench.said == ["Draw a ring with room in it."]


def test_seams_are_painted_as_wide_at_any_scale_and_go_with_the_leaf(bench):
    """Dark pixels across the seam, counted along a line through it: as many near as far."""

    def dark() -> int:
        image = bench.bench.grab().toImage()
        ratio = image.devicePixelRatio()
        at = bench.bench.to_px(50, 20) * ratio
        return sum(
            image.pixelColor(round(at.x()) + k, round(at.y())).lightness() < 70
            for k in range(-12, 13)
        )

    bench.bench.seams.choose(None)
    bench.bench.set_layer("tesserae", False)
    bench.bench.set_layer("outlines", False)
    try:
        assert pump(bench.bench.settled)
        whole = dark()
        assert 2 <= whole <= 5
        bench.bench.show_place(50, 25, 20.0)
        assert pump(bench.bench.settled)
        assert 2 <= dark() <= 5
        bench.bench.seams.show(False)
        assert dark() == 0
    finally:
        bench.bench.set_layer("tesserae", True)
        bench.bench.set_layer("outlines", True)
        bench.bench.fit()


# --- by keys alone ----------------------------------------------------------------------------


def test_arrows_walk_the_pieces_at_the_seam_and_enter_moves_one_there_and_back(bench):
    tool, before = bench.bench.tool, bench.session.doc
    bench.bench.seams.choose(1)
    bench.key(Qt.Key.Key_Down)
    seam = set(bench.bench.seams.at_seams().tolist())
    assert tool.aimed in seam and "Enter moves it" in bench.said[-1]
    top = middles(bench)[tool.aimed]
    walked = [tool.aimed]
    for _ in range(20):
        bench.key(Qt.Key.Key_Down)
        walked.append(tool.aimed)
    assert set(walked) <= seam and len(set(walked)) >= 5
    assert middles(bench)[tool.aimed][1] > top[1] + 50  # from the top to the foot of the seam
    bench.key(Qt.Key.Key_Up)
    side = {Qt.Key.Key_Left: 1, Qt.Key.Key_Right: 2}
    for key, sheet in side.items():
        bench.key(key)
        bench.key(key)
        assert on(bench)[tool.aimed] == sheet
    piece, was = tool.aimed, on(bench)
    bench.key(ENTER)
    assert on(bench)[piece] == 1 and np.count_nonzero(on(bench) != was) == 1
    assert tool.aimed == piece and bench.session.layout_is_current
    bench.key(ENTER)
    assert (on(bench) == was).all()
    bench.session.undo()
    bench.session.undo()
    assert bench.session.doc is before


def test_escape_leaves_the_walk_then_the_sheet(bench):
    bench.bench.seams.choose(1)
    bench.key(Qt.Key.Key_Down)
    bench.key(ESCAPE)
    assert bench.bench.tool.aimed is None and bench.bench.seams.chosen == 1
    bench.key(ESCAPE)
    assert bench.bench.seams.chosen is None


def test_with_no_sheet_chosen_an_arrow_chooses_the_one_in_sight(bench):
    bench.bench.seams.choose(None)
    bench.key(Qt.Key.Key_Right)
    assert bench.bench.seams.chosen in (1, 2) and bench.bench.tool.aimed is not None


def test_where_the_keys_are_is_seen_and_a_lone_sheet_says_so(bench):
    bench.bench.seams.choose(1)
    still = picture(bench)
    bench.key(Qt.Key.Key_Down)
    assert picture(bench) != still
    begin(bench, (Sheet(1, square(0, 0, 100, 80)),))
    bench.key(Qt.Key.Key_Down)
    assert "no seam" in bench.said[-1]


@pytest.mark.parametrize(
    ("key", "strength"),
    [(Qt.Key.Key_1, "spared_little"), (Qt.Key.Key_2, "spared"), (Qt.Key.Key_3, "spared_never")],
)
def test_a_place_is_spared_with_a_strength_and_rubbed_out_again(bench, key, strength):
    bench.bench.take("Spare a place")
    bench.key(key)
    before = bench.session.doc
    bench.click((20, 20), (60, 20), (60, 60))
    bench.key(ENTER)
    s = bench.session.doc.sheeting
    assert [len(getattr(s, k)) for k in ("spared_little", "spared", "spared_never")] == [
        int(k == strength) for k in ("spared_little", "spared", "spared_never")
    ]
    one_step_back(bench, "Spare a place", before)
    bench.bench.take("Rub out")
    bench.click((50, 30))
    assert bench.session.doc.sheeting == before.sheeting
