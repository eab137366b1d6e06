"""Fans against the geometry of circles, and what every laying keeps to."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from measures import least_width, lie_clear, smallest_corner_deg
from settings import setting_of
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate

from core.errors import Stopped
from core.laying import Setting
from core.laying.opus.circumactum import axis, fan, half_span, lay_circumactum, radius_mm
from core.laying.pieces.border import clear_of_border

PITCH = 11.2


def field(shape: Polygon, **more) -> Setting:
    given = {"opus": "circumactum", "tessera_mm": 10.0, "joint_mm": 1.2, "module_mm": 110.0}
    return setting_of(MultiPolygon([shape]), **(given | more))


def one_fan(setting: Setting) -> np.ndarray:
    grounds = fan(setting).grounds(np.zeros((1, 2)), np.zeros((1, len(fan(setting).arc))))
    return grounds


@pytest.mark.parametrize("module", [60.0, 110.0, 240.0])
def test_fans_tile_the_plane(module: float) -> None:
    """Middles on a lattice of equal triangles of side R: each fan takes the lattice's own cell,
    sqrt(3) / 2 R^2, and a fan is as wide as the module.
    """
    setting = field(box(0, 0, 10, 10), module_mm=module)
    r = radius_mm(setting)
    whole = shapely.union_all(shapely.buffer(one_fan(setting), 1e-3))
    assert whole.area == pytest.approx(np.sqrt(3) / 2 * r**2, rel=0.005)
    assert np.ptp(shapely.get_coordinates(whole)[:, 0]) == pytest.approx(module, rel=0.002)
    beside = [(np.sqrt(3) * r, 0.0), (np.sqrt(3) / 2 * r, r / 2), (-np.sqrt(3) / 2 * r, r / 2)]
    for x, y in beside:
        other = shapely.transform(whole, lambda xy, d=(x, y): xy + d)
        assert whole.intersection(other).area < 0.002 * whole.area


def test_a_fans_sides_are_the_rims_of_the_fans_before_it() -> None:
    r = 50.0
    at = np.linspace(1.0, r, 7)
    t = half_span(at, r)
    x, y = at * np.sin(t), -at * np.cos(t)
    assert np.hypot(x - np.sqrt(3) / 2 * r, y - r / 2) == pytest.approx(r)
    assert np.degrees(half_span(np.array(0.0), r)) == pytest.approx(30.0)
    assert np.degrees(half_span(np.array(r), r)) == pytest.approx(60.0)


def test_arcs_take_as_many_pieces_as_their_length_asks() -> None:
    setting = field(box(0, 0, 10, 10), module_mm=260.0, variation=0.0)
    one = fan(setting)
    ground = one_fan(setting)
    r = radius_mm(setting)
    for k in range(1, int(one.arc.max()) + 1):
        mine = one.arc == k
        middle = np.hypot(*shapely.get_coordinates(shapely.centroid(ground[mine])).T).mean()
        length = 2 * middle * half_span(np.array(middle), r)
        n = int(mine.sum())
        assert abs(n - length / PITCH) < 1.0
        assert shapely.area(ground[mine]).mean() == pytest.approx(PITCH**2, rel=0.3)
    number = np.bincount(one.arc)
    in_line = (np.diff(number) % 2 == 0).mean()
    assert in_line < 0.3  # arcs both even or both odd have joints in line


def test_joints_are_radial_and_pieces_taper() -> None:
    setting = field(box(-300, -300, 300, 300), module_mm=260.0, variation=0.0)
    one, ground = fan(setting), one_fan(setting)
    from core.laying.pieces.shape import shape_pieces

    pieces = shape_pieces(ground, setting.laying.joint_mm)
    inner = np.flatnonzero(
        (one.place > 0) & (one.place < np.bincount(one.arc)[one.arc] - 1) & (one.arc > 2)
    )
    for k in inner:
        c = shapely.get_coordinates(pieces[k].exterior)
        d = np.diff(c, axis=0)
        mid = (c[1:] + c[:-1]) / 2
        out = shapely.get_coordinates(ground[k].centroid)[0]
        out = out / np.hypot(*out)
        along = np.abs(d @ out) / np.hypot(*d.T)
        sides = np.argsort(-along)[:2]
        turn = np.arctan2(d[sides, 1], d[sides, 0])
        taper = abs((turn[0] - turn[1] + np.pi / 2) % np.pi - np.pi / 2)
        assert taper == pytest.approx(one.step[k], rel=0.05)
        assert len(mid) == 4


def test_fans_follow_the_mean_flow() -> None:
    line = LineString([(0, 0), (100, 40), (200, 80)])
    setting = field(box(0, 0, 200, 80), flow=(line,))
    up = np.array([np.sin(axis(setting)), -np.cos(axis(setting))])
    assert abs(up @ np.array([200.0, 80.0])) / np.hypot(200, 80) == pytest.approx(1.0)
    assert axis(field(box(0, 0, 200, 80))) == 0.0
    # a turned field with a turned line is laid as the upright one, turned
    upright = field(box(-100, -80, 100, 80), variation=0.0, flow=(LineString([(0, 80), (0, -80)]),))
    turned = field(
        rotate(box(-100, -80, 100, 80), 30, origin=(0, 0)),
        variation=0.0,
        flow=(rotate(LineString([(0, 80), (0, -80)]), 30, origin=(0, 0)),),
    )
    a, b = lay_circumactum(upright), lay_circumactum(turned)
    inside_a = shapely.distance(a.polygons, upright.outline.boundary) > 2 * PITCH
    inside_b = shapely.distance(b.polygons, turned.outline.boundary) > 2 * PITCH
    assert inside_a.sum() == inside_b.sum() > 50
    assert np.sort(a.area_mm2[inside_a]) == pytest.approx(np.sort(b.area_mm2[inside_b]), rel=0.02)


def test_a_wall_is_laid_without_slivers() -> None:
    setting = field(box(0, 0, 420, 300))
    p = lay_circumactum(setting).polygons
    area = shapely.area(p)
    assert (area < 0.25 * 100).mean() < 0.01
    assert (least_width(p) < 4.0).mean() < 0.01
    assert (smallest_corner_deg(p) < 40).mean() < 0.002
    assert (area > 1.7 * 100).mean() < 0.01
    assert area.sum() / setting.outline.area > 0.93 * (10 / 11.2) ** 2


def test_the_course_is_an_arc_and_the_angle_its_tangent() -> None:
    pieces = lay_circumactum(field(box(0, 0, 420, 300), variation=0.0))
    boxes = shapely.get_coordinates(shapely.oriented_envelope(pieces.polygons)).reshape(-1, 5, 2)
    d = boxes[:, 1] - boxes[:, 0]
    off = (np.arctan2(d[:, 1], d[:, 0]) - pieces.angle_rad + np.pi / 4) % (np.pi / 2) - np.pi / 4
    assert np.median(np.abs(off)) < np.radians(5)
    assert (pieces.angle_rad > -np.pi / 2).all() and (pieces.angle_rad <= np.pi / 2).all()
    for c in np.unique(pieces.course):
        place = pieces.piece[pieces.course == c]
        assert sorted(place) == list(range(len(place)))


def test_pieces_on_a_hollow_border_keep_half_a_joint_from_it() -> None:
    hole = Point(0, 0).buffer(20, quad_segs=64)
    outline = MultiPolygon([box(-60, -60, 60, 60).difference(hole)])
    across = np.array([box(-8, 19, 8, 35), box(30, 30, 40, 40)], dtype=object)
    cut = clear_of_border(across, outline, 1.2)
    assert shapely.distance(cut, outline.boundary).min() > 0.6 - 1e-6
    assert cut[1].equals(across[1])
    hollow = shapely.area(shapely.convex_hull(cut)) - shapely.area(cut)
    assert hollow.max() < 0.1 * 1.2 * 16


@settings(max_examples=25, deadline=None)
@given(
    wide=st.floats(8, 260),
    high=st.floats(8, 200),
    module=st.floats(20, 200),
    turn=st.floats(0, 180),
    joint=st.floats(0.3, 3.0),
    hole=st.floats(0, 0.4),
    seed=st.integers(0, 99),
)
def test_fans_never_overlap_and_stay_inside(wide, high, module, turn, joint, hole, seed) -> None:
    shape = box(0, 0, wide, high)
    if hole > 0.1:
        shape = shape.difference(Point(wide / 2, high / 2).buffer(hole * min(wide, high)))
    setting = field(rotate(shape, turn), module_mm=module, joint_mm=joint, seed=seed)
    p = lay_circumactum(setting).polygons
    lie_clear(p, setting.outline, joint)


def test_the_same_seed_gives_the_same_fans_and_a_stop_stops() -> None:
    setting = field(box(0, 0, 200, 150), seed=3)
    a, b = lay_circumactum(setting), lay_circumactum(setting)
    assert (shapely.to_wkb(a.polygons) == shapely.to_wkb(b.polygons)).all()
    c = lay_circumactum(replace(setting, seed=4))
    assert len(c) != len(a) or (shapely.to_wkb(a.polygons) != shapely.to_wkb(c.polygons)).any()
    with pytest.raises(Stopped):
        lay_circumactum(setting, lambda: True)
