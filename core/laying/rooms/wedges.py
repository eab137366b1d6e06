"""Course ends that run out in a wedge are cut off square, on a joint of the course beside.

Where a course runs out against a border or another course at a few degrees, its last piece would
be a thin point: it breaks off the glass, draws the eye and leaves a pool of grout. A hand ends
the course where it is still wide enough and lets the tessera beside grow into the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon

from core.laying.exact import SOLVED, dot, quantised
from core.laying.field.grid import Array
from core.laying.field.scale import Scale
from core.laying.pieces.shape import bare, cost
from core.laying.rooms.cuts import Ruler
from core.laying.rooms.pairs import alike, common, in_two, numbered
from core.laying.rooms.room import Rooms

WIDE = (0.15, 0.85)  # pitches across at which a wedge may be cut off
SLIM = 0.85  # pitches across, a pitch before its end, below which an end is a wedge
LEAST = 0.015  # squares of the pitch that a wedge leaves bare before it is cut
BLUNT_TIP = 0.7  # pitches from a sharp corner of the field within which its own piece is let be


@dataclass(frozen=True, slots=True)
class _End:
    """One course end: its territory's number, and the way out of the course at it."""

    number: int
    way: Array


def without_wedges(rooms: Rooms, ruler: Ruler, tips: shapely.MultiPoint, scale: Scale) -> Rooms:
    """Return the rooms, wedges at course ends given to the pieces beside them.

    Parameters
    ----------
    tips : MultiPoint
        Sharp corners of the field, where a piece may be a point.
    """
    if not len(rooms):
        return rooms
    ground, at = rooms.shape, numbered(rooms)
    pitch, joint = scale.pitch_of(ground), scale.joint_mm
    ends = _wedges(rooms, at, ruler, tips, pitch)
    some = np.array([e.number for e in ends], np.int64)
    lost = bare(ground[some], pitch[some], joint)
    tree = shapely.STRtree(ground)
    cuts = [
        cut
        for end, leaves in zip(ends, lost, strict=True)
        if leaves > LEAST * pitch[end.number] ** 2
        for cut in _cuts(rooms, end, at, tree, float(pitch[end.number]))
    ]
    if not cuts:
        return rooms
    which = np.repeat(np.arange(len(cuts)), [len(c) for c in cuts])
    changes = np.array([k for c in cuts for k in c])
    was = cost(ground[changes], pitch[changes], joint)
    new = np.array([g for c in cuts for g in c.values()], dtype=object)
    now = cost(new, pitch[changes], joint)
    gain = quantised(np.asarray(np.bincount(which, was - now, len(cuts)), np.float64), SOLVED)
    ground = ground.copy()
    changed: set[int] = set()
    for n in np.argsort(-gain, kind="stable").tolist():
        if gain[n] > 0 and changed.isdisjoint(cuts[n]):
            changed.update(cuts[n])
            for k, g in cuts[n].items():
                ground[k] = g
    return rooms.but(ground)


def _wedges(
    rooms: Rooms,
    at: dict[tuple[int, int], int],
    ruler: Ruler,
    tips: shapely.Geometry,
    pitch: Array,
) -> list[_End]:
    ground, owner, stretches = rooms.shape, rooms.owner, rooms.stretches
    course = rooms.course
    single = np.zeros(len(ground), bool)
    single[list(at.values())] = True
    out = []
    for last in (False, True):
        is_end = rooms.last if last else rooms.piece == 0
        which = np.flatnonzero(is_end & single & ~ruler.ring[course])
        if not len(which):
            continue
        u = (stretches.b if last else stretches.a)[owner[which]]
        mine = pitch[which]
        way = ruler.tangent(u, 0.5 * mine, course[which]) * (1 if last else -1)
        far, wide = _profile(ground[which], way, mine)
        tip = shapely.distance(far, tips) < BLUNT_TIP * mine
        out += [_End(int(which[k]), way[k]) for k in np.flatnonzero((wide < SLIM * mine) & ~tip)]
    return sorted(out, key=lambda e: e.number)


def _profile(
    shapes: NDArray[np.object_], way: Array, pitch: Array
) -> tuple[NDArray[np.object_], Array]:
    """Return each shape's farthest point that way, and how wide it is a while before, mm."""
    xy, index = shapely.get_coordinates(shapes, return_index=True)
    along = (xy * way[index]).sum(1)
    order = np.lexsort((along, index))
    far = xy[order[np.r_[index[order][1:] != index[order][:-1], True]]]
    back = far - 0.6 * pitch[:, None] * way
    side = 4 * pitch[:, None] * np.stack([-way[:, 1], way[:, 0]], axis=1)
    across = shapely.linestrings(np.stack([back - side, back + side], axis=1))
    return np.asarray(shapely.points(far), dtype=object), shapely.length(
        shapely.intersection(shapes, across)
    )


def _cuts(
    rooms: Rooms,
    end: _End,
    at: dict[tuple[int, int], int],
    tree: shapely.STRtree,
    pitch: float,
) -> list[dict[int, Polygon]]:
    """Return the ways to cut a wedge off, each as the territories that it changes."""
    ground = rooms.shape
    wedge = ground[end.number]
    course, piece = rooms.course, rooms.piece
    near = [
        k
        for k in tree.query(wedge, predicate="dwithin", distance=0.01 * pitch).tolist()
        if at.get((int(course[k]), int(piece[k]))) == k
    ]
    prev = _next(end.number, at, rooms, None)
    out = []
    for a in near:
        for b in near:
            foot = None if end.number in (a, b) else _foot(a, b, rooms, wedge, end.way, pitch)
            if foot is None:
                continue
            new = _shared(ground, end, a, b, foot, pitch)
            if new is None:
                continue
            for one, two in ((a, _next(a, at, rooms, b)), (end.number, prev)):
                if two is None or two in new:
                    continue
                evened = alike(new[one], ground[two], pitch)
                if evened is not None:
                    new[one], new[two] = evened
            out.append(new)
    return out


def _foot(
    a: int,
    b: int,
    rooms: Rooms,
    wedge: Polygon,
    way: Array,
    pitch: float,
) -> Array | None:
    """Return where the joint between `b` and `a`, the next outward of its course, meets a wedge."""
    ground, stretches, (one, two) = rooms.shape, rooms.stretches, rooms.owner[[a, b]]
    if stretches.course[one] != stretches.course[two]:
        return None
    if abs(stretches.piece[one] - stretches.piece[two]) != 1:
        return None
    m = shapely.get_coordinates(shapely.centroid([ground[a], ground[b]]))
    if dot(m[0] - m[1], way) <= 0:
        return None
    c = common(ground[a], ground[b], pitch)
    far = shapely.distance(shapely.points(c), wedge)
    return c[int(np.argmin(far))] if len(c) and far.min() < 0.01 * pitch else None


def _shared(
    ground: NDArray[np.object_], end: _End, a: int, b: int, foot: Array, pitch: float
) -> dict[int, Polygon] | None:
    """Cut a wedge off at `foot` and give its tip to piece `a` beside it."""
    wedge = ground[end.number]
    side = np.array([-end.way[1], end.way[0]])
    knife = LineString([foot - 2 * pitch * side, foot + 2 * pitch * side])
    wide = float(shapely.length(shapely.intersection(wedge, knife))) / pitch
    if not WIDE[0] < wide < WIDE[1]:
        return None
    halves = in_two(wedge, knife, foot, end.way)
    if halves is None:
        return None
    rest, tip = halves
    more = shapely.union_all([ground[a], tip], grid_size=1e-6 * pitch)
    if not isinstance(more, Polygon) or more.interiors:
        return None
    rest, less = _straight(rest, ground[b], pitch)
    return {a: more, b: less, end.number: rest}


def _next(
    k: int,
    at: dict[tuple[int, int], int],
    rooms: Rooms,
    other: int | None,
) -> int | None:
    """Return the piece next to one in its course, on the other side from `other`."""
    own = rooms.owner[k]
    course, piece = int(rooms.stretches.course[own]), int(rooms.stretches.piece[own])
    beside = [at.get((course, piece + step)) for step in (1, -1)]
    found = [n for n in beside if n is not None and n != other]
    return found[0] if found else None


def _straight(rest: Polygon, less: Polygon, pitch: float) -> tuple[Polygon, Polygon]:
    """Let the side between a wedge's rest and the piece beside it run straight to the knife."""
    both = shapely.union_all([rest, less], grid_size=1e-6 * pitch)
    grown = shapely.intersection(shapely.convex_hull(less), both)
    left = shapely.difference(rest, grown)
    if isinstance(grown, Polygon) and isinstance(left, Polygon) and not left.is_empty:
        return left, grown
    return rest, less
