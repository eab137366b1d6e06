"""Lift, Set, Nip, Join, Shift and Pin with a real mouse, on laid pieces."""

import math

import pytest
import shapely
from PySide6.QtCore import Qt
from tools_rig import ENTER, ESCAPE, one_step_back, picture, shapes

from core.commission import change_field


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
    joint = before.fields[0].laying.joint_mm
    assert left.distance(right) == pytest.approx(joint, abs=0.05)
    assert whole.buffer(1e-3).contains(left.union(right))
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
    assert now.centroid.x - was.centroid.x == pytest.approx(x1 - x0, abs=1e-3)
    assert now.centroid.y - was.centroid.y == pytest.approx(y1 - y0, abs=1e-3)
    assert now.area == pytest.approx(was.area, rel=1e-3)
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
    assert now.centroid.distance(was.centroid) < 1e-3
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
