"""A bench for the hand tools of each file, begun anew for each test."""

import pytest
from window_rig import panel, table


@pytest.fixture(scope="module")
def shared():
    with table() as t:
        yield t


@pytest.fixture
def bench(shared):
    """About 60 pieces, laid."""
    shared.begin(panel())
    assert 50 <= len(shared.session.layout) <= 75
    return shared
