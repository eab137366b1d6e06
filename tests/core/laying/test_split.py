"""Territories split where something pokes in, cut in two where too big, and freed of whiskers."""

import numpy as np
import pytest
import shapely
from shapely import Polygon

from core.laying.field.scale import Scale
from core.laying.pieces.shape import shape_pieces
from core.laying.rooms.cuts import Stretches
from core.laying.rooms.room import Rooms
from core.laying.rooms.split import split_rooms

PITCH, JOINT = 10.0, 1.0


def laid(*ground: Polygon) -> np.ndarray:
    """Return the pieces of territories one after the other in a course."""
    n = len(ground)
    u = np.arange(n) * PITCH
    one = Stretches(np.zeros(n, np.int64), np.arange(n), u, u + PITCH)
    rooms = Rooms(np.array(ground, dtype=object), np.arange(n), one)
    after = split_rooms(rooms, Scale(PITCH - JOINT, JOINT))
    assert set(after.owner) == set(range(n))
    assert shapely.area(after.shape).sum() == pytest.approx(
        shapely.area(rooms.shape).sum(), rel=0.02
    )
    return shape_pieces(after.shape, JOINT)


def test_a_whisker_along_a_border_costs_a_piece_nothing():
    """A field cut out beside it may leave a territory a hair of room along its border."""
    plain = Polygon([(0, 0), (10, 0), (10, 10), (0, 10)])
    whiskered = Polygon([(0, 0), (18, 0), (10, 0.4), (10, 10), (0, 10)])
    (with_one,) = laid(whiskered)
    assert with_one.area == pytest.approx(shape_pieces(np.array([plain]), JOINT)[0].area, rel=0.05)


@pytest.mark.parametrize(("long", "number"), [(1.0, 1), (1.35, 1), (1.6, 2), (1.9, 2)])
def test_what_is_too_big_for_a_piece_is_two(long: float, number: int):
    wide = np.sqrt(long) * PITCH
    pieces = laid(Polygon([(0, 0), (wide, 0), (wide, wide), (0, wide)]))
    assert len(pieces) == number
    assert np.ptp(shapely.area(pieces)) < 0.1 * PITCH**2


def test_what_a_corner_pokes_into_is_split_there():
    """A socket's corner leaves room for two pieces, not for one that keeps clear of it."""
    hollow = Polygon([(0, 0), (14, 0), (14, 7), (7, 7), (7, 14), (0, 14)])
    pieces = laid(hollow)
    assert len(pieces) == 2
    even = JOINT / 2 * shapely.length(pieces).sum() + len(pieces) * JOINT**2
    assert hollow.area - shapely.area(pieces).sum() == pytest.approx(even, rel=0.25)
