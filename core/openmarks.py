"""Openings of the wall as they stand on a page: a dashed outline with its name."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.commission import Commission
from core.drawing import Item, Paths, Rgb, Text
from core.geometry import lines_in, polygons_in
from core.lettering import CAPITAL, LEAST_MM, fitted, wide_mm
from core.openings import shape_of

Floats = NDArray[np.float64]

DASH_MM, BARE_MM = 2.6, 1.4
PEN_MM, NAME_MM = 0.35, 3.4
LEAST_NAME = 3  # letters: fewer tell nothing
PURPLE: Rgb = (110, 40, 120)


def dashed(line: Floats, dash_mm: float = DASH_MM, bare_mm: float = BARE_MM) -> list[Floats]:
    """Return the dashes of a line (n, 2), mm on paper, each a line with its corners."""
    whole = shapely.LineString(line)
    along = np.r_[0.0, np.cumsum(np.hypot(*np.diff(line, axis=0).T))]
    out = []
    for begin in np.arange(0.0, whole.length, dash_mm + bare_mm).tolist():
        end = min(begin + dash_mm, whole.length)
        corners = line[(along > begin) & (along < end)]
        ends = shapely.get_coordinates([whole.interpolate(v) for v in (begin, end)])
        out.append(np.concatenate([ends[:1], corners, ends[1:]]))
    return out


def drawn(
    doc: Commission,
    place: Callable[[Floats], Floats],
    room: Polygon | None = None,
    above: bool = False,
) -> list[Item]:
    """Return the openings of a commission on a page, those outside a room left out.

    Parameters
    ----------
    place : callable
        Carries places (n, 2), mm of the work, onto the page.
    room : Polygon, optional
        What of the page they may stand in, mm on paper.
    above : bool
        Whether a name for which an opening has no room stands above it.
    """
    lines: list[Floats] = []
    names: list[Item] = []
    for o in doc.openings:
        whole = shapely.transform(shape_of(o), place)
        shape: shapely.Geometry = whole
        edge: shapely.Geometry = whole.exterior
        if room is not None:
            shape = shapely.intersection(whole, room)
            edge = shapely.line_merge(shapely.intersection(edge, room))
        for part in lines_in(edge):
            lines += dashed(shapely.get_coordinates(part))
        for seen in polygons_in(shape)[:1]:
            names += _name(o.name or o.kind, seen, above)
    if not lines:
        return []
    return [Paths.of(lines, closed=False, pen_mm=PEN_MM, pen=PURPLE), *names]


def _name(words: str, shape: Polygon, above: bool) -> list[Item]:
    """Return a name in the middle of an area, upright where that is higher than wide."""
    x0, y0, x1, y1 = shape.bounds
    wide, high = x1 - x0 - 1.6, y1 - y0 - 1.6
    upright = wide_mm(words, LEAST_MM, bold=True) > wide and high > wide
    long, across = (high, wide) if upright else (wide, high)
    most = min(NAME_MM, across / CAPITAL)
    told, size = fitted(words, max(most, LEAST_MM), long, LEAST_MM, bold=True)
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    if most >= LEAST_MM and (told == words or (not above and len(told.rstrip(".")) >= LEAST_NAME)):
        return [Text(x, y, told, size, "middle", -90.0 if upright else 0.0, PURPLE, True)]
    return [Text(x, y0 - LEAST_MM, words, LEAST_MM, "middle", 0.0, PURPLE, True)] if above else []
