"""Sizes of paper: ISO 216 and ANSI/ASME Y14.1 sheets, rolls, and one page for the whole work.

A sheet of paper stands upright or lies; a roll runs down or across the work. A word names all of
it, such as "A4 upright" or "roll:914 lying"; without the way, whichever takes less paper is meant.

References
----------
ISO 216:2007, trimmed sizes of the A series; ANSI/ASME Y14.1, sizes A (Letter) to E in inches.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from core.errors import EmblemaError
from core.paper.printer import CHECK_MM, TRUE, Correction, correction_of

INCH_MM = 25.4
ISO_MM = {"A4": (210, 297), "A3": (297, 420), "A2": (420, 594), "A1": (594, 841), "A0": (841, 1189)}
ANSI_IN = {"Letter": (8.5, 11), "Tabloid": (11, 17), "C": (17, 22), "D": (22, 34), "E": (34, 44)}
# mm, lying
PAPERS = {
    **{name: (float(long), float(short)) for name, (short, long) in ISO_MM.items()},
    **{name: (long * INCH_MM, short * INCH_MM) for name, (short, long) in ANSI_IN.items()},
}
WHOLE = "whole"
ROLL_MM = (200.0, 3000.0)
LYING, UPRIGHT = "lying", "upright"

MARGIN_MM = 12.0
FOOT_MM = 9.0  # below the drawing: the page's name and the level check bar
SHORTEST_MM = CHECK_MM + 2 * MARGIN_MM + FOOT_MM + 20.0  # of a roll's piece: room for a check bar

Size = tuple[float, float]
_SPELT = {name.lower(): name for name in PAPERS}
_ROLL = re.compile(r"roll:(\d+(?:\.\d+)?)")


@dataclass(frozen=True, slots=True)
class Paper:
    """A paper: its name, which way it is taken ("" where that is open), and its printer's
    correction. `corrected` pages hold a little less where the printer prints too small.
    """

    name: str
    way: str = ""
    correction: Correction = TRUE

    @property
    def word(self) -> str:
        """What names it, such as "A4 upright" or "roll:914 lying 99.6x100.2"."""
        parts = [self.name, self.way, self.correction.words if self.correction.in_use else ""]
        return " ".join(p for p in parts if p)

    @property
    def roll_mm(self) -> float | None:
        """A roll's width, None for what is no roll."""
        found = _ROLL.fullmatch(self.name)
        return float(found[1]) if found else None

    def page_mm(self, work: Size) -> Size:
        """Return a page's box as it is sent to the printer, for a work so wide and high, mm."""
        wide, high = self.true_mm(work)
        if self.name == WHOLE:
            return wide * self.correction.scale[0], high * self.correction.scale[1]
        roll = self.roll_mm
        if roll is None:
            long, short = PAPERS[self.name]
            return (short, long) if self.way == UPRIGHT else (long, short)
        if self.way == UPRIGHT:
            return roll, high * self.correction.scale[1]
        return wide * self.correction.scale[0], roll

    def room_mm(self, work: Size) -> Size:
        """Return how much of the work a page can show, mm."""
        wide, high = self.true_mm(work)
        return wide - 2 * MARGIN_MM, high - 2 * MARGIN_MM - FOOT_MM

    def true_mm(self, work: Size) -> Size:
        """Return what a printed page truly measures: less than its box where prints shrink."""
        wide, high = work[0] + 2 * MARGIN_MM, work[1] + 2 * MARGIN_MM + FOOT_MM
        shrunk = [min(1.0, 1 / by) for by in self.correction.scale]
        if self.name == WHOLE:
            return wide, high
        roll = self.roll_mm
        if roll is not None:
            if self.way == UPRIGHT:
                return roll * shrunk[0], max(high, SHORTEST_MM)
            return max(wide, SHORTEST_MM), roll * shrunk[1]
        long, short = PAPERS[self.name]
        wide, high = (short, long) if self.way == UPRIGHT else (long, short)
        return wide * shrunk[0], high * shrunk[1]


def paper_of(words: str, correction: Correction = TRUE) -> Paper:
    """Return the paper that a word names; a correction in the word comes before another.

    Raises
    ------
    EmblemaError
        There is no such paper, or no such roll.
    """
    name, *rest = words.split() or [""]
    name = _SPELT.get(name.lower(), name.lower())
    way = rest.pop(0) if rest and rest[0] in (UPRIGHT, LYING) else ""
    if rest and rest[0][0].isdigit():
        correction = correction_of(rest.pop(0))
    roll = _ROLL.fullmatch(name)
    if rest or not (name in PAPERS or name == WHOLE or roll):
        listed = ", ".join(PAPERS)
        raise EmblemaError(
            f"There is no paper '{words}'; take {listed}, roll:914 (a roll 914 mm wide) or whole."
        )
    if roll and not ROLL_MM[0] <= float(roll[1]) <= ROLL_MM[1]:
        raise EmblemaError(
            f"A roll is from {ROLL_MM[0]:g} to {ROLL_MM[1]:g} mm wide, not {float(roll[1]):g} mm."
        )
    return Paper(name, way if name != WHOLE else "", correction)
