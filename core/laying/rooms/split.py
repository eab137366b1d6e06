"""Territories that something pokes into are split there, as a hand would nip the tessera in two.

The tip of a leaf in the ground about it, or a corner of a socket, would else leave one piece
that keeps clear of it and a pool of grout beside it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.ops import split

from core.errors import Stopped
from core.geometry import box_sides, cross, unit, ways_round
from core.laying.exact import SOLVED, quantised, ways
from core.laying.field.grid import Array
from core.laying.field.scale import Scale
from core.laying.pieces.shape import bare, cost
from core.laying.rooms.room import Rooms
from core.quality import BARE_ROOM, THIN

BIG = 1.5  # squares of the pitch beyond which a piece may be worth two
GAIN = 0.02  # squares of the pitch that a new cut must win
WHISKER = 0.95  # joints; what is narrower of a territory cannot be laid
MUCH = 0.1  # squares of the pitch that a piece gains by it
SWEEPS = 2
TURNS = 6  # directions tried from a corner, beside its own
MOST_CORNERS = 3
POKES = 0.05  # sine of the turn below which a corner hardly points inwards
LEAST = 0.35  # squares of the pitch below which a part is not worth a piece of its own
SECOND = 0.6  # squares of the pitch below which a territory's second part is left to the grout
LONG = 2.4  # pitches beyond which a strip is cut across
PLAIN = 0.8  # share of the box round a strip that it fills if it is about as wide all along


def split_rooms(rooms: Rooms, scale: Scale, stop: Callable[[], bool] = lambda: False) -> Rooms:
    """Return the rooms, those that are long split, and those that a corner pokes into."""
    if not len(rooms):
        return rooms
    ground, owner = rooms.shape, rooms.owner
    area = shapely.area(ground)
    # of a piece that reaches into several places, the largest stays and others must be worth it
    first = np.zeros(len(ground), bool)
    order = np.lexsort((-area, owner))
    first[order[np.r_[True, owner[order][1:] != owner[order][:-1]]]] = True
    keep = first | (area > SECOND * scale.pitch_of(ground) ** 2)
    ground, owner = ground[keep], owner[keep]
    ground, owner = _lengths(ground, owner, scale)
    lost = bare(ground, scale.pitch_of(ground), scale.joint_mm)
    ground, lost = _without_whiskers(ground, lost, scale)
    rooms = rooms.but(ground, owner)
    for _ in range(SWEEPS):
        rooms, lost = _recut(rooms, lost, scale, stop)
    return rooms


def _without_whiskers(
    ground: NDArray[np.object_], lost: Array, scale: Scale
) -> tuple[NDArray[np.object_], Array]:
    """Return the territories less what is narrower than a joint, where a piece gains by it.

    Nothing can be laid there, and a piece that had to heed it would leave far more bare. `lost` is
    what the piece of each leaves bare, mm2, here and below.
    """
    pitch, joint = scale.pitch_of(ground), scale.joint_mm
    some = np.flatnonzero(lost > BARE_ROOM * pitch**2)
    by = WHISKER * joint / 2
    inner = shapely.buffer(ground[some], -by, join_style="mitre", mitre_limit=3.0)
    plain = shapely.buffer(inner, by, join_style="mitre", mitre_limit=3.0)
    whole = (shapely.get_type_id(plain) == 3) & ~shapely.is_empty(plain)
    some, plain = some[whole], plain[whole]
    pitch = pitch[some]
    left = bare(plain, pitch, joint)
    better = left + shapely.area(ground[some]) - shapely.area(plain)
    much = better < lost[some] - MUCH * pitch**2
    ground, lost = ground.copy(), lost.copy()
    ground[some[much]], lost[some[much]] = plain[much], left[much]
    return ground, lost


def _some(
    ground: NDArray[np.object_],
    owner: NDArray[np.int64],
    which: NDArray[np.bool_],
    part: Callable[[int], list[Polygon]],
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return all territories, some of them split."""
    chosen = np.flatnonzero(which)
    if not len(chosen):
        return ground, owner
    parts = [part(k) for k in chosen.tolist()]
    new = np.array([g for p in parts for g in p], dtype=object)
    who = np.repeat(owner[chosen], [len(p) for p in parts])
    ground = np.concatenate([ground[~which], new])
    owner = np.concatenate([owner[~which], who])
    order = np.argsort(owner, kind="stable")
    return ground[order], owner[order]


def _long(ground: NDArray[np.object_], pitch: Array) -> NDArray[np.bool_]:
    """Say which territories are a strip that wants several pieces."""
    if not len(ground):
        return np.zeros(0, bool)
    one, two = np.hypot(*np.moveaxis(box_sides(ground), 2, 0)).T
    length, area = np.maximum(one, two), shapely.area(ground)
    mean = area / np.maximum(length, 1e-9)
    # a strip as narrow all along is the drawing's own; what else is narrow is some piece's tail
    plain = area > PLAIN * one * two
    out: NDArray[np.bool_] = (length > LONG * pitch) & ((mean > THIN * pitch) | plain)
    return out


def in_lengths(parts: NDArray[np.object_], scale: Scale) -> NDArray[np.object_]:
    """Return parts of a field, those that are a strip cut across into pieces."""
    return _lengths(parts, np.zeros(len(parts), np.int64), scale)[0]


def _lengths(
    ground: NDArray[np.object_], owner: NDArray[np.int64], scale: Scale
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return all territories, those that are a strip cut across."""
    pitch = scale.pitch_of(ground)
    return _some(ground, owner, _long(ground, pitch), lambda k: _across(ground[k], float(pitch[k])))


def _across(shape: Polygon, pitch: float) -> list[Polygon]:
    """Cut a strip across its length into pieces about as long as a tessera."""
    c = shapely.get_coordinates(shape.minimum_rotated_rectangle)
    one, two = c[1] - c[0], c[2] - c[1]
    run, side = (one, two) if np.hypot(*one) >= np.hypot(*two) else (two, one)
    start = c[0] if run is one else c[1]
    n = max(2, round(float(np.hypot(*run)) / (1.15 * pitch)))
    parts = [shape]
    for k in range(1, n):
        at = start + run * k / n
        knife = LineString([at - 2 * side, at + 2 * side])
        parts = [g for p in parts for g in _cut(p, knife)]
    return [g for g in parts if g.area > 0.1 * pitch**2] or [shape]


def _cut(shape: Polygon, knife: LineString) -> list[Polygon]:
    return [g for g in split(shape, knife).geoms if isinstance(g, Polygon) and g.area > 0]


def _recut(
    rooms: Rooms, lost: Array, scale: Scale, stop: Callable[[], bool]
) -> tuple[Rooms, Array]:
    """Cut anew where a room is too big, or would leave grout bare by a corner in it."""
    ground, owner = rooms.shape.copy(), rooms.owner
    pitch, joint = scale.pitch_of(ground), scale.joint_mm
    some = np.flatnonzero((lost > BARE_ROOM * pitch**2) | (shapely.area(ground) > BIG * pitch**2))
    if not len(some):
        return rooms, lost
    tree = shapely.STRtree(ground)
    touching = tree.query(ground[some], predicate="intersects")
    changes: dict[int, list[tuple[int, float, list[Polygon]]]] = {}
    for k, other, gain, parts in _changes(rooms, some, touching, pitch, joint, stop):
        changes.setdefault(k, []).append((other, gain, parts))
    more: list[tuple[Polygon, int]] = []
    changed: set[int] = set()
    for k in some[np.argsort(-lost[some], kind="stable")].tolist():
        free = [c for c in changes.get(k, ()) if not changed & {k, c[0]}]
        if not free:
            continue
        other, _, parts = max(free, key=lambda c: c[1])
        far = [g.centroid.distance(ground[k].centroid) for g in parts]
        mine, rest = (parts[0], parts[1]) if far[0] <= far[1] else (parts[1], parts[0])
        if other == k:
            more.append((rest, int(owner[k])))
        else:
            ground[other] = rest
        ground[k] = mine
        changed |= {k, other}
    anew = np.array(sorted(changed), np.int64)
    lost = lost.copy()
    if more:
        anew = np.r_[anew, len(ground) + np.arange(len(more))]
        ground = np.concatenate([ground, np.array([g for g, _ in more], dtype=object)])
        owner = np.concatenate([owner, np.array([w for _, w in more])])
        lost = np.concatenate([lost, np.zeros(len(more))])
    lost[anew] = bare(ground[anew], scale.pitch_of(ground[anew]), joint)
    order = np.argsort(owner, kind="stable")
    return rooms.but(ground[order], owner[order]), lost[order]


def _changes(
    each: Rooms,
    some: NDArray[np.int64],
    touching: NDArray[np.int64],
    pitch: Array,
    joint: float,
    stop: Callable[[], bool],
) -> list[tuple[int, int, float, list[Polygon]]]:
    """Return what would be better: a territory, itself or the other whose room it shares, how
    much better it would be, mm2, and the two parts. All are weighed at once, which is far faster.
    """
    ground = each.shape
    rooms: list[tuple[int, int]] = []
    was: list[Polygon] = []
    tries: list[Polygon] = []
    room_of: list[NDArray[np.int64]] = []  # of each pair of tries
    for n, k in enumerate(some.tolist()):
        if stop():
            raise Stopped
        beside = touching[1][touching[0] == n]
        for other in (k, *_partners(k, beside, each)):
            both = [ground[k]] if other == k else [ground[k], ground[other]]
            found = _cuts(both, float(pitch[k]))
            if found:
                room_of.append(np.full(len(found) // 2, len(rooms)))
                rooms.append((k, other))
                was += both
                tries += found
    if not rooms:
        return []
    mine = pitch[[k for k, _ in rooms]]
    place = np.repeat(np.arange(len(rooms)), [1 + (k != other) for k, other in rooms])
    before = np.bincount(place, cost(np.array(was, dtype=object), mine[place], joint), len(rooms))
    room = np.concatenate(room_of)
    after = cost(np.array(tries, dtype=object), np.repeat(mine[room], 2), joint)
    after = after.reshape(-1, 2).sum(1)
    order = np.lexsort((quantised(after, SOLVED), room))
    best = order[np.r_[True, room[order][1:] != room[order][:-1]]]
    gain = before - after[best]
    return [
        (*rooms[r], float(gain[r]), tries[2 * t : 2 * t + 2])
        for r, t in enumerate(best.tolist())
        if gain[r] > GAIN * mine[r] ** 2
    ]


def _partners(k: int, beside: NDArray[np.int64], rooms: Rooms) -> list[int]:
    """Return the territories that a territory may share its room with: next in its course, or
    across what parts two courses' ends."""
    course, piece, last = rooms.course, rooms.piece, rooms.last
    out = []
    for n in beside.tolist():
        if n == k:
            continue
        same = course[n] == course[k] and abs(piece[n] - piece[k]) == 1
        ends = (piece[n] == 0 or last[n]) and (piece[k] == 0 or last[k])
        if same or (course[n] != course[k] and ends):
            out.append(n)
    return out


def _cuts(was: list[Polygon], pitch: float) -> list[Polygon]:
    """Return the ways to cut a room in two, the two parts of each one after the other."""
    if not all(g.is_valid for g in was):
        return []
    room = was[0] if len(was) == 1 else shapely.union_all(was, grid_size=1e-5 * pitch)
    if not isinstance(room, Polygon) or room.interiors:
        return []
    tries: list[Polygon] = []
    for corner, tried in (*_reflex(room, pitch), *(_middle(room, pitch) if len(was) == 1 else ())):
        for way in tried:
            d = 4 * pitch * way
            parts = _cut(room, LineString([corner - d, corner + d]))
            if len(parts) == 2 and min(g.area for g in parts) > LEAST * pitch**2:
                tries += parts
    return tries


def _middle(shape: Polygon, pitch: float) -> list[tuple[Array, list[Array]]]:
    """Return the middle of a shape too big for a piece, and ways to cut there."""
    if shape.area <= BIG * pitch**2:
        return []
    (sides,) = unit(box_sides(np.array([shape], dtype=object)))
    return [(shapely.get_coordinates(shape.centroid)[0], list(sides))]


def _reflex(shape: Polygon, pitch: float) -> list[tuple[Array, list[Array]]]:
    """Return the corners that point inwards, the deepest few, and ways to cut from each."""
    ring = shapely.get_exterior_ring(shapely.simplify(shape, 0.01 * pitch))
    c = shapely.get_coordinates(ring)[:-1]
    if not shapely.is_ccw(ring):
        c = c[::-1]
    a, b = ways_round(c)
    inward = np.flatnonzero(cross(a, b) < -POKES)
    depth = np.asarray(
        shapely.distance(shapely.points(c[inward]), shapely.boundary(shapely.convex_hull(shape)))
    )
    out = []
    for k in inward[np.argsort(-depth, kind="stable")[:MOST_CORNERS]]:
        turns = np.arange(TURNS) * np.pi / TURNS
        out.append((c[k], [unit(a[k] - b[k]), a[k], b[k], *ways(turns)]))
    return out
