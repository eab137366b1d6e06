"""The stock file itself: where it is, opening it, bringing it up to date, one change at a time.

Every change is one transaction that takes the write lock first and waits for another window to
finish; a file of an older version is copied before it is brought up to date. Where the file may
not be written to it is read all the same, and every change is refused in words.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from core.errors import EmblemaError
from core.files import data_folder
from core.stock.onlyread import can_only_be_read, copy_in_memory, signature
from core.stock.schema import STEPS, upgrade

_WAIT_S: Final = 10.0
_BUSY: Final = "The stock is being changed by another window; try again in a moment."


class StockFile:
    """A stock file, open. Safe from several threads and beside other windows.

    Parameters
    ----------
    path : Path, optional
        The file; ``stock.sqlite`` in `data_folder` where left out. Made where it is not.

    Attributes
    ----------
    only_read : bool
        Whether the file, or its folder, may not be written to, so that nothing can be changed.

    Raises
    ------
    EmblemaError
        The file cannot be opened, is damaged or was made by a later version of the program.
    """

    def __init__(self, path: Path | None = None) -> None:
        self._lock = threading.RLock()
        self._copies = 0
        try:
            self.path = path if path is not None else data_folder() / "stock.sqlite"
            self.only_read = can_only_be_read(self.path)
            if self.only_read:
                self._db, self._copied = copy_in_memory(self.path)
            else:
                self.path.parent.mkdir(parents=True, exist_ok=True)
                self._db = sqlite3.connect(
                    self.path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False
                )
        except OSError as error:
            raise EmblemaError(
                f"The folder for the stock, '{error.filename}', cannot be made: {error.strerror}."
            ) from error
        except sqlite3.Error as error:
            if self.only_read:
                raise self._told(error) from error
            raise EmblemaError(
                f"The stock file '{self.path}' cannot be opened: may its folder be written to?"
            ) from error
        try:
            self._prepare()
        except BaseException:
            self._db.close()
            raise

    def close(self) -> None:
        """Close the file."""
        with self._lock:
            self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()

    def state(self) -> int:
        """Return a number that changes whenever another window has changed the stock."""
        with self._lock:
            if self.only_read:
                self._copy_again()
                return self._copies
            return int(self._db.execute("PRAGMA data_version").fetchone()[0])

    @property
    def why_only_read(self) -> str:
        """Why nothing can be changed, in words for the user."""
        return (
            "This stock can only be read: its file or folder may not be written to "
            f"('{self.path}')."
        )

    def _copy_again(self) -> None:
        """Read the file again where it was changed; what cannot be read now is read later."""
        if signature(self.path) == self._copied:
            return
        before = self._db, self._copied
        try:
            self._db, self._copied = copy_in_memory(self.path)
            self._prepare()
        except (EmblemaError, sqlite3.Error):
            if self._db is not before[0]:
                self._db.close()
            self._db, self._copied = before
        else:
            before[0].close()
            self._copies += 1

    def _fill(self, db: sqlite3.Connection) -> None:
        """Put into a new file what it begins with."""

    def _prepare(self) -> None:
        db = self._db
        db.row_factory = sqlite3.Row
        try:
            db.execute("PRAGMA foreign_keys = ON")
            version = int(db.execute("PRAGMA user_version").fetchone()[0])
            if version > len(STEPS):
                raise EmblemaError(
                    f"The stock file '{self.path}' was made by a later version of Emblema."
                )
            if version < len(STEPS):
                if version and not self.only_read:
                    self._keep_a_copy(version)
                db.execute("PRAGMA journal_mode = WAL")
                with self._transaction(lambda: True):
                    if upgrade(db) == 0:
                        self._fill(db)
        except sqlite3.DatabaseError as error:
            raise self._told(error) from error

    def _keep_a_copy(self, version: int) -> None:
        """Keep the file as it was before it is brought up to date."""
        copy = self.path.with_suffix(f".version{version}.sqlite")
        if copy.exists():
            return
        part = copy.with_suffix(f".{os.getpid()}.part")
        into = sqlite3.connect(part)
        try:
            self._db.backup(into)
        finally:
            into.close()
        os.replace(part, copy)

    @contextmanager
    def _change(self, keep: Callable[[], bool] = lambda: True) -> Iterator[sqlite3.Connection]:
        """One transaction; undone where the body raises or `keep` answers False at its end."""
        if self.only_read:
            raise EmblemaError(self.why_only_read)
        with self._transaction(keep) as db:
            yield db

    @contextmanager
    def _transaction(self, keep: Callable[[], bool]) -> Iterator[sqlite3.Connection]:
        with self._lock:
            try:
                self._db.execute("BEGIN IMMEDIATE")
                yield self._db
                self._db.execute("COMMIT" if keep() else "ROLLBACK")
            except BaseException as error:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                if isinstance(error, sqlite3.IntegrityError):
                    raise EmblemaError(f"The stock was left as it was: {error}.") from error
                if isinstance(error, sqlite3.DatabaseError):
                    raise self._told(error) from error
                raise

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[sqlite3.Row]:
        try:
            with self._lock:
                return self._db.execute(sql, values).fetchall()
        except sqlite3.DatabaseError as error:
            if self._db.in_transaction:
                raise
            raise self._told(error) from error

    def _told(self, error: sqlite3.Error) -> EmblemaError:
        """Return what sqlite found, in words for the user."""
        code = getattr(error, "sqlite_errorcode", 0) & 0xFF
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return EmblemaError(_BUSY)
        if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
            return EmblemaError(
                f"The stock file '{self.path}' cannot be written to: it or its folder is read-only."
            )
        if code in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
            return EmblemaError(
                f"The stock file '{self.path}' could not be written, is the disk full? "
                "The stock was left as it was."
            )
        return EmblemaError(
            f"The stock file '{self.path}' is damaged or is not a stock file ({error}). Move it "
            "away to begin with the starter stock, or put back a copy."
        )
