"""Pieces from their territories."""

import numpy as np
import shapely

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


def test_of_no_corners_no_polygon_is_made():
    assert len(polygons_of(np.empty((0, 2)), np.empty(0, np.int64))) == 0
