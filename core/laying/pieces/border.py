"""Keeps pieces half a joint from their field's border, also where it bulges into them.

A convex piece drawn on a hollow stretch of border would cross it by the arc's height; here it is
cut back by one straight side, as a hand would nip it.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import cross, unit
from core.laying.exact import dot
from core.laying.field.grid import Array

HOLLOW = 0.08  # joints by which a side may be hollow before it is cut straight
SIDES = 4  # hollows cut straight in one piece


def half_joint_inside(outline: MultiPolygon, joint_mm: float) -> shapely.Geometry:
    """Return the part of a field that lies half a joint inside its border."""
    return shapely.buffer(outline, -joint_mm / 2, join_style="mitre", mitre_limit=2.5, quad_segs=8)


def cut_to(
    shapes: NDArray[np.object_], outline: MultiPolygon
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return what of each shape lies in the field, part by part, and which shape's it is.

    Each is cut with the parts of the field that are there alone, since there may be a great many.
    """
    fields = np.array(outline.geoms, dtype=object)
    which, field = shapely.STRtree(fields).query(shapes, predicate="intersects")
    cut = shapely.intersection(shapes[which], fields[field])
    parts, index = shapely.get_parts(cut, return_index=True)
    return parts, which[index]


def clear_of_border(
    polygons: NDArray[np.object_], outline: MultiPolygon, joint_mm: float
) -> NDArray[np.object_]:
    """Return convex pieces cut back to half a joint from the border; empty where nothing is left.

    Parameters
    ----------
    polygons : ndarray of Polygon, shape (n,)
        Convex pieces, mm.
    """
    out = polygons.copy()
    some = np.flatnonzero(~shapely.is_empty(polygons))
    far = shapely.distance(polygons[some], outline.boundary)
    field = half_joint_inside(outline, joint_mm)
    shapely.prepare(outline)
    near = (far < joint_mm / 2 - 1e-7) | ~shapely.intersects(outline, polygons[some])
    for k in some[near]:
        left = _unpierced(_largest(shapely.intersection(polygons[k], field)))
        out[k] = _straight(left, joint_mm)
    return out


def _unpierced(shape: Polygon) -> Polygon:
    """Cut a piece that closes round a hole of the field down to one side of it."""
    while shape.interiors:
        x0, y0, x1, y1 = shape.bounds
        middle = Polygon(shape.interiors[0]).centroid
        sides = (
            shapely.box(x0, y0, middle.x, y1),
            shapely.box(middle.x, y0, x1, y1),
            shapely.box(x0, y0, x1, middle.y),
            shapely.box(x0, middle.y, x1, y1),
        )
        shape = max((_largest(shapely.intersection(shape, s)) for s in sides), key=_area)
    return shape


def _area(shape: Polygon) -> float:
    return float(shape.area)


def _largest(shape: shapely.Geometry) -> Polygon:
    parts = [g for g in shapely.get_parts([shape]) if isinstance(g, Polygon)]
    return max(parts, key=lambda g: g.area, default=Polygon())


def _straight(shape: Polygon, joint_mm: float) -> Polygon:
    """Cut the hollows of a piece straight, the deepest first."""
    for _ in range(SIDES):
        if shape.is_empty:
            break
        xy = shapely.get_coordinates(shape.exterior)[:-1]
        hull = shape.convex_hull
        if not isinstance(hull, Polygon) or hull.area - shape.area < 1e-9:
            break
        # hollow corners and how deep they lie below the hull
        depth = np.asarray(shapely.distance(shapely.points(xy), hull.exterior))
        k = int(np.argmax(depth))
        if depth[k] < HOLLOW * joint_mm:
            break
        shape = _largest(shapely.intersection(shape, _beyond(xy[k], _lid(hull, xy[k]), hull)))
    return shape


def _lid(hull: Polygon, corner: Array) -> Array:
    """Return the direction of the hull's side that spans the hollow above a corner."""
    c = shapely.get_coordinates(hull.exterior)
    a, d = c[:-1], np.diff(c, axis=0)
    t = unit(d)
    off = corner - a
    side = np.abs(cross(off, t))
    along = (off * t).sum(1)
    side[(along < 0) | (along > np.hypot(*d.T))] = np.inf
    direction: Array = t[int(np.argmin(side))]
    return direction


def _beyond(corner: Array, along: Array, hull: Polygon) -> Polygon:
    """Return a large rectangle on one side of the line through a corner: the piece's greater."""
    x0, y0, x1, y1 = hull.bounds
    far = 2 * (x1 - x0 + y1 - y0) + 1.0
    square = np.array([-along[1], along[0]])
    middle = np.array([hull.centroid.x, hull.centroid.y])
    if dot(middle - corner, square) < 0:
        square = -square
    a, b = corner - far * along, corner + far * along
    return Polygon([a, b, b + far * square, a + far * square])
