"""Limits of the craft: the solver keeps within them, and what is worked out is so."""

import numpy as np
import pytest

from core import quality as q
from core.commission import Limits


def test_the_solver_keeps_within_every_limit_that_a_person_is_shown():
    shown = Limits()
    assert shown.sharp_deg < q.OWN_SHARP_DEG and shown.sliver_tesserae < q.OWN_SLIVER
    assert q.EVEN_JOINT[0] > shown.narrow_joint and q.EVEN_JOINT[1] <= shown.wide_joint
    assert shown.off_flow_deg > q.OFF_FLOW_DEG and np.radians(q.TURN_DEG) > q.TURN_LIMIT
    assert q.OWN_TURNING < q.TURNING and q.OWN_ODD < q.ODD


def test_joints_that_nobody_looked_at_stand_in_line_so_often():
    """Courses of a pitch a piece, each begun anywhere: how far the nearest joint beside is off."""
    begun = np.random.default_rng(4).random((20_000, 2))
    off = np.abs((begun[:, 0] - begun[:, 1] + 0.5) % 1 - 0.5)
    assert np.mean(off < q.IN_LINE) == pytest.approx(q.AT_RANDOM, abs=0.01)


def test_a_ring_of_36_turns_by_the_limit_and_a_course_may_be_as_low_as_it_may_be_high():
    assert q.TURN_DEG == 360 / 36
    low, high = q.HIGH
    assert low * high == pytest.approx(1.0, abs=0.1)
