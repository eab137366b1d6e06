"""Outline, Flow line and Size line with a real mouse: what they draw, refuse and give up."""

import math

import numpy as np
import pytest
import shapely
from PySide6.QtCore import Qt
from tools_rig import ENTER, ESCAPE, choose, menu_at, one_step_back, shapes

from core.archive import Work
from core.commission import add_flow_line, change_flow_line, remove_flow_line
from core.geometry import polygon_of


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
    t.session.begin(Work(doc, {}))
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


def test_a_point_held_is_let_go_with_the_tool(bench):
    before = flow_on(bench)
    bench.hold((50, 40), (50, 20))
    bench.bench.take("Hand")
    bench.bench.take("Flow line")
    bench.let_go()
    assert bench.session.doc is before


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


def test_a_size_line_is_drawn_of_the_size_that_is_asked_for(bench):
    """Half the tessera unless Up or Down changes it; pieces along it are as small, one step."""
    before, coarse = bench.session.doc, shapes(bench)
    tessera = before.fields[0].laying.tessera_mm
    bench.bench.take("Size line")
    bench.key(Qt.Key.Key_Up)
    bench.key(Qt.Key.Key_Up)
    bench.key(Qt.Key.Key_Down)
    bench.click((10, 40), (90, 40))
    bench.key(ENTER)
    (line,) = bench.session.doc.flow_lines
    assert (line.tessera_mm, line.leads) == (tessera / 2 + 0.5, False)
    assert bench.said[-1] == f"Pieces of {line.tessera_mm:g} mm along it, for all fields."
    bench.lay()
    pieces = bench.session.layout.fields[0].pieces
    near = abs(pieces.centre_mm[:, 1] - 40) < line.tessera_mm
    assert near.sum() > 5
    assert np.median(np.sqrt(pieces.area_mm2[near])) == pytest.approx(line.tessera_mm, rel=0.12)
    one_step_back(bench, "Draw a size line", before)
    bench.session.undo()
    bench.lay()
    assert shapes(bench) == coarse


def test_each_tool_takes_hold_of_its_own_lines(bench):
    doc, _ = add_flow_line(bench.session.doc, [(10, 40), (90, 40)], None, 5.0)
    doc, _ = add_flow_line(doc, [(10, 60), (90, 60)])
    bench.session.begin(Work(doc, {}))
    bench.lay()
    for tool, y in (("Size line", 40), ("Flow line", 60)):
        bench.bench.take(tool)
        before = bench.session.doc.flow_lines
        bench.drag((10, y), (14, 20))
        after = bench.session.doc.flow_lines
        assert [a != b for a, b in zip(before, after, strict=True)] == [y == 40, y == 60]
        assert bench.session.undo_label == f"Move a {tool.lower()}"
        bench.session.undo()
        choose(menu_at(bench, (10, y)), f"Remove this {tool.lower()}")
        assert len(bench.session.doc.flow_lines) == 1
        bench.session.undo()
