"""Writes files so that the old one stands until the new one is whole, and finds the data folder."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

import platformdirs

from core.errors import EmblemaError


def write_whole(path: str | Path, write: Callable[[BinaryIO], object]) -> None:
    """Write a file beside its place, flush it to the disk, then put it in place.

    Raises
    ------
    EmblemaError
        The place cannot be written; what stood there before is untouched.
    """
    path = Path(path)
    temporary = None
    try:
        with tempfile.NamedTemporaryFile(
            dir=path.parent, prefix=f".{path.name}.", delete=False
        ) as out:
            temporary = Path(out.name)
            write(out)  # type: ignore[arg-type]
            out.flush()
            os.fsync(out.fileno())
        with suppress(OSError):
            os.chmod(temporary, path.stat().st_mode if path.exists() else 0o644)
        os.replace(temporary, path)
        _settle(path.parent)
    except OSError as e:
        raise EmblemaError(f"'{path}' could not be written: {e.strerror or e}.") from e
    finally:
        if temporary is not None and temporary.exists():
            temporary.unlink()


def write_text(path: str | Path, text: str) -> None:
    """Write UTF-8 text whole (see `write_whole`)."""
    write_whole(path, lambda out: out.write(text.encode()))


def _settle(folder: Path) -> None:
    """Let the disk know of the new name, where the system can."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def data_folder() -> Path:
    """Return the user's data folder for Emblema, made if need be; EMBLEMA_DATA overrides it."""
    own = os.environ.get("EMBLEMA_DATA")
    folder = Path(own) if own else Path(platformdirs.user_data_dir("Emblema", appauthor=False))
    folder.mkdir(parents=True, exist_ok=True)
    return folder
