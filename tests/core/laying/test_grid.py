"""Values shared out to the nodes of a grid, and read between them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.laying.field.grid import Grid

GRID = Grid((-3.0, 2.0), 1.5, (5, 8))
PLACES = st.lists(st.tuples(st.floats(-8, 14), st.floats(-4, 14)), min_size=1, max_size=20)


@given(PLACES)
def test_what_is_shared_out_is_all_that_lies_on_the_grid_and_never_less_than_nothing(places):
    xy = np.array(places)
    high = np.array(GRID.origin_mm) + GRID.step_mm * (np.array(GRID.shape)[::-1] - 1)
    on = ((xy >= GRID.origin_mm) & (xy <= high)).all(axis=1)
    nodes = GRID.splat(xy, np.stack([np.ones(len(xy)), xy[:, 0] + 20], axis=1))
    assert nodes.shape == (2, *GRID.shape) and nodes.min() >= 0
    assert nodes.sum(axis=(1, 2)) == pytest.approx([on.sum(), (xy[on, 0] + 20).sum()])


@given(PLACES)
def test_places_keep_their_middle_when_they_are_shared_out(places):
    """Bilinear: the nodes that a place is shared out to have it for their middle."""
    x, y = GRID.nodes()
    for at in np.clip(places, (-3.0, 2.0), (7.5, 8.0)):
        (share,) = GRID.splat(at[None], np.ones((1, 1)))
        assert [(share * x).sum(), (share * y).sum()] == pytest.approx(at.tolist(), abs=1e-9)
