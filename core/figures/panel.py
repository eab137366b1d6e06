"""A removable panel, which the client can take along: what it weighs, and its hangers.

What a wall and its fixings carry is for whoever is licensed to say; this only counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from core.terms import Panel

LEAST_HANGERS: Final = 2

# A board, and what a m2 of it weighs: aluminium by its skins and core, plywood by makers' sheets of
# 685 kg/m3, the others from memory. The maker's sheet decides.
BOARDS: Final = (
    ("aluminium honeycomb, 20 mm", 7.0),
    ("aluminium composite, 4 mm", 5.5),
    ("foam-cored tile board, 20 mm", 4.2),
    ("birch plywood, 18 mm", 12.3),
    ("fibre cement, 12 mm", 17.0),
)


@dataclass(frozen=True, slots=True)
class Hung:
    """A panel ready to hang: weights in kg, `hangers` by their rated load and the safety asked."""

    board_kg: float
    total_kg: float
    hangers: int


def hung(panel: Panel, area_m2: float, work_kg: float) -> Hung:
    """Return what a panel weighs, and its hangers.

    Parameters
    ----------
    area_m2 : float
        Of the board.
    work_kg : float
        Pieces, grout and adhesive.
    """
    board = area_m2 * panel.board_kg_m2
    total = board + work_kg
    needed = math.ceil(total * panel.safety / panel.hanger_kg - 1e-9)
    return Hung(board, total, max(LEAST_HANGERS, needed))
