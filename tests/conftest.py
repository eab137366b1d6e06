"""Tests never touch the user's data, and need no screen."""

import os
import tempfile

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
os.environ["EMBLEMA_DATA"] = tempfile.mkdtemp(prefix="emblema-test-")
