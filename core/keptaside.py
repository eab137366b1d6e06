"""Unsaved work kept aside, in a place of its own for each window.

A place is a folder with the work, what it is work on, and a lock that ends with the window's
process. Work in a place whose lock is free was left behind by a mishap; it is offered if it says
anything else than its file does, whatever the dates.
"""

from __future__ import annotations

import json
import secrets
import shutil
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

from core import archive
from core.errors import EmblemaError
from core.files import data_folder, write_text
from core.locks import Lock, is_held
from core.openfiles import Seen, same_place

_WORK: Final = "work.emblema"
_ABOUT: Final = "about.json"
_LOCK: Final = "lock"
_BEGUN_S: Final = 3600.0  # a place without work that is older was left behind


@dataclass(frozen=True)
class LeftWork:
    """Work that was left behind.

    Attributes
    ----------
    folder : Path
        Its place.
    title : str
        The commission's title.
    file : Path or None
        The file that it is work on; None where there was none yet.
    seen : Seen or None
        That file as it was when it was last opened or saved.
    when_s : float
        When it was kept, in seconds since the epoch.
    """

    folder: Path
    title: str
    file: Path | None
    seen: Seen | None
    when_s: float

    @property
    def work(self) -> Path:
        """The work itself, as a commission file."""
        return self.folder / _WORK

    def throw_away(self) -> None:
        """Remove it for good."""
        shutil.rmtree(self.folder, ignore_errors=True)


class Place:
    """Where a window keeps its unsaved work; made when something is first kept."""

    def __init__(self) -> None:
        self._lock: Lock | None = None

    @classmethod
    def of(cls, kept: LeftWork) -> Place | None:
        """Take over the place of work that was left behind; None where another window has."""
        place = cls()
        try:
            place._lock = Lock.take(kept.folder / _LOCK)
        except OSError:  # it can only be read: what is done to it is kept elsewhere
            return place
        return place if place._lock is not None else None

    def keep(
        self, save: Callable[[Path], object], title: str, file: Path | None, seen: Seen | None
    ) -> None:
        """Keep what `save` writes to a path, in the place of what was kept before.

        Raises
        ------
        EmblemaError
            It cannot be kept; what was kept before stays.
        """
        folder = self._made()
        about = {
            "title": title,
            "file": None if file is None else str(file.resolve()),
            "seen": None if seen is None else asdict(seen),
        }
        write_text(folder / _ABOUT, json.dumps(about))
        save(folder / _WORK)

    def forget(self) -> None:
        """Remove what was kept: it was saved, or is not wanted."""
        if self._lock is not None:
            for name in (_WORK, _ABOUT):
                with suppress(OSError):
                    (self._lock.path.parent / name).unlink(missing_ok=True)

    def leave(self) -> None:
        """Let go of the place; what is kept there stays to be offered."""
        lock, self._lock = self._lock, None
        if lock is None:
            return
        lock.release(remove=not (lock.path.parent / _WORK).exists())
        with suppress(OSError):  # it is not empty
            lock.path.parent.rmdir()

    def _made(self) -> Path:
        if self._lock is None or not self._lock.path.exists():
            folder = data_folder() / "unsaved" / secrets.token_hex(8)
            try:
                folder.mkdir(parents=True)
                self._lock = Lock.take(folder / _LOCK)
            except OSError as e:
                raise EmblemaError(
                    f"The folder '{e.filename or folder}' cannot be written to: {e.strerror}."
                ) from e
            if self._lock is None:
                raise EmblemaError(f"The folder '{folder}' is held by another window.")
        return self._lock.path.parent


def left_behind(file: Path | None = None) -> list[LeftWork]:
    """Return the work that mishaps left, newest first: all of it, or that on one file.

    What says the same as its file is removed. Work of windows that are still open is not told.
    """
    try:
        folders = [f for f in (data_folder() / "unsaved").iterdir() if f.is_dir()]
    except (OSError, EmblemaError):
        return []
    found = []
    for folder in folders:
        with suppress(OSError):
            if is_held(folder / _LOCK):
                continue
            kept = _read(folder)
            if kept is None:
                if time.time() - folder.stat().st_mtime > _BEGUN_S:
                    shutil.rmtree(folder, ignore_errors=True)
            elif (file is None or same_place(file, kept.file)) and _is_news(kept):
                found.append(kept)
    return sorted(found, key=lambda kept: -kept.when_s)


def _read(folder: Path) -> LeftWork | None:
    """Return what a place holds; None where there is no work in it."""
    work = folder / _WORK
    if not work.exists():
        return None
    title, file, seen = "", None, None
    with suppress(OSError, ValueError, KeyError, TypeError):  # the work is worth it without
        about = json.loads((folder / _ABOUT).read_bytes())
        title = str(about["title"])
        file = Path(about["file"]) if about["file"] is not None else None
        seen = Seen(**about["seen"]) if about["seen"] is not None else None
    return LeftWork(folder, title, file, seen, work.stat().st_mtime)


def _is_news(kept: LeftWork) -> bool:
    try:
        work = archive.open_work(kept.work)
    except EmblemaError:  # nobody can open it
        return False
    if kept.file is not None:
        with suppress(EmblemaError):
            file = archive.open_work(kept.file)
            if (file.doc, file.rounds) == (work.doc, work.rounds):
                kept.throw_away()
                return False
    return True
