"""The colour the sketch asks of every piece, and the stocked material nearest to it.

A piece's wanted colour is the mean of the sketch over exactly the piece's area, in linear light,
as the eye sums it. Each edge of a piece is cut at the pixel borders and the sketch's running sums
along its rows are added up round the piece (Green's theorem), so that a piece covering half a
pixel counts half of it and a piece smaller than a pixel needs no special care.
"""

from __future__ import annotations

import weakref
import zlib
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
from core.colour.difference import ciede2000, nearest
from core.colour.scatter import accents
from core.commission import Commission, Field, Sketch
from core.errors import EmblemaError
from core.material import Lab, Material
from core.pieces import LaidField, Pieces
from core.sketch import read_image, to_px

_BAND_ROWS: Final = 128


@dataclass(slots=True)
class _Kept:
    sketch: Sketch
    alive: weakref.ref[NDArray[np.object_]]
    lab: Floats
    matched: dict[tuple[Lab, bytes], tuple[Floats, NDArray[np.int64]]]


class SketchColours:
    """A sketch's pixels, ready to give mean colours.

    Parameters
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        sRGB.
    """

    def __init__(self, pixels: NDArray[np.uint8]) -> None:
        self._pixels = pixels
        # What was asked before, by the very array of pieces and for as long as it lives: a swap or
        # another palette then costs no new reading of the sketch.
        self._kept: dict[int, _Kept] = {}

    @staticmethod
    def read(data: bytes, name: str) -> SketchColours:
        """Read a picture file (see `core.sketch.read_image`).

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

    def nearest(
        self, sketch: Sketch, polygons: NDArray[np.object_], shift: Lab, stocked: Floats
    ) -> tuple[Floats, NDArray[np.int64]]:
        """Return what each piece should look like, `shift` added, and its nearest stocked colour.

        Parameters
        ----------
        stocked : ndarray, shape (m, 3)
            CIELAB under D65.

        Returns
        -------
        wanted : ndarray, shape (n, 3)
        index : ndarray of int, shape (n,)
            Both are kept for the next time; copy before changing them.
        """
        kept = self._known(sketch, polygons)
        key = (shift, stocked.tobytes())
        if key not in kept.matched:
            wanted = _shifted(kept.lab, shift)
            kept.matched = {key: (wanted, nearest(wanted, stocked)[0])}
        return kept.matched[key]

    def _known(self, sketch: Sketch, polygons: NDArray[np.object_]) -> _Kept:
        key = id(polygons)
        kept = self._kept.get(key)
        if kept is None or kept.sketch != sketch:
            lab = lab_from_linear(self._mean_linear(sketch, polygons))
            lab.flags.writeable = False
            alive = weakref.ref(polygons, lambda _: self._kept.pop(key, None))
            kept = self._kept[key] = _Kept(sketch, alive, lab, {})
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


def match_field(
    doc: Commission,
    field: Field,
    pieces: Pieces,
    colours: SketchColours | None,
    by_hand: NDArray[np.object_] | None = None,
) -> LaidField:
    """Give every piece of a field its wanted colour and the material to lay.

    The nearest material by CIEDE2000 of the field's palette (of all, where it has none), then the
    field's accent, then the commission's swaps in the order in which they were made, then what was
    laid `by_hand` (codes, "" for all others). With neither
    a sketch nor a wanted colour the field's palette decides: its first material is laid.
    """
    n = len(pieces)
    stock = np.full(n, -1, np.int64)
    delta_e = np.full(n, np.nan)
    place = {m.code: k for k, m in reversed(list(enumerate(doc.materials)))}
    codes = field.palette or tuple(place)
    allowed = np.array([place[c] for c in dict.fromkeys(codes) if c in place], np.int64)
    lab = stocked_lab(doc.materials)
    if field.wanted_lab is not None:
        wanted = np.tile(_shifted(np.array([field.wanted_lab]), field.shift_lab), (n, 1))
        if n and len(allowed):
            stock[:] = allowed[nearest(wanted[:1], lab[allowed])[0]]
    elif colours is not None and doc.sketch is not None:
        if len(allowed):
            wanted, index = colours.nearest(
                doc.sketch, pieces.polygons, field.shift_lab, lab[allowed]
            )
            stock[:] = allowed[index]
        else:
            wanted = _shifted(colours.mean_lab(doc.sketch, pieces.polygons), field.shift_lab)
    else:
        wanted = np.full((n, 3), np.nan)
        if field.palette and len(allowed):
            stock[:] = allowed[0]
    if field.accent in place and field.accent_share > 0:
        seed = zlib.crc32(f"{doc.seed}/{field.id}/accent".encode())
        struck = accents(pieces, field.accent_share, field.accent_along, seed)
        stock[struck] = place[field.accent]
    for swap in doc.swaps:
        if (
            swap.field_id in (None, field.id)
            and swap.motif in (None, field.motif)
            and swap.old in place
            and swap.new in place
        ):
            stock[stock == place[swap.old]] = place[swap.new]
    if by_hand is not None:
        for k in np.flatnonzero(by_hand != ""):
            stock[k] = place.get(by_hand[k], stock[k])
    laid = stock >= 0
    delta_e[laid] = ciede2000(wanted[laid], lab[stock[laid]])
    return LaidField(field.id, pieces, wanted, stock, delta_e)


def _shifted(lab: Floats, shift: Lab) -> Floats:
    wanted = lab + np.asarray(shift, np.float64)
    wanted[:, 0] = np.clip(wanted[:, 0], 0, 100)
    return np.asarray(wanted)
