"""One area of the sketch that a person points at: by a click, or by a line drawn round it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from shapely import MultiPolygon

from core.colour.difference import ciede2000
from core.commission import Commission, Point, Sketch
from core.coverage import polygons_of
from core.errors import EmblemaError
from core.sketch import to_mm, to_px
from core.trace.borders import outlines
from core.trace.flat import brought_down
from core.trace.names import colour_name
from core.trace.whole import flattened, sketch_of

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

ALIKE: Final = 8.0  # CIEDE2000 within which the colour is the same area
LEAST_PX: Final = 12
AROUND: Final = 4  # colours of what a line is drawn through


@dataclass(frozen=True, eq=False)
class Flat:
    """A sketch made flat, ready to be pointed at.

    Attributes
    ----------
    lab : ndarray (h, w, 3)
    px_step : float
        Pixels of the sketch to one of `lab`.
    """

    sketch: Sketch
    lab: Array
    px_step: float

    @staticmethod
    def of(doc: Commission, images: Mapping[str, bytes], calm: int = 3) -> Flat:
        """Make a commission's sketch flat.

        Raises
        ------
        EmblemaError
            There is no sketch.
        """
        sketch, pixels = sketch_of(doc, images)
        small, px_step = brought_down(pixels)
        return Flat(sketch, flattened(small, "aside", calm)[0], px_step)

    def at(self, place_mm: Point) -> tuple[int, int]:
        """Return the row and column that a place lies in.

        Raises
        ------
        EmblemaError
            It lies beside the sketch.
        """
        x, y = to_px(self.sketch, np.array([place_mm]))[0] / self.px_step
        high, wide = self.lab.shape[:2]
        if not (0 <= x < wide and 0 <= y < high):
            raise EmblemaError("Nothing of the sketch is there.")
        return int(y), int(x)


@dataclass(frozen=True, slots=True)
class Picked:
    """What was pointed at: its shape in mm, and its colour in words."""

    shape: MultiPolygon
    name: str


def picked_at(flat: Flat, place_mm: Point, alike: float = ALIKE, smooth: float = 1.0) -> Picked:
    """Return the area of one colour round a place.

    Parameters
    ----------
    alike : float
        How far the colour may go, CIEDE2000.

    Raises
    ------
    EmblemaError
        Nothing of the sketch is there, or it is too small to be an area.
    """
    row, column = flat.at(place_mm)
    around = flat.lab[max(row - 1, 0) : row + 2, max(column - 1, 0) : column + 2].reshape(-1, 3)
    like = ciede2000(flat.lab, np.median(around, axis=0)) < alike
    parts, _ = ndimage.label(like)
    if not parts[row, column]:
        raise EmblemaError("Nothing there is of one colour; click beside the line.")
    return _as_area(flat, parts == parts[row, column], smooth)


def picked_within(
    flat: Flat, ring_mm: Sequence[Point], alike: float = ALIKE, smooth: float = 1.0
) -> Picked:
    """Return what lies inside a line drawn round it: all that is not of the colours under the line.

    Raises
    ------
    EmblemaError
        The line encloses nothing of the sketch that differs from what it runs through.
    """
    ring = to_px(flat.sketch, np.asarray(ring_mm, float)) / flat.px_step
    high, wide = flat.lab.shape[:2]
    inside = _drawn(ring, (wide, high), fill=True)
    under = _drawn(ring, (wide, high), fill=False) & _inside_of(flat)
    if len(ring) < 3 or not inside.any() or not under.any():
        raise EmblemaError("Draw the line round something of the sketch.")
    ground = _main_colours(flat.lab[under])
    off = np.min([ciede2000(flat.lab, c) for c in ground], axis=0)
    mine = ndimage.binary_opening(inside & (off >= alike), iterations=1)
    parts, n = ndimage.label(mine)
    if not n:
        raise EmblemaError(
            "What lies inside the line has the colours that the line runs through; draw it nearer, "
            "or click the area itself."
        )
    sizes = np.bincount(parts.ravel())
    sizes[0] = 0
    return _as_area(flat, parts == int(sizes.argmax()), smooth)


def _inside_of(flat: Flat) -> Bools:
    out = np.zeros(flat.lab.shape[:2], bool)
    out[1:-1, 1:-1] = True
    return out


def _drawn(ring: Array, size: tuple[int, int], fill: bool) -> Bools:
    image = Image.new("1", size)
    xy = [(float(x), float(y)) for x, y in ring]
    if fill:
        ImageDraw.Draw(image).polygon(xy, fill=1)
    else:
        ImageDraw.Draw(image).line([*xy, xy[0]], fill=1, width=5)
    return np.asarray(image, bool)


def _main_colours(lab: Array) -> Array:
    """Return the few colours that most of a line runs through."""
    from scipy.cluster.vq import kmeans2

    k = min(AROUND, len(np.unique(np.round(lab), axis=0)))
    if k < 2:
        return np.asarray(lab.mean(0)[None])
    centres, which = kmeans2(lab, k, minit="++", seed=1, missing="warn", iter=20)
    share = np.bincount(which, minlength=k) / len(lab)
    return np.asarray(centres[share > 0.08])


def _as_area(flat: Flat, mask: Bools, smooth: float) -> Picked:
    mask = ndimage.binary_fill_holes(mask)
    if mask.sum() < LEAST_PX:
        raise EmblemaError("That is too small to be a field.")
    shapes, numbers = outlines(mask.astype(np.int64), smooth)
    shape = shapes[numbers.index(1)]
    step = flat.px_step
    placed = shapely.transform(shape, lambda xy: to_mm(flat.sketch, xy * step))
    name = colour_name(flat.lab[mask].mean(0))
    return Picked(polygons_of(placed), name[0].upper() + name[1:])
