"""What decides between several ways to lay a small field."""

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE

from core.laying import coursed, lay_field
from core.laying.worth import faults

PITCH, JOINT = 10.0, 1.0


def rows(shift: float, *, uneven: float = 0.0, count: int = 8, courses: int = 4):
    """Courses of tesserae, every other one moved on by `shift` pitches."""
    pieces, course = [], []
    for row in range(courses):
        for k in range(count):
            x = (k + shift * (row % 2)) * PITCH + JOINT / 2
            wide = (PITCH - JOINT) * (1 + uneven * (-1) ** k)
            y = row * PITCH + JOINT / 2
            pieces.append(shapely.box(x, y, x + wide, y + PITCH - JOINT))
            course.append(row)
    return np.array(pieces, dtype=object), np.array(course), count * courses * PITCH**2


def test_staggered_alike_and_full_is_no_fault():
    wrong, little = faults(*rows(0.5), PITCH, JOINT)
    assert wrong == pytest.approx(0.0, abs=1e-9) and little


def test_joints_in_line_count_as_a_grid_counts():
    """In a grid every joint stands in line: 1 / 0.3 of chance."""
    wrong, little = faults(*rows(0.0), PITCH, JOINT)
    assert wrong == pytest.approx((1 / 0.3) ** 3) and not little


def test_sizes_unlike_count_by_their_spread():
    for uneven in (0.05, 0.14, 0.3):
        wrong, little = faults(*rows(0.5, uneven=uneven), PITCH, JOINT)
        assert wrong == pytest.approx((uneven / 0.14) ** 3, rel=0.01)
        assert little == (uneven < 0.8 * 0.14)


def test_bare_grout_counts_but_is_no_cause_to_lay_again():
    pieces, course, room = rows(0.5)
    wrong, little = faults(pieces, course, 1.1 * room, PITCH, JOINT)
    assert wrong == pytest.approx(((1 - 1 / 1.1) / 0.02) ** 3) and little


@pytest.mark.parametrize("name", ["parts_apart", "star_thin"])
def test_a_small_field_is_laid_better_than_its_first_way(name, monkeypatch):
    """Of these two the first way is near its limits, and another is better."""
    s = CATALOGUE[name]()

    def wrong() -> float:
        p = lay_field(s)
        return faults(p.polygons, p.course, s.outline.area, s.pitch_mm, s.joint_mm)[0]

    kept = wrong()
    monkeypatch.setattr(coursed, "WAYS", 1)
    assert kept < 0.9 * wrong()


def test_one_piece_is_never_laid_again():
    one = np.array([shapely.box(0, 0, 9, 9)], dtype=object)
    assert faults(one, np.zeros(1, int), 400.0, PITCH, JOINT) == (0.0, True)
