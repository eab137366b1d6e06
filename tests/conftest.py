"""Tests never touch the user's data, and need no screen."""

import os
import shutil
import tempfile

from hypothesis import settings

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
DATA = os.environ["EMBLEMA_DATA"] = tempfile.mkdtemp(prefix="emblema-test-")

settings.register_profile("any machine", deadline=None)  # no test hangs on the clock
settings.load_profile("any machine")


def pytest_unconfigure() -> None:
    """Leave nothing behind; what is still open there has no use for it any more."""
    shutil.rmtree(DATA, ignore_errors=True)
