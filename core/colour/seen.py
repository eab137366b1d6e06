"""What the sketch asks of a field's pieces: from the part of it that colours the field.

A motif that was moved or made larger takes its part of the sketch along. Where the sketch shows
what lies there no longer, pieces take the colour of those around.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from core.colour.convert import Floats
from core.colour.wanted import SketchColours
from core.commission import Colour, Outline, Sketch
from core.geometry import polygon_of
from core.moves import STILL

AROUND: Final = 8  # pieces whose colours one takes over, the nearest most
BLIND: Final = 0.03  # of a piece over what is not there any more spoils its colour


def onto_sketch(colour: Colour, shapes: Any) -> Any:
    """Return shapes of the work where they lie over the part of the sketch that colours them."""
    move, times = colour.sketch_move, colour.sketch_times
    if move is None and times == 1.0:
        return shapes
    return shapely.transform(shapes, lambda xy: (move or STILL).into(xy) / times)


def seen_lab(
    sketch: Sketch, colours: SketchColours, colour: Colour, polygons: NDArray[np.object_]
) -> Floats:
    """Return the colour that the sketch asks of pieces (n,) of a field, shape (n, 3)."""
    over = onto_sketch(colour, polygons)
    lab = colours.mean_lab(sketch, over)
    return _from_around(lab, over, colour.unseen) if colour.unseen else lab


def _from_around(lab: Floats, polygons: NDArray[np.object_], unseen: Outline) -> Floats:
    area = polygon_of(unseen)
    shapely.prepare(area)
    blind = shapely.intersects(area, polygons)
    hidden = shapely.area(shapely.intersection(polygons[blind], area))
    blind[blind] = hidden > BLIND * shapely.area(polygons[blind])
    if not blind.any() or blind.all():
        return lab
    at = shapely.get_coordinates(shapely.centroid(polygons))
    known = np.flatnonzero(~blind)
    nearest = range(1, min(AROUND, len(known)) + 1)
    off, near = KDTree(at[known]).query(at[blind], k=list(nearest))
    share = 1 / np.maximum(np.asarray(off), 1e-6)
    share /= share.sum(axis=1, keepdims=True)
    out = lab.copy()
    out[blind] = (share[:, :, None] * lab[known[np.asarray(near)]]).sum(axis=1)
    return out
