"""Reads single members of a zip, each within a limit that its kind sets, whatever it claims.

A small file can claim, or unpack to, more than any memory holds. So only members that are asked
for are read, in steps, and no further than they may be long; the list of members is bounded too.
"""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from core.bounds import shown
from core.errors import EmblemaError
from core.files import what_it_is

MOST_JSON: Final = 64_000_000  # bytes; the demo's commission has half a million
MOST_LISTS: Final = 3_000_000  # lists and tables in it: empty ones take 30 times their text
MOST_PICTURE: Final = 1_000_000_000  # bytes as they are, so that the file is as long itself
MOST_UNPACKED: Final = 128_000_000  # bytes of a picture that was packed by another program
_AT_ONCE: Final = 4_000_000
_STEP: Final = 1_000_000


class Members:
    """The members of a zip, to be read one by one. Use it in a `with` statement.

    Raises
    ------
    EmblemaError
        The file is missing, is no plain file, cannot be read or is no zip. So does `read`.
    """

    def __init__(self, path: str | Path) -> None:
        path = Path(path)
        self._name = path.name
        with self._told(path):
            kind = what_it_is(os.stat(path).st_mode)  # a pipe would be waited for
            if kind is not None:
                raise EmblemaError(f"'{self._name}' could not be read: it is {kind}.")
            file = _InParts(path)
            try:
                self._zip = zipfile.ZipFile(file)
                self._infos = {i.filename: i for i in self._zip.infolist()}
            except BaseException:
                file.close()
                raise
        self._file = file

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._zip.close()
        self._file.close()

    @property
    def names(self) -> tuple[str, ...]:
        """The members' names, in the order of the file."""
        return tuple(self._infos)

    def read(self, name: str, most: int, most_unpacked: int | None = None) -> bytes:
        """Return a member of at most so many bytes; of `most_unpacked` where it is packed.

        Raises
        ------
        EmblemaError
            It is longer, packed in a way that is not ours, or damaged.
        KeyError
            There is none of that name.
        """
        info = self._infos[name]
        if info.compress_type != zipfile.ZIP_STORED and most_unpacked is not None:
            most = most_unpacked
        long = EmblemaError(
            f"'{self._name}' cannot be opened: '{name}' in it is longer than the "
            f"{most / 1e6:,.0f} MB that it may be."
        )
        if info.file_size > most:
            raise long
        parts, length = [], 0
        with self._told():
            if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
                raise zipfile.BadZipFile(f"{name} is packed in a way that is not known")
            with self._zip.open(info) as member:
                while part := member.read(min(_STEP, most + 1 - length)):
                    parts.append(part)
                    length += len(part)
                    if length > most:
                        raise long
        return b"".join(parts)

    @contextmanager
    def _told(self, path: Path | None = None) -> Iterator[None]:
        """Say in words what keeps the file from being read."""
        name = self._name
        try:
            yield
        except EmblemaError:
            raise
        except FileNotFoundError as e:
            raise EmblemaError(f"There is no file '{path or name}'.") from e
        except OSError as e:
            raise EmblemaError(f"'{name}' could not be read: {e.strerror or e}.") from e
        except (zipfile.BadZipFile, EOFError, ValueError, NotImplementedError, RuntimeError) as e:
            raise EmblemaError(
                f"'{name}' is damaged or is not an Emblema commission ({shown(str(e))})."
            ) from e
        except Exception as e:  # zlib.error and its like are not one family
            raise EmblemaError(f"'{name}' is damaged ({shown(str(e))}).") from e


def json_fits(data: bytes) -> bool:
    """Return whether JSON text is small enough to be read again."""
    return len(data) <= MOST_JSON and data.count(b"[") + data.count(b"{") <= MOST_LISTS


def read_json(data: bytes) -> Any:
    """Return what JSON text holds, within bounds.

    Raises
    ------
    ValueError
        It is no JSON, has more than `MOST_LISTS` lists and tables, or one in another too deeply.
    """
    if not json_fits(data):
        raise ValueError(f"it has more than {MOST_LISTS:,} lists")
    try:
        return json.loads(data)
    except RecursionError:
        raise ValueError("its lists lie too deeply in one another") from None


class _InParts(io.FileIO):
    """A file that hands out no more at once than an honest zip asks for: its list of members."""

    def read(self, size: int | None = -1) -> bytes:
        if size is None or size < 0:
            size = os.fstat(self.fileno()).st_size - self.tell()
        if size > _AT_ONCE:
            raise zipfile.BadZipFile("its list of members is too long")
        return super().read(size) or b""
