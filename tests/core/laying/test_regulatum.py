"""Regulatum on upright outlines: whole squares on the pitch, elsewhere the misfit spread evenly."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from awkward import disc
from hypothesis import given
from hypothesis import strategies as st
from measures import overlap_mm2
from scipy.spatial import cKDTree
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon, box
from shapely.affinity import rotate, translate

from core.laying import Setting, lay_field
from core.pieces import Pieces

TESSERA, JOINT = 9.0, 1.0
PITCH = TESSERA + JOINT
CLOSE = 0.004  # mm: corners are whole micrometres


def grid(outline: shapely.Geometry, **more) -> Setting:
    parts = [g for g in shapely.get_parts(outline) if isinstance(g, Polygon)]
    return setting_of(MultiPolygon(parts), "regulatum", TESSERA, JOINT, **more)


def on_pitch(*boxes: tuple[float, float, float, float]) -> shapely.Geometry:
    return shapely.union_all([box(*(PITCH * v for v in b)) for b in boxes])


MEANDER = on_pitch(
    (0, 0, 2, 12), (0, 10, 9, 12), (7, 4, 9, 12), (4, 4, 9, 6), (0, 0, 14, 2), (12, 0, 14, 12)
)
SHAPES = {
    "L": on_pitch((0, 0, 6, 2), (0, 0, 2, 7)),
    "T": on_pitch((0, 0, 7, 2), (3, 0, 4, 6)),
    "cross": on_pitch((0, 2, 5, 3), (2, 0, 3, 5)),
    "meander": MEANDER,
    "frame": on_pitch((0, 0, 12, 9)) - on_pitch((2, 2, 10, 7)),
    "two parts": on_pitch((0, 0, 3, 3), (3, 3, 5, 8)),
    "board": on_pitch((0, 0, 1, 1), (1, 1, 2, 2), (2, 0, 3, 1)),
}


def sides(pieces: Pieces) -> np.ndarray:
    """Return the bounds of pieces in the drawing, each of which is a box along its axes."""
    found = shapely.bounds(pieces.polygons)
    assert shapely.area(pieces.polygons) == pytest.approx(shapely.area(shapely.box(*found.T)))
    return np.asarray(found)


def lines_of(at: np.ndarray) -> np.ndarray:
    """Return places in order, those counted once that rounding alone keeps apart."""
    at = np.sort(at)
    return at[np.r_[True, np.diff(at) > CLOSE]]


def sound(s: Setting, pieces: Pieces) -> bool:
    """Return whether pieces lie in their field and apart by a joint."""
    inner = shapely.buffer(s.outline, CLOSE - s.laying.joint_mm / 2, join_style="mitre")
    return bool(shapely.covers(inner, pieces.polygons).all()) and overlap_mm2(
        shapely.buffer(pieces.polygons, s.laying.joint_mm / 2 - CLOSE, join_style="mitre")
    ) == pytest.approx(0.0, abs=1e-6)


@given(
    st.integers(1, 9),
    st.integers(1, 9),
    st.floats(4, 20),
    st.floats(0.05, 0.2),
    st.floats(0, 360),
    st.booleans(),
)
def test_a_field_of_whole_pitches_is_laid_in_whole_squares(n, m, tessera, share, angle, follow):
    joint = share * tessera
    field = rotate(box(0, 0, n * (tessera + joint), m * (tessera + joint)), angle)
    s = setting_of(MultiPolygon([field]), "regulatum", tessera, joint, follow)
    pieces = lay_field(s)
    assert len(pieces) == n * m
    assert pieces.box_mm == pytest.approx(tessera, abs=CLOSE)
    assert shapely.get_num_coordinates(pieces.polygons).tolist() == [5] * (n * m)
    assert sound(s, pieces)
    # each course is a row of the grid, numbered from end to end
    rows = np.unique(pieces.course, return_counts=True)[1]
    assert set(rows) in ({n}, {m})
    assert pieces.piece.tolist() == list(range(rows[0])) * len(rows)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("degrees", [0, 90, 33.3])
def test_courses_run_straight_past_re_entrant_corners(name: str, degrees: float) -> None:
    outline = SHAPES[name]
    s = grid(rotate(outline, degrees, origin=(0, 0)))
    pieces = lay_field(s)
    assert len(pieces) == round(outline.area / PITCH**2)
    assert pieces.box_mm == pytest.approx(TESSERA, abs=CLOSE)
    assert sound(s, pieces)
    back = shapely.get_coordinates(
        rotate(shapely.MultiPolygon(list(pieces.polygons)), -degrees, origin=(0, 0))
    )
    off = np.abs(back - PITCH * np.round(back / PITCH))  # from the lines between cells
    assert off == pytest.approx(JOINT / 2, abs=CLOSE)


SPACING = st.floats(1.0, 9.0)  # in pitches


@given(SPACING, SPACING, SPACING, SPACING, SPACING, SPACING)
def test_between_two_corners_all_cells_are_alike(a, b, c, d, e, f) -> None:
    """A letter T, then a frame, whose corners stand anywhere a pitch or more apart."""
    x, y = np.cumsum([0, a, b, c]) * PITCH, np.cumsum([0, d, e, f]) * PITCH
    letter = box(x[0], y[0], x[3], y[1]) | box(x[1], y[0], x[2], y[2])
    frame = box(x[0], y[0], x[3], y[3]) - box(x[1], y[1], x[2], y[2])
    for outline, rows in ((letter, y[:3]), (frame, y)):
        s = grid(outline)
        pieces = lay_field(s)
        assert sound(s, pieces)
        assert shapely.get_num_coordinates(pieces.polygons).tolist() == [5] * len(pieces)
        found = sides(pieces)
        for lo, hi, corner in ((0, 2, x), (1, 3, rows)):
            lines = np.r_[lines_of(found[:, lo]) - JOINT / 2, found[:, hi].max() + JOINT / 2]
            assert np.abs(lines[:, None] - corner).min(0) == pytest.approx(0, abs=CLOSE)
            for near, far in pairwise(corner):
                between = lines[(lines > near - CLOSE) & (lines < far + CLOSE)]
                wide = np.diff(between) / PITCH
                assert np.ptp(wide) * PITCH <= 2 * CLOSE
                # as many as fit: one more or one less would miss by more
                n, all_ = len(wide), (far - near) / PITCH
                assert max(n / all_, all_ / n) <= np.sqrt(2) + 1e-3
                assert n * (n - 1) <= all_**2 + 1e-3 and all_**2 <= n * (n + 1) + 1e-3
        grown = shapely.buffer(pieces.polygons, JOINT / 2 + CLOSE, join_style="mitre")
        assert shapely.difference(outline, shapely.union_all(grown)).area < 1e-6


@pytest.mark.parametrize("up", [-0.4, -0.2, 0.2, 0.4])
def test_a_step_of_less_than_half_a_pitch_makes_no_course_of_its_own(up: float) -> None:
    step = (4 + up) * PITCH
    outline = shapely.union_all([box(0, 0, 6 * PITCH, 4 * PITCH), box(0, 0, 3 * PITCH, step)])
    if up < 0:
        outline = box(0, 0, 6 * PITCH, 4 * PITCH) - box(0, step, 3 * PITCH, 5 * PITCH)
    pieces = lay_field(grid(outline))
    found = sides(pieces)
    assert len(pieces) == 24 and pieces.course.max() == 3
    assert len(lines_of(found[:, 1])) == 4  # all courses are straight from end to end
    tops = lines_of(found[found[:, 1] > 2.5 * PITCH, 3])
    assert tops == pytest.approx(sorted([4 * PITCH - JOINT / 2, step - JOINT / 2]), abs=CLOSE)


def test_a_slit_cuts_the_cells_beside_it() -> None:
    slit = box(2.8 * PITCH, 1.1 * PITCH, 3.1 * PITCH, 4 * PITCH)
    s = grid(box(0, 0, 6 * PITCH, 4 * PITCH) - slit)
    pieces = lay_field(s)
    assert len(pieces) == 24 and sound(s, pieces)
    sides(pieces)


@given(st.floats(1.0, 4.0), st.floats(1.0, 9.0))
def test_all_corners_of_a_frame_are_alike(wide: float, inner: float) -> None:
    low, high, all_ = wide * PITCH, (wide + inner) * PITCH, (2 * wide + inner) * PITCH
    pieces = lay_field(grid(box(0, 0, all_, all_) - box(low, low, high, high)))
    around = cKDTree(pieces.centre_mm)
    for way in ([-1, 1], [1, -1]):
        moved = (pieces.centre_mm - all_ / 2) * way
        for twin in (moved, moved[:, ::-1]):
            assert around.query(twin + all_ / 2)[0].max() < 2 * CLOSE


def test_courses_run_along_the_flow_and_the_long_way_without() -> None:
    outline = on_pitch((0, 0, 12, 4))
    down = LineString([(60, 0), (60, 40)])
    for flow, courses, angle in (((), 4, 0.0), ((down,), 12, np.pi / 2)):
        pieces = lay_field(grid(outline, flow=flow))
        assert len(pieces) == 48
        assert pieces.course.max() + 1 == courses
        assert np.abs(pieces.angle_rad) == pytest.approx(angle, abs=1e-5)


def test_a_flow_line_off_the_axes_turns_the_courses() -> None:
    slanted = LineString([(0, 0), (120, 60)])
    pieces = lay_field(grid(on_pitch((0, 0, 12, 6)), flow=(slanted,)))
    assert np.median(pieces.angle_rad) == pytest.approx(np.arctan2(60, 120), abs=0.02)


def test_parts_that_are_no_grid_are_laid_in_courses_beside_those_that_are() -> None:
    square, round_ = on_pitch((0, 0, 5, 5)), translate(disc(40), 120, 40)
    s = grid(MultiPolygon([square, round_]))
    pieces = lay_field(s)
    own = shapely.covers(square, pieces.polygons)
    assert pieces.box_mm[own] == pytest.approx(TESSERA, abs=CLOSE)
    assert own.sum() == 25
    assert 0.9 < pieces.area_mm2[~own].sum() / round_.area / (TESSERA / PITCH) ** 2 < 1.02
    assert not set(pieces.course[own]) & set(pieces.course[~own])


def test_courses_unlike_by_hand_keep_their_joints_in_line() -> None:
    s = grid(on_pitch((0, 0, 12, 7)), width_variation=0.1)
    pieces = lay_field(s)
    found = sides(pieces)
    high = found[:, 3] - found[:, 1]
    assert len(pieces) == 84 and sound(s, pieces)
    assert len(lines_of(found[:, 0])) == 12 and len(lines_of(found[:, 1])) == 7
    assert 0.03 < high.std() / TESSERA < 0.2
    assert found[:, 2] - found[:, 0] == pytest.approx(TESSERA, abs=CLOSE)


def test_corners_that_lie_oddly_fit_a_followed_border_or_leave_the_pitch_alone() -> None:
    wall = on_pitch((0, 0, 20.3, 12.1)) - on_pitch((2.7, 3.4, 8.1, 5.8), (12.4, 7.2, 15.8, 9.5))
    spread = []
    for follow in (True, False):
        area = lay_field(grid(wall, follow_border=follow)).area_mm2
        spread.append(area.std() / area.mean())
    assert spread[1] < 0.14 < spread[0]
