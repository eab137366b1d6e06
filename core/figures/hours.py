"""The hours that laying takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

# Hours a piece against one laid in courses (common practice).
EFFORT: Final = {
    "regulatum": 0.7,
    "vermiculatum": 1.25,
    "classicum": 1.1,
    "palladianum": 1.5,
    "circumactum": 1.2,
    "sectile": 12.0,
}


@dataclass(frozen=True, slots=True)
class Work:
    """The hours that one way of laying takes: `pieces` at `seconds` each, times its `effort`."""

    opus: str
    pieces: int
    seconds: float
    effort: float

    @property
    def hours(self) -> float:
        """All of them."""
        return self.pieces * self.seconds * self.effort / 3600
