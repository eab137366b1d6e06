"""Paints the work as it will look: one renderer for the bench, pictures and the proof.

A pixel's light is the sum of what each piece sends through its share of it, and of the grout for
the rest, in whole 65536ths, so that neither the order of the pieces nor how the picture is cut
into tiles changes a bit of it.

References
----------
IEC 61966-2-1:1999 (sRGB).
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.convert import linear_from_lab, srgb_from_linear
from core.colour.shown import shown_lab
from core.commission import Commission
from core.errors import Stopped
from core.look.batches import batches, windows
from core.look.colours import colours_of
from core.look.faces import Hands, lit
from core.look.joints import REACH_MM, SUNK, joint_light
from core.look.kinds import BARE, Face, face_of
from core.look.light import STANDARD, Light
from core.look.noise import seeds_of
from core.look.shapes import Shapes
from core.pieces import Layout

Box = tuple[float, float, float, float]
Bytes = NDArray[np.uint8]
Fixed = NDArray[np.int32]

ONE: Final = 65535
UM: Final = 1000.0
# Across and down: many pieces are alike in size in one, and what it takes (32 MB) is used again
TILE_PX: Final = (1400, 1024)
HANDS: Final = min(4, os.cpu_count() or 1)
LEAST_PX_PER_MM: Final = 2.4  # below, several pixels are painted for one
MOST_FINER: Final = 3
# 8-bit sRGB of each 65536th of linear light
_SRGB: Final[Bytes] = np.rint(255 * srgb_from_linear(np.arange(ONE + 1) / ONE)).astype(np.uint8)


class Scene:
    """A layout with all that its look hangs on, ready to be painted at any scale.

    Parameters
    ----------
    doc : Commission
    layout : Layout
    """

    def __init__(self, doc: Commission, layout: Layout) -> None:
        some = [f for f in layout.fields if len(f.pieces)]
        polygons = np.concatenate([f.pieces.polygons for f in some] or [np.empty(0, object)])
        stock = np.concatenate([f.stock for f in some] or [np.empty(0, np.int64)])
        lab = np.concatenate([shown_lab(doc, f) for f in some] or [np.empty((0, 3))])
        tessera = [doc.field_by_id(f.field_id).laying.tessera_mm for f in some]
        self.size_mm = doc.width_mm, doc.height_mm
        self._sunk_um = np.rint(
            SUNK * UM * np.repeat(tessera, [len(f.pieces) for f in some])
        ).astype(np.float32)
        made = [BARE, *(face_of(m.kind, m.finish) for m in doc.materials)]
        self._faces: list[Face] = list(dict.fromkeys(made))
        number = np.array([self._faces.index(f) for f in made])
        self._face = number[stock + 1]
        self._shapes = Shapes.of(polygons)
        self._hands = Hands.of(seeds_of(polygons))
        self._colours = colours_of(self._faces, self._face, self._shapes, self._hands, lab, stock)
        self._grout = np.clip(linear_from_lab(doc.grout_lab), 0, 1)
        self._tree = shapely.STRtree(polygons)

    def tile(
        self,
        px_per_mm: float,
        box_px: tuple[int, int, int, int],
        *,
        origin_mm: tuple[float, float] = (0.0, 0.0),
        light: Light = STANDARD,
        draft: bool = False,
    ) -> Bytes:
        """Return some pixels of the whole picture, alike whatever tile they are painted in.

        Parameters
        ----------
        box_px : tuple of int
            x0, y0, x1, y1; pixel (0, 0)'s upper left corner lies at `origin_mm`.
        draft : bool
            Paint one pixel for one however small the scale: sooner, and less even.

        Returns
        -------
        ndarray of uint8, shape (y1 - y0, x1 - x0, 3)
            sRGB.
        """
        finer = 1 if draft else _finer(px_per_mm)
        x0, y0, x1, y1 = (v * finer for v in box_px)
        fine = self._light((x0, y0, x1, y1), px_per_mm * finer, origin_mm, light)
        wide, high = box_px[2] - box_px[0], box_px[3] - box_px[1]
        out = np.empty((high, wide, 3), np.uint8)
        for c, channel in enumerate(fine):
            if finer > 1:
                channel = channel.reshape(high, finer, wide, finer).sum((1, 3)) // finer**2
            out[..., c] = _SRGB[channel]
        return out

    def picture(
        self,
        px_per_mm: float,
        box_mm: Box | None = None,
        light: Light = STANDARD,
        stop: Callable[[], bool] = lambda: False,
        draft: bool = False,
    ) -> Bytes:
        """Return a stretch of the work as sRGB (height, width, 3); see `picture`.

        Raises
        ------
        Stopped
            `stop` said so between two tiles.
        """
        x0, y0, x1, y1 = box_mm or (0.0, 0.0, *self.size_mm)
        wide, high = (max(1, round(v * px_per_mm)) for v in (x1 - x0, y1 - y0))
        out = np.empty((high, wide, 3), np.uint8)

        across, down = (v // (1 if draft else _finer(px_per_mm)) for v in TILE_PX)

        def paint(left: int, top: int) -> None:
            if stop():
                raise Stopped
            box = (left, top, min(left + across, wide), min(top + down, high))
            out[box[1] : box[3], box[0] : box[2]] = self.tile(
                px_per_mm, box, origin_mm=(x0, y0), light=light, draft=draft
            )

        tiles = [(x, y) for y in range(0, high, down) for x in range(0, wide, across)]
        if len(tiles) == 1:
            paint(*tiles[0])
            return out
        with ThreadPoolExecutor(min(HANDS, len(tiles))) as hands:  # numpy works side by side
            for done in [hands.submit(paint, *tile) for tile in tiles]:
                done.result()
        return out

    def _light(
        self,
        box: tuple[int, int, int, int],
        per: float,
        origin: tuple[float, float],
        light: Light,
    ) -> Fixed:
        """Return the linear light of pixels in whole 65536ths, (3, h, w)."""
        halo = math.ceil(REACH_MM * per) + 1
        x0, y0, x1, y1 = box[0] - halo, box[1] - halo, box[2] + halo, box[3] + halo
        wide, high = x1 - x0, y1 - y0
        ox, oy = origin
        seen = shapely.box(x0 / per + ox, y0 / per + oy, x1 / per + ox, y1 / per + oy)
        rows = np.sort(self._tree.query(seen))
        # red, green, blue, cover and height, each times the share of the pixel that is covered
        sums = np.zeros((5, high, wide), np.int32)
        w = windows(self._shapes, rows, per, origin, (x0, y0, x1, y1))
        for some, p in batches(self._shapes, self._face, w):
            parts = lit(self._faces[self._face[p.rows[0]]], self._shapes, self._hands, p, light)
            whole = parts.share * np.float32(ONE)
            patch = np.empty((5, *whole.shape), np.int32)
            for c, seen_light in enumerate(self._colours.seen(p.rows, parts)):
                np.multiply(seen_light, whole, out=seen_light)
                patch[c] = seen_light
            patch[3] = whole
            patch[4] = parts.share * self._sunk_um[p.rows][:, None, None]
            for k, n in enumerate(some.tolist()):
                left, top = int(w.left[n]) - x0, int(w.top[n]) - y0
                right, foot = left + int(w.wide[n]), top + int(w.high[n])
                sums[:, top:foot, left:right] += patch[:, k, : foot - top, : right - left]
        cover = np.minimum(sums[3], ONE)
        inner = np.zeros((high, wide), bool)
        inner[halo:-halo, halo:-halo] = cover[halo:-halo, halo:-halo] < ONE
        where = np.flatnonzero(inner)
        fallen = joint_light(sums[4], where, per, light)
        bare = (ONE - cover.ravel()[where]) * fallen
        for c in range(3):
            flat = sums[c].reshape(-1)
            flat[where] += (bare * np.float32(self._grout[c])).astype(np.int32)
        out = sums[:3, halo:-halo, halo:-halo]
        return np.minimum(out, ONE)


def _finer(px_per_mm: float) -> int:
    """Return how many pixels are painted for one, each way."""
    return min(MOST_FINER, max(1, math.ceil(LEAST_PX_PER_MM / px_per_mm)))


def picture(
    doc: Commission,
    layout: Layout,
    px_per_mm: float,
    *,
    box_mm: Box | None = None,
    light: Light = STANDARD,
) -> Bytes:
    """Return the laid work as it will look.

    Parameters
    ----------
    box_mm : tuple of float, optional
        What is shown, x0, y0, x1, y1; the finished work where left out.
    light : Light
        Colours are true, as a mean over each material's pieces, under `STANDARD`.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3)
        sRGB.
    """
    return Scene(doc, layout).picture(px_per_mm, box_mm, light)
