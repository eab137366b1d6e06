"""Locks on files that end with the process that holds them, however it ends.

The system lets go of them itself (flock on Linux and macOS, byte locks on Windows), so there is
no number of a process to be taken for another's. Where a disk knows no locks, as some network
drives, everything is taken for free: they tell, and never keep anybody from working.
"""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from pathlib import Path
from typing import Final

_FAR: Final = 1 << 30  # the byte that is locked on Windows: what lies before stays readable
_TRIES: Final = 5

if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        os.lseek(handle, _FAR, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except PermissionError as e:
            raise BlockingIOError from e
        finally:
            os.lseek(handle, 0, os.SEEK_SET)
else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


class Lock:
    """A lock that is held; see `take`. It ends with `release`, or with the process."""

    def __init__(self, path: Path, handle: int) -> None:
        self.path = path
        self._handle: int | None = handle

    @classmethod
    def take(cls, path: str | Path, *, make: bool = True) -> Lock | None:
        """Take the lock of a file, made if it is not there and `make`; None where it is held.

        Raises
        ------
        OSError
            The file cannot be made or opened.
        """
        path = Path(path)
        for _ in range(_TRIES):
            handle = os.open(path, os.O_RDWR | (os.O_CREAT if make else 0), 0o666)
            try:
                _lock(handle)
            except BlockingIOError:
                os.close(handle)
                return None
            except OSError:  # this disk knows no locks
                pass
            if _is_there(path, handle):
                return cls(path, handle)
            os.close(handle)  # whoever held it took the file away meanwhile
        return None

    @staticmethod
    def hold_open(handle: int) -> None:
        """Hold an open file of one's own until it is closed."""
        with suppress(OSError):
            _lock(handle)

    @property
    def held(self) -> bool:
        """Whether it has not been released."""
        return self._handle is not None

    def release(self, *, remove: bool = False) -> None:
        """Let go, and take the file away if asked."""
        handle, self._handle = self._handle, None
        if handle is None:
            return
        if remove and sys.platform != "win32":  # while it is held: nobody else can take it
            with suppress(OSError):
                self.path.unlink()
        os.close(handle)
        if remove and sys.platform == "win32":  # an open file cannot be taken away there
            with suppress(OSError):
                self.path.unlink()

    def __del__(self) -> None:
        self.release()


def is_held(path: str | Path) -> bool:
    """Return whether a living process holds the lock of a file."""
    try:
        lock = Lock.take(path, make=False)
    except OSError:
        return False
    if lock is not None:
        lock.release()
    return lock is None


def _is_there(path: Path, handle: int) -> bool:
    try:
        return os.path.samestat(os.stat(path), os.fstat(handle))
    except OSError:
        return False
