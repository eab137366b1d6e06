"""Text files as studios, suppliers and instruments write them: encodings, numbers, CSV cells."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path
from typing import Final

from core.errors import EmblemaError

MOST_BYTES: Final = 50_000_000
EXPONENTS: Final = (-400, 30)  # as fine as a float, and larger than any length or price
_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,4})?")
_PLAIN: Final = re.compile(r"[+-]?[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,3})?")
# What a spreadsheet runs or drops, behind any number of our own guards (OWASP, "CSV Injection").
_RUN: Final = re.compile(r"'*(?:\s*[=+\-@\uff1d\uff0b\uff0d\uff20]|[\t\r\n])")


def decoded(data: bytes) -> str | None:
    """Return a file's text: UTF-16 with its byte-order mark, UTF-8, else Windows' or Latin-1.

    None where it is no text.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        encodings: tuple[str, ...] = ("utf-16",)
    elif b"\0" in data:
        return None
    else:  # Latin-1 takes every byte, so it comes last
        encodings = ("utf-8-sig", "cp1252", "latin-1")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if "\0" in text else text
    return None


def read_text(path: Path, what: str) -> str:
    """Return a file's text; `what` it should be ("stock list") is named where it is not.

    Raises
    ------
    EmblemaError
        The file cannot be opened, is too large for such a file, or is no text.
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise EmblemaError(f"'{path.name}' is too large for a {what}.")
        data = path.read_bytes()
    except OSError as error:
        raise EmblemaError(f"The {what} '{path}' cannot be opened: {error.strerror}.") from error
    text = decoded(data)
    if text is None:
        raise EmblemaError(f"'{path.name}' is not a text file, so not a {what}.")
    return text


def number(cell: str) -> Decimal | None:
    """Return the number that is written, decimal point, or None.

    None too for one whose exponent is beyond `EXPONENTS`: without bounds a few signs can name a
    number that takes years to write out.
    """
    if len(cell) > 60 or not _NUMBER.fullmatch(cell):
        return None
    value = Decimal(cell)
    return value if EXPONENTS[0] <= value.adjusted() <= EXPONENTS[1] else None


def csv_text(rows: Iterable[Iterable[object]]) -> str:
    """Return rows as CSV (RFC 4180), with an apostrophe before what a spreadsheet would run."""
    out = io.StringIO(newline="")
    csv.writer(out).writerows([_guarded(str(cell)) for cell in row] for row in rows)
    return out.getvalue()


def _guarded(cell: str) -> str:
    return f"'{cell}" if _RUN.match(cell) and not _PLAIN.fullmatch(cell) else cell


def unguarded(cell: str) -> str:
    """Return a cell without the apostrophe that `csv_text` or a spreadsheet put before it."""
    return cell[1:] if cell.startswith("'") and _RUN.match(cell) else cell


def xml_text(words: str) -> str:
    """Return words with the signs that XML 1.0 (section 2.2) forbids taken out."""
    return re.sub("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]", "", words)
