"""Congruent fields, and parts of fields, are laid once and copied."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import leaf_outline, ribbon_outline, setting, star_outline, wave
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate, scale, translate

from core.laying import Setting, lay_field
from core.laying.alike import congruent, first_alike
from core.laying.sidebyside import SideBySide


def rounded(shape: shapely.Geometry, mm: float = 0.01) -> shapely.Geometry:
    """Return a shape as a drawing keeps it."""
    return shapely.transform(shape, lambda xy: np.round(xy / mm) * mm)


Move = Callable[[shapely.Geometry], shapely.Geometry]


def moved(angle: float, x: float, y: float, mirrored: bool) -> Move:
    def move(g: shapely.Geometry) -> shapely.Geometry:
        g = scale(g, -1, 1, origin=(0, 0)) if mirrored else g
        return rounded(translate(rotate(g, angle, origin=(0, 0)), x, y))

    return move


LEAF = leaf_outline(140.0, 22.0, 35.0, 1.1)
VEIN = LineString([(0, 0), (50, 6), (140, 0)])  # so that it is no twin of itself


def leaf(move: Move) -> Setting:
    return replace(setting(move(LEAF), follow=True), flow=(move(VEIN),))


def off(a: np.ndarray, b: np.ndarray) -> float:
    """Return how far sets of pieces are from one another, mm."""
    return float(shapely.hausdorff_distance(shapely.union_all(a), shapely.union_all(b)))


@examples(max_examples=30, deadline=None)
@given(st.floats(0, 360), st.floats(-900, 900), st.floats(-900, 900), st.booleans())
def test_a_twin_is_found_and_the_move_carries_one_onto_the_other(angle, x, y, mirrored) -> None:
    one, other = leaf(moved(0, 0, 0, False)), leaf(moved(angle, x, y, mirrored))
    move = congruent(one, other)
    assert move is not None
    carried = shapely.transform(one.outline, move.out)
    assert shapely.hausdorff_distance(carried, other.outline) < 0.05


def test_what_is_not_congruent_is_not_taken_for_it() -> None:
    one = leaf(moved(0, 0, 0, False))
    larger = replace(one, outline=MultiPolygon([scale(LEAF, 1.01, 1.0)]))
    assert congruent(one, larger) is None
    assert congruent(one, replace(one, flow=())) is None
    assert congruent(one, replace(one, flow=(LineString([(0, 0), (70, 9), (140, 0)]),))) is None
    assert congruent(one, replace(one, seed=one.seed + 1)) is None
    assert congruent(one, one.with_choices(tessera_mm=9.0)) is None


@pytest.mark.parametrize("angle", [0, 30, 90, 217])
@pytest.mark.parametrize("mirrored", [False, True])
def test_fields_laid_together_are_copies(angle: float, mirrored: bool) -> None:
    way = moved(angle, 300, 50, mirrored)
    one, other = leaf(moved(0, 0, 0, False)), leaf(way)
    side = SideBySide(1)
    laid = dict(side.lay([one, replace(other, seed=99)], lambda: False))
    assert off(shapely.transform(laid[0].polygons, lambda xy: xy), laid[1].polygons) > 1
    alike = [replace(s, seed=k, repeat_seed=7) for k, s in enumerate((one, other))]
    laid = dict(side.lay(alike, lambda: False))
    side.close()
    assert len(laid[0]) == len(laid[1])
    assert off(np.array([way(p) for p in laid[0].polygons]), laid[1].polygons) < 0.1
    assert shapely.covers(other.outline, laid[1].polygons).all()
    assert (laid[0].course == laid[1].course).all()


def test_whoever_asks_for_pieces_unlike_by_hand_gets_them() -> None:
    side = SideBySide(1)
    two = [
        replace(leaf(moved(0, x, 0, False)), seed=x, repeat_seed=7).with_choices(variation=0.2)
        for x in (0, 300)
    ]
    laid = dict(side.lay(two, lambda: False))
    side.close()
    assert (
        off(
            shapely.transform(laid[0].polygons, lambda xy: xy + np.array([300, 0])),
            laid[1].polygons,
        )
        > 1
    )


def test_parts_of_a_field_that_are_alike_are_laid_alike() -> None:
    """A row of stars turned at random, as one field."""
    star = star_outline(5, 60.0, 28.0, 0.0)
    ways = [moved(72.5 * k, 150 * k, 40 * (k % 2), bool(k % 2)) for k in range(4)]
    parts = MultiPolygon([Polygon(p.exterior) for w in ways for p in shapely.get_parts(w(star))])
    s = setting(parts, follow=True)
    pieces = lay_field(s)
    rooms = [shapely.buffer(p, 0.01) for p in parts.geoms]
    one, *others = [pieces.polygons[shapely.within(pieces.polygons, r)] for r in rooms]
    for way, other in zip(ways[1:], others, strict=True):
        assert len(one) == len(other)
        nearest = shapely.STRtree(other).query_nearest(np.array([way(p) for p in one]))[1]
        assert len(set(nearest)) == len(one)


def test_a_long_band_is_not_compared_with_everything() -> None:
    band = setting(ribbon_outline(wave(300, 20, 1.0), 20.0), follow=True)
    assert first_alike([band, band, leaf(moved(0, 0, 0, False))])[1][0] == 0
    assert [k for k, move in first_alike([band, leaf(moved(0, 0, 0, False))]) if move] == []


def test_crumbs_smaller_than_rounding_are_no_parts() -> None:
    """Mending an outline that crosses itself may leave some."""
    crumb = Polygon([(200, 0), (200 + 1e-7, 0), (200, 1e-7)])
    square = shapely.box(0, 0, 60, 60)
    alone = lay_field(setting(square, follow=True))
    both = lay_field(setting(MultiPolygon([crumb, square]), follow=True))
    assert off(both.polygons, alone.polygons) == 0
    assert len(lay_field(setting(crumb, follow=True))) == 0
