"""The colour the sketch asks of every piece, and the stocked colour nearest to it.

A piece's wanted colour is the mean of the sketch over exactly the piece's area, in linear light,
as the eye sums it. Each edge of a piece is cut at the pixel borders and the sketch's running sums
along its rows are added up round the piece (Green's theorem), so that a piece covering half a
pixel counts half of it and a piece smaller than a pixel needs no special care.
"""

from __future__ import annotations

import weakref
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.convert import (
    LINEAR_OF_BYTE,
    WHITES,
    Floats,
    lab_from_linear,
    lab_under_d65,
)
from core.colour.coverage import Cuts, cut_at_pixels
from core.commission import Sketch
from core.errors import EmblemaError
from core.material import Lab, Material
from core.pictures import read_image
from core.sketch import to_px

_BAND_ROWS: Final = 128


@dataclass(slots=True)
class _Kept:
    sketch: Sketch
    alive: weakref.ref[NDArray[np.object_]]
    lab: Floats


class SketchColours:
    """A sketch's pixels, ready to give mean colours.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        sRGB.
    """

    def __init__(self, pixels: NDArray[np.uint8]) -> None:
        self._pixels = pixels
        # What was asked before, by the very array of pieces and for as long as it lives: another
        # palette then costs no new reading of the sketch.
        self._kept: dict[int, _Kept] = {}

    @staticmethod
    def read(data: bytes, name: str) -> SketchColours:
        """Read a picture file (see `core.pictures.read_image`).

        Raises
        ------
        EmblemaError
            The bytes are not a picture that can be read.
        """
        return SketchColours(read_image(data, name))

    def mean_lab(self, sketch: Sketch, polygons: NDArray[np.object_]) -> Floats:
        """Return the mean colour of the sketch under each piece.

        Parameters
        ----------
        sketch : Sketch
            Where the picture lies on the work.
        polygons : ndarray of Polygon, shape (n,)
            In mm.

        Returns
        -------
        ndarray, shape (n, 3)
            CIELAB. A piece that leaves the sketch takes the part that is on it; one wholly
            outside takes the nearest pixel to its centre.
        """
        return self._known(sketch, polygons).lab

    def _known(self, sketch: Sketch, polygons: NDArray[np.object_]) -> _Kept:
        key = id(polygons)
        kept = self._kept.get(key)
        if kept is None or kept.sketch != sketch:
            lab = lab_from_linear(self._mean_linear(sketch, polygons))
            lab.flags.writeable = False
            alive = weakref.ref(polygons, lambda _: self._kept.pop(key, None))
            kept = self._kept[key] = _Kept(sketch, alive, lab)
        return kept

    def _mean_linear(self, sketch: Sketch, polygons: NDArray[np.object_]) -> Floats:
        n = len(polygons)
        if n == 0:
            return np.empty((0, 3))
        rings = shapely.get_exterior_ring(polygons)
        ring_mm, owner = shapely.get_coordinates(rings, return_index=True)
        height, width = self._pixels.shape[:2]
        cuts = cut_at_pixels(to_px(sketch, ring_mm), owner, width, height)
        sums = self._sums_round(cuts, n)
        covered = sums[:, 3]
        away = np.abs(covered) < 1e-9
        mean = sums[:, :3] / np.where(away, 1.0, covered)[:, None]
        if away.any():
            centre = shapely.get_coordinates(shapely.centroid(polygons[away]))
            at = np.floor(to_px(sketch, centre))
            column, row = np.clip(at, 0, (width - 1, height - 1)).astype(np.int64).T
            mean[away] = LINEAR_OF_BYTE[self._pixels[row, column]]
        return np.asarray(np.clip(mean, 0, 1))

    def _sums_round(self, cuts: Cuts, n: int) -> Floats:
        """Sum light left of every cut times its height: red, green, blue and covered area."""
        height, width = self._pixels.shape[:2]
        sums = np.zeros((n, 4))
        on = (cuts.y >= 0) & (cuts.y < height) & (cuts.dy != 0)
        x, y = np.clip(cuts.x[on], 0, width), cuts.y[on]
        dy, owner = cuts.dy[on], cuts.owner[on]
        if len(x) == 0:
            return sums
        sums[:, 3] = np.bincount(owner, x * dy, n)
        row = y.astype(np.int64)
        column = np.minimum(x.astype(np.int64), width - 1)
        # Columns left of every cut add the same to all and cancel round each piece.
        left, right = int(column.min()), int(column.max()) + 1
        order = np.argsort(row // _BAND_ROWS, kind="stable")
        bands, firsts = np.unique(row[order] // _BAND_ROWS, return_index=True)
        for band, part in zip(bands, np.split(order, firsts[1:]), strict=True):
            top = int(band) * _BAND_ROWS
            pixels = self._pixels[top : top + _BAND_ROWS, left:right]
            r, c = row[part] - top, column[part] - left
            share = x[part] - column[part]
            for channel in range(3):
                light = LINEAR_OF_BYTE[pixels[..., channel]]
                before = np.cumsum(light, axis=1) - light
                value = before[r, c] + light[r, c] * share
                sums[:, channel] += np.bincount(owner[part], value * dy[part], n)
        return sums


def stocked_lab(materials: Iterable[Material]) -> Floats:
    """Return the materials' colours under D65 and the 2 degree observer, shape (m, 3).

    Raises
    ------
    EmblemaError
        A material was measured under a light that is not known.
    """
    seen = []
    for m in materials:
        if (m.illuminant, m.observer) not in WHITES:
            raise EmblemaError(
                f"Material '{m.code}': its colour was measured under '{m.illuminant}' at "
                f"{m.observer} degrees, which is not known."
            )
        seen.append(lab_under_d65(m.lab, m.illuminant, m.observer))
    return np.array(seen, np.float64).reshape(-1, 3)


def shifted_lab(lab: Floats, shift: Lab) -> Floats:
    """Return wanted colours with a shift added, lightness kept within 0 to 100."""
    wanted = lab + np.asarray(shift, np.float64)
    wanted[:, 0] = np.clip(wanted[:, 0], 0, 100)
    return np.asarray(wanted)
