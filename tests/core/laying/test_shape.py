"""Pieces from their territories."""

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from core.laying.pieces.clip import polygons_of
from core.laying.pieces.shape import bare, blunted, shape_pieces

JOINT, PITCH = 1.0, 9.0


def test_a_square_steps_back_half_a_joint():
    made = shape_pieces(np.array([shapely.box(0, 0, 9, 9)], dtype=object), JOINT)[0]
    assert made.equals(shapely.box(0.5, 0.5, 8.5, 8.5))


def test_territories_too_small_for_a_piece_are_all_joint():
    """Nothing is left inside the joints of any of them: no piece, and none to nip."""
    ground = np.array([shapely.box(k, 0, k + 0.9, 0.9) for k in range(3)], dtype=object)
    made = blunted(shape_pieces(ground, JOINT), PITCH - JOINT)
    assert shapely.is_empty(made).all()
    assert np.allclose(bare(ground, PITCH, JOINT), 0.81 - JOINT**2)
    assert not len(blunted(np.empty(0, object), PITCH - JOINT))


@given(
    st.lists(st.floats(8.0, 8.6), min_size=10, max_size=10),
    st.lists(st.floats(0.0, 1.0), min_size=10, max_size=10),
)
def test_a_piece_is_the_same_whatever_is_shaped_beside_it(far, on):
    """Pieces are shaped many at once, in rows as long as the one with most corners needs."""
    turn = 2 * np.pi * (np.arange(10) + 0.8 * np.array(on)) / 10
    ring = np.array(far)[:, None] * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ground = shapely.Polygon(ring)
    alone = shape_pieces(np.array([ground], dtype=object), JOINT)[0]
    other = shapely.Point(40, 0).buffer(9, quad_segs=3)
    both = shape_pieces(np.array([ground, other], dtype=object), JOINT)
    assert shapely.to_wkb(both[0]) == shapely.to_wkb(alone)


def test_of_no_corners_no_polygon_is_made():
    assert len(polygons_of(np.empty((0, 2)), np.empty(0, np.int64))) == 0
