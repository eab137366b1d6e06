"""A stock file that may not be written to, read through a copy in memory.

The database makes files of its own beside a file that it opens, and where it may not it refuses,
or overlooks what another window has just written. A copy is not in anybody's way, can be brought
up to date as any older file is, and leaves nothing behind.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from contextlib import closing
from pathlib import Path
from typing import Final

from core.errors import EmblemaError

_TRIES: Final = 5
Signature = tuple[tuple[int, int] | None, ...]


def can_only_be_read(path: Path) -> bool:
    """Return whether there is a stock file that may be read, but not changed."""
    if not os.path.isfile(path):
        return False
    beside = [p for p in _beside(path) if os.path.exists(p)]
    effective = os.access in os.supports_effective_ids
    return not all(
        os.access(p, os.W_OK, effective_ids=effective) for p in (path, path.parent, *beside)
    )


def signature(path: Path) -> Signature:
    """Return what differs once the file, or what waits beside it to go in, has been changed."""
    found: list[tuple[int, int] | None] = []
    for p in (path, _beside(path)[0]):
        try:
            stat = os.stat(p)
        except OSError:
            found.append(None)
        else:
            found.append((stat.st_mtime_ns, stat.st_size))
    return tuple(found)


def copy_in_memory(path: Path) -> tuple[sqlite3.Connection, Signature]:
    """Return a copy of the file as it is now, and the signature that it was taken at.

    Raises
    ------
    EmblemaError
        The file cannot be read, or is being changed all the while.
    sqlite3.DatabaseError
        It is damaged or no stock file.
    """
    for _ in range(_TRIES):
        before = signature(path)
        try:
            with tempfile.TemporaryDirectory(prefix="emblema-") as folder:
                copy = Path(folder, "stock.sqlite")
                shutil.copyfile(path, copy)
                waiting = _beside(path)[0]
                if waiting.exists():
                    shutil.copyfile(waiting, _beside(copy)[0])
                if signature(path) == before:
                    return _in_memory(copy), before
        except OSError as error:
            raise EmblemaError(
                f"The stock file '{path}' cannot be read: {error.strerror}."
            ) from error
    raise EmblemaError("The stock is being changed by another window; try again in a moment.")


def _in_memory(path: Path) -> sqlite3.Connection:
    into = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    try:
        with closing(sqlite3.connect(path)) as source:
            source.backup(into)
    except BaseException:
        into.close()
        raise
    return into


def _beside(path: Path) -> tuple[Path, Path]:
    """Return where the database keeps changes that are not yet in the file, and their index."""
    return path.with_name(f"{path.name}-wal"), path.with_name(f"{path.name}-shm")
