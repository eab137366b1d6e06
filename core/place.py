"""Where a work goes: what its pieces, its grout and its adhesive must stand there.

References
----------
EN 12004-1 (adhesives: C cementitious, R reaction resin; 1 normal, 2 improved; S1 and S2
deformable), EN 13888 (grouts: CG cementitious, RG reaction resin; A little abraded, W
taking up little water), BS 5385-1:2018 (what walls carry).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from core.bounds import one_of

PLACES: Final = (
    "dry wall",
    "kitchen splash",
    "shower wall",
    "shower floor",
    "floor",
    "outdoor wall",
    "outdoor floor",
    "pool",
)
ADHESIVES: Final = ("C1", "C2", "C2S1", "C2S2", "D2", "R1", "R2")
GROUTS: Final = ("CG1", "CG2", "CG2WA", "RG")

# Most a wall carries with bed and grout, kg/m2 (BS 5385-1:2018); the weakest layer governs.
WALLS: Final = (
    ("plaster", 20.0),
    ("plasterboard", 32.0),
    ("gypsum fibreboard", 40.0),
    ("glass-reinforced cement board", 50.0),
    ("foam-cored board", 60.0),
)
# No limit for these is published in kg/m2: whoever answers for the structure says.
SOLID: Final = ("render", "brick or block", "concrete", "screed")
SUBSTRATES: Final = (*(name for name, _ in WALLS), *SOLID)


@dataclass(frozen=True, slots=True)
class Place:
    """A kind of place, and what the work is set on and with there; "" is not said yet.

    `kind`: see `PLACES`. `cooker`: beside a hob or cooker. `substrate`: see `SUBSTRATES`.
    `adhesive`, `grout`: their class, see `ADHESIVES` and `GROUTS`.
    """

    kind: str = ""
    cooker: bool = False
    substrate: str = ""
    adhesive: str = ""
    grout: str = ""

    @property
    def limit_kg_m2(self) -> float | None:
        """What the substrate carries with bed and grout; None where none is published."""
        return dict(WALLS).get(self.substrate)


ANYWHERE: Final = Place()


def check_place(place: Place) -> None:
    """Raise EmblemaError where a place is of no kind there is."""
    for what, value, choices in (
        ("The place", place.kind, PLACES),
        ("What it is set on", place.substrate, SUBSTRATES),
        ("The class of the adhesive", place.adhesive, ADHESIVES),
        ("The class of the grout", place.grout, GROUTS),
    ):
        if value:
            one_of(what, value, choices)
