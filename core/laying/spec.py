"""What the solver is given."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import LineString, MultiPolygon


@dataclass(frozen=True, slots=True)
class Setting:
    """One field as the solver sees it: geometry in mm, no names and no colour.

    `flow` holds the curves that guide this field; `seed` fixes every random choice.
    """

    outline: MultiPolygon
    laying: str
    tessera_mm: float
    joint_mm: float
    follow_border: bool = True
    flow: tuple[LineString, ...] = ()
    variation: float = 0.08
    seed: int = 1
