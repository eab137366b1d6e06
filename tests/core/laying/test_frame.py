"""A field laid in a frame of its own: moved, turned or mirrored it is laid alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE, disc, star_outline
from hypothesis import given
from hypothesis import strategies as st
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate
from test_catalogue import PIECES, in_another_way

from core.commission import LAYINGS
from core.laying import Setting, lay_field
from core.laying.field.frame import Frame, frame_of
from core.laying.opus.circumactum import axis
from core.laying.pieces.axis import quarter_rad
from core.pieces import Pieces

Way = Callable[[np.ndarray], np.ndarray]
TWINS: dict[str, Way] = {
    "moved": lambda xy: xy + np.array([1234.567, -345.678]),
    "turned": lambda xy: np.stack([-xy[:, 1], xy[:, 0]], axis=1),
    "half turned": lambda xy: -xy,
    "mirrored": lambda xy: xy * [-1.0, 1.0],
    "moved and mirrored": lambda xy: xy[:, ::-1] + [0.001, 20_000.0],
}


def changed(s: Setting, way: Way) -> Setting:
    """Return a setting with all its points, in micrometres as files hold them, changed."""

    def g(shape):
        return shapely.transform(shape, lambda xy: np.round(way(xy), 3))

    return replace(s, outline=g(s.outline), flow=tuple(map(g, s.flow)), hug=tuple(map(g, s.hug)))


def in_micrometres(s: Setting) -> Setting:
    return changed(s, lambda xy: xy)


def reordered(s: Setting) -> Setting:
    """Return a setting whose rings begin elsewhere, run the other way, and stand last first."""
    parts = []
    for part in reversed(s.outline.geoms):
        rings = [shapely.get_coordinates(r)[:-1] for r in (part.exterior, *part.interiors)]
        other = [np.roll(c, 1 + len(c) // 3, axis=0)[::-1] for c in rings]
        parts.append(Polygon(other[0], other[:0:-1]))
    flow = tuple(LineString(shapely.get_coordinates(w)[::-1]) for w in reversed(s.flow))
    return replace(s, outline=MultiPolygon(parts), flow=flow)


def same_numbers(a: Setting, b: Setting) -> bool:
    one, two = (frame_of(s).setting(s) for s in (a, b))
    return one.outline.equals_exact(two.outline, 0.0) and one.flow == two.flow


def corners(pieces: Pieces, way: Way = lambda xy: xy) -> Counter[bytes]:
    """Return pieces by their corners in whole micrometres."""
    whole = shapely.transform(pieces.polygons, lambda xy: np.rint(1000 * way(xy)) + 0.0)
    return Counter(shapely.to_wkb(shapely.normalize(whole)).tolist())


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_twin_has_the_same_numbers_in_its_frame(name: str) -> None:
    s = in_micrometres(CATALOGUE[name]())
    twins = [changed(s, way) for way in TWINS.values()]
    assert [same_numbers(s, t) for t in (*twins, reordered(s))] == [True] * (len(TWINS) + 1)


@given(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5), st.floats(-4, 4), st.booleans())
def test_what_is_carried_into_a_frame_comes_out_of_it(x, y, angle, mirrored) -> None:
    frame = Frame((x, y), (float(np.cos(angle)), float(np.sin(angle))), mirrored)
    xy = np.array([[x, y], [x + 30.0, y - 20.0], [x - 7.0, y + 400.0]])
    inside = frame.into(xy)
    assert frame.out(inside) == pytest.approx(xy, abs=1e-9)
    assert np.hypot(*(inside[1] - inside[2])) == pytest.approx(np.hypot(37.0, 420.0))


NAMES = ["field_of_twenty", "star_four", "letter_t", "line_that_ends_inside", "far_from_origin"]


def laid_in_frame(s: Setting) -> np.ndarray:
    """Return a field's pieces as they lie in its frame, in the order in which they were laid."""
    frame = frame_of(s)
    return np.asarray(shapely.transform(lay_field(s).polygons, frame.into))


@pytest.mark.parametrize("twin", TWINS)
def test_twins_are_laid_alike(twin: str) -> None:
    """In every laying, piece for piece in their frames.

    A field that is its own twin, as a letter T mirrored, is laid as itself, so twins are compared
    in frames of their own. Rounded in the drawing, corners there are a micrometre off at most.
    """
    lost = []
    for k, name in enumerate(NAMES):
        for kind in (*LAYINGS, *PIECES)[k % 2 :: 2]:
            s = in_micrometres(in_another_way(CATALOGUE[name](), kind))
            if kind in ("circumactum", "classicum"):
                # fans open upwards on the wall, and within their border courses lie level on it
                if twin not in ("moved", "mirrored"):
                    continue
            elif not s.laying.follow_border and not s.flow:
                continue
            one, two = (laid_in_frame(s), laid_in_frame(changed(s, TWINS[twin])))
            if len(one) != len(two) or shapely.hausdorff_distance(one, two).max() > 0.003:
                lost.append((name, kind))
    assert not lost


def test_a_square_keeps_all_its_pieces_wherever_it_lies() -> None:
    """A square is its own twin, so its frame is the one nearest to the drawing."""
    s = setting_of(MultiPolygon([shapely.box(0, 0, 100, 100)]), "tessellatum", 9.0, 1.0)
    assert frame_of(s) == Frame((50.0, 50.0), (1.0, 0.0), False)
    for x, y in ((1.0, 0.0), (1000.0, 0.0), (-317.123, 2048.5)):
        moved = changed(s, lambda xy, by=(x, y): xy + by)
        assert corners(lay_field(s), lambda xy, by=(x, y): xy + by) == corners(lay_field(moved))
    for way in (lambda xy: xy[:, ::-1], lambda xy: 100.0 - xy):
        assert corners(lay_field(changed(s, way))) == corners(lay_field(s))


def test_a_symmetric_field_is_told_by_its_lines() -> None:
    """A star of eight has sixteen frames; a line across it leaves one for certain."""
    star = star_outline(8, 100, 60)
    s = setting_of(
        MultiPolygon([star]), "tessellatum", 9.0, 1.0, flow=(LineString([(-90, 20), (10, 80)]),)
    )
    for degrees in (17.0, 45.0, 200.0):
        turned = replace(
            s,
            outline=rotate(s.outline, degrees, origin=(0, 0)),
            flow=tuple(rotate(w, degrees, origin=(0, 0)) for w in s.flow),
        )
        one, two = (frame_of(v).setting(v) for v in (s, turned))
        assert one.outline.equals_exact(two.outline, 1e-5)
        assert one.flow[0].equals_exact(two.flow[0], 1e-5)


def test_a_turned_field_without_lines_is_still_laid_level() -> None:
    """Where nothing says a direction the wall does: courses run level, however the field lies."""
    for degrees in (0, 20, 45, 77):
        square = rotate(shapely.box(0, 0, 110, 100), degrees)
        s = setting_of(MultiPolygon([square]), "tessellatum", 9.0, 1.0, follow_border=False)
        assert quarter_rad(lay_field(s).angle_rad) == pytest.approx(0.0, abs=1e-6)
        assert np.abs(lay_field(s).angle_rad).max() < 1e-6


@pytest.mark.parametrize("degrees", [0, 30, 90, 180, 250])
def test_fans_open_upwards_on_the_wall(degrees: float) -> None:
    """Whichever frame a field takes, up is carried into it."""
    field = rotate(Polygon([(0, 0), (200, 10), (180, 120), (20, 90)]), degrees)
    s = setting_of(MultiPolygon([field]), "circumactum", 9.0, 1.0, module_mm=70.0)
    frame = frame_of(s)
    mine = frame.setting(s)
    way = np.array([[np.sin(axis(mine)), -np.cos(axis(mine))]])
    up = frame.out(way) - frame.out(np.zeros((1, 2)))
    assert up[0] == pytest.approx([0.0, -1.0], abs=1e-7)


@pytest.mark.parametrize("kind", [*LAYINGS, *PIECES])
def test_pieces_are_whole_micrometres_sound_and_apart(kind: str) -> None:
    """The last step of laying: what is drawn, kept and printed are the same numbers."""
    for name in ("leaf_needle", "star_thin", "many_holes", "far_from_origin", "coast"):
        s = in_another_way(CATALOGUE[name](), kind)
        pieces = lay_field(s)
        xy = shapely.get_coordinates(pieces.polygons)
        assert (xy == np.round(xy, 3)).all()
        assert (pieces.angle_rad == np.round(pieces.angle_rad, 6)).all()
        assert (pieces.angle_rad > -1.570796).all() and (pieces.angle_rad <= 1.570796).all()
        assert shapely.is_valid(pieces.polygons).all() and (pieces.area_mm2 > 0.1).all()
        assert shapely.covers(shapely.make_valid(s.outline), pieces.polygons).all()
        a, b = shapely.STRtree(pieces.polygons).query(pieces.polygons, predicate="intersects")
        assert (a == b).all()


def test_what_rounding_leads_out_of_the_field_steps_back() -> None:
    """A piece with no joint left at its border: rounded up it would lie beyond it."""
    edge = 10.0004
    field = MultiPolygon([shapely.box(0, 0, edge, edge)])
    frame = Frame((0.0, 0.0), (1.0, 0.0), False)
    tight = np.array([shapely.box(0.0002, 0.0002, edge, 5.0), shapely.box(1, 5.0001, 9, 9)])
    laid = Pieces(tight, np.zeros(2, np.int64), np.arange(2), np.zeros(2))
    out = frame.pieces(laid, field)
    assert len(out) == 2 and shapely.covers(field, out.polygons).all()
    assert not out.polygons[0].intersects(out.polygons[1])
    assert shapely.area(tight) == pytest.approx(out.area_mm2, rel=0.002)


@pytest.mark.parametrize("small", [1e-4, 4e-4])
def test_a_piece_that_rounding_leaves_nothing_of_is_no_piece(small: float) -> None:
    field = MultiPolygon([shapely.box(0, 0, 10, 10)])
    frame = frame_of(setting_of(field, "tessellatum", 5.0, 1.0))
    crumb = Polygon([(1, 1), (1 + small, 1), (1, 1 + small)])
    polygons = np.array([crumb, shapely.box(3, 3, 6, 6)], dtype=object)
    polygons = shapely.transform(polygons, frame.into)
    out = frame.pieces(Pieces(polygons, *np.zeros((2, 2), np.int64), np.zeros(2)), field)
    assert len(out) == 1 and out.area_mm2[0] == pytest.approx(9.0)


def test_a_finely_drawn_circle_takes_no_longer_than_it_should() -> None:
    """Thousands of equal sides are thousands of frames: only as many are compared as may be."""
    t = np.linspace(0, 2 * np.pi, 6000, endpoint=False)
    ring = Polygon(100 * np.stack([np.cos(t), np.sin(t)], axis=1))
    s = setting_of(MultiPolygon([ring]), "tessellatum", 9.0, 1.0)
    assert frame_of(s).mirrored is False
    assert same_numbers(s, reordered(s))
    small = setting_of(MultiPolygon([disc(20.0)]), "tessellatum", 9.0, 1.0)
    assert same_numbers(small, reordered(small))
