"""One application for all of a worker's tests: widgets need more than text alone does."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Iterator

import pytest
from jobcard_rig import Rig, rig
from PySide6.QtWidgets import QApplication

from app import settings


@pytest.fixture(scope="session", autouse=True)
def application() -> Iterator[QApplication]:
    app = QApplication.instance() or QApplication([])
    assert isinstance(app, QApplication)
    settings.change(
        material_look=False
    )  # flat colours tell more of what is where; test_bench_look.py sees to the rest
    yield app


@pytest.fixture(autouse=True)
def nothing_unhandled(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Qt prints what an event handler raises and goes on; a test must fail by it."""
    raised: list[str] = []
    monkeypatch.setattr(
        sys, "excepthook", lambda *e: raised.append("".join(traceback.format_exception(*e)))
    )
    yield
    assert not raised, raised[0]


@pytest.fixture
def table() -> Iterator[Rig]:
    """A laid commission with its job card; modules that share one have their own."""
    with rig() as r:
        yield r
