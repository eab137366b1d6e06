"""Bands of one width: courses straight up to every turn, mitred or butted, all turns alike."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from awkward import disc
from hypothesis import given
from hypothesis import strategies as st
from measures import overlap_mm2, smallest_corner_deg
from scipy.spatial import cKDTree
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.affinity import rotate, translate

from core.laying import Setting, lay_field
from core.laying.opus.bands import lay_bands
from core.laying.opus.coursed import lay_courses
from core.pieces import Pieces

TESSERA, JOINT = 9.0, 1.0
PITCH = TESSERA + JOINT
CLOSE = 0.004  # mm: corners are whole micrometres


def band(outline: shapely.Geometry, opus: str = "tessellatum", **more) -> Setting:
    return setting_of(
        MultiPolygon(shapely.get_parts([outline]).tolist()), opus, TESSERA, JOINT, **more
    )


def along(points: list[tuple[float, float]], wide: float) -> Polygon:
    """Return the band about a line through points in pitches, `wide` pitches across."""
    line = LineString(PITCH * np.array(points, float))
    return line.buffer(wide * PITCH / 2, cap_style="flat", join_style="mitre", mitre_limit=9)


def ring(corners: int, wide: float, within: float) -> Polygon:
    """Return a ring of equal sides, `wide` pitches across and `within` to the sides inside."""
    turn = 2 * np.pi * np.arange(corners) / corners
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1) * PITCH / np.cos(np.pi / corners)
    return Polygon((within + wide) * way) - Polygon(within * way)


def sound(s: Setting, pieces: Pieces) -> None:
    """Check that pieces lie half a joint inside their field and a joint apart, four-cornered."""
    inner = shapely.buffer(s.outline, CLOSE - JOINT / 2, join_style="mitre")
    assert shapely.covers(inner, pieces.polygons).all()
    grown = shapely.buffer(pieces.polygons, JOINT / 2 - CLOSE, join_style="mitre", mitre_limit=9)
    assert overlap_mm2(grown) == pytest.approx(0.0, abs=1e-6)
    assert set(shapely.get_num_coordinates(pieces.polygons)) == {5}
    assert smallest_corner_deg(pieces.polygons).min() > 40


def heights(pieces: Pieces) -> np.ndarray:
    """Return how high each piece stands across the flow."""
    found = []
    for p, turn in zip(pieces.polygons, pieces.angle_rad, strict=True):
        across = np.array([-np.sin(turn), np.cos(turn)])
        found.append(np.ptp(shapely.get_coordinates(p) @ across))
    return np.array(found)


@given(st.integers(1, 5), st.floats(-0.2, 0.2), st.sampled_from((4, 5, 6, 8)), st.floats(4, 9))
def test_all_turns_of_a_ring_are_alike(number, off, corners, within) -> None:
    wide = number + off
    outline = ring(corners, wide, max(within, wide))
    s = band(outline)
    pieces = lay_bands(s, lambda: False)
    sound(s, pieces)
    assert pieces.course.max() + 1 == corners * number
    assert heights(pieces) == pytest.approx(wide * PITCH / number - JOINT, abs=CLOSE)
    turn = 2 * np.pi / corners
    back = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    far = cKDTree(pieces.centre_mm).query(pieces.centre_mm @ back)[0]
    assert far.max() < CLOSE


MEANDER = [(0, 0), (0, 9), (8, 9), (8, 3), (4, 3), (4, 6)]


@pytest.mark.parametrize("opus", ["tessellatum", "musivum"])
@pytest.mark.parametrize("wide", [1, 2])
@pytest.mark.parametrize("line", [False, True])
@pytest.mark.parametrize("degrees", [0, 27])
def test_a_meander_keeps_its_whole_courses_whatever_line_runs_along_it(
    opus: str, wide: int, line: bool, degrees: float
) -> None:
    flow = (rotate(LineString(PITCH * np.array(MEANDER)), degrees, origin=(0, 0)),) if line else ()
    s = band(
        rotate(along(MEANDER, wide), degrees, origin=(0, 0)),
        opus,
        flow=flow,
        follow_border=not line,
    )
    pieces = lay_field(s)
    sound(s, pieces)
    assert heights(pieces) == pytest.approx(TESSERA, abs=CLOSE)
    assert pieces.course.max() + 1 == wide * (len(MEANDER) - 1)
    area = pieces.area_mm2 / TESSERA**2
    assert area.min() > 0.6 and area.max() < 1.4
    covered = pieces.area_mm2.sum() / s.outline.area
    assert covered > 0.97 * (TESSERA / PITCH) ** 2


def butted(outline: shapely.Geometry, **more) -> Setting:
    return band(outline, corners="butt", **more)


def square_cut(pieces: Pieces) -> bool:
    return pieces.area_mm2 == pytest.approx(np.prod(pieces.box_mm, axis=1), rel=2e-3)


@given(st.integers(1, 4), st.floats(-0.1, 0.1), st.floats(4, 9))
def test_a_butted_frame_has_no_slanted_cut_and_all_its_corners_are_alike(number, off, within):
    outline = ring(4, number + off, max(within, number + 1))
    s = butted(outline, variation=0.0)
    pieces = lay_bands(s, lambda: False)
    sound(s, pieces)
    assert square_cut(pieces)
    assert not square_cut(lay_bands(band(outline), lambda: False))
    assert pieces.area_mm2.min() > 0.6 * TESSERA**2
    back = np.array([[0.0, 1.0], [-1.0, 0.0]])
    far = cKDTree(pieces.centre_mm).query(pieces.centre_mm @ back)[0]
    assert far.max() < CLOSE


@pytest.mark.parametrize("wide", [1, 2])
@pytest.mark.parametrize("degrees", [0, 27])
def test_a_butted_meander_stops_square_at_every_turn_whichever_hand(wide, degrees) -> None:
    s = butted(rotate(along(MEANDER, wide), degrees, origin=(0, 0)))
    pieces = lay_field(s)
    sound(s, pieces)
    assert square_cut(pieces)
    assert pieces.course.max() + 1 == wide * (len(MEANDER) - 1)
    assert pieces.area_mm2.sum() / s.outline.area > 0.97 * (TESSERA / PITCH) ** 2


def test_turns_that_are_not_square_are_mitred_all_the_same() -> None:
    one, other = (lay_field(s(ring(6, 2, 6))) for s in (band, butted))
    assert shapely.equals(one.polygons, other.polygons).all()


def test_joints_do_not_run_on_from_course_to_course() -> None:
    pieces = lay_field(band(box(0, 0, 30 * PITCH, 4 * PITCH), variation=0.0))
    left = shapely.bounds(pieces.polygons)[:, 0]
    for k in range(3):
        one, two = (np.sort(left[pieces.course == c])[1:] for c in (k, k + 1))
        assert np.abs(one[:, None] - two).min() > 0.3 * PITCH


def test_a_stem_butts_against_the_bar_that_runs_through() -> None:
    bar, stem = box(0, 0, 120, 20), box(50, 20, 70, 110)
    s = band(bar | stem)
    pieces = lay_field(s)
    sound(s, pieces)
    in_bar = shapely.covers(bar, pieces.polygons)
    assert shapely.covers(stem, pieces.polygons[~in_bar]).all()
    # no piece is cut slantwise
    assert pieces.area_mm2 == pytest.approx(np.prod(pieces.box_mm, axis=1), rel=1e-6)
    assert np.abs(pieces.angle_rad[in_bar]) == pytest.approx(0, abs=1e-6)
    assert np.abs(pieces.angle_rad[~in_bar]) == pytest.approx(np.pi / 2, abs=1e-5)


SLANTED = LineString([(-60, -50), (60, 50)])
CROSS = box(-60, -10, 60, 10) | box(-10, -60, 10, 60)
COURSED: dict[str, Callable[[], Setting]] = {
    "a square": lambda: band(box(0, 0, 40, 40)),
    "a disc": lambda: band(disc(40)),
    "a ring drawn for a curve": lambda: band(ring(30, 2, 8)),
    "a wedge": lambda: band(Polygon([(0, 0), (150, 0), (150, 30), (0, 18)])),
    "arms that cross": lambda: band(CROSS),
    "a turn too sharp for a mitre": lambda: band(along([(0, 0), (12, 0), (3, 5)], 1.5)),
    "two widths": lambda: band(box(0, 0, 120, 20) | box(0, 0, 30, 120)),
    "a border not followed": lambda: band(ring(4, 2, 5), follow_border=False),
    "a line across": lambda: band(ring(4, 2, 5), flow=(SLANTED,)),
    "courses unlike by hand": lambda: band(ring(4, 2, 5), width_variation=0.1),
}


@pytest.mark.parametrize("name", COURSED)
def test_what_is_no_band_is_laid_in_courses(name: str) -> None:
    s = COURSED[name]()
    one, two = lay_bands(s, lambda: False), lay_courses(s, lambda: False)
    assert (
        len(one) and shapely.to_wkb(one.polygons).tolist() == shapely.to_wkb(two.polygons).tolist()
    )


def test_parts_that_are_bands_are_laid_beside_those_that_are_not() -> None:
    straight, round_ = box(0, 0, 200, 20), translate(disc(40), 100, 90)
    s = setting_of(MultiPolygon([straight, round_]), "tessellatum", TESSERA, JOINT)
    pieces = lay_field(s)
    own = shapely.covers(straight, pieces.polygons)
    assert heights(pieces)[own] == pytest.approx(TESSERA, abs=CLOSE)
    assert own.sum() == 40 and (~own).sum() > 30
    assert not set(pieces.course[own]) & set(pieces.course[~own])


def test_hugging_courses_turn_the_corners_of_a_square_alike() -> None:
    long = 24 * PITCH
    s = band(box(0, 0, long, long), "classicum", hug_courses=2, hug_tessera_mm=5.0)
    pieces = lay_field(s)
    small = pieces.box_mm[:, 1] < 5.5
    assert heights(pieces)[small] == pytest.approx(5.0, abs=CLOSE)
    centre = pieces.centre_mm[small] - long / 2
    assert np.abs(centre).max(axis=1).min() > long / 2 - 2 * 6.0
    turned = np.stack([-centre[:, 1], centre[:, 0]], axis=1)
    assert cKDTree(centre).query(turned)[0].max() < CLOSE
