"""Outlines between the document (tuples of points) and shapely, and geometric tolerances."""

from __future__ import annotations

from functools import lru_cache

import shapely
from shapely import MultiPolygon, Polygon

from core.commission import Outline
from core.moves import Move

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
    parts = [
        g for g in shapely.get_parts(shapely.get_parts([geometry])) if g.geom_type == "Polygon"
    ]
    return tuple(
        tuple(
            tuple((float(x), float(y)) for x, y in ring.coords[:-1])
            for ring in (p.exterior, *p.interiors)
        )
        for p in parts
        if p.area > 0
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
