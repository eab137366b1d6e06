"""Tests never touch the user's data, and need no screen."""

import os
import tempfile

from hypothesis import settings

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["EMBLEMA_DATA"] = tempfile.mkdtemp(prefix="emblema-test-")

settings.register_profile("any machine", deadline=None)  # no test hangs on the clock
settings.load_profile("any machine")
