"""Two territories that lie next to one another in a course, and the joint between them."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.ops import split

from core.laying.exact import SOLVED, dot, quantised
from core.laying.field.grid import Array
from core.laying.field.scale import Scale
from core.laying.pieces.shape import cost
from core.laying.rooms.room import Rooms

UNLIKE = 0.2  # squares of the pitch by which two neighbours differ before their joint is moved
FARTHEST = 0.35  # pitches that a joint is moved at once
NEAREST = 0.04  # pitches that are not worth moving it


def numbered(rooms: Rooms) -> dict[tuple[int, int], int]:
    """Return the room of each (course, piece) that has a single sound one."""
    count = np.bincount(rooms.owner, minlength=len(rooms.stretches.course))
    count[rooms.owner[~shapely.is_valid(rooms.shape)]] = 0
    single = np.flatnonzero(count[rooms.owner] == 1)
    places = zip(rooms.course[single].tolist(), rooms.piece[single].tolist(), strict=True)
    return dict(zip(places, single.tolist(), strict=True))


def evened_out(rooms: Rooms, scale: Scale) -> Rooms:
    """Return the rooms, joints moved from a small piece into the large one next to it."""
    at, ground = numbered(rooms), rooms.shape
    pitch = scale.pitch_of(ground)
    courses, pieces = rooms.course, rooms.piece
    size = shapely.area(ground) / pitch**2
    pairs: list[tuple[int, int]] = []
    moved: list[Polygon] = []
    for k in np.flatnonzero(np.abs(size - 1) > UNLIKE).tolist():
        course, piece = int(courses[k]), int(pieces[k])
        for n in (at.get((course, piece - 1)), at.get((course, piece + 1))):
            if n is None or at.get((course, piece)) != k or abs(size[n] - size[k]) < UNLIKE:
                continue
            both = alike(ground[k], ground[n], float(pitch[k]))
            if both is not None:
                pairs.append((k, n))
                moved += both
    if not pairs:
        return rooms
    which = np.array(pairs)
    was = cost(ground[which.ravel()], pitch[which.ravel()], scale.joint_mm)
    now = cost(np.array(moved, dtype=object), pitch[which.ravel()], scale.joint_mm)
    gain = quantised((was - now).reshape(-1, 2).sum(1), SOLVED)
    out = ground.copy()
    changed: set[int] = set()
    for n in np.argsort(-gain, kind="stable").tolist():
        if gain[n] > 0 and changed.isdisjoint(pairs[n]):
            changed.update(pairs[n])
            out[which[n]] = np.array(moved[2 * n : 2 * n + 2], dtype=object)
    return rooms.but(out)


def alike(one: Polygon, two: Polygon, pitch: float) -> tuple[Polygon, Polygon] | None:
    """Move the joint between two pieces so that they are alike in size."""
    if not (one.is_valid and two.is_valid):
        return None
    c = common(one, two, pitch)
    if len(c) < 2:
        return None
    start = c[int(np.argmax(np.hypot(*(c - c[0]).T)))]
    run = c[int(np.argmax(np.hypot(*(c - start).T)))] - start
    length = float(np.hypot(*run))
    if not length:
        return None
    normal = np.array([-run[1], run[0]]) / length
    m = shapely.get_coordinates(one.centroid)[0] - start
    normal *= np.sign(dot(m, normal))
    move = float(np.clip((one.area - two.area) / 2 / length, -FARTHEST * pitch, FARTHEST * pitch))
    if abs(move) < NEAREST * pitch:
        return None
    both = shapely.union_all([one, two], grid_size=1e-6 * pitch)
    if not isinstance(both, Polygon):
        return None
    mid = start + run / 2 + move * normal
    knife = LineString([mid - 2 * run / length * pitch, mid + 2 * run / length * pitch])
    halves = in_two(both, knife, mid, normal)
    return None if halves is None else (halves[1], halves[0])


def common(one: Polygon, two: Polygon, pitch: float) -> Array:
    """Return the corners that two territories share, (n, 2) mm."""
    near = 1e-4 * pitch
    c, d = shapely.get_coordinates(one)[:-1], shapely.get_coordinates(two)[:-1]
    c = c[shapely.distance(shapely.points(c), two) < near]
    d = d[shapely.distance(shapely.points(d), one) < near]
    out: Array = np.concatenate([c, d])
    return out


def in_two(
    shape: Polygon, knife: LineString, place: Array, way: Array
) -> tuple[Polygon, Polygon] | None:
    """Return what lies before a knife and beyond it, where it cuts a shape in two."""
    parts = [g for g in split(shape, knife).geoms if isinstance(g, Polygon)]
    if len(parts) != 2:
        return None
    one, two = parts
    ahead = [float(dot(shapely.get_coordinates(g.centroid)[0] - place, way)) for g in parts]
    return (one, two) if ahead[0] < ahead[1] else (two, one)
