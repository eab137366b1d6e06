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
    """The hours that one way of laying takes: `pieces` at `seconds` each, times its `effort`.

    `pace` is the studio's own time as a share of that, where it was measured; `what` says of which
    size and kind the pieces are then.
    """

    opus: str
    pieces: int
    seconds: float
    effort: float
    pace: float = 1.0
    what: str = ""

    @property
    def hours(self) -> float:
        """All of them."""
        return self.pieces * self.seconds * self.effort * self.pace / 3600
