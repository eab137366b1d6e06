"""What a work takes beside pieces and grout, for each m2 of it: bed by notch, paper, film, putty.

The defaults are common practice, for the studio to change; what is not used is 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from core.bounds import money, within
from core.material import MOST_PRICE


@dataclass(frozen=True, slots=True)
class Goods:
    """Setting goods a m2 of work, and what they cost.

    Attributes
    ----------
    notch_mm, notch_share : float
        Side of the trowel's square notches, as far apart as they are wide, and what share of
        their depth stays as bed; 0 where the bed is laid to its depth instead. Notches as wide as
        the ridges between leave half their depth.
    adhesive_surplus : float
        Share bought beyond what the bed holds.
    paper_m2, film_m2, mesh_m2 : float
        m2 with what laps and edges take.
    paste_kg_m2, putty_kg_m2 : float
        Of paste for facing, and of two-part putty that the pieces are laid in.
    paper, film, mesh, paste, putty : Decimal
        Prices, for a m2 or a kg, in the commission's currency.
    """

    notch_mm: float = 0.0
    notch_share: float = 0.5
    adhesive_surplus: float = 0.0
    paper_m2: float = 1.1
    film_m2: float = 1.1
    mesh_m2: float = 0.0
    paste_kg_m2: float = 0.2
    putty_kg_m2: float = 0.0
    paper: Decimal = Decimal(0)
    film: Decimal = Decimal(0)
    mesh: Decimal = Decimal(0)
    paste: Decimal = Decimal(0)
    putty: Decimal = Decimal(0)

    def bed_mm(self, laid_mm: float) -> float:
        """Return how deep the bed is, `laid_mm` where no notch says so."""
        return self.notch_mm * self.notch_share if self.notch_mm else laid_mm


USUAL: Final = Goods()

# attribute of the amount, of the price, words, unit
GOODS: Final = (
    ("paper_m2", "paper", "Facing paper", "m2"),
    ("paste_kg_m2", "paste", "Paste", "kg"),
    ("film_m2", "film", "Film over the cartoon", "m2"),
    ("mesh_m2", "mesh", "Mesh", "m2"),
    ("putty_kg_m2", "putty", "Putty", "kg"),
)


def check_goods(g: Goods) -> None:
    """Raise EmblemaError where an amount or a price cannot be."""
    within("Rates: the trowel's notch", g.notch_mm, 0, 100, " mm")
    within("Rates: what stays of the notch", g.notch_share, 0, 1)
    within("Rates: the surplus of adhesive", g.adhesive_surplus, 0, 100)
    for amount, price, words, unit in GOODS:
        within(f"Rates: {words.lower()} a m2", getattr(g, amount), 0, 1000, f" {unit}")
        money(f"Rates: the price of {words.lower()}", getattr(g, price), MOST_PRICE)
