"""Which commission files are open in a window, and whether one was changed since it was opened.

A window marks its file with a lock in the data folder, which ends with the window's process. It
tells the user's other windows and keeps nobody from anything; where the data folder cannot be
written to, or from another computer, only the file itself tells that it was changed.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

from core.errors import EmblemaError
from core.files import data_folder
from core.locks import Lock, is_held


class ChangedMeanwhile(EmblemaError):
    """The file was changed since it was opened here, so that a save would undo another's work."""


@dataclass(frozen=True)
class Seen:
    """A file as it was seen: what tells at a glance that it is the same, and what proves it."""

    mtime_ns: int
    size: int
    inode: int
    sha256: str


def seen(path: Path) -> Seen | None:
    """Return a file as it is now, None where it cannot be read."""
    try:
        with open(path, "rb") as f:
            stat = os.fstat(f.fileno())
            digest = hashlib.file_digest(f, "sha256").hexdigest()
    except OSError:
        return None
    return Seen(stat.st_mtime_ns, stat.st_size, stat.st_ino, digest)


def changed_since(path: Path, before: Seen | None) -> bool:
    """Return whether a file says something else than when seen; one that is gone does not."""
    if before is None:
        return False
    try:
        stat = os.stat(path)
    except OSError:
        return False
    if (stat.st_mtime_ns, stat.st_size, stat.st_ino) == (
        before.mtime_ns,
        before.size,
        before.inode,
    ):
        return False
    now = seen(path)
    return now is not None and now.sha256 != before.sha256


def mark_open(path: Path) -> Lock | None:
    """Mark a file as open until the lock is released; None where another has, or it cannot be."""
    try:
        mark = _mark(path)
        mark.parent.mkdir(exist_ok=True)
        return Lock.take(mark)
    except (OSError, EmblemaError):
        return None


def is_open(path: Path) -> bool:
    """Return whether a window has marked a file as open."""
    try:
        return is_held(_mark(path))
    except EmblemaError:
        return False


def same_place(a: Path | None, b: Path | None) -> bool:
    """Return whether two paths name one file, be it there or not."""
    return a is not None and b is not None and _place(a) == _place(b)


def _place(path: Path) -> str:
    return os.path.normcase(os.path.realpath(path))


def _mark(path: Path) -> Path:
    key = hashlib.sha256(_place(path).encode()).hexdigest()[:16]
    return data_folder() / "open" / f"{key}.lock"
