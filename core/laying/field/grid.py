"""A regular grid over a field, and sampling on it.

Arrays over the grid have shape (rows, columns); node (r, c) lies at
``origin + step * (c, r)``, in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import MultiPolygon

from core.geometry import stretches, unit

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Grid:
    """Nodes `step_mm` apart; `shape` is (rows, columns)."""

    origin_mm: tuple[float, float]
    step_mm: float
    shape: tuple[int, int]

    @staticmethod
    def over(outline: MultiPolygon, step_mm: float, margin_mm: float) -> Grid:
        """Return the grid that covers an outline with a margin all round."""
        x0, y0, x1, y1 = outline.bounds
        shape = (
            int(np.ceil((y1 - y0 + 2 * margin_mm) / step_mm)) + 2,
            int(np.ceil((x1 - x0 + 2 * margin_mm) / step_mm)) + 2,
        )
        return Grid((x0 - margin_mm, y0 - margin_mm), step_mm, shape)

    def nodes(self) -> tuple[Array, Array]:
        """Return x and y of every node, each of shape (rows, columns), mm."""
        y, x = np.mgrid[: self.shape[0], : self.shape[1]]
        return self.origin_mm[0] + self.step_mm * x, self.origin_mm[1] + self.step_mm * y

    def cell(self, xy: Array) -> Array:
        """Return fractional (row, column) of points (n, 2) mm as shape (2, n)."""
        return np.stack(
            [
                (xy[:, 1] - self.origin_mm[1]) / self.step_mm,
                (xy[:, 0] - self.origin_mm[0]) / self.step_mm,
            ]
        )

    def sample(self, values: Array, xy: Array) -> Array:
        """Return values (rows, columns) between the nodes, bilinear, at points (n, 2) mm."""
        out: Array = ndimage.map_coordinates(values, self.cell(xy), order=1, mode="nearest")
        return out

    def splat(self, xy: Array, values: Array) -> Array:
        """Add values (n, k) to the four nodes round each point, bilinear: (k, rows, columns).

        What lies beyond the grid is left out.
        """
        rc = self.cell(xy)
        on = ((rc >= 0) & (rc <= np.array(self.shape)[:, None] - 1)).all(axis=0)
        rc, values = rc[:, on], values[on]
        r0 = np.clip(np.floor(rc[0]).astype(int), 0, self.shape[0] - 2)
        c0 = np.clip(np.floor(rc[1]).astype(int), 0, self.shape[1] - 2)
        fr, fc = rc[0] - r0, rc[1] - c0
        size = self.shape[0] * self.shape[1]
        out = np.zeros((values.shape[1], size))
        for dr, dc, w in (
            (0, 0, (1 - fr) * (1 - fc)),
            (0, 1, (1 - fr) * fc),
            (1, 0, fr * (1 - fc)),
            (1, 1, fr * fc),
        ):
            at = (r0 + dr) * self.shape[1] + c0 + dc
            for k in range(values.shape[1]):
                out[k] += np.bincount(at, w * values[:, k], size)
        return out.reshape(-1, *self.shape)

    def inside(self, outline: shapely.Geometry) -> NDArray[np.bool_]:
        """Return which nodes lie within an outline."""
        x, y = self.nodes()
        shapely.prepare(outline)
        return shapely.contains_xy(outline, x.ravel(), y.ravel()).reshape(self.shape)


def across(inside: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Return the inside nodes, numbered row by row, line by line across the grid's longer side."""
    row, column = np.nonzero(inside)
    rows, columns = inside.shape
    return np.argsort(column, kind="stable") if columns > rows else np.arange(len(row))


def along(lines: shapely.Geometry, step_mm: float) -> tuple[Array, Array]:
    """Walk along lines: points (n, 2) about `step_mm` apart and unit tangents (n, 2)."""
    points, tangents = [], []
    for line in shapely.get_parts(shapely.get_parts([lines])):
        if line.length <= 0:
            continue
        n = max(2, int(np.ceil(line.length / step_mm)))
        at = (np.arange(n) + 0.5) * line.length / n
        reach = min(step_mm, line.length / n) / 2
        a = shapely.get_coordinates(shapely.line_interpolate_point(line, at - reach))
        b = shapely.get_coordinates(shapely.line_interpolate_point(line, at + reach))
        points.append((a + b) / 2)
        tangents.append(unit(b - a))
    if not points:
        return np.empty((0, 2)), np.empty((0, 2))
    return np.concatenate(points), np.concatenate(tangents)


def straight_parts(lines: shapely.Geometry) -> NDArray[np.object_]:
    """Return the straight stretches that lines, or the borders of polygons, consist of."""
    flat = shapely.get_parts(shapely.get_parts([lines]))
    area = shapely.get_type_id(flat) == 3
    flat = np.r_[flat[~area], shapely.get_rings(flat[area])]
    pair = stretches(*flat)
    pair = pair[np.hypot(*(pair[:, 1] - pair[:, 0]).T) > 1e-9]
    return np.asarray(shapely.linestrings(pair), dtype=object)
