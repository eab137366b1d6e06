"""Narrow gaps: whole courses by width, whatever lines run in them, and a pitch elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import setting
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString

from core.laying import lay_field
from core.laying.courses.gaps import wave_numbers
from core.laying.field.grid import Grid
from core.laying.spec import Setting

PITCH = 9.2


def turns_a_pitch(s: Setting, y_mm: float) -> float:
    """Return how often the phase turns in a pitch, half way along a level field at a height."""
    grid = Grid.over(s.outline, 0.5 * PITCH, 2 * PITCH)
    normal = np.zeros((2, *grid.shape))
    normal[1] = 1.0
    wave = wave_numbers(s, grid, normal)
    x0, _, x1, _ = s.outline.bounds
    return float(grid.sample(wave, np.array([[(x0 + x1) / 2, y_mm]]))[0]) * PITCH / (2 * np.pi)


@pytest.mark.parametrize(
    ("wide", "courses"),
    [(0.8, 1), (1.40, 1), (1.43, 2), (2.43, 2), (2.47, 3), (3.44, 3), (3.49, 4), (4.4, 4)],
)
def test_between_borders_a_whole_number_of_courses(wide: float, courses: int) -> None:
    """n to n + 1 at sqrt(n (n + 1)) pitches: 1.414, 2.449, 3.464."""
    s = setting(shapely.box(0, 0, 20 * PITCH, wide * PITCH), follow=False)
    assert turns_a_pitch(s, wide * PITCH / 2) == pytest.approx(courses / wide)


def heights(wide: float, lines: list[float]) -> tuple[int, np.ndarray]:
    """Lay a level band with level lines at heights, in pitches; return how many courses it has
    half way along, and how high their pieces are, in pitches."""
    s = setting(shapely.box(0, 0, 24 * PITCH, wide * PITCH), follow=False)
    flow = tuple(LineString([(0, y * PITCH), (24 * PITCH, y * PITCH)]) for y in lines)
    pieces = lay_field(replace(s, flow=flow))
    box = shapely.bounds(pieces.polygons)
    there = np.abs(box[:, [0, 2]].mean(axis=1) - 12 * PITCH) < 2 * PITCH
    high = (box[there, 3] - box[there, 1] + s.laying.joint_mm) / PITCH
    return len(np.unique(pieces.course[there])), high


@settings(max_examples=12, deadline=None)
@given(st.integers(1, 14), st.floats(-0.1, 0.1), st.floats(0.1, 0.9))
def test_borders_give_the_count_wherever_a_line_runs(n: int, off: float, where: float) -> None:
    courses, high = heights(n + off, [where * (n + off)])
    assert courses == n
    assert high.max() / high.min() < 1.25


def test_a_misfit_is_spread_over_all_courses() -> None:
    for wide in (6.4, 9.5, 12.5):
        _, high = heights(wide, [wide / 2])
        assert high.max() / high.min() < 1.25


def test_many_lines_that_agree_lay_like_one() -> None:
    rng = np.random.default_rng(5)
    courses, high = heights(20.0, rng.uniform(0.2, 19.8, 200).tolist())
    assert courses == 20
    assert high.max() / high.min() < 1.25


def test_in_a_wide_field_and_in_a_grid_a_course_is_a_pitch() -> None:
    wide = setting(shapely.box(0, 0, 20 * PITCH, 20 * PITCH), follow=False)
    assert turns_a_pitch(wide, 10 * PITCH) == pytest.approx(1.0)
    grid = setting(shapely.box(0, 0, 20 * PITCH, 2.3 * PITCH), laying="regulatum")
    assert turns_a_pitch(grid, PITCH) == pytest.approx(1.0)


def test_a_short_bulge_gets_no_course_of_its_own() -> None:
    half = 1.18 * PITCH  # a little below sqrt(6) / 2
    x = np.linspace(0, 20 * PITCH, 400)
    top = half + 0.12 * PITCH * np.exp(-(((x - 10 * PITCH) / (0.8 * PITCH)) ** 2))
    bulge = shapely.Polygon(np.vstack([np.c_[x, top], np.c_[x, -top][::-1]]))
    assert bulge.bounds[3] * 2 > np.sqrt(6) * PITCH
    s = setting(bulge, follow=False)
    assert turns_a_pitch(s, 0.0) == pytest.approx(2 * PITCH / (2 * top.max()), rel=0.03)
