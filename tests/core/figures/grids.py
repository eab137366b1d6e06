"""Walls of even pieces, whose figures can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from core.commission import Commission, Field, field_of
from core.material import Material
from core.pieces import LaidField, Layout, Pieces


def grid(
    material: Material,
    size_mm: tuple[float, float] = (10.0, 10.0),
    joint_mm: float = 2.0,
    columns: int = 10,
    rows: int = 5,
) -> tuple[Commission, Layout]:
    """Return pieces of one size in rows with half a joint about each, all of one material."""
    w, h = size_mm
    x, y = np.meshgrid(np.arange(columns) * (w + joint_mm), np.arange(rows) * (h + joint_mm))
    x, y = x.ravel() + joint_mm / 2, y.ravel() + joint_mm / 2
    n = len(x)
    across, down = columns * (w + joint_mm), rows * (h + joint_mm)
    outline = ((((0.0, 0.0), (across, 0.0), (across, down), (0.0, down)),),)
    field = field_of("f1", "Wall", outline, "wall", tessera_mm=min(w, h), joint_mm=joint_mm)
    course = np.repeat(np.arange(rows), columns)
    pieces = Pieces(shapely.box(x, y, x + w, y + h), course, np.arange(n), np.zeros(n))
    laid = LaidField("f1", pieces, np.zeros((n, 3)), np.zeros(n, np.int64), np.zeros(n))
    doc = Commission("Wall", across, down, fields=(field,), materials=(material,))
    return doc, Layout((laid,))


def beside(doc: Commission, layout: Layout, field: Field, stock: int) -> tuple[Commission, Layout]:
    """Return a wall with another field of the same pieces, of another material."""
    (laid, *_) = layout.fields
    same = replace(laid, field_id=field.id, stock=np.full(len(laid.pieces), stock))
    fields = replace(doc, fields=(*doc.fields, field))
    return fields, Layout((*layout.fields, same))
