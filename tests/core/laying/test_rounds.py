"""Small round things: a core and a ring, alike all round."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from awkward import disc, setting
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from measures import measure

from core.laying import Setting, lay_field

PITCH = 9.2


def small(radius: float, other: float | None = None) -> Setting:
    """Return a disc or an ellipse of radii in pitches."""
    round_thing = shapely.affinity.scale(disc(PITCH), radius, other or radius)
    return setting(round_thing, follow=True)


@examples(max_examples=15, deadline=None)
@given(st.floats(1.12, 1.98), st.floats(0.8, 1.0))
def test_a_small_round_is_a_core_and_a_ring(radius: float, slim: float) -> None:
    s = small(radius, max(radius * slim, 1.12))
    pieces = lay_field(s)
    (core,) = pieces.polygons[pieces.course == 1]
    assert core.contains(shapely.centroid(s.outline))
    area = shapely.area(pieces.polygons)
    assert area.std() / area.mean() < 0.14
    seen = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces)
    assert seen["overlap"] == 0 and seen["outside"] == 0
    assert seen["pools"] <= 0.02  # a piece has one corner at its rim, and the arc goes round it
    assert seen["joint_even"] >= 0.98


def test_a_disc_is_laid_with_its_own_symmetry() -> None:
    s = small(1.5)
    pieces = lay_field(s)
    ring = pieces.polygons[pieces.course == 0]
    middle = shapely.centroid(s.outline)
    turned = shapely.affinity.rotate(shapely.union_all(ring), 360 / len(ring), origin=middle)
    assert shapely.union_all(ring).symmetric_difference(turned).area < 0.03 * s.outline.area


@pytest.mark.parametrize("radius", [0.6, 2.1])
def test_smaller_ones_are_cut_and_larger_ones_have_courses(radius: float) -> None:
    s = small(radius)
    pieces = lay_field(s)
    inner = shapely.distance(pieces.polygons, s.outline.boundary) > PITCH / 2
    assert len(pieces) > 0 and inner.sum() != 1
    assert np.all(shapely.is_valid(pieces.polygons))
