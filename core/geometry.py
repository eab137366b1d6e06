"""Outlines between the document (tuples of points) and shapely, and what many shapes are asked.

Functions that take many shapes or vectors take arrays of them; lengths are in mm.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon

from core.commission import Outline
from core.moves import Move

Array = NDArray[np.float64]
Shapes = NDArray[np.object_]
Whole = NDArray[np.int64]

SNAP_MM = 1e-4  # points nearer than this are one point
LINKED_MM = 0.005  # by which the outlines of linked fields may differ: rounded a few times over


@lru_cache(maxsize=1024)
def polygon_of(outline: Outline) -> MultiPolygon:
    """Return a document outline as a shapely MultiPolygon (not repaired)."""
    return MultiPolygon([Polygon(part[0], part[1:]) for part in outline])


def outline_of(geometry: shapely.Geometry) -> Outline:
    """Return the polygonal parts of a shapely geometry as a document outline.

    Lines and points are left out; coordinates are rounded to `SNAP_MM`.
    """
    # point by point where that is enough: else what is thinner than the rounding would be lost
    rounded = shapely.set_precision(geometry, SNAP_MM, mode="pointwise")
    geometry = rounded if shapely.is_valid(rounded) else shapely.set_precision(geometry, SNAP_MM)
    return tuple(
        tuple(
            tuple((float(x), float(y)) for x, y in ring.coords[:-1])
            for ring in (p.exterior, *p.interiors)
        )
        for p in polygons_in(geometry)
    )


@lru_cache(maxsize=4096)
def lies_as(first: Outline, other: Outline, move: Move) -> bool:
    """Return whether a move carries one outline onto another, to `LINKED_MM`."""
    a, b = polygon_of(first), polygon_of(other)
    if a.is_empty or b.is_empty:
        return False
    edge = shapely.transform(a.boundary, move.out)
    return bool(shapely.hausdorff_distance(edge, b.boundary) <= LINKED_MM)


def valid(geometry: shapely.Geometry) -> shapely.Geometry:
    """Return a shape made valid, whatever crosses or collapses in it."""
    try:
        return shapely.make_valid(geometry)
    except shapely.errors.GEOSException:  # by its lines it cannot be told where parts collapse
        return shapely.make_valid(geometry, method="structure", keep_collapsed=False)


def polygons_in(geometry: shapely.Geometry, least_mm2: float = 0.0) -> list[Polygon]:
    """Return the polygons that a shape consists of, those larger than so much."""
    parts = shapely.get_parts(shapely.get_parts([geometry]))
    return [p for p in parts if isinstance(p, Polygon) and p.area > least_mm2]


def lines_in(geometry: shapely.Geometry) -> list[LineString]:
    """Return the lines and rings that a shape consists of."""
    parts = shapely.get_parts(shapely.get_parts([geometry]))
    return [p for p in parts if isinstance(p, LineString)]


def largest(shapes: Shapes) -> Shapes:
    """Return the largest polygon of each shape, empty where it has none."""
    out = np.full(len(shapes), Polygon(), dtype=object)
    parts, owner = shapely.get_parts(shapes, return_index=True)
    flat, inner = shapely.get_parts(parts, return_index=True)
    polygon = shapely.get_type_id(flat) == 3
    flat, owner = flat[polygon], owner[inner[polygon]]
    order = np.argsort(shapely.area(flat), kind="stable")
    out[owner[order]] = flat[order]
    return out


def unit(vectors: Array) -> Array:
    """Return vectors (..., 2) made one long; those of no length stay so."""
    size = np.maximum(np.hypot(vectors[..., 0], vectors[..., 1]), 1e-12)
    out: Array = vectors / size[..., None]
    return out


def cross(a: Array, b: Array) -> Array:
    """Return the areas that vectors (..., 2) span, positive where b lies to the left of a."""
    out: Array = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return out


def round_each(owner: Whole) -> tuple[Whole, Whole]:
    """Return which row comes before each and which after, round the rows of the same owner.

    Parameters
    ----------
    owner : ndarray (n,)
        Whose each row is; those of one owner follow one another.
    """
    n = len(owner)
    before, after = np.arange(n) - 1, np.arange(n) + 1
    if n:
        first = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
        last = np.r_[first[1:], n] - 1
        before[first], after[last] = last, first
    return before, after


def corners(polygons: Shapes) -> tuple[Array, Array, Array, Whole]:
    """Return each corner of polygons without holes, the one before and after it, and whose it is.

    The first three are (n, 2) mm, the last (n,).
    """
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
    open_ring = np.r_[owner[1:] == owner[:-1], False][: len(owner)]
    xy, owner = xy[open_ring], owner[open_ring]
    before, after = round_each(owner)
    return xy, xy[before], xy[after], owner


def ways_round(ring: Array) -> tuple[Array, Array]:
    """Return the unit ways that come and go at each corner of a ring (n, 2), none repeated."""
    way = unit(np.roll(ring, -1, axis=0) - ring)
    return np.roll(way, 1, axis=0), way


def stretches(*lines: shapely.Geometry) -> Array:
    """Return both ends of every straight stretch of lines, (n, 2, 2) mm."""
    parts = shapely.get_parts(shapely.get_parts(lines))
    xy, index = shapely.get_coordinates(parts, return_index=True)
    on = index[1:] == index[:-1]
    return np.stack([xy[:-1][on], xy[1:][on]], axis=1)


def box_sides(shapes: Shapes) -> Array:
    """Return two sides of the smallest box about each shape as vectors, (n, 2, 2) mm.

    They are nothing where a shape has no area.
    """
    boxes = shapely.oriented_envelope(shapes)
    there = (shapely.get_type_id(boxes) == 3) & ~shapely.is_empty(boxes)
    c = shapely.get_coordinates(boxes[there]).reshape(-1, 5, 2)
    out = np.zeros((len(shapes), 2, 2))
    out[there] = np.diff(c[:, :3], axis=1)
    return out


def onwards(line: LineString, by_mm: float) -> LineString:
    """Return an open line run on straight past both ends; a closed one as it is."""
    c = shapely.get_coordinates(line)
    if line.is_closed or len(c) < 2:
        return line
    out = unit(c[[0, -1]] - c[[1, -2]]) * by_mm
    return LineString(np.vstack([c[0] + out[0], c, c[-1] + out[1]]))
