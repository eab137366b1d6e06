"""Course ends cut off square and joints moved: the room stays the same and is better shared out."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE
from measures import overlap_mm2
from shapely import MultiPoint, MultiPolygon

from core.laying.courses.trace import trace_courses
from core.laying.field.direction import direction_field
from core.laying.field.phase import phase_field
from core.laying.opus.coursed import rooms_along
from core.laying.pieces.shape import cost
from core.laying.pieces.tips import into_tips, sharp_corners
from core.laying.rooms.pairs import alike, evened_out
from core.laying.rooms.wedges import without_wedges
from core.laying.spec import Setting


def go_on() -> bool:
    return False


def rooms_of(s: Setting):
    courses = trace_courses(phase_field(s, direction_field(s), go_on), s)
    return rooms_along(s, courses, go_on)


@pytest.mark.parametrize("name", ["leaf_slender", "fan_radial", "star_thin"])
def test_wedges_are_shared_out_and_no_room_is_lost(name: str) -> None:
    s = CATALOGUE[name]()
    rooms, ruler = rooms_of(s)
    tips = MultiPoint(sharp_corners(s.outline, s.pitch_mm)[0])
    ground, new = rooms.shape, without_wedges(rooms, ruler, tips, s.scale).shape
    changed = [k for k in range(len(ground)) if not new[k].equals(ground[k])]
    assert len(changed) >= 3  # the wedge, the piece that takes its tip, and one evened with it
    is_kept(ground, new, s)


@pytest.mark.parametrize("name", ["star_eight_blunt", "many_holes"])
def test_unlike_neighbours_are_evened_out_and_no_room_is_lost(name: str) -> None:
    s = CATALOGUE[name]()
    rooms, _ = rooms_of(s)
    ground, new = rooms.shape, evened_out(rooms, s.scale).shape
    assert shapely.area(new).std() < shapely.area(ground).std()
    is_kept(ground, new, s)


def is_kept(ground: np.ndarray, new: np.ndarray, s: Setting) -> None:
    """The same room, shared out for the better and nowhere twice."""
    area = shapely.area(ground).sum()
    assert shapely.area(new).sum() == pytest.approx(area, rel=1e-4)
    assert overlap_mm2(new) - overlap_mm2(ground) < 1e-5 * area
    was, now = (cost(g, s.pitch_mm, s.laying.joint_mm).sum() for g in (ground, new))
    assert now < was


@pytest.mark.parametrize("name", ["leaf_slender", "triangle_acute"])
def test_a_tip_that_a_pen_has_rounded_is_a_tip(name: str) -> None:
    s = CATALOGUE[name]()
    sharp, inward, _ = sharp_corners(s.outline, s.pitch_mm)
    rounded = s.outline.buffer(-0.05).buffer(0.05, quad_segs=6)
    found, ways, _ = sharp_corners(MultiPolygon([rounded]), s.pitch_mm)
    assert len(found) == len(sharp) > 0
    for at, way in zip(found, ways, strict=True):
        k = int(np.hypot(*(sharp - at).T).argmin())
        assert np.hypot(*(sharp[k] - at)) < 0.1 * s.pitch_mm and way @ inward[k] > 0.9


@pytest.mark.parametrize("cut", [0.75, 1.25, 1.3])
def test_two_pieces_are_made_alike(cut: float) -> None:
    one, two = shapely.box(0, 0, 10 * cut, 10), shapely.box(10 * cut, 0, 20, 10)
    a, b = alike(one, two, 10.0)
    assert (a.area, b.area) == pytest.approx((100, 100))
    assert a.touches(b) and a.centroid.x < b.centroid.x
    assert alike(a, b, 10.0) is None


def test_the_last_piece_of_a_needle_reaches_as_far_as_it_is_wide_enough() -> None:
    """Up to where the needle is little wider than a blunt end and the least joint on both sides."""
    s = CATALOGUE["leaf_needle"]()
    outline, joint = s.outline, s.laying.joint_mm
    piece = shapely.intersection(outline.buffer(-joint / 2), shapely.box(0, -10, 20, 10))
    piece = shapely.convex_hull(shapely.MultiPoint(shapely.get_coordinates(piece)))
    drawn = into_tips(np.array([piece], dtype=object), outline, s.scale)[0]
    assert outline.covers(drawn)
    end = drawn.bounds[0]
    across = shapely.LineString([(end, -10), (end, 10)])
    assert end < piece.bounds[0] - joint
    assert across.intersection(outline).length < 1.5 * joint
