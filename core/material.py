"""A stocked material: what the studio calls it, what it looks like, weighs and costs."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

KINDS = ("smalti", "gold glass", "vitreous", "marble", "stone", "ceramic", "shell", "other")
FINISHES = ("matt", "polished", "metallic", "iridescent", "transparent")
PRICE_UNITS = ("kg", "sheet", "piece", "m2")

Lab = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Material:
    """One material in one colour, as the studio stocks it.

    Attributes
    ----------
    code : str
        The studio's own code, unique in a stock list.
    lab : tuple of float
        CIELAB L* (0 to 100), a*, b* under `illuminant` and `observer` degrees.
    obtained : str
        How `lab` was obtained: "estimated", "measured" or "photograph".
    length_mm, width_mm, thickness_mm : float
        The piece as bought, before cutting.
    price : Decimal
        For one `price_unit`.
    pieces : int
        Pieces in hand.
    waste : float
        Share lost in sorting and cutting, 0 to 1.
    """

    code: str
    description: str
    kind: str
    lab: Lab
    finish: str = "matt"
    illuminant: str = "D65"
    observer: int = 2
    obtained: str = "estimated"
    length_mm: float = 10.0
    width_mm: float = 10.0
    thickness_mm: float = 4.0
    density_kg_m3: float = 2500.0
    price: Decimal = Decimal(0)
    price_unit: str = "kg"
    pieces: int = 0
    waste: float = 0.1
    grade: str = ""
    supplier: str = ""
