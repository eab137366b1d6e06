"""What the program remembers of how a person works: one small file in the user data folder.

It is read each time and changed by one atomic save, so that two windows do not undo each other's
choices. A file that cannot be read is put aside, and begun anew.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final, Literal

from core.errors import EmblemaError
from core.files import data_folder, write_text
from core.typed import typed

NAME: Final = "settings.json"
ASIDE: Final = "settings-unreadable.json"
MOST_RECENT: Final = 10
MOST_BYTES: Final = 1_000_000

Look = Literal["system", "light", "dark"]
Letters = Literal["usual", "larger", "largest"]


@dataclass(frozen=True)
class Settings:
    """How a person works.

    Attributes
    ----------
    recent : tuple of str
        Commission files, the newest first.
    folders : dict
        The folder last used, by what was asked for in it.
    window : tuple of int or None
        Left, top, width and height of the window, pixels.
    whole_screen : bool
        Whether the window took the whole screen.
    leaf : str
        The leaf that lay open.
    reopen : bool
        Whether the last work is opened at the start.
    look, letters
        Dark or light, and how large the words are.
    material_look : bool
        Whether the bench shows materials as they look.
    toured : bool
        Whether the tour was offered already.
    """

    recent: tuple[str, ...] = ()
    folders: dict[str, str] = field(default_factory=dict)
    window: tuple[int, int, int, int] | None = None
    whole_screen: bool = False
    leaf: str = ""
    reopen: bool = True
    look: Look = "system"
    letters: Letters = "usual"
    material_look: bool = True
    toured: bool = False


def read() -> Settings:
    """Return what is remembered; nothing yet, or nothing that can be read, is how all begins."""
    with suppress(EmblemaError, OSError, ValueError, RecursionError):
        return _parsed(data_folder() / NAME)
    return Settings()


def change(**changes: Any) -> Settings:
    """Remember something else; where nothing can be written it holds for this window alone."""
    put_aside_unreadable()
    new = replace(read(), **changes)
    with suppress(EmblemaError):
        write_text(data_folder() / NAME, json.dumps(asdict(new), indent=1) + "\n")
    return new


def put_aside_unreadable() -> str | None:
    """Put a file that cannot be read aside; return one sentence that says so, None if all is well.

    What cannot be opened at all stays where it is: the next computer may be let in.
    """
    try:
        path = data_folder() / NAME
        _parsed(path)
    except OSError:
        return None
    except (EmblemaError, ValueError, RecursionError):
        with suppress(EmblemaError, OSError):
            os.replace(data_folder() / NAME, data_folder() / ASIDE)
            return (
                "What was remembered of windows and files could not be read. "
                f"It lies in '{data_folder() / ASIDE}' now, and all begins anew."
            )
    return None


def _parsed(path: Path) -> Settings:
    if path.stat().st_size > MOST_BYTES:
        raise ValueError("no settings are so long")
    return typed(Settings, json.loads(path.read_text("utf-8")), "the settings")


def remember_file(path: Path) -> None:
    """Put a commission's file first among the recent ones."""
    mine = os.path.abspath(path)
    rest = [p for p in read().recent if p != mine]
    change(recent=(mine, *rest)[:MOST_RECENT])


def forget_file(path: Path) -> None:
    """Take a file off the recent ones."""
    mine = os.path.abspath(path)
    change(recent=tuple(p for p in read().recent if p != mine))


def folder_of(what: str) -> Path | None:
    """Return the folder last used for something, if it is still there."""
    last = read().folders.get(what)
    return Path(last) if last is not None and Path(last).is_dir() else None


def remember_folder(what: str, folder: Path) -> None:
    """Begin in this folder when the same is asked for again."""
    folders = read().folders
    if folders.get(what) != str(folder):
        change(folders=folders | {what: str(folder)})
