"""What a number, an amount of money or a text may be; one sentence says so where it is not."""

from __future__ import annotations

import reprlib
import unicodedata
from collections.abc import Sequence
from decimal import Decimal

from core.errors import EmblemaError

FAR_MM = 1e8  # from (0, 0): beyond, coordinates lose the micrometre that pieces are kept to
_MOST_DIGITS = 40  # of an amount, before or after the point
_LINE_SIGNS = "\t\n\r"


def within(what: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Raise EmblemaError where a number, however large, is not in its range."""
    if not low <= value <= high:
        limits = f"{low:,.10g} to {high:,.10g}{unit}"
        raise EmblemaError(f"{what} is {said(value)}{unit}; it must be {limits}.")


def one_of(what: str, value: str, choices: Sequence[str]) -> None:
    """Raise EmblemaError where a choice is not one of those there are."""
    if value not in choices:
        raise EmblemaError(f"{what} '{shown(value)}' is not one of {', '.join(choices)}.")


def money(what: str, value: Decimal, most: int) -> None:
    """Raise EmblemaError where an amount of money is none, is too large, or too long to write."""
    exponent = value.as_tuple().exponent
    if not isinstance(exponent, int) or value < 0:
        raise EmblemaError(f"{what} {said(value)} is not an amount of money.")
    if value > most:
        raise EmblemaError(f"{what} {said(value)} is beyond {most:,}.")
    if abs(exponent) > _MOST_DIGITS or len(value.as_tuple().digits) > _MOST_DIGITS:
        raise EmblemaError(f"{what} has more digits than an amount of money can have.")


def written(what: str, text: str, most: int, lines: bool = False) -> None:
    """Raise EmblemaError where a text is too long or holds what cannot be written to a file.

    `lines` allows tabs and the ends of lines.
    """
    if len(text) > most:
        raise EmblemaError(
            f"{what} '{shown(text[:20])}...' has {len(text):,} signs; {most:,} are the most."
        )
    if text.isprintable():
        return
    for k, sign in enumerate(text, 1):
        if unicodedata.category(sign) in ("Cc", "Cs") and not (lines and sign in _LINE_SIGNS):
            raise EmblemaError(
                f"{what} '{shown(text)}' holds a sign that is no letter (the {_nth(k)}, code "
                f"{ord(sign)}); write it again without."
            )


def shown(value: object) -> str:
    """Return a text as part of a sentence: short, on one line, with nothing that cannot be shown.

    Anything else than a text is shown as it stands in a file.
    """
    text = value if isinstance(value, str) else reprlib.repr(value)
    text = text if len(text) <= 60 else f"{text[:57]}..."
    return "".join(c if c.isprintable() else "\ufffd" for c in text)


def said(value: float | Decimal) -> str:
    """Return a number as part of a sentence, however large it is."""
    try:
        return f"{value:.10g}"
    except OverflowError:
        return "a number of hundreds of digits"


def _nth(k: int) -> str:
    ending = "th" if k % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(k % 10, "th")
    return f"{k}{ending}"
