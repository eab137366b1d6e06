"""Shorter pieces where courses bend."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE
from forbidden import joints_on_offsets
from measures import measure
from settings import setting_of
from shapely import Point, Polygon
from shapely.affinity import rotate

from core.laying import Setting, lay_field
from core.laying.courses.bends import joint_turns, wanted_lengths
from core.laying.opus import tries

PITCH, JOINT = 10.0, 1.0


def bent(*turns_deg: float) -> tuple[np.ndarray, np.ndarray]:
    """Courses of tesserae, each of which turns by so many degrees from piece to piece."""
    pieces, course = [], []
    for k, turn in enumerate(turns_deg):
        at, way = np.array([0.0, 200.0 * k]), 0.0
        for _ in range(12):
            pieces.append(rotate(shapely.box(*(at - 4.5), *(at + 4.5)), np.degrees(way)))
            course.append(k)
            at = at + PITCH * np.array([np.cos(way), np.sin(way)])
            way += np.radians(turn)
    return np.array(pieces, dtype=object), np.array(course)


def lengths(*turns_deg: float, plain: float = 1.0):
    found = wanted_lengths(*bent(*turns_deg), PITCH, plain, np.radians(9.0))
    return None if found is None else found.length.reshape(len(turns_deg), -1).mean(1)


def test_turns_are_those_from_each_piece_to_the_next():
    left, turn = joint_turns(*bent(5.0, 20.0), PITCH)
    assert len(left) == 2 * 11
    assert np.degrees(turn) == pytest.approx([5.0] * 11 + [20.0] * 11)


def test_pieces_are_as_much_shorter_as_a_course_turns_too_much():
    """A course turns by length / radius: 10.5 degrees become 9 on 9 / 10.5 of the length."""
    found = lengths(3.0, 10.5, 10.5, 4.0, 5.0, 6.0)
    assert found == pytest.approx([1.0, 9 / 10.5, 9 / 10.5, 1.0, 1.0, 1.0])


def test_the_tightest_bends_are_left_as_they_are():
    """Two courses of twelve may turn as they like: no more than a fifth of the joints."""
    found = lengths(*[5.0] * 9, 10.5, 25.0, 25.0)
    assert found == pytest.approx([1.0] * 9 + [9 / 10.5, 1.0, 1.0])


def test_where_sizes_would_show_it_nothing_is_asked():
    assert lengths(1.0, 1.0, 16.0, 16.0, 16.0, 16.0) is None  # a third whole, the rest 9 / 16
    assert lengths(*[14.0] * 6) is None  # all would be other tesserae
    assert wanted_lengths(*(v[:1] for v in bent(5.0)), PITCH, 1.0, 0.15) is None  # no joint


def test_lengths_are_shortened_from_what_they_were():
    """Pieces 0.88 long that still turn by 9.3 degrees want 9 / 9.3 of that."""
    pieces, course = bent(9.3, 9.3, *[2.0] * 4)
    before = wanted_lengths(*bent(9 / 0.88, 9 / 0.88, *[2.0] * 4), PITCH, 1.0, np.radians(9.0))
    assert before is not None
    after = wanted_lengths(pieces, course, PITCH, 1.0, np.radians(9.0), before)
    assert after is not None
    assert after.length[:22] == pytest.approx(0.88 * 9 / 9.3, rel=1e-6)


def in_rings(inner: float, courses: int) -> tuple[Setting, Polygon]:
    out = Point(0, 0).buffer(inner + courses * PITCH, quad_segs=64)
    field = out.difference(Point(0, 0).buffer(inner, quad_segs=64))
    return setting_of(shapely.MultiPolygon([field]), "tessellatum", PITCH - JOINT, JOINT), field


def test_tight_rings_keep_the_limit_on_shorter_pieces():
    """With 2 pi R / p pieces a ring these rings turn too much; no piece of theirs need be small."""
    s, _ = in_rings(3.5 * PITCH, 5)
    assert np.percentile(joints_on_offsets(s)[1], 80) > 10
    pieces = lay_field(s)
    found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces)
    assert found["course_turn_deg"] <= 10 and found["area_cv"] <= 0.14
    radius = np.hypot(*pieces.centre_mm.T)
    for k in range(5):
        middle = (4 + k) * PITCH
        n = np.sum(np.abs(radius - middle) < PITCH / 2)
        plain = 2 * np.pi * middle / PITCH
        assert plain - 1 <= n <= plain / 0.6


BENT = ["letter_s", "ribbon_three", "disc_whole", "coast", "gear", "teardrop", "far_from_origin"]


def turns(seeds: range) -> list[float]:
    """Return how much courses turn in bent fields, each laid with several seeds, degrees."""
    out = []
    for name in BENT:
        for seed in seeds:
            s = replace(CATALOGUE[name](), seed=seed)
            found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, lay_field(s))
            out.append(found["course_turn_deg"])
    return out


def test_what_even_pieces_do_not_nipped_and_shorter_ones_do(monkeypatch):
    """Of 14 fields one may turn more; laid evenly nearly all turn too much."""
    less = turns(range(1, 3))
    assert sum(turn > 10.0 for turn in less) <= 1, less
    monkeypatch.setattr(tries, "turning_less", lambda *_: ())
    even = turns(range(1, 3))
    assert sum(turn > 10.0 for turn in even) >= 11, even


@pytest.mark.parametrize("name", ["parts_apart", "star_eight_blunt", "gear", "disc_small"])
def test_no_more_is_tried_than_a_person_would_wait_for(monkeypatch, name):
    """Counted in work, not in seconds, so that the same comes out on any machine."""
    work = []
    quality = tries.quality_of_try
    monkeypatch.setattr(
        tries, "quality_of_try", lambda s, laid: work.append(len(laid[0])) or quality(s, laid)
    )
    s = CATALOGUE[name]()
    most = tries.PIECE_WORK * len(lay_field(s)) + tries.FIELD_WORK
    each = np.array(work) + tries.TRY_WORK
    # of each part the first laying, and the last that went beyond
    assert each.sum() <= 1.2 * most + 2 * len(s.outline.geoms) * each.max(initial=0)
