"""Takes away the right to write to files and folders, from root too, for as long as it is asked."""

from __future__ import annotations

import os
import shutil
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

NOBODY = 65534
WRITE = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH


@contextmanager
def open_folder() -> Iterator[Path]:
    """A folder that everybody may look into, as pytest's own is not."""
    folder = Path(tempfile.mkdtemp(prefix="emblema-only-read-"))
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        shutil.rmtree(folder)


@contextmanager
def only_read(*paths: Path) -> Iterator[None]:
    """Let these be read only, and be nobody in particular meanwhile where one is root."""
    modes = {p: p.stat().st_mode for p in paths}
    root = os.geteuid() == 0
    for p, mode in modes.items():
        p.chmod(mode & ~WRITE)
    if root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if root:
            os.seteuid(0)
        for p, mode in modes.items():
            p.chmod(mode)
