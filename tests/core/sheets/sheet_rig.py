"""Brickwork of some pieces, laid by arithmetic, to be parted into sheets."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely

from core.commission import Commission, Sheeting, field_of
from core.geometry import outline_of
from core.material import Material
from core.pieces import LaidField, Layout, Pieces

JOINT = 1.5


def bricks(width: float, height: float, side: float = 10.0, x0: float = 0.0) -> Pieces:
    """Return courses of squares, every other half a square aside, over a rectangle."""
    pitch = side + JOINT
    polygons, course, piece = [], [], []
    for r in range(int((height + JOINT / 2) / pitch)):
        y = JOINT / 2 + r * pitch
        edges = np.arange(0, width + pitch, pitch) - (pitch / 2) * (r % 2)
        edges = np.r_[0, edges[(edges > side / 2) & (edges < width - side / 2)], width]
        for k, (a, b) in enumerate(pairwise(edges)):
            polygons.append(shapely.box(x0 + a + JOINT / 2, y, x0 + b - JOINT / 2, y + side))
            course.append(r)
            piece.append(k)
    n = len(polygons)
    return Pieces(np.array(polygons, dtype=object), np.array(course), np.array(piece), np.zeros(n))


def wall(
    width: float, height: float, side: float = 10.0, fields: int = 1, **sheeting: object
) -> tuple[Commission, Layout]:
    """Return a wall of fields side by side in brickwork, and its layout."""
    each = width / fields
    made, laid = [], []
    for k in range(fields):
        outline = outline_of(shapely.box(k * each, 0, (k + 1) * each, height))
        made.append(field_of(f"f{k}", f"Field {k}", outline, tessera_mm=side, joint_mm=JOINT))
        pieces = bricks(each, height, side, k * each)
        n = len(pieces)
        nothing = np.full(n, -1), np.full(n, np.nan)
        laid.append(LaidField(f"f{k}", pieces, np.full((n, 3), np.nan), *nothing))
    doc = Commission("Wall", width, height, fields=tuple(made), sheeting=Sheeting(**sheeting))  # type: ignore[arg-type]
    return doc, Layout(tuple(laid))


def stocked(
    doc: Commission, layout: Layout, codes: tuple[str, ...], by: str = "piece"
) -> tuple[Commission, Layout]:
    """Return a wall whose pieces, or courses, are laid in some materials by turns."""
    stock = tuple(
        Material(c, f"colour {c}", "smalti", (20.0 + 60.0 * k / len(codes), 5.0, 10.0))
        for k, c in enumerate(codes)
    )
    laid = []
    for f in layout.fields:
        turn = f.pieces.course if by == "course" else np.arange(len(f.pieces)) * 7 // 3
        laid.append(replace(f, stock=turn % len(codes)))
    return replace(doc, materials=stock), Layout(tuple(laid))
