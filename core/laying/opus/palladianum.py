"""Palladianum: irregular pieces like broken stone, of sizes by a chosen spread.

Relaxed cells of given sizes fill the field. Where shapes squeeze it some would be slivers, points
or long strips, or leave bare what pokes out of a convex piece: those are given to a neighbour, or
their room and a neighbour's is cut anew, until a hand would leave them so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.geometry.polygon import orient

from core.errors import Stopped
from core.geometry import cross, largest, unit, ways_round
from core.laying.exact import (
    FINE,
    SOLVED,
    arc_cosine,
    dot,
    exponential,
    logarithm,
    quantised,
    ways,
)
from core.laying.field.grid import Array
from core.laying.pieces.border import clear_of_border
from core.laying.pieces.shape import blunted, shape_pieces
from core.laying.rooms.power import sized_cells
from core.laying.rooms.split import GAIN
from core.laying.spec import Setting
from core.pieces import Pieces
from core.quality import OWN_SHARP_DEG, OWN_SLIVER, TIP_DEG

SHORT = 0.24  # pitches below which a side is closed up to a corner
LEAST = 0.1  # squares of the tessera; a smaller piece is left to the grout
THINNEST = 0.15  # tesserae; a thinner piece cannot be held, and is left to the grout
LONG = 2.5  # times its width beyond which a piece is a strip
ROW = 1.6  # times their width that pieces in a narrow passage are long
BARE = 0.042  # squares of the pitch that a piece may leave bare beside its joints
TAIL = 2.2  # standard deviations within which sizes are drawn
TIP = 1.5  # pitches; a longer tongue is no tip
TRUE = 0.03  # joints of detail in an outline that do not count
SWEEPS = 6
TURNS = 4  # directions in which a room is cut through its middle
WAYS = 3  # of cutting a room in two that are looked at closely
CORNERS = 2  # hollow corners from which a room is cut

Shapes = NDArray[np.object_]


def lay_palladianum(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in irregular convex pieces.

    The pieces' areas have the setting's `spread` (standard deviation over mean) about the square
    of the pitch.
    """
    rng = np.random.default_rng(setting.seed)
    pitch = setting.pitch_mm
    field = _roomy(setting)
    if field.is_empty:
        return Pieces.empty()
    sizes = graded_sizes(max(1, round(field.area / pitch**2)), setting.laying.spread, rng)
    cells, _ = sized_cells(field, sizes, rng, stop)
    cells = closed_up(cells, SHORT * pitch, field)
    hand = _Hand(setting, _tips(field))
    ground = hand.mended(cells[~shapely.is_empty(cells)], stop)
    pieces, fit = hand.pieces(ground)
    pieces = pieces[fit]
    k = len(pieces)
    return Pieces(pieces, np.full(k, -1), np.arange(k), np.zeros(k))


def graded_sizes(n: int, spread: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return n sizes of mean 1, log-normal with a given standard deviation over mean."""
    sigma = _sigma(spread)
    off = rng.normal(0.0, sigma, n).clip(-TAIL * sigma, TAIL * sigma)
    out = exponential(off)
    out /= out.mean()
    return out


def _sigma(spread: float) -> float:
    """Return the spread of the logarithms of log-normal sizes of a given spread."""
    return float(np.sqrt(logarithm(np.array(1 + spread**2))))


def _roomy(setting: Setting) -> MultiPolygon:
    """Return the field without its long tongues narrower than two joints; short tips it keeps."""
    outline, joint = setting.outline, setting.laying.joint_mm
    less = shapely.buffer(outline, -joint, join_style="mitre", mitre_limit=10.0)
    room = shapely.buffer(less, joint, join_style="mitre", mitre_limit=10.0)
    lost = shapely.get_parts(shapely.difference(outline, room))
    x0, y0, x1, y1 = shapely.bounds(lost).T
    long = np.hypot(x1 - x0, y1 - y0) > TIP * setting.pitch_mm
    field = shapely.difference(outline, shapely.union_all(lost[long])) if long.any() else outline
    parts = shapely.get_parts([shapely.simplify(field, TRUE * joint)])
    # a part that is all tongue is lost whole
    kept = shapely.intersects(parts, less) & (shapely.area(parts) > 0)
    return MultiPolygon(parts[kept & (shapely.get_type_id(parts) == 3)].tolist())


def _tips(field: MultiPolygon) -> shapely.Geometry:
    """Return the corners of a field that force sharp pieces."""
    found = []
    for part in field.geoms:
        for corner, come, go in _rings(part):
            back = quantised(-dot(come, go), FINE) > ways(np.radians(TIP_DEG))[0]
            found.append(corner[back & (cross(come, go) > 0)])
    tips: shapely.Geometry = shapely.MultiPoint(np.concatenate(found))
    return tips


def closed_up(
    cells: NDArray[np.object_], short_mm: float, outline: MultiPolygon
) -> NDArray[np.object_]:
    """Close short sides up to one corner, for all cells that meet there alike.

    Corners on the border stay, so that the field keeps its outline.
    """
    some = np.flatnonzero(~shapely.is_empty(cells))
    if not len(some):
        return cells
    rings = shapely.get_exterior_ring(cells[some])
    xy, owner = shapely.get_coordinates(rings, return_index=True)
    open_ring = np.r_[owner[1:] == owner[:-1], False]
    xy, owner = xy[open_ring], owner[open_ring]
    key, where = np.unique(np.round(xy, 6), axis=0, return_inverse=True)
    where = where.reshape(-1)
    first = np.searchsorted(owner, np.arange(len(some)))
    after = np.arange(len(xy)) + 1
    after[np.r_[first[1:], len(xy)] - 1] = first
    a, b = where, where[after]
    length = np.hypot(*(key[a] - key[b]).T)
    # shortest first, and no corner moved twice: a chain of short sides must not collapse
    order = np.argsort(length, kind="stable")
    moved = np.zeros(len(key), bool)
    border = np.asarray(shapely.distance(shapely.points(key), outline.boundary) < 1e-5)
    at = key.copy()
    target = np.arange(len(key))
    for k in order[length[order] < short_mm]:
        i, j = (a[k], b[k]) if border[a[k]] else (b[k], a[k])
        if i != j and not (moved[i] or moved[j] or border[j]):
            moved[i] = moved[j] = True
            at[i] = at[j] = key[i] if border[i] else (key[i] + key[j]) / 2
            target[j] = i
    new = at[where]
    same = target[where] == target[where[after]]  # two corners become one: keep the first
    keep = ~same
    count = np.bincount(owner[keep], minlength=len(some))
    out = cells.copy()
    good = count[owner] >= 3
    use = keep & good
    ids, start = np.unique(owner[use], return_index=True)
    dense = np.searchsorted(ids, owner[use])
    points = np.concatenate([new[use], new[use][start]])
    index = np.concatenate([dense, np.arange(len(ids))])
    o = np.argsort(index, kind="stable")
    made = np.asarray(shapely.polygons(shapely.linearrings(points[o], indices=index[o])), object)
    sound = shapely.is_valid(made) & (shapely.area(made) > 0)
    out[some[ids[sound]]] = made[sound]
    # a side may now cut across a corner of the border, or a hole that its cell goes round
    poke = some[~shapely.covered_by(out[some], outline)]
    out[poke] = largest(shapely.intersection(out[poke], outline))
    if shapely.area(out).sum() > outline.area * (1 + 1e-9):
        # a corner was closed up across a spike of the border
        a, b = shapely.STRtree(out).query(out, predicate="overlaps")
        for i, j in zip(a[a < b], b[a < b], strict=True):
            out[j] = largest(shapely.difference(out[[j]], out[i]))[0]
    return out


class _Hand:
    """What a hand minds in the rooms that pieces are given, and what it would do about it."""

    def __init__(self, setting: Setting, tips: shapely.Geometry) -> None:
        self.tessera, self.joint, self.pitch = (
            setting.laying.tessera_mm,
            setting.laying.joint_mm,
            setting.pitch_mm,
        )
        self.tips = tips
        self.outline = setting.outline
        tail = float(exponential(np.array(TAIL * _sigma(setting.laying.spread))))
        self.small, self.large = 0.7 / tail, 1.15 * tail

    def pieces(self, ground: Shapes) -> tuple[Shapes, NDArray[np.bool_]]:
        """Return the piece that each room gives, and whether it is worth laying."""
        pieces = shape_pieces(ground, self.joint)
        blunt = ~shapely.dwithin(ground, self.tips, 1e-3 * self.pitch)
        pieces[blunt] = blunted(pieces[blunt], self.tessera)
        out = ~shapely.covers(self.outline, pieces)
        pieces[out] = clear_of_border(pieces[out], self.outline, self.joint)
        wide = _form(pieces)[0]
        fit = (wide > THINNEST * self.tessera) & (shapely.area(pieces) > LEAST * self.tessera**2)
        return pieces, fit

    def minds(self, ground: Shapes) -> tuple[Array, NDArray[np.bool_]]:
        """Return what is wrong with rooms, in squares of the pitch left bare, and which are bad."""
        pieces = shape_pieces(ground, self.joint)
        wide, long, sharpest, next_sharp = _form(pieces)
        # the tip of a leaf is as sharp as it is, and so slender
        at_tip = shapely.dwithin(ground, self.tips, 1e-3 * self.pitch)
        corner = np.where(at_tip, next_sharp, sharpest)
        area = shapely.area(ground)
        joints = np.minimum(self.joint / 2 * shapely.length(ground), area)
        bare = np.maximum(area - shapely.area(pieces) - joints, 0.0) / self.pitch**2
        size, thin = area / self.pitch**2, wide / self.tessera
        thin = np.where(at_tip & (size > self.small), np.maximum(thin, OWN_SLIVER), thin)
        strip = long / np.maximum(wide, 1e-9) * np.where(at_tip, 0.65, 1.0)
        pierced = shapely.get_num_interior_rings(ground) > 0
        some = size.clip(0.25, 1.0)
        cost = 2 * bare + some * (0.2 * (thin < OWN_SLIVER) + 4 * np.maximum(OWN_SLIVER - thin, 0))
        cost += some * (0.2 * (corner < OWN_SHARP_DEG) + np.maximum(1 - corner / OWN_SHARP_DEG, 0))
        cost += 0.8 * np.maximum(strip - 2, 0) + 2.0 * pierced
        cost += 0.6 * np.maximum(1 - size / self.small, 0) + 0.5 * np.maximum(size - self.large, 0)
        bad = (
            (thin < OWN_SLIVER)
            | (corner < OWN_SHARP_DEG)
            | (strip > LONG)
            | (bare > BARE)
            | pierced
        )
        bad |= (size < self.small) | (size > 1.2 * self.large)
        left = (thin < THINNEST) | (shapely.area(pieces) < LEAST * self.tessera**2)
        return np.where(left, 3 * size + 0.1, cost), bad

    def mended(self, ground: Shapes, stop: Callable[[], bool]) -> Shapes:
        """Return the rooms, the bad ones given to a neighbour, or cut anew alone or with one."""
        fresh = np.ones(len(ground), bool)
        for _ in range(SWEEPS):
            if stop():
                raise Stopped
            cost, bad = self.minds(ground)
            some = np.flatnonzero(bad & fresh)
            if not len(some):
                break
            ground, fresh = self._sweep(ground, cost, some)
        return ground

    def _sweep(
        self, ground: Shapes, cost: Array, some: NDArray[np.int64]
    ) -> tuple[Shapes, NDArray[np.bool_]]:
        """Make the best changes, none by another; say which rooms have had one by them since."""
        touching = 1e-4 * self.pitch
        who, other = shapely.STRtree(ground).query(
            ground[some], predicate="dwithin", distance=touching
        )
        one = some[who]
        once = ~(np.isin(other, some) & (other < one))  # two bad neighbours are one pair
        one, other = one[once], other[once]
        alone = one == other
        room = ground[one]
        room[~alone] = shapely.union(
            room[~alone], ground[other[~alone]], grid_size=1e-6 * self.pitch
        )
        whole = shapely.get_type_id(room) == 3
        room, one, other, alone = room[whole], one[whole], other[whole], alone[whole]
        parts, way, of = self._split_in_two(room, alone)
        gain = (cost[one] + np.where(alone, 0.0, cost[other]))[of]
        gain -= np.bincount(way, self.minds(parts)[0], len(of))
        start = np.searchsorted(way, np.arange(len(of) + 1))
        gone = np.zeros(len(ground), bool)
        made: list[Shapes] = []
        gain = quantised(gain, SOLVED)
        for c in np.argsort(-gain, kind="stable").tolist():
            if gain[c] < GAIN:
                break
            pair = [one[of[c]], other[of[c]]]
            if not gone[pair].any():
                gone[pair] = True
                made.append(parts[start[c] : start[c + 1]])
        out = np.concatenate([ground[~gone], *made])
        fresh = np.zeros(len(out), bool)
        new = out[np.count_nonzero(~gone) :]
        by = shapely.STRtree(out).query(new, predicate="dwithin", distance=touching)
        fresh[by[1]] = True
        return out, fresh

    def _split_in_two(
        self, room: Shapes, alone: NDArray[np.bool_]
    ) -> tuple[Shapes, NDArray[np.int64], NDArray[np.int64]]:
        """Return the parts that rooms could be laid in: as one, in halves, or in a row.

        Beside the parts the way of parting that each belongs to, in order, and each way's room.
        """
        joined = np.flatnonzero(~alone)
        halves, halved = self._halves(room, alone)
        rows, row, of_row = self._rows(room)
        n, m = len(joined), len(halved)
        return (
            np.concatenate([room[joined], halves.ravel(), rows]),
            np.concatenate([np.arange(n), n + np.repeat(np.arange(m), 2), n + m + row]),
            np.concatenate([joined, halved, of_row]),
        )

    def _halves(self, room: Shapes, alone: NDArray[np.bool_]) -> tuple[Shapes, NDArray[np.int64]]:
        """Return rooms cut in two in the ways that promise most, (m, 2), and whose each is."""
        at, points, tried = [], [], []
        middle = shapely.get_coordinates(shapely.centroid(room))
        turns = np.arange(TURNS) * np.pi / TURNS
        fan = ways(turns)
        for k, shape in enumerate(room):
            axis = _long_axis(shape)
            turned = fan[:, :1] * axis + fan[:, 1:] * np.array([-axis[1], axis[0]])
            some = [(middle[k], turned), *_hollows(shape, self.pitch, turned)]
            for point, directions in some:
                at += [k] * len(directions)
                points += [point] * len(directions)
                tried.append(directions)
        which = np.array(at, np.int64)
        x0, y0, x1, y1 = shapely.bounds(room[which]).T
        far = 2 * (x1 - x0 + y1 - y0)[:, None]
        d, p = np.concatenate(tried) * far, np.array(points)
        n = np.stack([-d[:, 1], d[:, 0]], axis=1)
        sides = [
            shapely.intersection(
                room[which],
                shapely.polygons(np.stack([p - d, p + d, p + d + s * n, p - d + s * n], 1)),
            )
            for s in (1, -1)
        ]
        small = np.minimum(*(shapely.area(g) for g in sides)) / self.pitch**2
        sound = (shapely.get_type_id(sides[0]) == 3) & (shapely.get_type_id(sides[1]) == 3)
        sound &= small > np.where(alone[which], 0.02, 0.6 * self.small)
        which = which[sound]
        both = np.stack([g[sound] for g in sides], axis=1)
        # the least hollow are worth a closer look
        hollow = (shapely.area(shapely.convex_hull(both)) - shapely.area(both)).sum(1)
        hollow += 0.1 * np.abs(np.diff(shapely.area(both), axis=1)[:, 0])
        order = np.lexsort((quantised(hollow, SOLVED), which))
        rank = np.arange(len(order)) - np.searchsorted(which[order], which[order])
        best = order[rank < WAYS]
        return both[best], which[best]

    def _rows(self, room: Shapes) -> tuple[Shapes, NDArray[np.int64], NDArray[np.int64]]:
        """Return long rooms cut across into a row: parts, each one's row, and each row's room."""
        parts: list[Polygon] = []
        row: list[int] = []
        of: list[int] = []
        for k, shape in enumerate(room):
            t = _long_axis(shape)
            along = dot(shapely.get_coordinates(shape), t)
            low, length = float(along.min()), float(np.ptp(along))
            wide = shape.area / max(length, 1e-9)
            if length < 2 * wide or length < 0.9 * self.pitch:
                continue
            each = min(max(ROW * wide, 0.5 * self.pitch), 1.1 * self.pitch)
            n = max(2, round(length / each))
            c = low + np.arange(n) * length / n
            far = 2 * np.ptp(shapely.get_coordinates(shape), axis=0).sum() * np.array([-t[1], t[0]])
            base = shapely.get_coordinates(shape.centroid)[0]
            base = base - dot(base, t) * t
            a, b = base + c[:, None] * t, base + (c + length / n)[:, None] * t
            slabs = shapely.polygons(np.stack([a - far, b - far, b + far, a + far], axis=1))
            cut = [
                g
                for g in shapely.get_parts(shapely.intersection(shape, slabs)).tolist()
                if isinstance(g, Polygon) and g.area > 0
            ]
            parts += cut
            row += [len(of)] * len(cut)
            of.append(k)
        some = np.empty(len(parts), object)
        some[:] = parts
        return some, np.array(row, np.int64), np.array(of, np.int64)


def _form(pieces: Shapes) -> tuple[Array, Array, Array, Array]:
    """Return each convex piece's least width, its length along that, and its two sharpest corners.

    In mm and degrees; nothing for an empty piece.
    """
    n = len(pieces)
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(pieces), return_index=True)
    count = np.bincount(owner, minlength=n)
    most = int(count.max(initial=0))
    if most < 4:
        return np.zeros(n), np.zeros(n), np.zeros(n), np.zeros(n)
    start = np.cumsum(count) - count
    # every ring is filled up with its first corner
    slot = np.minimum(np.arange(most), np.maximum(count - 1, 0)[:, None])
    c = xy[np.minimum(start[:, None] + slot, len(xy) - 1)]
    e = np.diff(c, axis=1)
    size = np.hypot(e[..., 0], e[..., 1])
    live = size > 1e-9
    u = e / np.maximum(size, 1e-12)[..., None]
    across = np.ptp(u[..., None, 0] * c[:, None, :, 1] - u[..., None, 1] * c[:, None, :, 0], axis=2)
    across[~live] = np.inf
    side = across.argmin(1)
    rows = np.arange(n)
    long = np.ptp((u[rows, side][:, None] * c).sum(2), axis=1)
    follows = np.concatenate([live[:, 1:], np.zeros((n, 1), bool)], axis=1)
    after = np.where(follows[..., None], np.roll(u, -1, axis=1), u[:, :1])
    corner = np.degrees(arc_cosine(-dot(u, after)))
    corner[~live] = 180.0
    corner.partition(1, axis=1)
    some = count > 3
    return (
        np.where(some, across[rows, side], 0.0),
        np.where(some, long, 0.0),
        np.where(some, corner[:, 0], 0.0),
        np.where(some, corner[:, 1], 0.0),
    )


def _long_axis(shape: Polygon) -> Array:
    """Return the unit vector along a shape's longer side."""
    c = shapely.get_coordinates(shapely.oriented_envelope(shape))
    if len(c) < 4:
        return np.array([1.0, 0.0])
    one, two = c[1] - c[0], c[2] - c[1]
    d = one if np.hypot(*one) >= np.hypot(*two) else two
    out: Array = d / max(float(np.hypot(*d)), 1e-12)
    return out


def _hollows(shape: Polygon, pitch: float, turned: Array) -> list[tuple[Array, Array]]:
    """Return the deepest corners that point inwards, and the directions in which to cut there."""
    found = []
    lid = shape.convex_hull.boundary
    for corner, come, go in _rings(shapely.simplify(shape, 0.01 * pitch)):
        inward = np.flatnonzero(cross(come, go) < -0.05)
        depth = np.asarray(shapely.distance(shapely.points(corner[inward]), lid))
        for k, deep in zip(inward, depth, strict=True):
            between = unit(come[k] - go[k])
            some = np.stack([between, come[k], go[k], turned[0], turned[len(turned) // 2]])
            found.append((float(deep), corner[k], some))
    found.sort(key=lambda f: -f[0])
    return [(point, some) for _, point, some in found[:CORNERS]]


def _rings(shape: Polygon) -> Iterator[tuple[Array, Array, Array]]:
    """Give each ring's corners, the shape to the left, and the unit ways that come and go there."""
    shape = orient(shape)
    for ring in (shape.exterior, *shape.interiors):
        c = shapely.get_coordinates(ring)[:-1]
        yield c, *ways_round(c)
