"""The room of a sheet: its pieces to the middle of the joints about them, made whole or mended.

When a few pieces go over a seam only the room about them is made again, since that of a whole
sheet takes as long as a hand waits.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import polygons_in
from core.sheets.graph import Floats, Ints, JointGraph

FILLED = (3.0, 1.0)  # half joints: a notch between pieces so wide is filled, if none lies in it
MOST_JOINTS = 2000  # by which the usual joint is told
REACH = 3.0  # sides of a moved piece about it, within which a room is made again
CRUMB = 0.2  # of the smallest piece about: less is no part of a room


def half_joint(graph: JointGraph) -> float:
    """Return about half a joint of the work, mm, no more than lets rooms stay apart."""
    some = np.flatnonzero(graph.length_mm > 0)
    some = some[:: max(1, len(some) // MOST_JOINTS)]
    far = shapely.distance(graph.polygons[graph.a[some]], graph.polygons[graph.b[some]])
    return float(np.clip(np.median(far) / 2 if len(far) else 0.5, 0.05, 5.0))


def room_of(graph: JointGraph, which: Ints, gap: float) -> MultiPolygon:
    """Return the room of some pieces, `gap` being half a joint, mm."""
    grown = shapely.union_all(shapely.buffer(graph.polygons[which], 1.02 * gap, join_style="mitre"))
    box = shapely.bounds(grown)
    other = np.ones(len(graph), bool)
    other[which] = False
    other &= (graph.bounds[:, :2] < box[2:]).all(axis=1)
    other &= (graph.bounds[:, 2:] > box[:2]).all(axis=1)
    middle = shapely.get_coordinates(shapely.centroid(graph.polygons[other]))

    def holds_another(shape: Polygon | MultiPolygon) -> bool:
        shapely.prepare(shape)
        return bool(shapely.contains_xy(shape, middle).any())

    for by in FILLED:
        wide = shapely.buffer(grown, by * gap, join_style="mitre")
        closed = shapely.buffer(wide, -by * gap, join_style="mitre")
        if not holds_another(closed):
            break
    # bare grout within it is the sheet's own, another's pieces are not
    room = MultiPolygon(
        [
            Polygon(p.exterior, [h for h in p.interiors if holds_another(Polygon(h))])
            for p in polygons_in(closed)
        ]
    )
    plain = shapely.simplify(room, 0.2 * gap)
    return plain if plain.is_valid else room


def room_mended(
    graph: JointGraph, on: Ints, number: int, was: MultiPolygon, moved: Ints, gap: float
) -> MultiPolygon | None:
    """Return a sheet's room made again about moved pieces alone, None where that is not enough.

    Parameters
    ----------
    on : ndarray of int, shape (n,)
        The sheet of each piece, as it is to be.
    was : MultiPolygon
        The room before.
    moved : ndarray of int
        Pieces that came or went.
    """
    box = graph.box_of(moved)
    side = float((graph.bounds[moved, 2:] - graph.bounds[moved, :2]).max())
    window = _grown(box, REACH * side)
    about = _within(graph, _grown(box, 2 * REACH * side))
    local = graph.only(np.flatnonzero(about))
    mine = np.flatnonzero(on[about] == number)
    inner = shapely.box(*window)
    own = room_of(local, mine, gap) if len(mine) else MultiPolygon()
    fresh = shapely.intersection(own, inner)
    # a hair of both lies within the other, so that no line is left where they meet
    outer = shapely.difference(was, shapely.box(*_grown(window, -0.01)))
    least = CRUMB * float(local.area_mm2.min())
    parts = [p for p in polygons_in(shapely.union(outer, fresh)) if p.area > least]
    holes = [[h for h in p.interiors if Polygon(h).area > least] for p in parts]
    pairs = zip(parts, holes, strict=True)
    room = MultiPolygon([Polygon(p.exterior, h) for p, h in pairs])
    if not room.is_valid or room.is_empty:
        return None
    held = shapely.contains_xy(room, shapely.get_coordinates(shapely.centroid(local.polygons)))
    return room if (held == (on[about] == number)).all() else None


def _grown(box: Floats, by: float) -> Floats:
    return np.asarray(box + by * np.array([-1.0, -1.0, 1.0, 1.0]))


def _within(graph: JointGraph, box: Floats) -> NDArray[np.bool_]:
    """Return which pieces reach into a box."""
    low = (graph.bounds[:, :2] < box[2:]).all(axis=1)
    return np.asarray(low & (graph.bounds[:, 2:] > box[:2]).all(axis=1))
