"""The fields that the bench of laying lays: one of any size, many side by side, and four shapes.

All are drawn by formula, so that a run can be repeated anywhere.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon

from core.commission import Commission, add_flow_line, field_of
from core.geometry import outline_of
from core.laying import Setting

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT


def one_field(pieces: int) -> Setting:
    """Return a wall with a round hole and a wave across it, of so many squares of the pitch."""
    disc = np.pi * 0.2**2 * 0.75  # of the wall's area
    w = np.sqrt(pieces * PITCH**2 / 0.75 / (1 - disc))
    h = 0.75 * w
    wall = shapely.box(0, 0, w, h).difference(shapely.Point(0.6 * w, h / 2).buffer(0.2 * h))
    x = np.linspace(0, w, 60)
    wave = LineString(np.c_[x, h / 4 + 0.08 * h * np.sin(9 * x / w)])
    return setting_of(MultiPolygon([wall]), "tessellatum", TESSERA, JOINT, True, (wave,))


def many_fields(fields: int, pieces: int) -> Commission:
    """Return squares side by side with a wave across each row, of so many pieces altogether."""
    side, across = np.sqrt(pieces / fields) * PITCH, round(np.sqrt(fields))
    if across**2 != fields:
        raise ValueError("the fields make a square")
    wall = across * side
    some = []
    for k in range(fields):
        row, column = divmod(k, across)
        x, y = column * side, row * side
        outline = outline_of(shapely.box(x, y, x + side, y + side))
        some.append(
            field_of(f"f{k + 1}", f"Field {k + 1}", outline, tessera_mm=TESSERA, joint_mm=JOINT)
        )
    doc = Commission("Bench", wall, wall, fields=tuple(some))
    x = np.linspace(0, wall, 30)
    for row in range(across):
        y = side * (row + 0.5) + 0.2 * side * np.sin(2 * x / side)
        doc, _ = add_flow_line(doc, np.c_[x, y].tolist())
    return doc


def with_wave_moved(doc: Commission, down_mm: float) -> Commission:
    """Return the commission with its first flow line drawn so much lower."""
    first, *rest = doc.flow_lines
    moved = replace(first, points=tuple((x, y + down_mm) for x, y in first.points))
    return replace(doc, flow_lines=(moved, *rest))


def own_fields() -> dict[str, Setting]:
    """Return four shapes that ask different things of a laying, about 450 to 1,000 pieces each."""
    return {
        "wave round a disc": one_field(900),
        "leaf along its vein": _leaf(),
        "star, its border followed": _star(),
        "L-shaped wall with sockets": _wall(),
    }


def _leaf() -> Setting:
    t = np.linspace(0, 1, 61)
    vein = np.c_[420 * t, 60 * np.sin(np.pi * t) ** 2]
    half = 75 * np.sin(np.pi * t) ** 1.2  # pointed at both ends
    upper, lower = vein - np.c_[0 * t, half], vein + np.c_[0 * t, half]
    outline = Polygon(np.r_[upper, lower[-2:0:-1]])
    return setting_of(MultiPolygon([outline]), "tessellatum", 8.0, 1.2, False, (LineString(vein),))


def _star() -> Setting:
    turn = np.pi * np.arange(12) / 6 + 0.2
    radius = np.where(np.arange(12) % 2, 95.0, 190.0)
    outline = Polygon(np.c_[200 + radius * np.cos(turn), 200 + radius * np.sin(turn)])
    return setting_of(MultiPolygon([outline]), "musivum", 8.0, 1.2, True)


def _wall() -> Setting:
    wall = Polygon([(0, 0), (520, 0), (520, 180), (230, 180), (230, 400), (0, 400)])
    sockets = [shapely.box(x, y, x + 80, y + 80) for x, y in ((340, 55), (75, 245))]
    outline = wall.difference(shapely.union_all(sockets))
    x = np.linspace(-10, 530, 40)
    line = LineString(np.c_[x, 30 + 20 * np.sin(x / 90)])
    return setting_of(MultiPolygon([outline]), "tessellatum", TESSERA, JOINT, False, (line,))
