"""Every hand tool on the bench, with a real mouse: what it does, refuses and gives up."""

import math
import zlib

import pytest
import shapely
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QMenu
from window_rig import panel, table

from core.commission import add_flow_line, change_field, change_flow_line, remove_flow_line
from core.geometry import polygon_of

ESCAPE, ENTER = Qt.Key.Key_Escape, Qt.Key.Key_Return


@pytest.fixture(scope="module")
def shared():
    with table() as t:
        yield t


@pytest.fixture
def bench(shared):
    """About 60 pieces, laid."""
    shared.begin(panel())
    assert 50 <= len(shared.session.layout) <= 75
    return shared


def shapes(t):
    """Return the pieces as they lie."""
    return [p.wkb for p in t.session.layout.fields[0].pieces.polygons]


def one_step_back(t, label: str, before, laid_before=None) -> None:
    """Undo gives the document of before in one step, redo the edit again."""
    after = t.session.doc
    assert after != before
    assert t.session.undo_label == label
    t.session.undo()
    assert t.session.doc is before and t.session.undo_label is None
    t.lay()
    if laid_before is not None:
        assert shapes(t) == laid_before
    t.session.redo()
    assert t.session.doc is after and t.session.redo_label is None
    t.lay()


# --- drawing ----------------------------------------------------------------------------------


def test_outline_draws_a_straight_field_through_the_clicks(bench):
    before = bench.session.doc
    bench.bench.take("Outline")
    bench.key(Qt.Key.Key_S)  # straight
    corners = [(20, 20), (70, 22), (68, 60), (24, 58)]
    bench.click(*corners)
    assert bench.session.doc is before  # nothing is made until it is closed
    bench.key(ENTER)
    bench.key(Qt.Key.Key_S)
    made = bench.session.doc.fields[-1]
    assert len(bench.session.doc.fields) == 2 and bench.session.selection == (made.id,)
    wanted = shapely.Polygon([bench.mm(q) for q in corners])
    shape = polygon_of(made.outline)
    assert shape.hausdorff_distance(wanted) < 1e-3
    ground = polygon_of(bench.session.doc.fields[0].outline)
    assert ground.intersection(shape).area < 1e-6
    assert ground.area + shape.area == pytest.approx(100 * 80)
    one_step_back(bench, "Draw a field", before)


@pytest.mark.parametrize("how", ["first point", "double click", "enter"])
def test_outline_closes_in_every_way(bench, how):
    before = bench.session.doc
    bench.bench.take("Outline")
    points = [(20, 20), (70, 20), (60, 60)]
    bench.click(*points)
    if how == "first point":
        bench.click((20.3, 20.2))
    elif how == "double click":
        bench.double((30, 58))
        points.append((30, 58))
    else:
        bench.key(ENTER)
    made = bench.session.doc.fields[-1]
    assert len(bench.session.doc.fields) == 2
    border = polygon_of(made.outline).boundary
    for q in points:  # a smooth outline runs through every click
        assert border.distance(shapely.Point(bench.mm(q))) < 0.5
    one_step_back(bench, "Draw a field", before)


def test_outline_snaps_to_the_edge_of_the_work(bench):
    bench.bench.take("Outline")
    bench.key(Qt.Key.Key_S)
    bench.click((0.8, 0.7), (40, 0.9), (40, 40), (0.6, 40))
    bench.key(ENTER)
    bench.key(Qt.Key.Key_S)
    x0, y0, x1, y1 = polygon_of(bench.session.doc.fields[-1].outline).bounds
    assert (x0, y0) == (0.0, 0.0)
    assert x1 == pytest.approx(40, abs=0.2) and y1 == pytest.approx(40, abs=0.2)


def test_backspace_takes_the_last_point_back(bench):
    bench.bench.take("Outline")
    bench.key(Qt.Key.Key_S)
    bench.click((20, 20), (70, 20), (70, 60), (5, 70))
    bench.key(Qt.Key.Key_Backspace)
    bench.click((20, 60))
    bench.key(ENTER)
    bench.key(Qt.Key.Key_S)
    shape = polygon_of(bench.session.doc.fields[-1].outline)
    assert shape.area == pytest.approx(50 * 40, rel=0.02)


@pytest.mark.parametrize("tool", ["Outline", "Flow line", "Set"])
def test_escape_abandons_a_curve(bench, tool):
    before = bench.session.doc
    bench.bench.take(tool)
    bench.click((20, 20), (70, 20), (70, 60))
    bench.key(ESCAPE)
    bench.key(ENTER)
    assert bench.session.doc is before and bench.session.undo_label is None
    bench.click((30, 30))
    bench.bench.take("Hand")  # so does another tool
    bench.bench.take(tool)
    bench.key(ENTER)
    assert bench.session.doc is before


def test_too_few_points_make_nothing(bench):
    before = bench.session.doc
    bench.bench.take("Outline")
    bench.click((20, 20), (70, 20))
    bench.key(ENTER)
    bench.bench.take("Flow line")
    bench.click((20, 20))
    bench.key(ENTER)
    assert bench.session.doc is before


def test_an_outline_without_width_is_refused_in_words(bench):
    before = bench.session.doc
    bench.bench.take("Outline")
    bench.key(Qt.Key.Key_S)
    bench.click((20, 40), (50, 40), (80, 40))
    bench.said.clear()
    bench.key(ENTER)
    bench.key(Qt.Key.Key_S)
    assert bench.session.doc is before
    assert bench.said[0].endswith(".")


@pytest.mark.parametrize("chosen", [(), ("f1",)])
def test_flow_line_adds_a_line_for_the_chosen_field_or_all(bench, chosen):
    before = bench.session.doc
    bench.session.select(chosen)
    bench.bench.take("Flow line")
    points = [(10, 40), (50, 25), (90, 40)]
    bench.click(*points)
    bench.key(ENTER)
    (line,) = bench.session.doc.flow_lines
    assert line.field_id == (chosen[0] if chosen else None)
    assert line.points == tuple(bench.mm(q) for q in points)
    bench.lay()
    one_step_back(bench, "Draw a flow line", before)


def test_a_flow_line_turns_the_courses(bench):
    level = shapes(bench)
    bench.bench.take("Flow line")
    bench.click((10, 10))
    bench.double((90, 70))
    bench.lay()
    assert shapes(bench) != level
    angle = bench.session.layout.fields[0].pieces.angle_rad
    slope = math.atan2(60, 80)
    off = abs((angle - slope + math.pi / 2) % math.pi - math.pi / 2)
    assert sorted(off)[len(off) // 2] < math.radians(15)


def flow_on(t):
    doc, _ = add_flow_line(t.session.doc, [(10, 40), (50, 40), (90, 40)])
    t.session._begin(doc, {}, None)
    t.lay()
    t.bench.take("Flow line")
    return t.session.doc


def test_dragging_a_point_of_a_flow_line_is_one_step(bench):
    before = flow_on(bench)
    changes = []
    bench.session.changed.connect(lambda: changes.append(1))
    bench.drag((50, 40), (52, 20))
    assert len(changes) == 1
    points = bench.session.doc.flow_lines[0].points
    assert math.dist(points[1], (52, 20)) < 0.3
    assert points[0] == (10, 40) and points[2] == (90, 40)
    bench.lay()
    one_step_back(bench, "Move a flow line", before)


def test_a_click_on_a_point_moves_nothing(bench):
    before = flow_on(bench)
    bench.click((50, 40))
    assert bench.session.doc is before


def test_escape_abandons_a_dragged_point(bench):
    before = flow_on(bench)
    bench.hold((50, 40), (50, 20))
    bench.key(ESCAPE)
    bench.let_go()
    assert bench.session.doc is before and bench.session.undo_label is None


def test_undo_while_a_point_is_held_lets_it_go(bench):
    bench.bench.take("Flow line")
    bench.click((10, 40), (50, 40))
    bench.double((90, 40))
    bench.hold((50, 40), (50, 20))
    bench.session.undo()
    bench.let_go()
    assert bench.session.doc.flow_lines == () and bench.session.redo_label == "Draw a flow line"


@pytest.mark.parametrize("tool", ["Shift", "Join", "Nip"])
def test_undo_while_a_piece_is_held_is_borne(bench, tool):
    """The pieces change under the hand: the drag is refused or done, but never fails."""
    x, y = bench.centre(25)
    before = bench.session.doc
    bench.bench.take("Lift")
    bench.click(bench.centre(len(bench.session.layout) - 1))
    bench.lay()
    bench.bench.take(tool)
    bench.hold((x, y), (x + 12, y))
    bench.session.undo()
    bench.said.clear()
    bench.let_go()
    assert bench.session.doc is before
    assert bench.said == ["The work is being laid; try again in a moment."]


def test_a_point_held_is_let_go_with_the_tool(bench):
    before = flow_on(bench)
    bench.hold((50, 40), (50, 20))
    bench.bench.take("Hand")
    bench.bench.take("Flow line")
    bench.let_go()
    assert bench.session.doc is before


# --- the hand ---------------------------------------------------------------------------------


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


# --- single pieces ----------------------------------------------------------------------------


def test_lift_takes_out_the_piece_clicked(bench):
    before, laid = bench.session.doc, shapes(bench)
    bench.bench.take("Lift")
    bench.click(bench.centre(25))
    bench.lay()
    assert shapes(bench) == laid[:25] + laid[26:]
    one_step_back(bench, "Lift a piece", before, laid)


def test_set_fills_the_room_of_a_lifted_piece(bench):
    before, laid = bench.session.doc, shapes(bench)
    hole = bench.session.layout.fields[0].pieces.polygons[25]
    x, y = bench.centre(25)
    bench.bench.take("Lift")
    bench.click((x, y))
    bench.lay()
    lifted = bench.session.doc
    bench.bench.take("Set")
    bench.click((x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4))
    bench.double((x - 4, y + 4))
    bench.lay()
    assert bench.session.undo_label == "Set a piece"
    assert len(bench.session.layout) == len(laid)
    piece = bench.piece_at((x, y))
    assert piece.area == pytest.approx(64, rel=0.1)
    assert piece.intersection(hole).area > 0.9 * piece.area
    bench.session.undo()
    assert bench.session.doc is lifted
    bench.session.undo()
    assert bench.session.doc is before


def test_set_where_a_piece_lies_is_refused_in_words(bench):
    before = bench.session.doc
    x, y = bench.centre(25)
    bench.bench.take("Set")
    bench.click((x - 3, y - 3), (x + 3, y - 3), (x + 3, y + 3))
    bench.said.clear()
    bench.key(ENTER)
    assert bench.session.doc is before
    assert bench.said and bench.said[0].startswith("That cannot be done:")


def test_set_while_the_field_is_not_laid_yet_says_so(bench):
    bench.bench.take("Outline")
    bench.click((20, 20), (70, 20), (70, 60), (20, 60))
    bench.key(ENTER)
    drawn = bench.session.doc
    assert not bench.session.layout_is_current
    bench.bench.take("Set")
    bench.click((40, 35), (46, 35), (46, 41))
    bench.said.clear()
    bench.key(ENTER)
    assert bench.session.doc is drawn
    assert bench.said == ["The work is being laid; try again in a moment."]


def test_nip_cuts_a_piece_in_two_along_the_line(bench):
    before, laid = bench.session.doc, shapes(bench)
    whole = bench.session.layout.fields[0].pieces.polygons[25]
    x, y = bench.centre(25)
    bench.bench.take("Nip")
    bench.drag((x, y - 8), (x, y + 8))
    bench.lay()
    assert len(bench.session.layout) == len(laid) + 1
    left = bench.piece_at((x - 3, y))
    right = bench.piece_at((x + 3, y))
    joint = before.fields[0].joint_mm
    assert left.distance(right) == pytest.approx(joint, abs=0.05)
    assert whole.buffer(1e-6).contains(left.union(right))
    one_step_back(bench, "Nip a piece", before, laid)


def neighbours(t, a: int) -> int:
    """Return the piece to the right of a piece, in its course."""
    pieces = t.session.layout.fields[0].pieces
    x, y = pieces.centre_mm[a]
    row = t.bench.table.at(x + 11, y)
    assert row is not None and row != a
    return row


def test_join_makes_one_of_two(bench):
    before, laid = bench.session.doc, shapes(bench)
    a = 25
    b = neighbours(bench, a)
    polygons = bench.session.layout.fields[0].pieces.polygons
    both = polygons[a].union(polygons[b])
    ends = bench.centre(a), bench.centre(b)
    bench.bench.take("Join")
    bench.drag(*ends)
    bench.lay()
    assert len(bench.session.layout) == len(laid) - 1
    assert bench.piece_at(ends[0]) is bench.piece_at(ends[1])
    assert bench.piece_at(ends[0]).area > both.area
    one_step_back(bench, "Join two pieces", before, laid)


def test_join_of_pieces_far_apart_is_refused_in_words(bench):
    before = bench.session.doc
    bench.bench.take("Join")
    bench.said.clear()
    bench.drag(bench.centre(0), bench.centre(40))
    assert bench.session.doc is before
    assert bench.said and bench.said[0].startswith("That cannot be done:")


def test_shift_moves_the_piece_by_the_drag_in_one_step(bench):
    before, laid = bench.session.doc, shapes(bench)
    x, y = bench.centre(25)
    bench.bench.take("Shift")
    changes = []
    bench.session.changed.connect(lambda: changes.append(1))
    a, b = (x, y), (x + 0.8, y + 0.6)
    bench.drag(a, b)
    assert len(changes) == 1
    bench.lay()
    was = shapely.from_wkb(laid[25])
    now = bench.piece_at((x, y))
    (x0, y0), (x1, y1) = bench.mm(a), bench.mm(b)
    assert now.centroid.x - was.centroid.x == pytest.approx(x1 - x0, abs=1e-6)
    assert now.centroid.y - was.centroid.y == pytest.approx(y1 - y0, abs=1e-6)
    assert now.area == pytest.approx(was.area)
    assert sum(p not in laid for p in shapes(bench)) == 1
    one_step_back(bench, "Shift a piece", before, laid)


def test_shift_held_turns_the_piece(bench):
    laid = shapes(bench)
    x, y = bench.centre(25)
    bench.bench.take("Shift")
    turn = math.radians(10)
    r = 4.0
    shift = Qt.KeyboardModifier.ShiftModifier
    bench.drag((x + r, y), (x + r * math.cos(turn), y + r * math.sin(turn)), shift)
    bench.lay()
    was = shapely.from_wkb(laid[25])
    now = bench.piece_at((x, y))
    assert now.centroid.distance(was.centroid) < 1e-6
    edit = bench.session.doc.edits[-1]
    assert edit.turn_rad == pytest.approx(turn, abs=math.radians(3)) and edit.turn_rad > 0
    assert edit.move_mm == (0.0, 0.0)


def test_shift_onto_a_neighbour_is_refused_in_words(bench):
    before = bench.session.doc
    bench.bench.take("Shift")
    bench.said.clear()
    bench.drag(bench.centre(25), bench.centre(neighbours(bench, 25)))
    assert bench.session.doc is before
    assert bench.said and bench.said[0].startswith("That cannot be done:")


def test_pin_holds_through_a_new_laying_and_comes_out_again(bench):
    from core.commission import change_field

    before, laid = bench.session.doc, shapes(bench)
    at = bench.centre(25)
    bench.bench.take("Pin")
    bench.click(at)
    bench.lay()
    assert shapes(bench) == laid
    one_step_back(bench, "Pin a piece", before, laid)
    bench.session.apply("Smaller", change_field(bench.session.doc, "f1", tessera_mm=8.0))
    bench.lay()
    assert shapes(bench).count(laid[25]) == 1
    assert sum(p in laid for p in shapes(bench)) < len(laid) // 2
    pinned = bench.session.doc
    bench.click(at)
    assert bench.session.undo_label == "Take a pin out"
    assert bench.session.doc.edits == ()
    bench.session.undo()
    assert bench.session.doc is pinned


@pytest.mark.parametrize("tool", ["Nip", "Join", "Shift"])
def test_escape_abandons_a_drag_on_pieces(bench, tool):
    before = bench.session.doc
    x, y = bench.centre(25)
    ends = {
        "Nip": ((x, y - 8), (x, y + 8)),
        "Join": ((x, y), bench.centre(neighbours(bench, 25))),
        "Shift": ((x, y), (x + 0.8, y + 0.6)),
    }[tool]
    bench.bench.take(tool)
    bench.hold(*ends)
    bench.key(ESCAPE)
    bench.let_go()
    assert bench.session.doc is before and bench.session.undo_label is None
    bench.drag(*ends)  # the tool is still in hand
    assert bench.session.doc is not before


@pytest.mark.parametrize("tool", ["Lift", "Join", "Shift", "Pin"])
def test_a_piece_tool_beside_the_work_says_so(bench, tool):
    before = bench.session.doc
    bench.bench.take(tool)
    bench.said.clear()
    bench.drag((-6, -6), (-3, -3))
    assert bench.session.doc is before
    assert "There is no piece here." in bench.said


@pytest.mark.parametrize("tool", ["Shift", "Join"])
def test_pieces_laid_anew_under_the_hand_are_not_taken_for_the_old(bench, tool):
    bench.bench.take("Lift")
    bench.click(bench.centre(0))
    bench.lay()
    before = bench.session.doc
    a, b = bench.centre(25), bench.centre(neighbours(bench, 25))
    end = b if tool == "Join" else (a[0] + 0.8, a[1])
    bench.bench.take(tool)
    bench.hold(a, end)
    bench.session.undo()  # piece 25 is another one from now on
    undone = bench.session.doc
    bench.lay()
    picture(bench)
    bench.said.clear()
    bench.let_go()
    assert bench.session.doc is undone is not before
    assert bench.said == ["The pieces were laid anew meanwhile; take hold again."]


@pytest.mark.parametrize("tool", ["Lift", "Pin", "Join", "Shift"])
def test_a_piece_tool_waits_for_the_laying(bench, tool):
    from core.commission import change_field

    changed = change_field(bench.session.doc, "f1", tessera_mm=11.0)
    bench.session.apply("Bigger", changed)
    bench.bench.take(tool)
    bench.said.clear()
    bench.hold((50, 40), (60, 46), Qt.KeyboardModifier.ShiftModifier)
    picture(bench)  # what is drawn under the hand needs no layout
    bench.let_go()
    assert bench.session.doc is changed
    assert bench.said == ["The work is being laid; try again in a moment."]


def test_a_laying_that_was_stopped_goes_on_when_a_piece_is_wanted(bench):
    from core.commission import change_field

    changed = change_field(bench.session.doc, "f1", tessera_mm=11.0)
    bench.session.apply("Bigger", changed)
    bench.session.stop_laying()
    assert not bench.session.laying and not bench.session.layout_is_current
    bench.bench.take("Lift")
    bench.click((50, 40))
    assert bench.session.doc is changed
    bench.lay()
    bench.click(bench.centre(25))
    assert bench.session.undo_label == "Lift a piece"


def test_a_save_leaves_the_bench_as_it_is(bench, tmp_path):
    bench.bench.show_place(30, 30, 8.0)
    view, seen = bench.bench.view, bench.bench.table
    bench.session.save(tmp_path / "panel.emblema")
    assert bench.bench.view == view and bench.bench.table is seen
    assert bench.piece_at(bench.centre(25)).area > 0


def test_every_tool_paints_while_it_works(bench):
    """What is being drawn is seen: the picture of the bench changes under each drag."""
    a, b = bench.centre(20), bench.centre(21)
    for tool, ends in {
        "Outline": ((20, 20), (70, 20)),
        "Flow line": ((10, 40), (90, 40)),
        "Measure": ((10, 40), (90, 40)),
        "Nip": ((45, 20), (45, 60)),
        "Join": (a, b),
        "Shift": (a, (a[0] + 20, a[1] + 20)),
    }.items():
        bench.bench.take(tool)
        still = picture(bench)
        bench.hold(*ends)
        assert picture(bench) != still, tool
        bench.key(ESCAPE)
        bench.bench.take("Hand")
        bench.let_go()
    assert bench.session.undo_label is None


def picture(t) -> int:
    """Return what the bench shows, as a number."""
    image = t.bench.grab().toImage()
    return zlib.crc32(bytes(image.constBits()))


def test_outline_pulls_a_chosen_fields_border_and_a_click_there_still_begins_one(bench):
    bench.bench.take("Outline")
    for at in ((30, 20), (70, 20), (70, 60), (30, 60)):
        bench.click(at)
    bench.key(Qt.Key.Key_Return)
    bench.lay()
    before = bench.session.doc
    (chosen,) = bench.session.selection
    area = bench.bench.shape_of(before.field_by_id(chosen)).area
    edge = bench.bench.shape_of(before.field_by_id(chosen)).bounds[2]
    bench.drag((edge, 40), (edge + 12, 40))
    assert bench.session.undo_label == "Pull a border"
    pulled = bench.bench.shape_of(bench.session.doc.field_by_id(chosen))
    assert pulled.area > area + 20
    assert pulled.bounds[2] == pytest.approx(edge + 12, abs=1.5)
    bench.session.undo()
    assert bench.session.doc is before
    bench.click((edge, 40))
    assert bench.session.doc is before and len(bench.bench.tool.points) == 1
    # Escape gives a pull up
    bench.key(Qt.Key.Key_Escape)
    bench.hold((edge, 40), (edge + 12, 40))
    bench.key(Qt.Key.Key_Escape)
    bench.let_go()
    assert bench.session.doc is before


# --- menus that stay open while the commission changes -----------------------------------------


def menu_at(t, at) -> QMenu:
    """Open the tool's menu at a place."""
    t.bench.tool.menu(at, t.bench.mapToGlobal(t.px(at)))
    menu = QApplication.activePopupWidget()
    assert isinstance(menu, QMenu)
    return menu


def choose(menu: QMenu, begins: str) -> None:
    next(a for a in menu.actions() if a.text().startswith(begins)).trigger()
    menu.close()


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


@pytest.mark.parametrize("words", ["Remove this flow line", "Remove this point"])
@pytest.mark.parametrize("how", ["stays", "moved", "gone"])
def test_the_flow_line_menu_means_its_line_or_says_that_it_is_gone(bench, words, how):
    s = bench.session
    doc, line = add_flow_line(s.doc, [(10, 10), (40, 30), (80, 60)], None)
    s.apply("Line", doc)
    bench.bench.take("Flow line")
    menu = menu_at(bench, (40, 30))
    if how == "moved":
        s.apply("Moved", change_flow_line(s.doc, line, points=((10, 10), (45, 35), (80, 60))))
    elif how == "gone":
        s.apply("Gone", remove_flow_line(s.doc, line))
    stood = s.doc
    choose(menu, words)
    if how == "stays":
        lines = s.doc.flow_lines
        assert [w.points for w in lines] == (
            [((10, 10), (80, 60))] if words.endswith("point") else []
        )
    else:
        assert s.doc is stood
        assert bench.said[-1] == "That flow line is no longer as it was; click it again."
    bench.lay()
