"""One thing that a craftsman would take out."""

from __future__ import annotations

from dataclasses import dataclass

RULES = {
    "sliver": "Sliver",
    "sharp corner": "Sharp corner",
    "too big": "Too big",
    "too small": "Too small to nip",
    "not convex": "Not convex",
    "touching": "Touching",
    "wide joint": "Wide joint",
    "grout pool": "Grout pool",
    "joints in line": "Joints in line",
    "off the flow": "Off the flow",
    "course end": "Course end",
    "too large": "Larger than its stock",
    "colour": "Colour too far",
    "lone colour": "Lone piece of a colour",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """A fault and its place.

    Attributes
    ----------
    index : int
        The piece in its field's layout; -1 for a place between pieces.
    measured, limit : float
        In `unit`.
    sentence : str
        What is wrong, in plain words.
    """

    rule: str
    field_id: str
    index: int
    at_mm: tuple[float, float]
    measured: float
    limit: float
    unit: str
    sentence: str
    other: int = -1
