"""No sheet goes all round a socket: one that does is parted by a seam that runs into it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.openings import goes_round
from core.sheets.cut import cheapest_cut
from core.sheets.graph import Floats, Ints, JointGraph

Bools = NDArray[np.bool_]

NEAR = 2.0  # tesserae from an opening to the pieces of a sheet that can go round it
CLOSED = 0.15  # of a tessera: pieces so much larger are one room, joints and all


def all_round(graph: JointGraph, which: Ints | Bools, opening: Polygon) -> bool:
    """Return whether some pieces together go all round an opening, or lie over it."""
    box = graph.box_of(which)
    x0, y0, x1, y1 = opening.bounds
    if box[0] > x0 or box[1] > y0 or box[2] < x1 or box[3] < y1:
        return False
    wide = shapely.buffer(graph.polygons[which], CLOSED * _tessera(graph), join_style="mitre")
    room = shapely.get_parts(shapely.union_all(wide))
    return goes_round(shapely.union_all(shapely.polygons(shapely.get_exterior_ring(room))), opening)


def parted_beside(
    graph: JointGraph, label: Ints, cost: Floats, openings: Sequence[Polygon]
) -> tuple[Ints, list[int]]:
    """Return sheets of which none goes all round an opening.

    Parameters
    ----------
    label : ndarray of int, shape (n,)
        Sheets numbered from 0.
    cost : ndarray (m,)
        What a seam costs along each joint, mm.

    Returns
    -------
    label : ndarray of int, shape (n,)
    origin : list of int
        For each number the sheet that it was parted from, itself where it was there before.
    """
    label = label.copy()
    origin = list(range(int(label.max()) + 1))
    tree = shapely.STRtree(graph.polygons)
    for opening in openings:
        near = tree.query(opening, predicate="dwithin", distance=NEAR * _tessera(graph))
        for k in np.unique(label[near]).tolist():
            mine = np.flatnonzero(label == k)
            if len(mine) > 1 and all_round(graph, mine, opening):
                label[mine[through(graph, mine, cost, opening)]] = len(origin)
                origin.append(origin[k])
    return label, origin


def through(graph: JointGraph, mine: Ints, cost: Floats, opening: Polygon) -> Bools:
    """Return which of some pieces are on the second side of the cheapest seam into an opening.

    Of a seam across and one down that which leaves the wider halves, neither all round it.
    """
    number = np.full(len(graph), -1)
    number[mine] = np.arange(len(mine))
    a, b = number[graph.a], number[graph.b]
    on = (a >= 0) & (b >= 0)
    own = graph.only(mine)
    best, chosen = (-1, 0.0), np.zeros(len(mine), bool)
    for axis in (0, 1):
        along = own.centre_mm[:, axis]
        low, high = opening.bounds[axis], opening.bounds[axis + 2]
        spare = max(0.0, _tessera(graph) - (high - low)) / 2
        one, two = np.zeros(len(mine)), np.zeros(len(mine))
        # beside the opening each side is its own, so that the seam runs into it above and below
        one[along > high + spare], two[along < low - spare] = np.inf, np.inf
        order = np.argsort(along, kind="stable")
        one[order[-1]] = two[order[0]] = np.inf
        second = both_whole(own, cheapest_cut(len(mine), a[on], b[on], cost[on], one, two))
        halves = [h for h in (~second, second) if h.any()]
        sides = [own.box_of(h) for h in halves]
        free = len(halves) - 1 if not any(all_round(own, h, opening) for h in halves) else 0
        worth = free, min(float((s[2:] - s[:2]).min()) for s in sides)
        if worth > best:
            best, chosen = worth, second
    return chosen


def both_whole(graph: JointGraph, second: Bools) -> Bools:
    """Return two halves that each hang together: what is cut off from one belongs to the other."""
    second = second.copy()
    for half in (False, True):
        part = graph.parts(second.astype(np.int64))
        on = np.flatnonzero(second == half)
        main = np.bincount(part[on], graph.area_mm2[on]).argmax()
        second[on[part[on] != main]] = not half
    return second


def _tessera(graph: JointGraph) -> float:
    return float(np.sqrt(np.median(graph.area_mm2)))
