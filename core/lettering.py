"""How much room words take on a page, without asking any screen: reckoned with a wide letter.

Fonts differ from machine to machine. These widths are those of DejaVu Sans, wider than most, so
that what fits here fits there.
"""

from __future__ import annotations

CAPITAL = 0.73  # of the size: how high a capital stands
LEAST_LETTER_MM = 1.6  # a capital's height, so that it is read at a bench
LEAST_MM = LEAST_LETTER_MM / CAPITAL
_NARROW, _WIDE = frozenset("ijlI.,:;'|!()[] -"), frozenset("mwMW%@—")
BOLD = 1.12


def wide_mm(words: str, size_mm: float, bold: bool = False) -> float:
    """Return how wide words of a size are, mm."""
    ems = sum(
        0.38
        if c in _NARROW
        else 0.98
        if c in _WIDE
        else 0.74
        if c.isupper()
        else 0.64
        if c.isdigit()
        else 0.61
        for c in words
    )
    return ems * size_mm * (BOLD if bold else 1.0)


def fitted(
    words: str, size_mm: float, room_mm: float, least_mm: float, bold: bool = False
) -> tuple[str, float]:
    """Return words and the size, no smaller than the least, in which they fit: cut where none."""
    wide = wide_mm(words, size_mm, bold)
    if wide <= room_mm:
        return words, size_mm
    size = max(least_mm, size_mm * room_mm / wide)
    if wide_mm(words, size, bold) <= room_mm * 1.001:
        return words, size
    while words and wide_mm(words + "...", size, bold) > room_mm:
        words = words[:-1]
    return words.rstrip() + "...", size


def wrapped(words: str, size_mm: float, room_mm: float, bold: bool = False) -> list[str]:
    """Return words in lines that are no wider than there is room; a longer word stands alone."""
    lines: list[str] = []
    for word in words.split():
        if lines and wide_mm(f"{lines[-1]} {word}", size_mm, bold) <= room_mm:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines
