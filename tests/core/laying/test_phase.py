"""Ties of the phase to borders and lines."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import LineString

from core.laying.field.phase import MOST_POINTS, _leading, _room


@pytest.mark.parametrize("seed", range(5))
def test_the_room_round_a_scribble_is_that_round_all_its_stretches(seed) -> None:
    rng = np.random.default_rng(seed)
    scribble = LineString(np.cumsum(rng.normal(0, 4, (4 * MOST_POINTS, 2)), axis=0))
    xy = shapely.get_coordinates(scribble)
    each = shapely.linestrings(np.stack([xy[:-1], xy[1:]], axis=1))
    whole = shapely.union_all(shapely.buffer(each, 27.0))
    room = _room(scribble, 27.0)
    assert room.within(whole.buffer(0.3)) and whole.within(
        room.buffer(3.0)
    )  # four chords a quarter


def test_of_a_scribble_and_a_line_across_it_only_what_is_clear_of_the_longer_leads() -> None:
    around = np.random.default_rng(7).uniform(0, 100, (2000, 2))
    line = LineString([(-300, 50), (400, 50)])
    led = _leading((LineString(around), line), 27.0)
    clear = shapely.difference(line, shapely.box(0, 0, 100, 100).buffer(30))
    assert led.length == pytest.approx(LineString(around).length + clear.length, rel=0.001)
