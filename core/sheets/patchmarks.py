"""Patches of putty on a sheet's page: light lines along the joints between them, and numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.drawing import Item, Paths, Rgb, Text
from core.lettering import CAPITAL, LEAST_MM, wide_mm
from core.sheets.graph import Ints

Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]

LINE: Rgb = (90, 165, 225)
INK: Rgb = (25, 95, 160)
PEN_MM = 0.28
CANDIDATES = 24  # places for a number that are looked at closely
ROUND_MM = 0.12  # by which a line is made plainer


def rooms(shapes: Shapes, joint_mm: Floats, which: Sequence[Ints]) -> Shapes:
    """Return the area of each patch to the middle of the joints about it, mm on paper.

    Parameters
    ----------
    shapes : ndarray of Polygon, shape (n,)
    joint_mm : ndarray (n,)
        On paper.
    which : sequence of ndarray of int
        The pieces of each patch.
    """
    grown = shapely.buffer(shapes, 0.52 * joint_mm, join_style="mitre")
    out = []
    for some in which:
        half = 0.5 * float(joint_mm[some].max())
        room = shapely.union_all(grown[some])
        # a joint that is wider than usual is no border
        closed = shapely.buffer(
            shapely.buffer(room, half, join_style="mitre"), -half, join_style="mitre"
        )
        out.append(shapely.simplify(closed, ROUND_MM))
    return np.array(out, dtype=object)


def lines(room: Shapes) -> Paths:
    """Return the light lines round patches."""
    rings = [
        np.asarray(ring.coords)[:-1]
        for shape in room
        for part in shapely.get_parts(shape)
        if isinstance(part, Polygon)
        for ring in (part.exterior, *part.interiors)
        if ring.length > 0
    ]
    return Paths.of(rings, pen_mm=PEN_MM, pen=LINE)


def numbers(room: Shapes, number: Sequence[int], taken: Sequence[Text]) -> list[Item]:
    """Return the number of each patch, its place in the order of laying, on a small light plate.

    Clear of the words that are `taken`, where that can be.
    """
    items: list[Item] = []
    tree = shapely.STRtree([_box(t) for t in taken])
    for k, shape in zip(number, room, strict=True):
        words = str(k)
        w, h = wide_mm(words, LEAST_MM, bold=True) + 0.8, CAPITAL * LEAST_MM + 0.8
        x, y = _clear(shape, w, h, tree)
        plate = shapely.get_coordinates(shapely.box(x - w / 2, y - h / 2, x + w / 2, y + h / 2))
        items.append(Paths.of([plate[:-1]], pen_mm=0.15, pen=LINE, fill=(255, 255, 255)))
        items.append(Text(x, y, words, LEAST_MM, "middle", 0.0, INK, True))
    return items


def _clear(
    shape: shapely.Geometry, w: float, h: float, tree: shapely.STRtree
) -> tuple[float, float]:
    """Return where a plate stands in a patch: clear of words, and well within."""
    x0, y0, x1, y1 = shapely.bounds(shape).tolist()
    x, y = np.meshgrid(np.arange(x0, x1 + w, 0.5 * w), np.arange(y0, y1 + h, 0.5 * h))
    at = np.stack([x.ravel(), y.ravel()], axis=1)
    inner = shapely.get_coordinates(shapely.point_on_surface(shape))
    at = np.vstack([at[shapely.contains_xy(shape, at)], inner])
    half = np.array([w, h]) / 2
    low, top = at - half, at + half
    plates = np.asarray(shapely.box(low[:, 0], low[:, 1], top[:, 0], top[:, 1]), dtype=object)
    over = np.zeros(len(at), np.int64)
    np.add.at(over, tree.query(plates, predicate="intersects")[0], 1)
    off = at - inner
    far = np.round(np.hypot(off[:, 0], off[:, 1]), 2)
    some = np.lexsort((far, over))[:CANDIDATES]
    out = shapely.area(shapely.difference(plates[some], shape)) / (w * h)
    best = int(some[np.lexsort((far[some], np.round(out, 1), over[some]))[0]])
    return float(at[best, 0]), float(at[best, 1])


def _box(t: Text) -> Polygon:
    """Return about the room of a word in the middle of its place."""
    w, h = wide_mm(t.words, t.size_mm, t.bold) / 2, CAPITAL * t.size_mm / 2
    turn = np.radians(t.turn_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    ends = [s * w * along + r * h * across for s, r in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return Polygon(np.array(ends) + np.array([t.x_mm, t.y_mm]))
