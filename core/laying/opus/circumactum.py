"""Circumactum: fans laid over one another like scales, each filled with concentric courses.

The middles of the fans stand on a lattice of equal triangles whose side is the fans' radius, so
that each fan's rim meets its neighbours, and its foot runs out, at sixty degrees: no piece need
be sharper. The foot of each fan is a tapered keystone, and the courses widen from it to the rim.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.ops import split

from core.errors import Stopped
from core.laying.exact import (
    PLACE_MM,
    SOLVED,
    angles,
    arc_cosine,
    dot,
    logarithm,
    quantised,
    ways,
)
from core.laying.field.grid import Array
from core.laying.pieces.border import clear_of_border, cut_to
from core.laying.pieces.shape import blunted, shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

LEAST_RADIUS = 1.9  # pitches; a smaller fan would be all keystone
FOOT = 1.25  # pitches that the keystone is high
RUNS_ON = 0.05  # what joints that run on cost; pieces twice as long as wanted cost 1
SCRAP = 0.5  # squares of the pitch below which a piece cut by the border goes to a neighbour
THIN = 0.45  # pitches; so does a narrower one
FULL = 1.85  # squares of the pitch beyond which a piece takes no scrap
KEEP = 0.8  # of its area that giving a scrap away may leave bare
ARC_MM = 0.02  # by which drawn arcs may leave the true ones
NEAR_MM = 2 * ARC_MM  # so that territories this near to one another touch
Seen = tuple[NDArray[np.object_], NDArray[np.int64], NDArray[np.int64]]


@dataclass(frozen=True, slots=True)
class Fan:
    """One fan with its foot at (0, 0), opening upwards, as the corners of its territories.

    Attributes
    ----------
    r, t : ndarray (k,)
        Distance from the foot, mm, and angle off the axis, rad, of each corner.
    before, after : ndarray (k,)
        By how much of its move a corner follows the joint before its piece, and the one after.
    owner : ndarray of int (k,)
        The piece that each corner belongs to, 0 to n - 1.
    arc, place : ndarray of int (n,)
        Each piece's arc, from the foot outwards, and its place along it.
    step : ndarray (n,)
        The angle that a piece takes of its arc, rad.
    """

    r: Array
    t: Array
    before: Array
    after: Array
    owner: NDArray[np.int64]
    arc: NDArray[np.int64]
    place: NDArray[np.int64]
    step: Array

    def grounds(self, feet: Array, shift: Array) -> NDArray[np.object_]:
        """Return the territories of fans at `feet`, all of the first, then of the next.

        Parameters
        ----------
        feet : ndarray (m, 2)
        shift : ndarray (m, n)
            By how much of a piece's length the joint before it is moved along the arc.
        """
        move = np.where(self.place == 0, 0.0, shift * self.step)
        move = np.concatenate([move, np.zeros((len(feet), 1))], axis=1)
        t = self.t + self.before * move[:, self.owner] + self.after * move[:, self.owner + 1]
        way = ways(t)
        xy = self.r[..., None] * np.stack([way[..., 1], -way[..., 0]], axis=2) + feet[:, None]
        number = self.owner + len(self.arc) * np.arange(len(feet))[:, None]
        rings = shapely.linearrings(xy.reshape(-1, 2), indices=number.ravel())
        return np.asarray(shapely.polygons(rings), object)


def lay_circumactum(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in fans whose middle line follows the flow's mean direction.

    A fan is `module_mm` wide; without flow lines it opens upwards. `course` numbers the arcs of
    all fans, from the foot of each to its rim.
    """
    c, s = ways(np.array(axis(setting)))
    m = setting.outline.centroid
    middle = quantised(np.array([m.x, m.y]), PLACE_MM)

    def upright(xy: Array) -> Array:
        d = xy - middle
        return np.stack([c * d[:, 0] + s * d[:, 1], c * d[:, 1] - s * d[:, 0]], axis=1) + middle

    def turned(xy: Array) -> Array:
        d = xy - middle
        return np.stack([c * d[:, 0] - s * d[:, 1], c * d[:, 1] + s * d[:, 0]], axis=1) + middle

    feet = _feet(shapely.bounds(shapely.transform(setting.outline, upright)), radius_mm(setting))
    if stop():
        raise Stopped
    ground, course, place = _tiled(setting, feet)
    ground = shapely.transform(ground, turned)
    fan = turned(feet[course // _arcs(setting)])
    if stop():
        raise Stopped
    ground, which = _clipped(ground, setting.outline)
    course, place, fan = course[which], place[which], fan[which]
    if stop():
        raise Stopped
    ground, which = _scraps_joined(ground, setting.pitch_mm)
    course, place, fan = course[which], place[which], fan[which]
    if stop():
        raise Stopped
    polygons = blunted(shape_pieces(ground, setting.laying.joint_mm), setting.laying.tessera_mm)
    polygons = clear_of_border(polygons, setting.outline, setting.laying.joint_mm)
    keep = shapely.area(polygons) > 0.08 * setting.laying.tessera_mm**2
    polygons, course, place, fan = polygons[keep], course[keep], place[keep], fan[keep]
    d = shapely.get_coordinates(shapely.centroid(polygons)) - fan
    flow = angles(d[:, 0], -d[:, 1])
    flow = np.pi / 2 - (np.pi / 2 - flow) % np.pi
    order = np.lexsort((place, course))
    # parts of one territory that the border cut apart are numbered as pieces of their own
    course = course[order]
    piece = np.arange(len(order)) - np.searchsorted(course, course)
    return Pieces(polygons[order], course, piece, flow[order])


def axis(setting: Setting) -> float:
    """Return how far the fans are turned from (0, -1), clockwise, rad, in (-pi, pi].

    They open along the flow, to that side of it that is the higher on the wall; without flow
    lines straight up the wall.
    """
    cos2 = sin2 = 0.0
    for line in setting.flow:
        x, y = np.diff(shapely.get_coordinates(line), axis=0).T
        size = np.maximum(np.hypot(x, y), 1e-12)
        cos2 += float(np.sum((x * x - y * y) / size))
        sin2 += float(np.sum(2 * x * y / size))
    up = np.array(setting.up)
    if np.hypot(cos2, sin2) >= 1e-9:
        way = ways(angles(np.array(sin2), np.array(cos2)) / 2)
        # along a level line to the right
        higher = quantised(dot(way, up), SOLVED) or way[0] or way[1]
        up = way if higher > 0 else -way
    return float(angles(up[0], -up[1]))


def radius_mm(setting: Setting) -> float:
    """Return the radius of a fan `module_mm` wide; a fan is never smaller than its keystone."""
    return max(setting.laying.module_mm / float(np.sqrt(3)), LEAST_RADIUS * setting.pitch_mm)


def half_span(at: Array, radius: float) -> Array:
    """Return the half angle that a fan's arc at a distance from the foot is seen of, rad.

    Its sides are circles of `radius` through the foot, whose middles stand 120 degrees from the
    axis: a circle through the foot is met at a distance r at acos(r / 2 R) from its own middle.
    """
    out: Array = np.radians(120.0) - arc_cosine(at / (2 * radius))
    return out


def _rims(setting: Setting) -> Array:
    """Return the distances from the foot that arcs run between: 0, the keystone's, ..., R."""
    radius, pitch = radius_mm(setting), setting.pitch_mm
    foot = min(FOOT * pitch, radius)
    n = max(1, round((radius - foot) / pitch))
    rims: Array = np.r_[0.0, foot + (radius - foot) * np.arange(n + 1) / n]
    return rims


def _arcs(setting: Setting) -> int:
    return len(_rims(setting)) - 1


def _counts(setting: Setting) -> list[int]:
    """Return how many pieces each arc takes: near its length, joints not running on."""
    rims, radius = _rims(setting), radius_mm(setting)
    counts = [1]
    for low, high in pairwise(rims[1:]):
        mid = (low + high) / 2
        wanted = 2 * mid * half_span(np.array(mid), radius) / setting.pitch_mm
        # two arcs both even, or both odd, have their middle joints in line
        cost = {
            n: float(logarithm(wanted / n) / logarithm(np.array(2.0))) ** 2
            + RUNS_ON * ((n - counts[-1]) % 2 == 0)
            for n in range(max(2, int(wanted) - 1), int(wanted) + 3)
        }
        counts.append(min(cost, key=lambda n: (cost[n], n)))
    return counts


def fan(setting: Setting) -> Fan:
    """Draw one fan."""
    rims, radius = _rims(setting), radius_mm(setting)
    corners, owner = [], []
    arc: list[int] = []
    place: list[int] = []
    step: list[float] = []
    for k, n in enumerate(_counts(setting)):
        low, high = rims[k], rims[k + 1]
        span = float(half_span(np.array((low + high) / 2), radius))
        t = span * (-1 + 2 * np.arange(n + 1) / n)
        for j in range(n):
            piece = _sector(low, high, t[j], t[j + 1], radius, j == 0, j == n - 1)
            owner.append(np.full(piece.shape[1], len(arc)))
            corners.append(piece)
            arc.append(k)
            place.append(j)
            step.append(2 * span / n)
    r, at, before, after = np.concatenate(corners, axis=1)
    return Fan(
        r,
        at,
        before,
        after,
        np.concatenate(owner),
        np.array(arc),
        np.array(place),
        np.array(step),
    )


def _sector(
    low: float, high: float, a: float, b: float, radius: float, first: bool, last: bool
) -> Array:
    """Return a piece of an arc between angles a and b off the axis, (4, k) as in `Fan`.

    The first and the last of an arc end at the fan's side.
    """

    def end(at: float, sign: float, free: bool) -> Array:
        if not free:
            r = np.array([low, high])
            one = np.ones(2)
            return np.stack([r, at * one, (sign < 0) * one, (sign > 0) * one])
        r = np.linspace(low, high, _steps(high - low, radius))
        return np.stack([r, sign * half_span(r, radius), 0 * r, 0 * r])

    def arc_of(one: Array, two: Array) -> Array:
        w = np.linspace(0.0, 1.0, _steps(one[0] * abs(two[1] - one[1]), one[0]))
        return one[:, None] * (1 - w) + two[:, None] * w

    left, right = end(a, -1.0, first), end(b, 1.0, last)
    rim = arc_of(left[:, -1], right[:, -1])
    parts = [left[:, :-1], rim, right[:, -2:0:-1]]
    if low > 0:
        parts.append(arc_of(right[:, 0], left[:, 0])[:, :-1])
    out: Array = np.concatenate(parts, axis=1)
    return out


def _steps(length: float, radius: float) -> int:
    """Return the points that draw an arc of a circle true to ARC_MM."""
    return max(2, int(np.ceil(length / np.sqrt(8 * radius * ARC_MM))) + 1)


def _feet(upright: Array, radius: float) -> Array:
    """Return the feet of all fans seen of in a field of these bounds, one axis amid it, (n, 2)."""
    x0, y0, x1, y1 = upright
    wide, rise = np.sqrt(3) * radius, radius / 2
    # the field's foot is a row of fans' feet, half a fan down, so that no row is cut thin there
    rows = np.arange(int(np.ceil((y1 - y0) / rise)) + 5)
    out = []
    for r in rows:
        y = y1 + 1.0 * radius - r * rise
        reach = int(np.ceil((x1 - x0) / wide / 2)) + 2
        x = (x0 + x1) / 2 + (np.arange(-reach, reach + 1) + 0.5 * (r % 2)) * wide
        out.append(np.stack([x, np.full(len(x), y)], axis=1))
    feet = np.concatenate(out)
    inside = (feet[:, 0] > x0 - wide) & (feet[:, 0] < x1 + wide)
    seen: Array = feet[inside & (feet[:, 1] > y0 - radius) & (feet[:, 1] < y1 + 2 * radius)]
    return seen


def _tiled(setting: Setting, feet: Array) -> Seen:
    """Return the territories of all fans, their arc's number among all and place along it."""
    one = fan(setting)
    rng = np.random.default_rng(setting.seed)
    spread = setting.laying.variation / 2
    shift = rng.normal(0.0, 1.0, (len(feet), len(one.arc))).clip(-2, 2) * min(spread, 0.15)
    course = (np.arange(len(feet))[:, None] * _arcs(setting) + one.arc).ravel()
    return one.grounds(feet, shift), course, np.tile(one.place, len(feet))


def _clipped(
    ground: NDArray[np.object_], outline: MultiPolygon
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return every part of the territories that lies in the field, and which it was."""
    shapely.prepare(outline)
    whole = shapely.contains_properly(outline, ground)
    edge = np.flatnonzero(~whole)
    parts, owner = cut_to(ground[edge], outline)
    polygon = (shapely.get_type_id(parts) == 3) & (shapely.area(parts) > 1e-6)
    which = np.r_[np.flatnonzero(whole), edge[owner[polygon]]]
    out = np.concatenate([ground[whole], parts[polygon]])
    order = np.argsort(which, kind="stable")
    return out[order], which[order]


def _scraps_joined(
    ground: NDArray[np.object_], pitch: float
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Give territories too small or too thin for a piece to the neighbours they suit best."""
    ground = ground.copy()
    area = shapely.area(ground)
    thin = shapely.is_empty(shapely.buffer(ground, -THIN * pitch / 2, quad_segs=2))
    scraps = np.flatnonzero((area < SCRAP * pitch**2) | thin)
    scraps = scraps[np.argsort(area[scraps], kind="stable")]
    gone = np.zeros(len(ground), bool)
    mine, theirs = shapely.STRtree(ground).query(
        ground[scraps], predicate="dwithin", distance=NEAR_MM
    )
    near = np.split(theirs, np.searchsorted(mine, np.arange(1, max(len(scraps), 1))))
    for k, others in zip(scraps, near, strict=False):
        beside = [int(j) for j in others if j != k and not gone[j]]
        # whole to one neighbour, or split where two neighbours meet
        ways = [[ground[k]], _split_between(ground[k], [ground[j] for j in beside])]
        found = [_given(w, beside, ground, pitch) for w in ways[: 1 + (len(ways[1]) > 1)]]
        cost, new = min(found, key=lambda f: f[0])
        if cost < KEEP * area[k] + 0.1 * pitch**2:
            for j, shape in new.items():
                ground[j] = shape
            gone[k] = True
    keep = np.flatnonzero(~gone)
    return ground[keep], keep


def _given(
    parts: list[Polygon], beside: list[int], ground: NDArray[np.object_], pitch: float
) -> tuple[float, dict[int, Polygon]]:
    """Return what it costs to give parts of a scrap to the pieces beside it, and their new shapes.

    The cost is what they would then leave bare as convex pieces, mm2, and what they grow too
    large by.
    """
    total, new = 0.0, dict[int, Polygon]()
    for part in parts:
        best, least, shape = -1, np.inf, None
        for j in beside:
            old = new.get(j, ground[j])
            both = _one(part, old)
            if both is None or both.area > FULL * pitch**2:
                continue
            bare = (both.convex_hull.area - both.area) - (old.convex_hull.area - old.area)
            cost = bare + 0.15 * max(0.0, both.area - 1.2 * pitch**2)
            if cost < least:
                best, least, shape = j, cost, both
        if shape is None:
            least = 1.2 * part.area
        else:
            new[best] = shape
        total += least
    return (total, new) if new else (np.inf, new)


def _split_between(scrap: Polygon, beside: list[Polygon]) -> list[Polygon]:
    """Cut a long scrap across at the corners where two of the pieces beside it meet."""
    c = shapely.get_coordinates(scrap.minimum_rotated_rectangle)
    if len(c) < 5:
        return [scrap]
    one, two = c[1] - c[0], c[2] - c[1]
    across = two if np.hypot(*one) > np.hypot(*two) else one
    wide = shapely.buffer(np.array(beside, dtype=object), NEAR_MM / 2)
    corners = [
        p
        for i, a in enumerate(wide)
        for b in wide[:i]
        for p in shapely.get_parts([shapely.intersection(a, b)])
        if not p.is_empty and scrap.distance(p) < NEAR_MM
    ]
    parts = [scrap]
    for p in corners:
        at = shapely.get_coordinates(shapely.shortest_line(p, scrap))[0]
        knife = LineString([at - 2 * across, at + 2 * across])
        parts = [g for q in parts for g in split(q, knife).geoms if isinstance(g, Polygon)]
    return [g for g in parts if g.area > NEAR_MM**2]


def _one(a: Polygon, b: Polygon) -> Polygon | None:
    """Return two territories as one, or None where they do not share a side."""
    pair = shapely.remove_repeated_points(np.array([a, b], dtype=object), 1e-6)
    pair = shapely.buffer(pair, NEAR_MM, join_style="mitre")
    both = shapely.buffer(shapely.union_all(pair), -NEAR_MM, join_style="mitre")
    return both if isinstance(both, Polygon) and not both.interiors else None
