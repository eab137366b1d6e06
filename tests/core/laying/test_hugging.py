"""Courses that hug a figure."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from awkward import disc
from hypothesis import given
from hypothesis import strategies as st
from measures import overlap_mm2
from settings import setting_of
from shapely import LineString, MultiPolygon, box

from core.laying import lay_field
from core.laying.opus.hugging import CLEAR, divided, hugs
from core.laying.spec import Setting

TESSERA, JOINT = 9.0, 1.0
PITCH = TESSERA + JOINT
LEVEL = (LineString([(-300.0, 0.0), (300.0, 0.0)]),)


def ground(*figures: shapely.Geometry, opus: str = "tessellatum", **more) -> Setting:
    outline = box(-200, -150, 200, 150) - shapely.union_all(figures)
    given = {"follow_border": False, "flow": LEVEL} | more
    return setting_of(MultiPolygon([outline]), opus, TESSERA, JOINT, **given)


def beside(s: Setting, figure: shapely.Geometry) -> np.ndarray:
    """Return by how many degrees each piece next to a figure is laid off its border."""
    pieces = lay_field(s)
    assert overlap_mm2(pieces.polygons) == pytest.approx(0.0, abs=1e-6)
    near = shapely.distance(pieces.polygons, figure) < JOINT
    border = figure.exterior
    at = shapely.line_locate_point(border, shapely.points(pieces.centre_mm[near]))
    step = shapely.get_coordinates(shapely.line_interpolate_point(border, at + 0.5))
    step -= shapely.get_coordinates(shapely.line_interpolate_point(border, at - 0.5))
    turn = np.arctan2(step[:, 1], step[:, 0]) - pieces.angle_rad[near]
    return np.degrees(np.abs((turn + np.pi / 2) % np.pi - np.pi / 2))


@pytest.mark.parametrize("opus", ["tessellatum", "vermiculatum"])
@pytest.mark.parametrize("radius", [25.0, 60.0])
def test_one_course_hugs_a_figure_that_level_courses_meet(opus, radius) -> None:
    """Common practice: cut ends against a figure fishbone, a course round it does not."""
    figure = disc(radius)
    s = ground(figure, opus=opus, hug_tessera_mm=TESSERA)
    assert np.quantile(beside(s, figure), 0.9) < 15
    pieces = lay_field(s)
    far = shapely.distance(pieces.polygons, figure) > 3 * PITCH
    assert np.quantile(np.degrees(np.abs(pieces.angle_rad[far])), 0.95) < 10  # still along the line
    # as many as a ring on the course's middle takes
    ring = (shapely.distance(pieces.polygons, figure) < JOINT).sum()
    assert ring == pytest.approx(2 * np.pi * (radius + PITCH / 2) / PITCH, rel=0.1)


def test_a_figure_with_no_room_beside_it_is_not_hugged() -> None:
    assert not hugs(ground(box(-150, -140, -100, 100)))
    assert hugs(ground(box(-150, -100, -100, 100)))


@pytest.mark.parametrize("more", [{"follow_border": True}, {"opus": "regulatum"}])
def test_courses_that_follow_the_border_and_grids_need_no_hugging(more) -> None:
    assert not hugs(ground(disc(40), **more))


@given(st.floats(1.0, 2 * CLEAR))
def test_of_two_figures_those_are_hugged_that_stand_clear(gap) -> None:
    apart = gap * PITCH
    pair = [box(-60, -40, -apart / 2, 40), box(apart / 2, -40, 60, 40)]
    s = ground(*pair)
    assert hugs(s) == (gap > CLEAR) or abs(gap - CLEAR) < 1e-9


def test_a_hugged_corner_is_as_square_as_the_figures_own() -> None:
    s = ground(box(-50, -40, 50, 40))
    one = s.with_choices(hug_courses=1, hug_tessera_mm=TESSERA)
    band, _ = divided(Setting(s.outline, one.laying, s.flow, tuple(_ring(s)), s.seed), "mitre")
    assert shapely.area(band) == pytest.approx(120 * 100 - 100 * 80)


def _ring(s: Setting) -> list[LineString]:
    return [LineString(r.coords) for p in s.outline.geoms for r in p.interiors]
