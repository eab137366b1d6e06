"""What decides between several ways to lay a small field."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE
from settings import setting_of
from shapely import MultiPolygon
from shapely.affinity import rotate

from core.laying import lay_field
from core.laying.field.scale import Scale
from core.laying.measure import Quality, quality_of
from core.laying.opus import coursed, tries
from core.quality import TURN_LIMIT

PITCH, JOINT = 10.0, 1.0
SCALE = Scale(PITCH - JOINT, JOINT)


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
    found = quality_of(*rows(0.5), SCALE)
    assert (found.uneven, found.in_line, found.bare, found.turning) == pytest.approx((0,) * 4)
    assert found.odd == 0
    assert found.good and not found.missed


def test_joints_in_line_count_as_a_grid_counts():
    """In a grid every joint stands in line: 1 / 0.3 of what is random."""
    found = quality_of(*rows(0.0), SCALE)
    assert found.in_line == pytest.approx(1 / 0.3) and not found.good
    assert found.missed == pytest.approx([1 / 0.3 - 1])


def test_sizes_unlike_count_by_their_spread():
    for uneven in (0.05, 0.14, 0.3):
        found = quality_of(*rows(0.5, uneven=uneven), SCALE)
        assert found.uneven == pytest.approx(uneven / 0.14, rel=0.01)
        assert found.good == (uneven < 0.8 * 0.14)


def test_bare_grout_is_cause_for_a_few_tries_and_no_more():
    """It may be the outline's own doing."""
    pieces, course, room = rows(0.5)
    found = quality_of(pieces, course, 1.1 * room, SCALE)
    assert found.bare == pytest.approx((1 - 1 / 1.1) / 0.03)
    assert not found.good and not found.poor and found.own == 1


def test_pieces_off_their_flow_line_count_by_the_mean_square():
    """Half of them six degrees off, half along: sqrt(18) of four degrees; the rest is not asked."""
    pieces, course, room = rows(0.5)
    wanted = np.where(np.arange(32) % 2, np.radians(6.0), 0.0)
    wanted[16:] = np.nan
    found = quality_of(pieces, course, room, SCALE, wanted)
    assert found.off_flow == pytest.approx(np.sqrt(18) / 4) and found.poor and not found.good
    assert quality_of(pieces, course, room, SCALE, wanted * np.nan).off_flow == 0


def test_pieces_of_other_than_four_corners_count_by_their_share():
    """One in five is the limit: a triangle among three squares is more."""
    pieces, course, room = rows(0.5, count=2, courses=2)
    pieces[0] = shapely.Polygon([(0, 0), (9, 0), (0, 9)])
    assert quality_of(pieces, course, room, SCALE).odd == pytest.approx(0.25 / 0.2)


def test_a_course_turns_by_a_full_turn_over_its_pieces():
    """n pieces round a ring: each lies 2 pi / n from the next (a full turn)."""
    n = 20
    piece = shapely.box(-4.5, 30, 4.5, 39)
    ring = [rotate(piece, -360 * k / n, origin=(0, 0)) for k in range(n)]
    found = quality_of(np.array(ring, dtype=object), np.zeros(n, int), 2e3, SCALE)
    assert found.turning == pytest.approx(np.radians(360 / n) / TURN_LIMIT) and found.good


def test_fewer_limits_missed_are_better_than_less_in_all():
    one, two = Quality(1.5, 0.9, 0.9, 0.9, 0.9, 0.0), Quality(1.01, 1.01, 0.0, 0.0, 0.0, 0.0)
    assert one.better_than(two) and not two.better_than(one)
    assert Quality(1.1, 0.9, 0.9, 0.9, 0.9, 0.0).better_than(one)
    less = Quality(0.5, 0.5, 0.5, 0.5, 0.5, 0.0)
    assert less.better_than(Quality(0.9, 0.5, 0.5, 0.5, 0.5, 0.0))


def test_small_fields_are_laid_better_than_their_first_way(monkeypatch):
    """Of twelve seeds most find a better way; nips and tips, made later, may undo one or two."""
    fields = [
        replace(CATALOGUE[name](), seed=seed)
        for name in ("fan_radial", "star_thin")
        for seed in range(1, 7)
    ]

    def found() -> list[Quality]:
        laid = [(s, lay_field(s)) for s in fields]
        return [quality_of(p.polygons, p.course, s.outline.area, s.scale) for s, p in laid]

    best = found()
    monkeypatch.setattr(tries, "MOST_TRIES", 1)
    first = found()
    assert sum(a.better_than(b) for a, b in zip(best, first, strict=True)) >= 7
    assert sum(b.better_than(a) for a, b in zip(best, first, strict=True)) <= 2


@pytest.mark.parametrize(
    ("uneven", "ways"), [(0.5, 1), (0.9, tries.FEW_TRIES), (1.5, tries.MOST_TRIES)]
)
def test_a_small_field_is_laid_as_often_as_its_limits_ask(uneven, ways, monkeypatch):
    """Once where a hand would leave it, a few times near a limit, more often beyond one."""
    wrong = Quality(uneven, 0.0, 0.0, 0.0, 0.0, 0.0)
    laid = []
    once = coursed._laid_along
    monkeypatch.setattr(tries, "quality_of_try", lambda *_: wrong)
    monkeypatch.setattr(coursed, "_laid_along", lambda *a: laid.append(1) or once(*a))
    lay_field(setting_of(MultiPolygon([shapely.box(0, 0, 60, 50)]), "tessellatum", 9.0, 1.0))
    assert len(laid) == ways


def test_one_piece_is_never_laid_again(monkeypatch):
    """However much it leaves bare: there is nothing to divide in another way."""
    laid = []
    once = coursed._laid_along
    monkeypatch.setattr(coursed, "_laid_along", lambda *a: laid.append(1) or once(*a))
    often = []
    for long in (9.0, 10.0, 11.0, 12.0, 13.0):
        for shape in (shapely.box(0, 0, long, 10), shapely.Polygon([(0, 0), (long, 0), (0, 14)])):
            laid.clear()
            pieces = lay_field(setting_of(MultiPolygon([shape]), "tessellatum", 9.0, 1.0))
            often += [len(laid)] * (len(pieces) == 1)
    assert len(often) >= 5 and max(often) == 1


def test_one_piece_that_leaves_most_of_a_field_bare_is_not_faultless():
    one = np.array([shapely.box(0, 0, 9, 9)], dtype=object)
    assert quality_of(one, np.zeros(1, int), 100.0, SCALE).bare == pytest.approx(0.0, abs=1e-9)
    assert quality_of(one, np.zeros(1, int), 1000.0, SCALE).bare > 1
