"""Spots of bare grout between laid pieces, found on pixels."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy import ndimage
from shapely import MultiPolygon, Polygon

from core.commission import Field
from core.geometry import polygon_of

Bools = NDArray[np.bool_]


class Ground:
    """A field or a part of it as pixels, on which pieces lie and leave spots of grout bare."""

    def __init__(self, outline: MultiPolygon, joint: float) -> None:
        self.outline, self.joint = outline, joint
        # what is laid beyond the border stands off it by half a joint, and bounds a pool as well
        room = shapely.buffer(outline, joint / 2, join_style="mitre")
        x0, y0, x1, y1 = self.bounds = room.bounds
        self.px = px = max(joint / 4, float(np.sqrt((x1 - x0) * (y1 - y0) / 1.2e7)))
        # a part has the whole's pixels
        self.corner = float(np.floor(x0 / px) * px), float(np.floor(y0 / px) * px)
        self.size = int((x1 - self.corner[0]) / px) + 3, int((y1 - self.corner[1]) / px) + 3
        parts = shapely.get_parts([room]).tolist()
        holes = [hole for p in parts for hole in p.interiors]
        self.room = self._picture([p.exterior for p in parts], holes)

    def _picture(
        self, rings: Iterable[shapely.Geometry], holes: Iterable[shapely.Geometry] = ()
    ) -> Bools:
        image = Image.new("1", self.size)
        pen = ImageDraw.Draw(image)
        for colour, lines in ((1, rings), (0, holes)):
            for ring in lines:
                c = (shapely.get_coordinates(ring) - self.corner) / self.px + 1
                pen.polygon([(x, y) for x, y in c.tolist()], fill=colour)
        return np.asarray(image)

    def pools(
        self, polygons: NDArray[np.object_], limit: float
    ) -> list[tuple[float, float, float]]:
        """Return (x, y, width in joints) of spots of grout wider than `limit` joints."""
        x0, y0, x1, y1 = self.bounds
        left, top, right, bottom = shapely.bounds(polygons).T
        seen = (left <= x1) & (right >= x0) & (top <= y1) & (bottom >= y0)
        bare = self.room & ~self._picture(shapely.get_exterior_ring(polygons[seen]))
        radius = limit / 2 * self.joint / self.px + 0.7
        deep = _with_room(bare, radius)
        if not len(deep):
            return []
        # what hangs together where a smaller square fits is one spot
        spots, _ = ndimage.label(_eroded(bare, max(int(radius / np.sqrt(2)) - 1, 0)))
        where = ndimage.find_objects(spots)
        margin = int(3 * radius)
        out = []
        for k in np.unique(spots.ravel()[deep]).tolist():
            rows, columns = where[k - 1]
            row, column = max(rows.start - margin, 0), max(columns.start - margin, 0)
            window = np.s_[row : rows.stop + margin, column : columns.stop + margin]
            far = ndimage.distance_transform_edt(np.pad(bare[window], 1))[1:-1, 1:-1]
            far = np.where(spots[window] == k, far, 0.0)
            y, x = np.unravel_index(int(far.argmax()), far.shape)
            at = (
                self.corner[0] + (column + int(x) - 1) * self.px,
                self.corner[1] + (row + int(y) - 1) * self.px,
            )
            if far[y, x] > radius and shapely.intersects_xy(self.outline, *at):
                out.append((*at, 2 * float(far[y, x]) * self.px / self.joint))
        return out


def ground_about(field: Field, about: shapely.Geometry) -> tuple[Ground, ...]:
    """Return the parts of a field's ground that lie about some places."""
    seen = shapely.intersection(polygon_of(field.outline), about)
    parts = [g for g in shapely.get_parts([seen]).tolist() if isinstance(g, Polygon) and g.area > 0]
    return tuple(Ground(MultiPolygon([g]), field.laying.joint_mm) for g in parts)


def _eroded(bare: Bools, half: int) -> Bools:
    """Return the pixels about which a square of bare ones fits, `half` to each side."""
    out, size = bare, 2 * half + 1
    for axis in (0, 1):
        out, done = np.moveaxis(out, axis, 0), 1
        while done < size and len(out):
            step = min(done, size - done)
            out, done = out[:-step] & out[step:], done + step
        out = np.moveaxis(out, 0, axis)
    return np.pad(out, half) if out.size else np.zeros_like(bare)


def _with_room(bare: Bools, radius: float) -> NDArray[np.int64]:
    """Return the pixels with no laid one within a radius, in pixels; beyond the edge all is laid.

    A disc holds a square: where none fits, nothing need be measured.
    """
    reach = int(radius)
    dy, dx = np.mgrid[-reach : reach + 1, -reach : reach + 1].reshape(2, -1)
    square = dx**2 + dy**2
    order = np.argsort(-square, kind="stable")  # the farthest rule out most
    order = order[square[order] <= radius**2]
    height, width = bare.shape
    at: NDArray[np.int64] = np.flatnonzero(_eroded(bare, int(radius / np.sqrt(2))))
    y, x = np.divmod(at, width)
    on = (y >= reach) & (y < height - reach) & (x >= reach) & (x < width - reach)
    at, flat = at[on], bare.ravel()
    for step in (dy[order] * width + dx[order]).tolist():
        at = at[flat[at + step]]
        if not len(at):
            break
    return at
