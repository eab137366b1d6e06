"""Laying a field: never overlapping, never outside, the same each time, stopped at once."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE, disc
from hypothesis import given, settings
from hypothesis import strategies as st
from measures import overlap_mm2
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import translate

from core.errors import EmblemaError, Stopped
from core.laying import Setting, SideBySide, lay_field
from core.laying.rooms.mesh import triangles
from core.laying.sidebyside import work
from core.pieces import Pieces

COURSED = ("tessellatum", "regulatum", "vermiculatum", "musivum", "classicum")
angles = st.lists(st.floats(0.2, 1.0), min_size=5, max_size=11)


def same(a: Pieces, b: Pieces) -> bool:
    return (
        len(a) == len(b)
        and all(x.equals_exact(y, 0.0) for x, y in zip(a.polygons, b.polygons, strict=True))
        and bool((a.course == b.course).all() and (a.piece == b.piece).all())
    )


@settings(max_examples=25, deadline=None)
@given(
    far=angles,
    size=st.floats(25, 90),
    tessera=st.floats(5, 14),
    joint=st.floats(0.05, 0.25),
    lines=st.lists(
        st.lists(st.tuples(st.floats(-90, 90), st.floats(-90, 90)), min_size=2, max_size=4),
        max_size=3,
    ),
    laying=st.sampled_from(COURSED),
    follow=st.booleans(),
    hole=st.booleans(),
    seed=st.integers(0, 2**32 - 1),
)
def test_any_field_and_any_lines(far, size, tessera, joint, lines, laying, follow, hole, seed):
    turn = np.linspace(0, 2 * np.pi, len(far), endpoint=False)
    xy = size * np.array(far)[:, None] * np.c_[np.cos(turn), np.sin(turn)]
    shape = Polygon(xy).buffer(0)
    if hole:
        shape = shape.difference(shapely.Point(0, 0).buffer(0.1 * size))
    outline = MultiPolygon([p for p in shapely.get_parts([shape]) if isinstance(p, Polygon)])
    flow = tuple(LineString(c) for c in lines if len(set(c)) > 1)
    s = setting_of(outline, laying, tessera, joint * tessera, follow, flow, seed=seed)
    pieces = lay_field(s)
    p = pieces.polygons
    whole = float(shapely.area(p).sum())
    assert len(p) and shapely.is_valid(p).all()
    assert overlap_mm2(p) <= 1e-9 * whole
    assert shapely.area(shapely.difference(p, outline)).sum() <= 1e-9 * whole
    assert whole < outline.area


def test_the_same_setting_gives_the_same_pieces_to_the_last_bit() -> None:
    s = CATALOGUE["wall_with_sockets"]()
    assert same(lay_field(s), lay_field(s))
    assert not same(lay_field(s), lay_field(replace(s, seed=s.seed + 1)))


def test_side_by_side_gives_what_one_after_the_other_does() -> None:
    names = ("star_six", "fan_radial", "many_holes", "coast", "ring_wide", "gear", "letter_s")
    several = [
        replace(CATALOGUE[n](), seed=k) for k in range(2) for n in names
    ]  # enough for two workers
    hands = SideBySide(2)
    try:
        laid = dict(hands.lay(several, lambda: False))
    finally:
        hands.close()
    assert sorted(laid) == list(range(len(several)))
    for k, s in enumerate(several):
        assert same(laid[k], lay_field(s))


def large(pieces: int) -> Setting:
    side = np.sqrt(pieces) * 11.5
    wave = np.c_[np.linspace(0, side, 40), side / 2 + 30 * np.sin(np.linspace(0, 9, 40))]
    return setting_of(
        MultiPolygon([shapely.box(0, 0, side, side)]),
        "tessellatum",
        10.0,
        1.5,
        True,
        (LineString(wave),),
    )


def test_a_laying_asks_whether_to_stop() -> None:
    asked: list[int] = []

    def stop() -> bool:
        asked.append(len(asked))
        return len(asked) > 4

    with pytest.raises(Stopped):
        lay_field(large(3_000), stop)
    assert len(asked) == 5


def bent() -> Setting:
    """Six blunt stars, whose courses bend so tightly that they are laid again and again."""
    one = CATALOGUE["star_eight_blunt"]()
    places = [(240 * i, 240 * j) for i in range(3) for j in range(2)]
    parts = [translate(g, *p) for p in places for g in one.outline.geoms]
    flow = tuple(translate(g, *p) for p in places for g in one.flow)
    return replace(one, outline=MultiPolygon(parts), flow=flow)


def test_a_large_field_stops_wherever_it_is_and_can_be_laid_again() -> None:
    """A worker in a long step is ended. How soon is measured by stress_workers.py."""
    hands = SideBySide(2)
    try:
        # in an early step, in a late one, and while what bends too much is laid again
        for field, after in ((large(40_000), 2), (large(40_000), 40), (bent(), 15)):
            asked = [0]

            def stop(asked: list[int] = asked, after: int = after) -> bool:
                asked[0] += 1
                return asked[0] > after

            with pytest.raises(Stopped):
                list(hands.lay([field], stop))
            assert asked[0] > after
        (laid,) = hands.lay([large(2_600)], lambda: False)
        assert len(laid[1]) > 2_300
    finally:
        hands.close()


def test_a_field_too_narrow_for_any_piece_comes_back_empty_from_a_worker() -> None:
    sliver = setting_of(MultiPolygon([shapely.box(0, 0, 500, 0.5)]), "tessellatum", 9.0, 1.0)
    hands = SideBySide()
    try:
        got = dict(hands.lay([sliver, large(2_600)], lambda: False))
    finally:
        hands.close()
    assert len(got[0]) == 0 and len(got[1]) > 2_300


def test_many_small_parts_go_to_a_worker_though_they_are_little_stone() -> None:
    """500 crumbs of half a piece are more border to heed than a wall of 900 pieces."""
    wall = setting_of(MultiPolygon([shapely.box(0, 0, 300, 300)]), "tessellatum", 9.0, 1.0)
    xy = np.stack(np.meshgrid(np.arange(25), np.arange(20)), axis=-1).reshape(-1, 2) * 20.0
    crumbs = replace(wall, outline=MultiPolygon([shapely.box(x, y, x + 7, y + 7) for x, y in xy]))
    assert crumbs.outline.area < wall.outline.area / 3
    assert work(wall) > 900 and work(crumbs) > 1.5 * work(wall)


def ragged(points: int, by_mm: float) -> Setting:
    t = np.linspace(0, 2 * np.pi, points, endpoint=False)
    far = 100 + np.random.default_rng(1).normal(0, by_mm, points)
    ring = Polygon(np.c_[far * np.cos(t), far * np.sin(t)])
    return setting_of(MultiPolygon([ring]), "tessellatum", 9.0, 1.0)


def test_an_outline_drawn_far_too_finely_is_made_plainer_and_never_left() -> None:
    """A scan's roughness, a hundred points a tessera: the pieces still keep within it."""
    rough = ragged(6000, 0.1)
    pieces = lay_field(rough).polygons
    smooth = lay_field(setting_of(MultiPolygon([disc(100.0)]), "tessellatum", 9.0, 1.0)).polygons
    # how many there are hangs on how bends come out; how much they cover does not
    assert shapely.area(pieces).sum() == pytest.approx(shapely.area(smooth).sum(), rel=0.01)
    assert shapely.get_num_coordinates(pieces).max() < 12
    field = shapely.make_valid(rough.outline)
    assert shapely.area(shapely.difference(pieces, field)).sum() == 0.0


def test_an_outline_that_is_a_tangle_is_refused_with_its_count() -> None:
    with pytest.raises(EmblemaError, match="20,001 points"):
        lay_field(ragged(20_000, 2.0))


def test_roughness_of_a_tenth_of_a_tessera_is_refused_though_its_points_are_few() -> None:
    """Less than the joint swallows is laid; points alone do not tell, since a curve has as many."""
    points = 1800  # 26 a tessera
    with pytest.raises(EmblemaError, match="too rough"):
        lay_field(ragged(points, 0.9))
    fine = setting_of(
        MultiPolygon([shapely.Point(0, 0).buffer(100, quad_segs=points // 4)]),
        "tessellatum",
        9.0,
        1.0,
    )
    few = lay_field(setting_of(MultiPolygon([disc(100.0)]), "tessellatum", 9.0, 1.0))
    for setting in (fine, ragged(points, 0.1)):
        assert len(lay_field(setting)) == pytest.approx(len(few), rel=0.05)


def test_nipping_and_parting_ask_whether_to_stop() -> None:
    """They are the longest steps in between; each little while they ask."""
    asked: list[str] = []

    def stop() -> bool:
        asked.append(sys._getframe(1).f_code.co_name)
        return False

    lay_field(CATALOGUE["star_eight_blunt"](), stop)
    assert asked.count("_changes") > 5 and asked.count("_a_few") > 10


def test_more_pieces_than_can_be_laid_are_refused_before_any_work() -> None:
    asked: list[int] = []
    with pytest.raises(EmblemaError, match="1,000,000 pieces"):
        lay_field(large(1_000_000), lambda: bool(asked.append(1)))
    assert not asked


@pytest.mark.parametrize(("tessera", "joint"), [(10, 0), (10, 10), (0, 0), (10, -1), (np.nan, 1)])
def test_numbers_that_cannot_be_laid_are_refused(tessera: float, joint: float) -> None:
    square = MultiPolygon([shapely.box(0, 0, 50, 50)])
    with pytest.raises(EmblemaError):
        lay_field(setting_of(square, "tessellatum", tessera, joint, True, ()))


def test_an_outline_that_encloses_nothing_is_refused() -> None:
    flat = MultiPolygon([Polygon([(0, 0), (10, 0), (20, 0)])])
    with pytest.raises(EmblemaError, match="encloses nothing"):
        lay_field(setting_of(flat, "tessellatum", 10, 1, True, ()))


def test_an_outline_that_crosses_itself_is_laid_in_its_parts() -> None:
    bow = MultiPolygon([Polygon([(0, 0), (100, 80), (100, 0), (0, 80)])])
    pieces = lay_field(setting_of(bow, "tessellatum", 10, 1.5, True, ()))
    sides = shapely.get_coordinates(shapely.centroid(pieces.polygons))[:, 0] < 50
    assert sides.any() and not sides.all()


def test_a_mesh_in_tiles_is_the_mesh_of_the_whole() -> None:
    rng = np.random.default_rng(0)
    x, y = np.meshgrid(np.arange(240.0), np.arange(200.0))
    sites = np.c_[x.ravel(), y.ravel()] + rng.uniform(-0.3, 0.3, (x.size, 2))
    edge = (sites < 3).any(1) | (sites[:, 0] > 236) | (sites[:, 1] > 196)
    assert len(sites) > 40_000
    tiled, centres = triangles(sites, ~edge, 6.0)
    whole, _ = triangles(sites, ~edge, 0.0)  # no margin: it fails the check and takes all at once
    need = (~edge)[whole].any(1)
    assert {tuple(t) for t in np.sort(tiled, 1)} >= {tuple(t) for t in np.sort(whole[need], 1)}
    radius = np.hypot(*(sites[tiled[:, 0]] - centres).T)
    assert np.allclose(radius, np.hypot(*(sites[tiled[:, 2]] - centres).T))
