"""Natural pieces: rounds and ovals (pebbles, small shells), and long tapered ones (tusk shells).

Each piece has a middle, an axis along the flow and a size. Between two pieces that lie near each
other runs one straight line, where both are equally far away in the measure that their axes give;
a piece is what lies half a joint inside all of its lines, with the corners rounded off. So pieces
never overlap, whatever their sizes. Lloyd's steps move each middle to the middle of its room.

References
----------
Aurenhammer 1987, "Power diagrams", doi 10.1137/0216006; Du, Wang 2005, "Anisotropic centroidal
Voronoi tessellations and their applications", doi 10.1137/S1064827503428527; Gielis 2003, "A
generic geometric transformation that unifies a wide range of natural and abstract shapes", doi
10.3732/ajb.90.3.333 (roundness as an exponent).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely import MultiPolygon, Polygon

from core.errors import Stopped
from core.geometry import unit
from core.laying.exact import PLACE_MM, dot, exponential, quantised, raised, ways
from core.laying.field.direction import Direction, direction_field
from core.laying.field.grid import Array, straight_parts
from core.laying.opus.palladianum import graded_sizes
from core.laying.pieces.border import clear_of_border
from core.laying.rooms.power import scattered
from core.laying.spec import Setting
from core.pieces import Pieces

STEPS = 36  # of relaxation
REFRESH = 4  # of them between looks for who lies near whom
GAIN = 0.35  # of the missing area that a step adds to a piece's weight
RAYS = 24  # directions in which a piece's room is measured
CORNERS = 24  # that a piece is drawn with
ROUNDED = 9.0  # exponent of a pebble's rounding; 2 an ellipse, without end the bare lines
ROUNDED_TUSK = 14.0
SQUARER = 2.5  # power of the measure for tusks, so that they come to lie side by side
TAPER = 0.5  # share of its width that a tusk is wider at one end, and narrower at the other
WILD_RAD = 0.9  # spread of the axes about the flow where nothing is strict
WALLS = 14  # straight stretches of border that one piece may lie along
COARSE = 0.12  # joints by which the border may be followed more coarsely than it is drawn
UNEVEN = 0.06  # spread of areas that is there by itself
NEARLY = 0.7  # of the way to a line at which another is still kept in mind
ALIKE = 0.8  # cosine of the angle within which walls are one bent border
LEAST = 0.12  # of the mean area; a smaller piece is left to the grout


@dataclass(frozen=True, slots=True)
class Lines:
    """Half planes {x : normal . (x - middle of owner) <= offset}, sorted by owner.

    Where several follow one bent border, each counts for a `part` of one in the rounding.
    """

    owner: NDArray[np.int64]
    normal: Array
    offset: Array
    part: Array


@dataclass(frozen=True, slots=True)
class Packing:
    """Pieces before they have a shape.

    Attributes
    ----------
    middle : ndarray (n, 2)
    angle : ndarray (n,)
        Of the long axis, rad.
    slender : ndarray (n,)
        Length over width.
    weight : ndarray (n,)
        Raised where a piece wants more room, mm2.
    power : float
        Of the measure of distance: 2 where rooms are like ellipses, more where like rectangles.
    """

    middle: Array
    angle: Array
    slender: Array
    weight: Array
    power: float = 2.0

    def axes(self) -> Array:
        """Return unit vectors along the long axes, (n, 2)."""
        return ways(self.angle)

    def square(self, which: NDArray[np.int64], way: Array) -> Array:
        """Return, by the measure of some pieces, what is square to ways (p, 2) that leave them.

        The measure is that of an ellipse of the piece's slenderness and the area of a circle, or
        of its like with a higher `power`, whose sides are flatter. A way's product with its
        square is the square of its length in the measure.
        """
        a = self.axes()[which]
        b = np.stack([-a[:, 1], a[:, 0]], axis=1)
        s = np.sqrt(self.slender[which])
        x, y = (way * a).sum(1) / s, (way * b).sum(1) * s
        if self.power == 2:
            plain: Array = (x / s)[:, None] * a + (y * s)[:, None] * b
            return plain
        size = raised(raised(np.abs(x), self.power) + raised(np.abs(y), self.power), 1 / self.power)
        size = np.maximum(size, 1e-12)
        gx = size * np.sign(x) * raised(np.abs(x) / size, self.power - 1)
        gy = size * np.sign(y) * raised(np.abs(y) / size, self.power - 1)
        out: Array = (gx / s)[:, None] * a + (gy * s)[:, None] * b
        return out


def lay_natural(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in rounds or in tapers, as the setting's `pieces` says.

    Rounds have areas of the setting's `spread` about the square of the pitch, and turn along the
    flow as strictly as `strictness` says. Tapers are about a tessera wide and `slenderness`
    tesserae long, thick and thin ends beside each other.
    """
    rng = np.random.default_rng(setting.seed)
    tapers = setting.laying.pieces == "tapers"
    slender = max(setting.laying.slenderness, 1.2 if tapers else 1.0)
    mean = setting.pitch_mm**2 * (slender if tapers else 1.0)
    middle = np.concatenate([_first(part, mean, rng) for part in setting.outline.geoms])
    n = len(middle)
    spread = np.sqrt(max(setting.laying.spread**2 - UNEVEN**2, 0.0))
    sizes = graded_sizes(n, float(spread) * (0.5 if tapers else 1.0), rng)
    stray = (
        rng.normal(0.0, WILD_RAD, n) * (1 - setting.laying.strictness) * (0.3 if tapers else 1.0)
    )
    slenders = 1 + (slender - 1) * exponential(rng.normal(0.0, 0.15, n).clip(-0.3, 0.3))
    direction = direction_field(setting)
    border, inside = _segments(setting.outline, setting.laying.joint_mm)
    packing, pairs = _relaxed(
        Packing(middle, stray, slenders, np.zeros(n), SQUARER if tapers else 2.0),
        stray,
        direction,
        sizes * setting.outline.area / n,
        border,
        stop,
    )
    thick = _thick_ends(packing, pairs, rng) if tapers else None
    polygons = _apart(packing, pairs, border, setting.laying.joint_mm / 2, inside, thick)
    polygons = clear_of_border(polygons, setting.outline, setting.laying.joint_mm)
    keep = np.flatnonzero(shapely.area(polygons) > LEAST * mean)
    if stop():
        raise Stopped
    centre = packing.middle[keep]
    rows = np.round(centre[:, 1] / setting.pitch_mm)
    polygons = polygons[keep][np.lexsort((centre[:, 0], rows))]
    k = len(polygons)
    flow = direction.angle(shapely.get_coordinates(shapely.centroid(polygons)))
    return Pieces(polygons, np.full(k, -1), np.arange(k), flow)


def _first(part: Polygon, mean: float, rng: np.random.Generator) -> Array:
    """Return where the middles of one part of a field begin, (n, 2)."""
    n = round(part.area / mean)
    if n < 2:
        return np.asarray(shapely.get_coordinates(part.point_on_surface()))
    return scattered(MultiPolygon([part]), n, rng)


def _relaxed(
    packing: Packing,
    stray: Array,
    direction: Direction,
    target: Array,
    border: NDArray[np.object_],
    stop: Callable[[], bool],
) -> tuple[Packing, NDArray[np.int64]]:
    """Move each middle to the middle of its room, and weigh it until the room has its size."""
    pairs = np.empty((0, 2), np.int64)
    slender = packing.slender
    mean = float(target.mean())
    for turn in range(STEPS):
        if stop():
            raise Stopped
        packing = replace(packing, angle=direction.angle(packing.middle) + stray)
        if turn % REFRESH == 0:
            pairs = _near(packing)
            packing = replace(packing, slender=1 + (slender - 1) * _agreement(packing, stray))
            pairs = _touching(packing, pairs)
        reach = _reach(packing)
        lines = _together(_between(packing, pairs), _walls(packing.middle, border, reach))
        centre, area = _room(packing, lines, reach)
        weight = packing.weight + GAIN * (target - area).clip(-mean, mean)
        packing = replace(
            packing,
            middle=quantised(packing.middle + centre, PLACE_MM),
            weight=(weight - weight.mean()).clip(-0.6 * mean, 0.6 * mean),
        )
    packing = replace(packing, angle=direction.angle(packing.middle) + stray)
    return packing, _near(packing)


def _agreement(packing: Packing, stray: Array) -> Array:
    """Return by how much the flow near each piece runs one way, 0 to 1, (n,).

    Where it turns sharply long pieces would leave pools of grout between them, so there they are
    rounder.
    """
    n = len(packing.middle)
    flow = ways(2 * (packing.angle - stray))
    if n < 4:
        return np.ones(n)
    _, at = cKDTree(packing.middle).query(packing.middle, k=min(n, 9))
    mean = flow[at].mean(1)
    return dot(mean, mean)


def _near(packing: Packing) -> NDArray[np.int64]:
    """Return pairs of pieces that may touch, each once, (p, 2)."""
    n = len(packing.middle)
    k = min(n, int(np.ceil(9 + 4 * packing.slender.max())))
    if k < 2:
        return np.empty((0, 2), np.int64)
    at = np.asarray(cKDTree(packing.middle).query(packing.middle, k=k)[1])
    pairs = np.stack([np.repeat(np.arange(n), k - 1), at[:, 1:].ravel()], axis=1)
    return np.unique(np.sort(pairs, axis=1), axis=0)


def _touching(packing: Packing, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the pairs whose line is, or nearly is, a side of either one's room."""
    if not len(pairs):
        return pairs
    lines = _between(packing, pairs)
    order = np.argsort(lines.owner, kind="stable")
    sorted_ = _together(lines)
    rays = _rays(packing, 12)[sorted_.owner]
    steep = dot((sorted_.normal / sorted_.offset[:, None])[:, None], rays)
    first = np.flatnonzero(np.r_[True, sorted_.owner[1:] != sorted_.owner[:-1]])
    count = np.diff(np.r_[first, len(steep)])
    largest = np.repeat(np.maximum.reduceat(steep, first, axis=0), count, axis=0)
    side = np.empty(len(order), bool)
    side[order] = (steep > NEARLY * largest).any(1)
    n = len(pairs)
    return pairs[side[:n] | side[n:]]


def _reach(packing: Packing) -> float:
    """Return how far from its middle a piece may extend, mm."""
    n = len(packing.middle)
    span = np.ptp(packing.middle, axis=0).max() if n > 1 else 0.0
    if n < 4:
        return float(4 * span) + 1e4
    near = np.asarray(cKDTree(packing.middle).query(packing.middle, k=4)[0])
    return float(2.0 * np.median(near[:, 3]) * np.sqrt(packing.slender.max()))


def _between(
    packing: Packing, pairs: NDArray[np.int64], thick: Array | None = None, lean: float = 0.0
) -> Lines:
    """Return the line between each pair, as seen from either of the two."""
    i, j = pairs.T
    d = packing.middle[j] - packing.middle[i]
    g = packing.square(i, d) + packing.square(j, d)
    q = np.maximum((d * g).sum(1) / 2, 1e-12)
    share = (0.5 + (packing.weight[i] - packing.weight[j]) / (2 * q)).clip(0.12, 0.88)
    u = unit(g)
    if thick is not None:
        # the line leans away from either one's thick end, where those point apart
        slope = lean / np.sqrt(packing.slender[i] * packing.slender[j])
        leaning = u - slope[:, None] * (thick[i] - thick[j]) / 2
        ok = (leaning * d).sum(1) > 0.2 * np.hypot(*d.T) * np.hypot(*leaning.T)
        u = np.where(ok[:, None], leaning, u)
        u /= np.hypot(*u.T)[:, None]
    far = (u * d).sum(1)
    return Lines(
        np.concatenate([i, j]),
        np.concatenate([u, -u]),
        np.concatenate([share * far, (1 - share) * far]),
        np.ones(2 * len(i)),
    )


def _together(*lines: Lines) -> Lines:
    owner = np.concatenate([w.owner for w in lines])
    order = np.argsort(owner, kind="stable")
    return Lines(
        owner[order],
        np.concatenate([w.normal for w in lines])[order],
        np.concatenate([w.offset for w in lines])[order],
        np.concatenate([w.part for w in lines])[order],
    )


def _segments(outline: MultiPolygon, joint_mm: float) -> tuple[NDArray[np.object_], float]:
    """Return the straight stretches of a border, (m,), and how far inside pieces must keep.

    A finely drawn curve is followed by fewer stretches, that lie a little inside it.
    """
    slack = COARSE * joint_mm
    field: Polygon | MultiPolygon = shapely.simplify(
        shapely.buffer(outline, -slack, join_style="mitre", mitre_limit=3.0), slack
    )
    if field.is_empty:
        field, slack = outline, 0.0
    return straight_parts(field), joint_mm / 2 - slack


def _walls(middle: Array, border: NDArray[np.object_], reach: float) -> Lines:
    """Return the half planes that keep pieces inside the field.

    Nearest first; what lies beyond a wall already found needs none. A half plane that is square
    to the shortest way to a stretch excludes all of it; along a stretch that bends towards the
    piece, the stretch's own line takes less.
    """
    point = np.asarray(shapely.points(middle), dtype=object)
    who, at = shapely.STRtree(border).query(point, predicate="dwithin", distance=reach)
    end = shapely.get_coordinates(border).reshape(-1, 2, 2)
    a, b = end[at, 0] - middle[who], end[at, 1] - middle[who]
    d = b - a
    size = np.maximum(np.hypot(*d.T), 1e-12)
    t = -(a * d).sum(1) / size**2
    foot = a + t.clip(0, 1)[:, None] * d
    far = np.hypot(*foot.T)
    square = foot / np.maximum(far, 1e-9)[:, None]
    # the stretch's own line, where its end is nearest and its line passes beside the middle
    own = np.stack([d[:, 1], -d[:, 0]], axis=1) / size[:, None]
    height = (own * a).sum(1)
    own, height = np.where(height[:, None] < 0, -own, own), np.abs(height)
    bends_in = ((t < 0) | (t > 1)) & (height > 0.35 * far)
    normal = np.where(bends_in[:, None], own, square)
    offset = np.where(bends_in, height, far)
    owners, normals, offsets = [], [], []
    left = np.ones(len(who), bool)
    for _ in range(WALLS):
        k = np.flatnonzero(left)
        if not len(k):
            break
        k = k[np.lexsort((far[k], who[k]))]
        first = k[np.r_[True, who[k][1:] != who[k][:-1]]]
        owners.append(who[first])
        normals.append(normal[first])
        offsets.append(offset[first])
        mine = np.full(len(middle), -1)
        mine[who[first]] = first
        w = mine[who]
        beyond = np.minimum((a * normal[w]).sum(1), (b * normal[w]).sum(1)) > offset[w] - 1e-6
        left &= ~((w >= 0) & beyond)
        left[first] = False
    if not owners:
        return Lines(np.empty(0, np.int64), np.empty((0, 2)), np.empty(0), np.empty(0))
    owner, turned = np.concatenate(owners), np.concatenate(normals)
    return Lines(owner, turned, np.concatenate(offsets), 1 / _alike(owner, turned))


def _alike(owner: NDArray[np.int64], normal: Array) -> Array:
    """Return how many half planes of one owner face nearly the same way as each, itself too."""
    order = np.argsort(owner, kind="stable")
    out = np.ones(len(owner))
    for k in range(1, WALLS):
        a, b = order[:-k], order[k:]
        both = (owner[a] == owner[b]) & ((normal[a] * normal[b]).sum(1) > ALIKE)
        np.add.at(out, a[both], 1.0)
        np.add.at(out, b[both], 1.0)
    return out


def _rays(packing: Packing, number: int) -> Array:
    """Return unit vectors round each piece, even in its own measure, (n, number, 2)."""
    turn = (np.arange(number) + 0.5) * 2 * np.pi / number
    a = packing.axes()
    b = np.stack([-a[:, 1], a[:, 0]], axis=1)
    s = np.sqrt(packing.slender)[:, None, None]
    turned = ways(turn)
    e = turned[:, :1] * s * a[:, None] + turned[:, 1:] / s * b[:, None]
    out: Array = e / np.sqrt(dot(e, e))[..., None]
    return out


def _room(packing: Packing, lines: Lines, reach: float) -> tuple[Array, Array]:
    """Return the middle of each piece's room, from its own middle, (n, 2), and its area (n,)."""
    e = _rays(packing, RAYS)
    xy = e * np.minimum(_gauge(e, lines, None), reach)[..., None]
    after = np.roll(xy, -1, axis=1)
    cross = xy[..., 0] * after[..., 1] - xy[..., 1] * after[..., 0]
    area = cross.sum(1) / 2
    centre = ((xy + after) * cross[..., None]).sum(1) / np.maximum(6 * area, 1e-12)[:, None]
    return centre, area


def _gauge(e: Array, lines: Lines, exponent: float | None) -> Array:
    """Return how far each ray (n, k, 2) runs until it meets a line, rounded by an exponent."""
    n, k = e.shape[:2]
    out = np.full((n, k), np.inf)
    if not len(lines.owner):
        return out
    steep = dot(lines.normal[:, None], e[lines.owner]) / lines.offset[:, None]
    steep = np.maximum(steep, 1e-9)
    first = np.flatnonzero(np.r_[True, lines.owner[1:] != lines.owner[:-1]])
    largest = np.maximum.reduceat(steep, first, axis=0)
    if exponent is None:
        out[lines.owner[first]] = 1 / largest
    else:
        share = steep / np.repeat(largest, np.diff(np.r_[first, len(steep)]), axis=0)
        total = np.add.reduceat(lines.part[:, None] * raised(share, exponent), first, axis=0)
        # many parts of one bent border never count for less than its nearest stretch
        out[lines.owner[first]] = 1 / (largest * raised(np.maximum(total, 1.0), 1 / exponent))
    return out


def _thick_ends(packing: Packing, pairs: NDArray[np.int64], rng: np.random.Generator) -> Array:
    """Return a vector towards each piece's thick end, turn about among those side by side."""
    n = len(packing.middle)
    a = packing.axes()
    i, j = np.concatenate([pairs, pairs[:, ::-1]]).T
    d = packing.middle[j] - packing.middle[i]
    far = (d * packing.square(i, d)).sum(1)
    size = np.median(far) if len(far) else 1.0
    across = 1 - ((d * a[i]).sum(1) / np.maximum(np.hypot(*d.T), 1e-12)) ** 2
    tie = exponential(-4 * far / size) * across**2 * dot(a[i], a[j])
    sense = rng.choice([-1.0, 1.0], n)
    for _ in range(40):
        pull = np.bincount(i, tie * sense[j], n)
        some = (rng.random(n) < 0.5) & (pull != 0)
        sense[some] = -np.sign(pull[some])
    return sense[:, None] * a


def _apart(
    packing: Packing,
    pairs: NDArray[np.int64],
    border: NDArray[np.object_],
    half_joint: float,
    inside: float,
    thick: Array | None,
) -> NDArray[np.object_]:
    """Return the finished outlines, empty where a piece has no room; none overlaps another."""
    walls = _walls(packing.middle, border, 2 * _reach(packing))
    walls = replace(walls, offset=walls.offset - inside)
    shapes = np.empty(0, object)
    for _ in range(4):
        lines = _between(packing, pairs, thick, TAPER)
        lines = _together(replace(lines, offset=lines.offset - half_joint), walls)
        shapes = _shapes(packing, lines)
        a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        met = np.stack([a[a < b], b[a < b]], axis=1)
        if not len(met):
            return shapes
        pairs = np.unique(np.concatenate([pairs, met]), axis=0)
    smaller = np.where(shapely.area(shapes[met[:, 0]]) < shapely.area(shapes[met[:, 1]]), 0, 1)
    shapes[met[np.arange(len(met)), smaller]] = Polygon()
    return shapes


def _shapes(packing: Packing, lines: Lines) -> NDArray[np.object_]:
    """Return the piece that lies inside all lines, its corners rounded."""
    n = len(packing.middle)
    fits = np.ones(n, bool)
    fits[lines.owner[lines.offset <= 1e-6]] = False
    rounded = ROUNDED if packing.power == 2 else ROUNDED_TUSK
    e = _rays(packing, CORNERS)
    r = _gauge(e, replace(lines, offset=np.maximum(lines.offset, 1e-6)), rounded)
    fits &= np.isfinite(r).all(1)
    out = np.full(n, Polygon(), dtype=object)
    xy = packing.middle[:, None] + e * np.where(np.isfinite(r), r, 0.0)[..., None]
    out[fits] = shapely.polygons(xy[fits])
    return out
