"""Pebbles, shells and tusks: never over one another, of the sizes asked for, along the flow."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from measures import lie_clear, overlap_mm2
from settings import setting_of
from shapely import LineString, MultiPolygon, Point, Polygon, box
from shapely.affinity import rotate

from core.errors import Stopped
from core.laying import Setting
from core.laying.opus.natural import (
    Packing,
    _apart,
    _between,
    _near,
    _segments,
    _walls,
    lay_natural,
)
from core.laying.rooms.power import power_cells


def field(shape: Polygon, **more) -> Setting:
    given = {"opus": "tessellatum", "tessera_mm": 10.0, "joint_mm": 1.0, "pieces": "rounds"}
    return setting_of(MultiPolygon([shape]), **(given | more))


def long_axis(p) -> tuple[np.ndarray, np.ndarray]:
    """Return each piece's long axis, rad, and length over width, from its second moments."""
    angle, ratio = [], []
    for g in p:
        c = shapely.get_coordinates(g.exterior) - shapely.get_coordinates(g.centroid)
        x, y, x1, y1 = c[:-1, 0], c[:-1, 1], c[1:, 0], c[1:, 1]
        w = x * y1 - x1 * y
        xx = (w * (x * x + x * x1 + x1 * x1)).sum()
        yy = (w * (y * y + y * y1 + y1 * y1)).sum()
        xy = (w * (2 * x * y + x * y1 + x1 * y + 2 * x1 * y1)).sum() / 2
        m = np.array([[xx, xy], [xy, yy]]) * np.sign(xx + yy)
        value, vector = np.linalg.eigh(m)
        angle.append(np.arctan2(vector[1, 1], vector[0, 1]))
        ratio.append(np.sqrt(value[1] / value[0]))
    return np.array(angle), np.array(ratio)


def off(a: np.ndarray, b: np.ndarray | float) -> np.ndarray:
    return np.abs((a - b + np.pi / 2) % np.pi - np.pi / 2)


def test_round_pieces_without_joint_or_rounding_are_power_cells() -> None:
    """With axes of one length the lines between pieces are the power diagram's (Aurenhammer
    1987), made here by a convex hull one dimension up.
    """
    rng = np.random.default_rng(5)
    xy = rng.random((60, 2)) * 100
    weight = rng.normal(0, 8, 60)
    outline = MultiPolygon([box(0, 0, 100, 100)])
    packing = Packing(xy, rng.random(60), np.ones(60), weight)
    lines = _between(packing, _near(replace(packing, slender=np.full(60, 5.0))))
    cells = power_cells(xy, weight, outline)
    inner = np.flatnonzero(shapely.contains_properly(outline, cells))
    seen = 0
    for k in inner:
        mine = lines.owner == k
        corner = shapely.get_coordinates(cells[k].exterior)[:-1] - xy[k]
        slack = lines.offset[mine] - corner @ lines.normal[mine].T
        on_two = (np.abs(slack) < 1e-6).sum(1)
        share = 0.5 + (weight[k] - weight) / 2 / np.maximum(((xy - xy[k]) ** 2).sum(1), 1e-9)
        if np.abs(share - 0.5).max() > 0.38:  # a line is held off the two middles
            continue
        seen += 1
        assert (slack > -1e-6).all() and (on_two >= 2).all()
    assert seen > 15


@pytest.mark.parametrize("spread", [0.1, 0.2, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("slender", [1.0, 1.8])
def test_pebbles_have_the_spread_asked_for(spread: float, slender: float) -> None:
    setting = field(box(0, 0, 300, 240), spread=spread, slenderness=slender)
    area = lay_natural(setting).area_mm2
    assert area.std() / area.mean() == pytest.approx(spread, rel=0.15)
    assert len(area) == pytest.approx(300 * 240 / 121, rel=0.02)


@pytest.mark.parametrize("slender", [1.0, 1.4, 2.0])
def test_pebbles_fill_three_quarters_of_the_field(slender: float) -> None:
    for shape in (box(0, 0, 300, 200), Point(0, 0).buffer(110)):
        p = lay_natural(field(shape, slenderness=slender)).polygons
        assert shapely.area(p).sum() / shape.area > 0.75


def test_pebbles_turn_along_the_flow_as_strictly_as_asked() -> None:
    line = (LineString([(-10, 0), (310, 160)]),)
    median = []
    for strict in (1.0, 0.6, 0.0):
        setting = field(
            box(0, 0, 300, 160), flow=line, strictness=strict, slenderness=1.8, follow_border=False
        )
        angle, _ = long_axis(lay_natural(setting).polygons)
        median.append(np.degrees(np.median(off(angle, np.arctan2(160, 320)))))
    assert median[0] < 10 and median[0] < median[1] < median[2] and median[2] > 20


@pytest.mark.parametrize("slender", [1.0, 1.6, 2.2])
def test_pebbles_are_as_slender_as_asked(slender: float) -> None:
    setting = field(
        box(0, 0, 300, 200),
        slenderness=slender,
        strictness=1.0,
        follow_border=False,
        spread=0.1,
        flow=(LineString([(-10, 100), (310, 100)]),),
    )
    p = lay_natural(setting).polygons
    inner = p[shapely.distance(p, setting.outline.boundary) > 11]
    assert np.median(long_axis(inner)[1]) == pytest.approx(slender, rel=0.2)


def test_pebbles_are_smooth_and_convex() -> None:
    p = lay_natural(field(box(0, 0, 200, 150), slenderness=1.4)).polygons
    assert (shapely.area(p) / shapely.area(shapely.convex_hull(p)) > 1 - 1e-6).all()
    inner = p[shapely.distance(p, box(0, 0, 200, 150).boundary) > 2]
    sharpest = []
    for g in inner:
        c = shapely.get_coordinates(g.exterior)
        d = np.diff(c, axis=0)
        turn = np.diff(np.unwrap(np.arctan2(d[:, 1], d[:, 0])))
        assert len(c) - 1 == 24
        sharpest.append(np.degrees(np.abs(turn)).max())
    # a hexagon turns by 60 degrees at each corner, all at once
    assert np.median(sharpest) < 50 and np.max(sharpest) < 100


@pytest.mark.parametrize("pieces", ["rounds", "tapers"])
def test_no_two_pieces_are_nearer_than_a_joint(pieces: str) -> None:
    setting = field(Point(0, 0).buffer(90), pieces=pieces, slenderness=2.0, joint_mm=1.5)
    p = lay_natural(setting).polygons
    a, b = shapely.STRtree(p).query(p, predicate="dwithin", distance=1.5 - 1e-6)
    assert not (a < b).any()
    assert shapely.distance(p, setting.outline.boundary).min() > 0.75 - 1e-6


def test_tusks_are_long_lie_along_the_flow_and_taper_turn_about() -> None:
    setting = field(
        box(0, 0, 400, 240),
        pieces="tapers",
        slenderness=3.0,
        strictness=1.0,
        follow_border=False,
        flow=(LineString([(-10, 120), (410, 120)]),),
    )
    p = lay_natural(setting).polygons
    assert len(p) == pytest.approx(400 * 240 / (3 * 121), rel=0.03)
    angle, ratio = long_axis(p)
    assert np.degrees(np.median(off(angle, 0.0))) < 12
    assert np.median(ratio) == pytest.approx(3.0, rel=0.25)
    # wide at one end: the middle of area lies off the middle of length
    c, box_ = shapely.get_coordinates(shapely.centroid(p)), shapely.bounds(p)
    lean = (c[:, 0] - (box_[:, 0] + box_[:, 2]) / 2) / (box_[:, 2] - box_[:, 0])
    assert np.median(np.abs(lean)) > 0.02
    inner = np.abs(lean) > 0.015
    assert 0.3 < (lean[inner] > 0).mean() < 0.7
    # of two side by side most lean contrary ways
    far = np.abs(c[:, None] - c[None])
    beside = (far[..., 0] < 8) & (far[..., 1] < 14) & inner[:, None] & inner[None]
    i, j = np.nonzero(np.triu(beside, 1))
    assert len(i) > 30 and (lean[i] * lean[j] < 0).mean() > 0.65


def test_the_walls_keep_every_piece_inside() -> None:
    """Half planes square to the shortest way to a stretch of border exclude all that is beyond."""
    hole = Point(50, 50).buffer(18)
    outline = MultiPolygon([box(0, 0, 100, 100).difference(hole)])
    rng = np.random.default_rng(1)
    xy = rng.random((200, 2)) * 100
    xy = xy[shapely.contains_xy(outline.buffer(-1.0), xy[:, 0], xy[:, 1])]
    border, inside = _segments(outline, 1.0)
    lines = _walls(xy, border, 60.0)
    turn = np.linspace(0, 2 * np.pi, 180, endpoint=False)
    ray = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    for k in range(len(xy)):
        mine = lines.owner == k
        steep = (ray @ lines.normal[mine].T) / lines.offset[mine]
        r = 1 / np.maximum(steep.max(1), 1 / 59.0)
        room = Polygon(xy[k] + ray * r[:, None])
        assert room.area > 3.0
        assert room.intersection(Point(xy[k]).buffer(58)).difference(outline).area < 1e-6
    assert 0.3 < inside <= 0.5


def test_pieces_forgotten_as_neighbours_are_still_kept_apart() -> None:
    xy = np.array([[20.0, 20.0], [30.0, 20.0], [40.0, 20.0]])
    packing = Packing(xy, np.zeros(3), np.ones(3), np.zeros(3))
    border, inside = _segments(MultiPolygon([box(0, 0, 60, 40)]), 1.0)
    p = _apart(packing, np.array([[0, 1]]), border, 0.5, inside, None)
    assert overlap_mm2(p) == 0.0 and (shapely.area(p) > 0).all()


@settings(max_examples=25, deadline=None)
@given(
    wide=st.floats(6, 200),
    high=st.floats(6, 160),
    turn=st.floats(0, 180),
    hole=st.floats(0, 0.4),
    slender=st.floats(1, 5),
    strict=st.floats(0, 1),
    spread=st.floats(0, 0.6),
    joint=st.floats(0.3, 3),
    pieces=st.sampled_from(["rounds", "tapers"]),
    seed=st.integers(0, 99),
)
def test_natural_pieces_never_overlap_and_stay_inside(
    wide, high, turn, hole, slender, strict, spread, joint, pieces, seed
) -> None:
    shape = box(0, 0, wide, high)
    if hole > 0.1:
        shape = shape.difference(Point(wide / 2, high / 2).buffer(hole * min(wide, high)))
    setting = field(
        rotate(shape, turn),
        pieces=pieces,
        slenderness=slender,
        strictness=strict,
        spread=spread,
        joint_mm=joint,
        seed=seed,
    )
    p = lay_natural(setting).polygons
    lie_clear(p, setting.outline, joint)


def test_the_same_seed_gives_the_same_pieces_and_a_stop_stops() -> None:
    setting = field(box(0, 0, 150, 120), seed=3)
    a, b = lay_natural(setting), lay_natural(setting)
    assert (shapely.to_wkb(a.polygons) == shapely.to_wkb(b.polygons)).all()
    c = lay_natural(replace(setting, seed=4))
    assert len(c) != len(a) or (shapely.to_wkb(a.polygons) != shapely.to_wkb(c.polygons)).any()
    asked: list[int] = []

    def stop() -> bool:
        asked.append(len(asked))
        return len(asked) > 6

    with pytest.raises(Stopped):
        lay_natural(field(box(0, 0, 600, 500)), stop)
    assert len(asked) == 7
