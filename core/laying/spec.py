"""What the solver is given."""

from __future__ import annotations

from dataclasses import dataclass

from shapely import LineString, MultiPolygon


@dataclass(frozen=True, slots=True)
class Setting:
    """One field as the solver sees it: geometry in mm, no names and no colour.

    `flow` holds the curves that guide this field (for sectile: along which it is cut); `seed`
    fixes every random choice. `hug` holds the borders that small courses hug (empty: the whole
    outline). The rest is as in `core.commission.Field`.
    """

    outline: MultiPolygon
    laying: str
    tessera_mm: float
    joint_mm: float
    follow_border: bool = True
    flow: tuple[LineString, ...] = ()
    variation: float = 0.05
    seed: int = 1
    width_variation: float = 0.0
    pieces: str = "cut"
    hug: tuple[LineString, ...] = ()
    hug_courses: int = 3
    hug_tessera_mm: float | None = None
    spread: float = 0.25
    strictness: float = 0.7
    slenderness: float = 1.4
    module_mm: float = 120.0

    @property
    def pitch_mm(self) -> float:
        """Tessera and joint together."""
        return self.tessera_mm + self.joint_mm
