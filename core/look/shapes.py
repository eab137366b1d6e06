"""The outlines of pieces as half planes, and how far each pixel lies within them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

SIDES: Final = (4, 6, 8, 12, 16, 24, 32)  # outlines are gathered by how many sides they have
_NOWHERE: Final = 1e6  # mm: a side that is not there
_BENT: Final = 1e-6  # sine of a turn that makes an outline hollow


@dataclass(frozen=True, eq=False)
class Shapes:
    """Pieces ready to be painted.

    Attributes
    ----------
    box_mm : ndarray, shape (n, 4)
    middle_mm : ndarray, shape (n, 2)
        Of the box; all else is measured from it.
    sides : ndarray of int, shape (n,)
        The entry of `SIDES` that a piece's outline fits in, or 0 where it is hollow or has more.
    planes : ndarray, shape (n, 32, 3)
        Outward normal of each side and how far it lies from the middle, mm, as single numbers.
    inner_mm : ndarray, shape (n,)
        Half of the piece's width, about.
    round : ndarray of bool, shape (n,)
        Whether it has no corners, as a pebble.
    """

    polygons: NDArray[np.object_]
    box_mm: Floats
    middle_mm: Floats
    sides: Ints
    planes: Singles
    inner_mm: Floats
    round: NDArray[np.bool_]

    @staticmethod
    def of(polygons: NDArray[np.object_]) -> Shapes:
        """Return pieces (n,) with their sides."""
        n = len(polygons)
        box = shapely.bounds(polygons).reshape(-1, 4)
        middle = (box[:, :2] + box[:, 2:]) / 2
        xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
        same = owner[1:] == owner[:-1]
        start, end, owner = xy[:-1][same], xy[1:][same], owner[:-1][same]
        step = end - start
        count = np.bincount(owner, minlength=n)
        first = np.cumsum(count) - count
        within = np.arange(len(owner)) - first[owner]
        local = start - middle[owner]
        twice = np.bincount(owner, local[:, 0] * step[:, 1] - local[:, 1] * step[:, 0], n)
        turn = np.where(twice < 0, -1.0, 1.0)
        length = np.hypot(*step.T)
        flat = np.maximum(length, 1e-12)
        normal = np.stack([step[:, 1], -step[:, 0]], axis=1) * (turn[owner] / flat)[:, None]
        after = np.where(within + 1 < count[owner], np.arange(len(owner)) + 1, first[owner])
        cross = step[:, 0] * step[after, 1] - step[:, 1] * step[after, 0]
        hollow = np.zeros(n, bool)
        hollow[owner[cross * turn[owner] < -_BENT * length * length[after]]] = True
        sides = np.array([*SIDES, 0])[np.searchsorted(SIDES, count)]
        sides[hollow | (shapely.get_num_interior_rings(polygons) > 0)] = 0
        planes = np.zeros((n, SIDES[-1], 3), np.float32)
        planes[..., 2] = _NOWHERE
        fits = sides[owner] > 0
        at = owner[fits], within[fits]
        planes[(*at, slice(0, 2))] = normal[fits]
        planes[(*at, np.full(len(at[0]), 2))] = (normal * local).sum(1)[fits]
        inner = 2 * shapely.area(polygons) / np.maximum(shapely.length(polygons), 1e-9)
        blunt = np.full(n, np.inf)  # the sharpest corner of each, as the cosine of its turn
        cosine = (step * step[after]).sum(1) / np.maximum(length * length[after], 1e-12)
        np.minimum.at(blunt, owner, cosine)
        return Shapes(polygons, box, middle, sides, planes, inner, (count >= 8) & (blunt > 0.6))

    def within(self, rows: Ints, x_mm: Singles, y_mm: Singles, round_mm: Floats) -> Singles:
        """Return how far pixels lie within pieces of one number of sides, mm (outside negative).

        Parameters
        ----------
        rows : ndarray of int, shape (k,)
            Pieces, all of the same `sides`.
        x_mm, y_mm : ndarray, shape (k, 1, w), (k, h, 1)
            Pixels from the pieces' middles.
        round_mm : ndarray, shape (k,)
            Radius of the corners.
        """
        sides = int(self.sides[rows[0]])
        if sides == 0:
            return np.stack([self._far(*one) for one in zip(rows, x_mm, y_mm, strict=True)])
        planes = self.planes[rows, :sides].transpose(1, 2, 0)[..., None, None]
        near = np.full((len(rows), y_mm.shape[1], x_mm.shape[2]), _NOWHERE, np.float32)
        second = near.copy()
        for nx, ny, reach in planes:
            d = (reach - nx * x_mm) - ny * y_mm
            np.minimum(second, np.maximum(near, d), out=second)
            np.minimum(near, d, out=near)
        # where two sides are about as near, the corner between them is rounded
        second -= near
        radius = np.maximum(round_mm, 1e-6).astype(np.float32)[:, None, None]
        np.subtract(radius, second, out=second)
        np.maximum(second, 0, out=second)
        second *= second
        second *= np.float32(0.25) / radius
        near -= second
        return near

    def _far(self, row: np.int64, x_mm: Singles, y_mm: Singles) -> Singles:
        """Return how far pixels lie within one piece of any shape."""
        shape = self.polygons[row]
        near = np.full((y_mm.shape[0], x_mm.shape[1]), _NOWHERE, np.float32)
        inside = np.zeros(near.shape, bool)
        x, y = x_mm, y_mm
        for ring in (shape.exterior, *shape.interiors):
            corners = (shapely.get_coordinates(ring) - self.middle_mm[row]).astype(np.float32)
            for (ax, ay), (bx, by) in pairwise(corners):
                dx, dy = bx - ax, by - ay
                along = np.clip(
                    ((x - ax) * dx + (y - ay) * dy) / max(dx * dx + dy * dy, np.float32(1e-12)),
                    0,
                    1,
                )
                off = (x - ax - along * dx) ** 2 + (y - ay - along * dy) ** 2
                np.minimum(near, off, out=near)
                if ay != by:  # a ray to the right crosses this side
                    inside ^= ((ay > y) != (by > y)) & (x < (y - ay) * (dx / dy) + ax)
        np.sqrt(near, out=near)
        return np.where(inside, near, -near)
