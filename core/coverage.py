"""Areas that share their borders: knit together, taken apart into arcs, and put together again.

Fields lie side by side like the parts of a map. Whatever is done to one border is done once, for
both its sides, so that there is never a gap or an overlap between them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import SNAP_MM

Areas = Sequence[MultiPolygon]
Line = NDArray[np.float64]


def knit(areas: Areas) -> list[MultiPolygon]:
    """Return the areas without overlaps, borders shared point for point.

    Where two overlap, the earlier in the list keeps the place.
    """
    faces, owner = _faces(areas)
    return [_joined(faces[owner == k]) for k in range(len(areas))]


def room_left(areas: Areas, whole: MultiPolygon) -> list[MultiPolygon]:
    """Return the areas knit, and as one more at the end what of `whole` none of them covers."""
    return knit([*areas, whole])


def fill(areas: Areas, gaps: MultiPolygon, may_grow: Sequence[bool]) -> list[MultiPolygon]:
    """Give each part of the gaps to the area with which it shares most border."""
    parts = list(gaps.geoms)
    knitted = knit([*areas, *(MultiPolygon([p]) for p in parts)])
    grown = knitted[: len(areas)]
    todo = [p for p in knitted[len(areas) :] if not p.is_empty]
    while todo:
        left = []
        for part in todo:
            shared = [
                shapely.length(shapely.intersection(part.boundary, g.boundary))
                if may_grow[k] and not g.is_empty
                else 0.0
                for k, g in enumerate(grown)
            ]
            best = int(np.argmax(shared)) if shared else 0
            if shared and shared[best] > SNAP_MM:
                grown[best] = polygons_of(shapely.union(grown[best], part))
            else:
                left.append(part)
        if len(left) == len(todo):
            break
        todo = left
    return knit(grown)


def redrawn(areas: Areas, change: Callable[[Line, bool], Line]) -> list[MultiPolygon]:
    """Return the areas with every border arc changed once for both its sides.

    Parameters
    ----------
    change : callable
        Takes an arc (n, 2) mm and whether it is closed; gives the new arc. An open arc must keep
        its two ends, a closed one its first point last.
    """
    lines = shapely.union_all([shapely.boundary(a) for a in areas])
    arcs = [shapely.get_coordinates(w) for w in _lines(shapely.line_merge(lines))]
    changed = [change(c, bool((c[0] == c[-1]).all())) for c in arcs]
    drawn = shapely.union_all([shapely.LineString(c) for c in changed], grid_size=SNAP_MM)
    faces = np.array(_polygons(shapely.polygonize([drawn])), dtype=object)
    owner = _by_overlap(faces, areas)
    return [_joined(faces[owner == k]) for k in range(len(areas))]


def polygons_of(geometry: shapely.Geometry) -> MultiPolygon:
    """Return the polygonal parts of any geometry, made valid."""
    return MultiPolygon(_polygons(shapely.make_valid(geometry)))


def _faces(areas: Areas) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return all faces between the borders, and the first area that covers each (-1 for none)."""
    lines = shapely.union_all([shapely.boundary(a) for a in areas], grid_size=SNAP_MM)
    faces = np.array(_polygons(shapely.polygonize([lines])), dtype=object)
    owner = np.full(len(faces), -1)
    if len(faces):
        inside = shapely.point_on_surface(faces)
        for k in range(len(areas) - 1, -1, -1):
            if not areas[k].is_empty:
                owner[shapely.intersects(areas[k], inside)] = k
    return faces, owner


def _by_overlap(faces: NDArray[np.object_], areas: Areas) -> NDArray[np.int64]:
    owner = np.full(len(faces), -1)
    if not len(faces):
        return owner
    most = np.zeros(len(faces))
    for k, area in enumerate(areas):
        shared = shapely.area(shapely.intersection(faces, area))
        better = shared > most
        owner[better], most[better] = k, shared[better]
    return owner


def _joined(faces: NDArray[np.object_]) -> MultiPolygon:
    return polygons_of(shapely.coverage_union_all(faces)) if len(faces) else MultiPolygon()


def _polygons(geometry: shapely.Geometry) -> list[Polygon]:
    parts = shapely.get_parts(shapely.get_parts([geometry]))
    return [p for p in parts if p.geom_type == "Polygon" and p.area > SNAP_MM**2]


def _lines(geometry: shapely.Geometry) -> list[shapely.Geometry]:
    parts = shapely.get_parts(shapely.get_parts([geometry]))
    return [p for p in parts if p.geom_type in ("LineString", "LinearRing")]
