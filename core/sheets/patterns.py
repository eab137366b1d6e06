"""Patterns that tell materials apart without colour: hatches and dots, made of paths.

They are ordered by how much ink they take, so that dark glass gets a dark pattern and a page still
looks like the work.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from core.drawing import BLACK, Paths

Shapes = NDArray[np.object_]
PEN_MM = 0.13
CORNERS = 8  # of a dot


@dataclass(frozen=True, slots=True)
class Pattern:
    """Lines at some angles, or dots; mm on paper."""

    name: str
    angles_deg: tuple[float, ...] = ()
    apart_mm: float = 1.2
    dot_mm: float = 0.0
    hollow: bool = False
    solid: bool = False


# from the least ink to the most
PATTERNS = (
    Pattern("rings", apart_mm=1.5, dot_mm=0.75, hollow=True),
    Pattern("fine dots", apart_mm=1.2, dot_mm=0.3),
    Pattern("wide rising lines", (-45.0,)),
    Pattern("wide falling lines", (45.0,)),
    Pattern("wide level lines", (0.0,)),
    Pattern("wide upright lines", (90.0,)),
    Pattern("thick dots", apart_mm=1.3, dot_mm=0.75),
    Pattern("squares", (0.0, 90.0), 1.0),
    Pattern("lozenges", (45.0, -45.0), 1.0),
    Pattern("close rising lines", (-45.0,), 0.45),
    Pattern("close level lines", (0.0,), 0.45),
    Pattern("black", solid=True),
)


def drawn(pattern: Pattern, shapes: Shapes) -> list[Paths]:
    """Return a pattern within polygons, shape (n,), mm on paper; there is ink in each."""
    if not len(shapes):
        return []
    if pattern.solid:
        return [Paths.around(shapes, pen=None, fill=BLACK)]
    if pattern.angles_deg:
        return [_hatched(shapes, a, pattern.apart_mm) for a in pattern.angles_deg]
    return [_dotted(shapes, pattern)]


def _hatched(shapes: Shapes, angle_deg: float, apart: float) -> Paths:
    """Return parallel lines cut to the polygons; those too small for one have one in the middle."""
    along = np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))])
    across = np.array([-along[1], along[0]])
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    far, near = corners @ across, corners @ along
    steps = apart * np.arange(np.floor(far.min() / apart), np.ceil(far.max() / apart) + 1)
    ends = np.array([near.min() - 1, near.max() + 1])
    lines = shapely.linestrings(steps[:, None, None] * across + ends[None, :, None] * along)
    piece, line = shapely.STRtree(lines).query(shapes, predicate="intersects")
    cut = shapely.intersection(np.asarray(lines, object)[line], shapes[piece])
    # a line that only touches a corner leaves no ink
    seen = np.bincount(piece, shapely.length(cut), len(shapes)) > PEN_MM
    bare = np.flatnonzero(~seen)
    middle = shapely.get_coordinates(shapely.centroid(shapes[bare]))
    own = shapely.linestrings(middle[:, None, :] + ends[None, :, None] * along - _on(middle, along))
    cut = np.r_[cut[seen[piece]], shapely.intersection(np.asarray(own, object), shapes[bare])]
    found = shapely.get_coordinates(shapely.get_parts(cut[shapely.length(cut) > 0])).reshape(-1, 2)
    starts = np.arange(0, len(found), 2)
    return Paths(found, starts, closed=False, pen_mm=PEN_MM)


def _on(points: NDArray[np.float64], along: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the part of points (n, 2) that lies along a direction, shape (n, 1, 2)."""
    return np.asarray((points @ along)[:, None, None] * along)


def _dotted(shapes: Shapes, pattern: Pattern) -> Paths:
    """Return dots that lie within the polygons; those with room for none have one in the middle."""
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    high = pattern.apart_mm * np.sqrt(0.75)
    rows = np.arange(np.floor(y0 / high), np.ceil(y1 / high) + 1)
    columns = np.arange(np.floor(x0 / pattern.apart_mm) - 1, np.ceil(x1 / pattern.apart_mm) + 1)
    x, y = np.meshgrid(columns, rows)
    xy = np.stack([(x + 0.5 * (y % 2)) * pattern.apart_mm, y * high], axis=-1).reshape(-1, 2)
    room = shapely.buffer(shapes, -0.5 * pattern.dot_mm)
    dot, piece = shapely.STRtree(room).query(shapely.points(xy), predicate="within")
    bare = np.setdiff1d(np.arange(len(shapes)), piece)
    middle = shapely.get_coordinates(shapely.centroid(shapes[bare]))
    turn = 2 * np.pi * np.arange(CORNERS) / CORNERS
    ring = 0.5 * pattern.dot_mm * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    points = (np.r_[xy[dot], middle][:, None, :] + ring).reshape(-1, 2)
    starts = np.arange(0, len(points), CORNERS)
    if pattern.hollow:
        return Paths(points, starts, pen_mm=PEN_MM)
    return Paths(points, starts, pen=None, fill=BLACK)
