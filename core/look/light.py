"""The light that falls on the work: a lamp or window on one side, and the room."""

from __future__ import annotations

import math
from dataclasses import dataclass

from core.bounds import within


@dataclass(frozen=True, slots=True)
class Light:
    """Light from one side.

    Attributes
    ----------
    azimuth_deg : float
        Where it comes from, clockwise: 0 from above, 90 from the right of the work.
    height_deg : float
        Between the wall (0) and straight before it (90), 5 to 90.
    strength : float
        Against the standard light, 0 to 2; what the room gives stays.

    Raises
    ------
    EmblemaError
        A number is outside these bounds.
    """

    azimuth_deg: float = 315.0
    height_deg: float = 42.0
    strength: float = 1.0

    def __post_init__(self) -> None:
        within("The light's direction", self.azimuth_deg, -360, 360, " degrees")
        within("The light's height", self.height_deg, 5, 90, " degrees")
        within("The light's strength", self.strength, 0, 2)

    @property
    def toward(self) -> tuple[float, float, float]:
        """The unit vector toward it, x right, y down, z out of the wall."""
        turn, height = math.radians(self.azimuth_deg), math.radians(self.height_deg)
        flat = math.cos(height)
        return flat * math.sin(turn), -flat * math.cos(turn), math.sin(height)

    @property
    def mirror(self) -> tuple[float, float]:
        """How steep, dz/dx and dz/dy, a face must be to mirror it to who stands before the wall."""
        x, y, z = self.toward
        return -x / (z + 1), -y / (z + 1)


STANDARD = Light()
