"""Settings for the solver, made from flat names."""

from __future__ import annotations

from typing import Any

from shapely import LineString, MultiPolygon

from core.commission import Laying
from core.laying import Setting


def setting_of(
    outline: MultiPolygon,
    opus: str,
    tessera_mm: float,
    joint_mm: float,
    follow_border: bool = True,
    flow: tuple[LineString, ...] = (),
    *,
    hug: tuple[LineString, ...] = (),
    seed: int = 1,
    **more: Any,
) -> Setting:
    """Return what the solver is given for one field."""
    laying = Laying(opus, tessera_mm, joint_mm, follow_border, **more)
    return Setting(outline, laying, flow, hug, seed)
