"""Paths for a machine that cuts pieces to shape: DXF R12, in mm, a layer for each material.

A cut takes some of the stone, so its path runs half as much outside the piece.
"""

from __future__ import annotations

import io
import re
from collections.abc import Collection
from pathlib import Path

import numpy as np
import shapely

from core.bounds import within
from core.commission import Commission
from core.errors import EmblemaError
from core.files import write_text
from core.geometry import largest
from core.pieces import Layout

NAMES = "NAMES"  # the layer of words, which is not cut
BARE = "NO-MATERIAL"
WIDEST_CUT_MM = 10.0
_LONGEST = 31  # signs of a layer's name in R12: letters, digits, $, - and _
_UPRIGHT = 0.3  # of a piece's smaller side: how high its name is


def by_machine(doc: Commission) -> tuple[str, ...]:
    """Return the fields that are cut by machine where none is named: those laid in sectile."""
    return tuple(f.id for f in doc.fields if f.laying.opus == "sectile")


def write_dxf(
    path: str | Path,
    doc: Commission,
    layout: Layout,
    cut_mm: float = 1.0,
    field_ids: Collection[str] = (),
) -> int:
    """Write the paths along which pieces are cut, y up from the work's lower edge; return how many.

    Parameters
    ----------
    cut_mm : float
        How wide the cut is (the machine's kerf).
    field_ids : collection of str
        The fields whose pieces are cut; those laid in sectile where left out.

    Raises
    ------
    EmblemaError
        There is nothing to cut, or the cut is wider than any is.
    """
    from ezdxf.filemanagement import new  # a third of a second

    within("The width of the cut", cut_mm, 0, WIDEST_CUT_MM, " mm")
    wanted = set(field_ids or by_machine(doc))
    laid = [f for f in layout.fields if f.field_id in wanted and len(f.pieces)]
    if not laid:
        raise EmblemaError(
            "There is nothing to cut by machine: choose the fields to be cut, or lay one in "
            "sectile."
        )
    drawing = new("R12")
    space = drawing.modelspace()
    drawing.layers.add(NAMES)
    codes = [m.code for m in doc.materials]
    layers = _layer_names(codes)
    for name in sorted({layers[k] if k >= 0 else BARE for f in laid for k in f.stock.tolist()}):
        drawing.layers.add(name)
    for f in laid:
        paths = largest(shapely.buffer(f.pieces.polygons, cut_mm / 2, join_style="mitre"))
        middle = shapely.get_coordinates(shapely.point_on_surface(f.pieces.polygons))
        high = _UPRIGHT * f.pieces.box_mm[:, 1]
        for k, (shape, stock) in enumerate(zip(paths, f.stock.tolist(), strict=True)):
            xy = shapely.get_coordinates(shape.exterior)[:-1]
            up = np.c_[xy[:, 0], doc.height_mm - xy[:, 1]]
            layer = layers[stock] if stock >= 0 else BARE
            space.add_polyline2d(up.tolist(), close=True, dxfattribs={"layer": layer})
            x, y = middle[k, 0], doc.height_mm - middle[k, 1]
            how = {"layer": NAMES, "height": float(high[k])}
            words = codes[stock] if stock >= 0 else "?"
            space.add_text(words, dxfattribs=how).set_placement((x, y))
    out = io.StringIO()
    drawing.write(out)
    write_text(path, out.getvalue())
    return sum(len(f.pieces) for f in laid)


def _layer_names(codes: list[str]) -> list[str]:
    """Return a layer's name for each code, by the signs that R12 knows, no two alike."""
    out: list[str] = []
    for code in codes:
        name = re.sub(r"[^A-Z0-9$_-]", "_", code.upper())[:_LONGEST] or "_"
        n = 1
        while name in out or name in (NAMES, BARE):
            n += 1
            name = f"{name[: _LONGEST - 5]}_{n}"
        out.append(name)
    return out
