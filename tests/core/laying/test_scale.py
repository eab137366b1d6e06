"""Sizes that follow detail: where pieces are how large, and fields laid so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from measures import _even_joints, _pools, axis_rad, overlap_mm2, quarter_deg
from settings import setting_of
from shapely import LineString, MultiLineString, MultiPolygon, Polygon
from test_frame import TWINS, corners, in_micrometres
from unseen import unseen

from core.errors import EmblemaError
from core.laying import Setting, lay_field
from core.laying.alike import first_alike
from core.laying.field.scale import GRADE, Scale, Size, scale_over, sizes_felt
from core.pieces import Pieces

WIDE = MultiPolygon([shapely.box(0, 0, 400, 300)])
places = st.tuples(st.floats(0, 400), st.floats(0, 300))
lines = st.lists(places, min_size=2, max_size=4, unique=True).map(
    lambda p: MultiLineString([LineString(p)])
)
sizes = st.builds(Size, lines, st.floats(2, 20), st.floats(0.03, 0.14))


def line(*points: tuple[float, float]) -> MultiLineString:
    return MultiLineString([LineString(points)])


def almond(x: float, y: float) -> Polygon:
    return shapely.intersection(*(shapely.Point(x, y + d).buffer(28) for d in (-17, 17)))


def face() -> Setting:
    """Return a face of 8 mm with two eyes, about which it is laid at 4 mm."""
    t = np.arange(160) * np.pi / 80
    head = Polygon(np.stack([110 * np.cos(t), 150 * np.sin(t)], axis=1))
    eyes = [almond(-45, -35), almond(45, -35)]
    outline = MultiPolygon([shapely.difference(head, shapely.union_all(eyes))])
    s = setting_of(outline, "tessellatum", 8.0, 1.0)
    return replace(s, sizes=(Size(MultiLineString([e.exterior for e in eyes]), 4.0),))


def sized(s: Setting, k: int) -> Setting:
    """Return a field in courses with a line of another size through it."""
    r = np.random.default_rng((99, k))
    x0, y0, x1, y1 = s.outline.bounds
    middle = shapely.get_coordinates(shapely.point_on_surface(s.outline))[0]
    through = [middle, *r.uniform((x0, y0), (x1, y1), (1 + k % 2, 2))]
    tessera = float(s.laying.tessera_mm * r.choice([0.5, 0.65, 1.5]))
    s = s.with_choices(opus="tessellatum")
    return replace(s, sizes=(Size(MultiLineString([LineString(through)]), tessera),))


def check(s: Setting, pieces: Pieces) -> None:
    """Check a field of several sizes by what a careful hand keeps to, each piece by its own size.

    Of pieces alike in wanted size the median is as large as wanted to a twentieth.
    """
    p = pieces.polygons
    h, area = s.scale.tessera_of(p), shapely.area(p)
    assert overlap_mm2(p) == 0.0
    assert shapely.covers(s.outline, p).all()
    times = area / h**2
    whole = (h / (h + s.laying.joint_mm)) ** 2
    assert (area / whole).sum() / s.outline.area > 0.97
    assert _pools(s.outline, s.laying.joint_mm, p) < 0.002
    assert _even_joints(s.outline, s.laying.joint_mm, p) > 0.985
    assert times.std() / times.mean() < 0.14
    assert np.mean(times > 1.7) < 0.002
    sides = shapely.get_num_coordinates(p) - 1
    assert np.mean(sides == 4) > 0.8
    order = np.argsort(h, kind="stable")
    for some in np.array_split(order, max(1, min(6, len(p) // 40))):
        assert np.median(np.sqrt(times[some])) == pytest.approx(1.0, abs=0.05)


# where pieces are how large


@given(st.lists(sizes, min_size=1, max_size=4), st.lists(places, min_size=2, max_size=20))
@settings(max_examples=40)
def test_the_size_changes_no_faster_than_its_steepest_grade(some, at) -> None:
    """Between nodes too, and never beyond the sizes asked for and the field's own."""
    scale = scale_over(WIDE, 8.0, 1.0, tuple(some))
    xy = np.array(at)
    h = scale.tessera_at(xy)
    far = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    grade = max(s.grade for s in some)
    # a bilinear value may lag the change by the corners of its cell
    assert (np.abs(h[:, None] - h[None]) <= grade * (far * np.sqrt(2) + 1e-6)).all()
    asked = [8.0, *(s.tessera_mm for s in some)]
    assert h.min() >= min(asked) - 1e-6 and h.max() <= max(asked) + 1e-6


@pytest.mark.parametrize("tessera", [3.0, 5.0, 12.0])
def test_a_size_is_itself_at_its_line_and_the_fields_own_far_away(tessera: float) -> None:
    size = Size(line((200, 20), (200, 280)), tessera)
    scale = scale_over(WIDE, 8.0, 1.0, (size,))
    y = np.linspace(30, 270, 7)
    for far in (0.0, 0.9 * tessera):
        at = np.stack([np.full(7, 200 + far), y], axis=1)
        assert scale.tessera_at(at) == pytest.approx(tessera, abs=0.1)
    half = tessera + abs(8.0 - tessera) / GRADE / 2
    assert scale.tessera_at(np.array([[200 - half, 150]])) == pytest.approx(
        (8.0 + tessera) / 2, abs=0.1
    )
    away = size.reach_mm(8.0) + 5.0
    assert scale.tessera_at(np.array([[200 + away, 150]]))[0] == 8.0
    assert scale.finest_mm == pytest.approx(min(tessera, 8.0) + 1.0, abs=0.1)


def test_where_two_sizes_ask_for_too_much_the_smaller_keeps_its_place() -> None:
    small, large = Size(line((0, 150), (400, 150)), 4.0), Size(line((200, 0), (200, 300)), 12.0)
    scale = scale_over(WIDE, 8.0, 1.0, (large, small))
    assert scale.tessera_at(np.array([[200.0, 150.0]]))[0] == pytest.approx(4.0, abs=0.1)
    assert scale.tessera_at(np.array([[200.0, 20.0]]))[0] == pytest.approx(12.0, abs=0.1)


def test_pieces_are_counted_by_their_size() -> None:
    size = Size(line((0, 150), (400, 150)), 4.0, 0.14)
    assert Scale(8.0, 1.0).number_in(WIDE) == pytest.approx(120_000 / 81)
    number = scale_over(WIDE, 8.0, 1.0, (size,)).number_in(WIDE)
    assert 1.1 * 120_000 / 81 < number < 120_000 / 25
    across = scale_over(WIDE, 8.0, 1.0, (size,)).pitch_between(
        np.array([[10.0, 150.0]]), np.array([[10.0, 190.0]])
    )
    assert 5.2 < across[0] < 8.0


def test_only_sizes_that_tell_are_felt() -> None:
    near, far = Size(line((-30, 0), (-30, 300)), 4.0), Size(line((-60, 0), (-60, 300)), 4.0)
    same = Size(line((200, 0), (200, 300)), 8.0)
    assert sizes_felt(WIDE, 8.0, (near, far, same)) == (near,)


# fields laid so


@pytest.fixture(scope="module")
def laid_face() -> tuple[Setting, Pieces]:
    s = face()
    return s, lay_field(s)


def test_a_face_is_fine_about_the_eyes_and_coarse_at_the_jaw(laid_face) -> None:
    s, pieces = laid_face
    check(s, pieces)
    middle = shapely.centroid(pieces.polygons)
    size = np.sqrt(shapely.area(pieces.polygons))
    beside = shapely.distance(middle, s.sizes[0].lines) < 4.0
    jaw = shapely.get_y(middle) > 60
    assert beside.sum() > 40 and jaw.sum() > 100
    assert np.median(size[beside]) == pytest.approx(4.0, abs=0.3)
    assert np.median(size[jaw]) == pytest.approx(8.0, abs=0.3)


def test_pieces_of_every_size_lie_along_the_flow(laid_face) -> None:
    _, pieces = laid_face
    four = shapely.get_num_coordinates(pieces.polygons) == 5
    way = pieces.angle_rad[four]
    off = quarter_deg(axis_rad(pieces.polygons[four], way) - way)
    assert np.sqrt(np.mean(off**2)) < 8.0


@pytest.mark.parametrize("k", range(1, 16, 2))
def test_fields_of_every_kind_keep_their_limits_in_two_sizes(k: int) -> None:
    s = sized(unseen(5, k), k)
    check(s, lay_field(s))


def test_a_narrow_gap_takes_a_whole_number_of_its_own_courses() -> None:
    """Three courses of 8 mm where it is wide apart from the line, six of 4 mm at it."""
    outline = MultiPolygon([shapely.box(0, 0, 300, 27)])
    s = setting_of(outline, "tessellatum", 8.0, 1.0)
    s = replace(s, sizes=(Size(line((0, 0), (0, 27)), 3.5),))
    pieces = lay_field(s)
    check(s, pieces)
    for x, number in ((2.0, 6), (200.0, 3), (290.0, 3)):
        cut = shapely.LineString([(x, -1), (x, 28)])
        assert abs(shapely.intersects(cut, pieces.polygons).sum() - number) <= (x < 100)


@pytest.mark.parametrize("way", TWINS.values(), ids=TWINS)
def test_a_twin_is_laid_alike_with_its_lines(way: Callable[[np.ndarray], np.ndarray]) -> None:
    s = replace(setting_of(MultiPolygon([almond(0, 0)]), "tessellatum", 5.0, 0.6))
    s = replace(s, sizes=(Size(line((-20, 3), (4, -2)), 2.5), Size(line((20, -9), (20, 9)), 3.0)))

    def twin(way: Callable[[np.ndarray], np.ndarray]) -> Setting:
        def g(shape):
            return shapely.transform(shape, lambda xy: np.round(way(xy), 3))

        moved = tuple(replace(z, lines=g(z.lines)) for z in s.sizes)
        return replace(s, outline=g(s.outline), sizes=moved)

    one, other = lay_field(twin(lambda xy: xy)), lay_field(twin(way))
    assert len(one) > 50
    there = corners(one, way)
    same = sum((there & corners(other)).values())
    assert same >= 0.98 * len(one) and len(one) == len(other)


def test_congruent_fields_are_copies_only_where_their_sizes_are() -> None:
    one = setting_of(MultiPolygon([almond(0, 0)]), "tessellatum", 5.0, 0.6)
    aside = replace(one, outline=shapely.affinity.translate(one.outline, 80.0, 10.0))
    size = Size(line((-20, 3), (4, -2)), 2.5)
    moved = Size(line((60, 13), (84, 8)), 2.5)
    elsewhere, other = Size(line((60, 15), (84, 8)), 2.5), replace(moved, tessera_mm=3.0)
    small = replace(one, sizes=(size,))
    twins = (small, *(replace(aside, sizes=(s,)) for s in (moved, elsewhere, other)), aside, one)
    assert [first for first, _ in first_alike(twins)] == [0, 0, 2, 3, 4, 4]


def test_each_part_of_a_field_is_laid_by_the_sizes_that_tell_there() -> None:
    """One far from every line is as it would be without, though it is the same field."""
    both = MultiPolygon([almond(0, 0), almond(200, 0)])
    s = in_micrometres(setting_of(both, "tessellatum", 5.0, 0.6))
    plain, some = lay_field(s), lay_field(replace(s, sizes=(Size(line((-9, 3), (9, 3)), 2.5),)))
    far = [
        replace(p, polygons=p.polygons[shapely.get_x(shapely.centroid(p.polygons)) > 100])
        for p in (plain, some)
    ]
    assert corners(far[0]) == corners(far[1]) and len(some) > len(plain)


def test_sizes_that_do_not_tell_change_nothing() -> None:
    s = in_micrometres(setting_of(MultiPolygon([almond(0, 0)]), "tessellatum", 5.0, 0.6))
    far = Size(line((300, 0), (300, 10)), 2.5)
    assert corners(lay_field(replace(s, sizes=(far,)))) == corners(lay_field(s))


def test_more_pieces_than_can_be_laid_are_counted_by_their_size() -> None:
    s = setting_of(MultiPolygon([shapely.box(0, 0, 3000, 2000)]), "tessellatum", 8.0, 1.0)
    fine = Size(line((0, 0), (3000, 2000)), 1.0, 0.001)
    with pytest.raises(EmblemaError, match="more than can be laid at once"):
        lay_field(replace(s, sizes=(fine,)))
