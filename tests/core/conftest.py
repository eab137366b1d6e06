"""What tests of the engine share."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from plan_rig import planning

from core.plan import Planner


@pytest.fixture(scope="module")
def planner() -> Iterator[Planner]:
    """One planner for all of a module's tests."""
    with planning() as one:
        yield one
