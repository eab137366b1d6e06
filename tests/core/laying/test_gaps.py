"""Narrow gaps: whole courses by width, a half more beside a flow line, and a pitch elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import setting
from shapely import LineString

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


@pytest.mark.parametrize(
    ("wide", "courses"), [(0.80, 0.5), (0.95, 1.5), (1.90, 1.5), (1.97, 2.5), (2.9, 2.5)]
)
def test_between_line_and_border_a_half_more(wide: float, courses: float) -> None:
    """The middle of a course lies on the line: 0.5, 1.5, 2.5, changing at 0.866 and 1.936."""
    down = wide * PITCH
    line = LineString([(-5, down), (25 * PITCH, down)])
    s = replace(setting(shapely.box(0, 0, 20 * PITCH, 20 * PITCH), follow=False), flow=(line,))
    assert turns_a_pitch(s, down / 2) == pytest.approx(max(courses / wide, 1 / 1.5))


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
