"""What grout weighs, and what a wall carries."""

from __future__ import annotations

from typing import Final

# Most a wall carries with bed and grout, kg/m2 (BS 5385-1:2018); the weakest layer governs.
WALLS: Final = (
    ("plaster", 20.0),
    ("plasterboard", 32.0),
    ("gypsum fibreboard", 40.0),
    ("glass-reinforced cement board", 50.0),
    ("foam-cored board", 60.0),
)


def grout_kg_m2(
    length_mm: float, width_mm: float, thickness_mm: float, joint_mm: float, kg_dm3: float
) -> float:
    """Return the grout that even oblong tiles take, kg a m2, without surplus.

    Exact: the share of joint is 1 - LW / ((L + j)(W + j)).
    """
    share = 1 - length_mm * width_mm / ((length_mm + joint_mm) * (width_mm + joint_mm))
    return thickness_mm * kg_dm3 * share
