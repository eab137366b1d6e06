"""Writes files so that the old one stands until the new one is whole, and finds the data folder.

A file is written beside its place under a name of our own and put there by one rename. What a
killed save leaves is swept away later: only files of that name, only old ones, and only where no
living process holds them.
"""

from __future__ import annotations

import errno
import os
import secrets
import stat
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO, Final

import platformdirs

from core.errors import EmblemaError
from core.locks import Lock

PART: Final = ".emblema-"  # how the name of a file begins that is not yet whole
_PART_ENDS: Final = ".part"
OLD_S: Final = 3600.0  # a save that takes longer still holds its lock
_KINDS: Final[tuple[tuple[Callable[[int], bool], str], ...]] = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
    (lambda mode: stat.S_ISCHR(mode) or stat.S_ISBLK(mode), "a device"),
)
_swept: set[Path] = set()


def write_whole(path: str | Path, write: Callable[[BinaryIO], object]) -> None:
    """Write a file beside its place, flush it to the disk, then put it in place.

    A symbolic link stays, and what it points to is written. A file that stands keeps its mode, and
    its owner where the system lets us; a new one gets what the user's umask leaves.

    Raises
    ------
    EmblemaError
        The place cannot be written, or holds what is no plain file; it is untouched.
    """
    part = None
    try:
        place = Path(os.path.realpath(path))
        stood = _standing(path, place)
        part = place.with_name(f"{PART}{secrets.token_hex(8)}{_PART_ENDS}")
        with open(part, "xb") as out:
            Lock.hold_open(out.fileno())
            if stood is not None:  # before the first byte: it may be nobody else's to read
                _dress(part, stood)
            _sweep(place.parent, os.fstat(out.fileno()).st_mtime)
            write(out)
            out.flush()
            os.fsync(out.fileno())
        os.replace(part, place)
        part = None
        _settle(place.parent)
    except OSError as e:
        raise EmblemaError(f"'{path}' could not be written: {why(e)}.") from e
    finally:
        if part is not None:
            with suppress(OSError):
                part.unlink()


def write_text(path: str | Path, text: str) -> None:
    """Write UTF-8 text whole (see `write_whole`); half a surrogate pair becomes a question mark."""
    write_whole(path, lambda out: out.write(text.encode("utf-8", "replace")))


def what_it_is(mode: int) -> str | None:
    """Return what stands in a file's place where it is no plain file, in plain words."""
    if stat.S_ISREG(mode):
        return None
    return next((words for is_it, words in _KINDS if is_it(mode)), "not a plain file")


def why(error: OSError) -> str:
    """Return why a file could not be written or read, in plain words."""
    words = {
        errno.ENOSPC: "there is no room for it on the disk",
        errno.EDQUOT: "there is no room for it on the disk",
        errno.EFBIG: "there is no room for it on the disk",
        errno.EACCES: "its folder or the file may not be written to",
        errno.EPERM: "its folder or the file may not be written to",
        errno.EROFS: "its disk is read-only",
        errno.ENAMETOOLONG: "its name is too long",
        errno.ENOENT: "its folder is not there",
        errno.EEXIST: "a file stands in its place",
        errno.ENOTDIR: "what should be its folder is a file",
        errno.ELOOP: "it is a link that leads back to itself",
    }
    return words.get(error.errno or 0) or error.strerror or str(error)


def _standing(path: str | Path, place: Path) -> os.stat_result | None:
    """Return the file that stands in the place; raise where it may not be replaced."""
    try:
        stood = os.stat(place)
    except FileNotFoundError:
        return None
    kind = what_it_is(stood.st_mode)
    if kind is not None:
        raise EmblemaError(f"'{path}' could not be written: it is {kind}. Choose another name.")
    effective = os.access in os.supports_effective_ids
    if not os.access(place, os.W_OK, effective_ids=effective):
        raise EmblemaError(f"'{path}' could not be written: the file is read-only.")
    return stood


def _dress(part: Path, stood: os.stat_result) -> None:
    if hasattr(os, "chown"):
        now = os.stat(part)
        if (now.st_uid, now.st_gid) != (stood.st_uid, stood.st_gid):
            with suppress(OSError):
                os.chown(part, stood.st_uid, stood.st_gid)
    with suppress(OSError):
        os.chmod(part, stat.S_IMODE(stood.st_mode))


def _sweep(folder: Path, now: float) -> None:
    """Take away what killed saves have left in a folder; once a folder, for it may be large.

    `now` is by the clock that dates the folder's files, which may be another computer's.
    """
    if folder in _swept:
        return
    _swept.add(folder)
    with suppress(OSError), os.scandir(folder) as entries:
        for e in entries:
            if not (e.name.startswith(PART) and e.name.endswith(_PART_ENDS)):
                continue
            with suppress(OSError):
                if not e.is_file(follow_symlinks=False) or now - e.stat().st_mtime < OLD_S:
                    continue
                lock = Lock.take(e.path, make=False)
                if lock is not None:
                    lock.release(remove=True)


def _settle(folder: Path) -> None:
    """Let the disk know of the new name, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def data_folder() -> Path:
    """Return the user's data folder for Emblema, made if need be; EMBLEMA_DATA overrides it.

    Raises
    ------
    EmblemaError
        It cannot be made.
    """
    own = os.environ.get("EMBLEMA_DATA")
    folder = Path(own) if own else Path(platformdirs.user_data_dir("Emblema", appauthor=False))
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        raise EmblemaError(f"The data folder '{folder}' cannot be made: {why(e)}.") from e
    return folder


def data_fault() -> str | None:
    """Return what is wrong with the data folder, in one sentence, None where it can be used."""
    try:
        folder = data_folder()
        with tempfile.TemporaryFile(dir=folder):  # asking for the right to is not proof
            return None
    except EmblemaError as e:
        return str(e)
    except OSError as e:
        return f"The data folder '{folder}' cannot be written to: {why(e)}."
