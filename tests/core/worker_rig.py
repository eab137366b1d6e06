"""What workers do in tests: they are fresh interpreters and find it by its module."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from core.errors import EmblemaError, Stopped


def do(task: tuple[str, Any], stop: Callable[[], bool]) -> Any:
    """Do what a task's first word says."""
    what, value = task
    if what == "sleep":
        time.sleep(value)
    elif what == "listen":  # and stop when told
        until = time.monotonic() + value
        while time.monotonic() < until:
            if stop():
                raise Stopped
            time.sleep(0.002)
    elif what == "refuse":
        raise EmblemaError(value)
    elif what == "fault":
        raise KeyError(value)
    elif what == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    elif what == "die once":
        mark = Path(value)
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
    elif what == "large":
        return bytes(value)
    elif what == "who":
        return os.getpid()
    return value
