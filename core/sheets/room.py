"""The room of a sheet: its pieces to the middle of the joints about them, made whole or mended.

When a few pieces go over a seam only the room about them is made again, since that of a whole
sheet takes as long as a hand waits.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import polygons_in
from core.sheets.graph import Floats, Ints, JointGraph

FILLED = (3.0, 1.0)  # half joints: a notch between pieces so wide is filled, if none lies in it
MOST_JOINTS = 300  # by which a field's usual joint is told
MEETING = 3.0  # half joints from a room to the next: grout between them is parted by one line
REACH = 3.0  # sides of a moved piece about it, within which a room is made again
CRUMB = 0.2  # of the smallest piece about: less is no part of a room


def half_joints(graph: JointGraph) -> Floats:
    """Return about half a joint of each piece's field, shape (n,), mm.

    No more than lets rooms stay apart.
    """
    fields = int(graph.field.max(initial=-1)) + 1
    within = np.flatnonzero((graph.length_mm > 0) & (graph.field[graph.a] == graph.field[graph.b]))
    of = graph.field[graph.a[within]]
    half = np.full(fields, 0.5)
    for f in np.unique(of).tolist():
        some = within[of == f]
        some = some[:: max(1, len(some) // MOST_JOINTS)]
        far = shapely.distance(graph.polygons[graph.a[some]], graph.polygons[graph.b[some]])
        half[f] = float(np.median(far)) / 2
    return np.asarray(np.clip(half, 0.05, 5.0)[graph.field])


def room_of(graph: JointGraph, which: Ints, half_mm: Floats) -> MultiPolygon:
    """Return the room of some pieces; `half_mm` (n,) is half a joint of each of the graph's."""
    gap = float(np.median(half_mm[which]))
    each = shapely.buffer(graph.polygons[which], 1.02 * half_mm[which], join_style="mitre")
    grown: shapely.Geometry = shapely.union_all(each)
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


def met(room: shapely.Geometry, others: Sequence[shapely.Geometry], gap: float) -> shapely.Geometry:
    """Return a room that ends where others begin: bare grout between them is its own.

    So a seam is one line also where joints are uneven, as in palladianum.
    """
    reach = MEETING * gap
    near = [o for o in others if shapely.dwithin(o, room, reach)]
    if not near:
        return room
    beside = shapely.union_all(near)
    mine = shapely.difference(room, beside)
    # mitred, what is as fine as a hair would run to infinity
    between = shapely.intersection(
        shapely.buffer(mine, reach, quad_segs=2), shapely.buffer(beside, reach, quad_segs=2)
    )
    whole = shapely.union(mine, shapely.difference(between, beside))
    # a hair that the two buffers leave is closed again
    hair = 0.02 * gap
    whole = shapely.buffer(shapely.buffer(whole, hair, quad_segs=1), -hair, quad_segs=1)
    return shapely.difference(shapely.simplify(whole, hair), beside)


def all_met(
    rooms: Sequence[MultiPolygon], fixed: Sequence[MultiPolygon], gap: float
) -> list[MultiPolygon]:
    """Return rooms each of which ends where the next begins; the earlier take the grout.

    Those that are `fixed` stay as they are.
    """
    out: list[MultiPolygon] = list(rooms)
    for k, room in enumerate(rooms):
        others = [r for n, r in enumerate(out) if n != k]
        shape = _sound(met(room, [*fixed, *others], gap), gap)
        out[k] = room if shape is None else shape
    return out


def _sound(shape: shapely.Geometry, gap: float) -> MultiPolygon | None:
    """Return a room without the crumbs and pinholes that rounding leaves, None where it is none."""
    least = gap * gap
    parts = [p for p in polygons_in(shape) if p.area > least]
    room = MultiPolygon(
        [Polygon(p.exterior, [h for h in p.interiors if Polygon(h).area > least]) for p in parts]
    )
    return room if room.is_valid and not room.is_empty else None


def room_mended(
    graph: JointGraph,
    on: Ints,
    number: int,
    was: MultiPolygon,
    moved: Ints,
    half_mm: Floats,
    others: Sequence[MultiPolygon],
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
    others : sequence of MultiPolygon
        The rooms of other sheets, as far as they are as they are to be.
    """
    box = graph.box_of(moved)
    side = float((graph.bounds[moved, 2:] - graph.bounds[moved, :2]).max())
    window = _grown(box, REACH * side)
    about = _within(graph, _grown(box, 2 * REACH * side))
    local, half = graph.only(np.flatnonzero(about)), half_mm[about]
    mine = np.flatnonzero(on[about] == number)
    inner = shapely.box(*window)
    own = room_of(local, mine, half) if len(mine) else MultiPolygon()
    beside = [shapely.intersection(o, inner) for o in others if shapely.intersects(o, inner)]
    fresh = shapely.intersection(met(own, beside, float(half.max())), inner)
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
