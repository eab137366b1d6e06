"""Bands of one width whose sides are straight: courses run straight right up to every turn.

A band is made of arms, each between two sides that face one another. Where an arm turns into the
next they meet in a mitre, and where it runs into the side of another it butts against it. Every
arm has the same whole number of courses, and each course pieces of equal size, so all turns are
alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from shapely import LineString, Polygon

from core.geometry import cross
from core.laying.exact import angles, dot
from core.laying.field.grid import Array
from core.laying.opus.coursed import lay_parts
from core.laying.opus.regulatum import OFF_AXIS, STRAY, best_number, fills
from core.laying.pieces.shape import shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

Whole = NDArray[np.int64]

WIDEST = 5.5  # pitches; a wider field is not a band
LEAST = 1.0  # widths that an arm is long
LEAST_ALONE = 3.0  # the same, of a band that is one arm
STRAIGHT_ON = 0.92  # cosine of the least turn that is not a bend
STRAIGHT = 0.1  # of that, within which a point of a side is no corner
MOST_SIDES = 400  # of an outline; what has more is not made of straight arms
FACING = 0.05  # widths for which two sides at least face one another
SHARPEST = 0.66  # sine of the angle at which an arm may end
SQUARE = 0.97  # the same, of an end that is as good as square
ASIDE = 0.25  # pieces by which the joints of a course are moved from those of the one beside
ASIDE_MITRED = 0.15  # the same, where the pieces at an end are cut to a mitre
ENDS = ((0, 3), (1, 2))  # the corners at an arm's start and end
PLACES = 7  # moves to choose from
ACROSS = 0.6  # widths for which a flow line may run across an arm, from another that butts on it


@dataclass(frozen=True, slots=True)
class Arm:
    """Four corners in the order near start, near end, far end, far start, (4, 2) mm."""

    corner: Array

    @property
    def way(self) -> Array:
        """The unit vector along the arm."""
        d = self.corner[1] - self.corner[0]
        out: Array = d / np.hypot(*d)
        return out

    @property
    def shape(self) -> Polygon:
        """All of it."""
        return Polygon(self.corner)

    def ends(self, share: Array) -> Array:
        """Return both ends of lines along the arm at shares of its width, (n, 2, 2) mm."""
        a, b, c, d = self.corner
        out: Array = np.stack([a + share[:, None] * (d - a), b + share[:, None] * (c - b)], axis=1)
        return out

    def sines(self) -> Array:
        """Return the sines of the angles at which the arm starts and ends."""
        a, b, c, d = self.corner
        x, y = self.way
        size = [max(float(np.hypot(*e)), 1e-12) for e in (d - a, c - b)]
        cross = [abs(x * e[1] - y * e[0]) for e in (d - a, c - b)]
        return np.array(cross) / size

    @property
    def long(self) -> float:
        """Length along the middle, mm."""
        a, b = self.ends(np.array([0.5]))[0]
        return float(np.hypot(*(b - a)))

    @property
    def wide(self) -> float:
        """Width across, mm."""
        return self.shape.area / self.long


def lay_bands(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay each part of a field of sound outline that is a band arm by arm, the rest in courses."""

    def as_band(part: Polygon) -> list[Pieces]:
        arms = _arms(setting, part) if not setting.laying.width_variation else []
        if setting.laying.corners == "butt":
            arms = _butted(arms, STRAY * setting.laying.joint_mm)
        return [_laid(setting, arm) for arm in arms]

    return lay_parts(setting, as_band, stop)


def _arms(setting: Setting, part: Polygon) -> list[Arm]:
    """Return the arms of a band, none where a part of a field is not a band or not led as one."""
    joint = setting.laying.joint_mm
    arms = _facing(part, WIDEST * setting.pitch_mm, STRAY * joint)
    if not arms or any((arm.sines() < SHARPEST).any() for arm in arms):
        return []
    shapes = np.array([arm.shape for arm in arms], dtype=object)
    if not shapely.is_valid(shapes).all() or not fills(shapes, part, STRAY * joint):
        return []
    if shapely.area(shapes).sum() - part.area > joint * joint:  # where two arms cross
        return []
    least = LEAST_ALONE if len(arms) == 1 else LEAST
    if any(arm.long < least * arm.wide for arm in arms) or _bends(arms, STRAY * joint):
        return []
    led = [_led(arm, setting.flow) for arm in arms]
    followed = setting.laying.follow_border or bool(setting.hug)
    return arms if all(k is True or (k is None and followed) for k in led) else []


def _butted(arms: list[Arm], stray: float) -> list[Arm]:
    """Return arms of which, where two meet in a mitre at a square turn, one runs through.

    Going along the band every arm runs through at the turn it comes to, so all turns are alike.
    """
    corner = [arm.corner.copy() for arm in arms]
    way = [arm.way for arm in arms]
    ends = [(k, e) for k, arm in enumerate(arms) for e in (0, 1) if arm.sines()[e] < SQUARE]
    meets = {
        (k, e): (other, far)
        for k, e in ends
        for other, far in ends
        if other != k
        and abs(float(dot(way[k], way[other]))) < OFF_AXIS
        and _far(corner[k][list(ENDS[e])], corner[other][list(ENDS[far])]) <= stray
    }
    left = sorted(range(len(arms)), key=lambda k: ((k, 0) in meets) + ((k, 1) in meets))
    seen: set[int] = set()
    for k in left:
        out = int((k, 1) in meets)
        while k not in seen and (k, out) in meets:
            seen.add(k)
            other, far = meets[k, out]
            _squared(corner[k], out, way[k], through=True)
            _squared(corner[other], far, way[other], through=False)
            k, out = other, 1 - far
        seen.add(k)
    return [Arm(c) for c in corner]


def _far(one: Array, other: Array) -> float:
    """Return how far two ends of arms lie apart, corner from corner, mm."""
    ways = (np.hypot(*(one - w).T).max() for w in (other, other[::-1]))
    return float(min(ways))


def _squared(corner: Array, end: int, way: Array, through: bool) -> None:
    """Move an end's corners along their sides until it is square, as far as its farther one."""
    at = list(ENDS[end])
    along = dot(corner[at], way)
    to = along.max() if through == bool(end) else along.min()
    corner[at] += (to - along)[:, None] * way


def _bends(arms: list[Arm], stray: float) -> bool:
    """Return whether arms turn so little into one another that they are drawn for a curve."""
    ends = np.concatenate([arm.ends(np.array([0.5]))[0] for arm in arms])
    way = np.repeat([arm.way for arm in arms], 2, axis=0)
    meet = np.hypot(*np.moveaxis(ends[:, None] - ends[None], -1, 0)) <= stray
    np.fill_diagonal(meet, False)
    return bool((np.abs(dot(way[:, None], way[None]))[meet] > STRAIGHT_ON).any())


def _led(arm: Arm, flow: tuple[LineString, ...]) -> bool | None:
    """Return whether flow lines run along an arm rather than across; None where none tells."""
    along = 0.0
    x, y = arm.way
    for piece in shapely.get_parts([w.intersection(arm.shape) for w in flow]):
        if piece.geom_type != "LineString" or piece.is_empty:
            continue
        d = np.diff(shapely.get_coordinates(piece), axis=0)
        across = np.abs(x * d[:, 1] - y * d[:, 0]) > OFF_AXIS * np.abs(dot(d, arm.way))
        size = np.hypot(*d.T)
        if size[across].sum() > ACROSS * arm.wide:
            return False
        along += float(size[~across].sum())
    return True if along > arm.long / 2 else None


def _facing(part: Polygon, widest: float, stray: float) -> list[Arm]:
    """Return an arm for every run of sides that face others across the band's width."""
    a, b = _sides(part, STRAIGHT * stray)
    if not 4 <= len(a) <= MOST_SIDES:
        return []
    d = b - a
    size = np.hypot(*d.T)
    d = d / size[:, None]
    inward = np.stack([-d[:, 1], d[:, 0]], axis=1)

    def all_pairs(v: Array) -> tuple[Array, Array]:
        """Return how far each point (column) lies along and inward of each side (row)."""
        off = v[None] - a[:, None]
        return dot(off, d[:, None]), dot(off, inward[:, None])

    from_a, in_a = all_pairs(a)
    from_b, in_b = all_pairs(b)
    shared = np.minimum(size[:, None], from_a) - np.maximum(0.0, from_b)
    gap = (in_a + in_b) / 2
    face = (dot(d[:, None], d[None]) < 0) & (np.abs(in_a - in_b) <= stray)
    face &= (gap > 0) & (gap <= widest)
    face &= shared > FACING * gap
    i, j = np.nonzero(face)
    i, j = i[i < j], j[i < j]
    if not len(i):
        return []
    # only what lies in the field between two sides makes them face one another
    at = (np.maximum(0.0, from_b) + np.minimum(size[:, None], from_a))[i, j] / 2
    foot = a[i] + at[:, None] * d[i]
    head = foot + gap[i, j][:, None] * inward[i]
    least = (head - foot) * 1e-3
    shapely.prepare(part)
    within = shapely.contains(
        part, shapely.linestrings(np.stack([foot + least, head - least], axis=1))
    )
    i, j = i[within], j[within]
    if not len(i):
        return []
    alike = np.abs(gap[i, j] - gap[i, j].min()) <= stray
    i, j = i[alike], j[alike]
    links = sparse.coo_array((np.ones(len(i)), (i, j)), shape=(len(a), len(a)))
    _, run = connected_components(links, directed=False)
    return [_arm(a, b, d, np.flatnonzero(run == k)) for k in np.unique(run[i])]


def _sides(part: Polygon, straight: float) -> tuple[Array, Array]:
    """Return both ends of every side, (n, 2) mm each, the field on the same hand of all.

    Points by which a side strays less than `straight` are no corners.
    """
    starts, ends = [], []
    for ring in shapely.get_rings(shapely.orient_polygons(part)):
        c = shapely.get_coordinates(ring)[:-1]
        before, after = np.roll(c, 1, axis=0), np.roll(c, -1, axis=0)
        chord = after - before
        off = np.abs(cross(chord, c - before))
        c = c[off > straight * np.hypot(*chord.T)]
        starts.append(c)
        ends.append(np.roll(c, -1, axis=0))
    start, end = np.concatenate(starts), np.concatenate(ends)
    some = (start != end).any(axis=1)  # what is left of a border that touches itself
    return start[some], end[some]


def _arm(a: Array, b: Array, d: Array, run: Whole) -> Arm:
    """Return the arm between sides that run along a line and those that run back along another."""
    way = d[run[0]]
    near = run[dot(d[run], way) > 0]
    far = run[dot(d[run], way) < 0]
    corner = []
    for sides, first in ((near, True), (near, False), (far, False), (far, True)):
        points = np.concatenate([a[sides], b[sides]])
        at = dot(points, way)
        corner.append(points[at.argmin() if first else at.argmax()])
    return Arm(np.array(corner))


def _laid(setting: Setting, arm: Arm) -> Pieces:
    """Lay an arm in straight courses."""
    pitch, joint = setting.pitch_mm, setting.laying.joint_mm
    number = int(best_number(np.array([arm.wide / pitch]))[0])
    x, y = arm.way
    edge = arm.ends(np.arange(number + 1) / number)
    middle = (edge[1:] + edge[:-1]) / 2
    # pieces in low courses are longer
    length = pitch * np.sqrt(np.sqrt(pitch * number / arm.wide))
    pieces = best_number(np.hypot(*(middle[:, 1] - middle[:, 0]).T) / length)
    cuts = _cuts(setting, dot(middle, arm.way), pieces, bool((arm.sines() > SQUARE).all()))
    ground: list[Polygon] = []
    course: list[int] = []
    place: list[int] = []
    for k in range(number):
        # a cut is square to the arm from one edge of its course to the other
        low, high = edge[k], edge[k + 1]
        inner = cuts[k]
        lines = [
            np.vstack([e[:1], e[0] + (inner - dot(e[0], arm.way))[:, None] * (x, y), e[1:]])
            for e in (low, high)
        ]
        ground += [
            Polygon([lines[0][m], lines[0][m + 1], lines[1][m + 1], lines[1][m]])
            for m in range(pieces[k])
        ]
        course += [k] * int(pieces[k])
        place += range(pieces[k])
    polygons = shape_pieces(shapely.orient_polygons(np.array(ground, dtype=object)), joint)
    turn = angles(np.array(y), np.array(x))
    return Pieces(polygons, np.array(course), np.array(place), np.full(len(course), float(turn)))


def _cuts(setting: Setting, ends: Array, pieces: Whole, square: bool) -> list[Array]:
    """Return where each course is cut, mm along the arm, apart from the cuts beside.

    Parameters
    ----------
    ends : ndarray (n, 2)
        Where the middle line of each course starts and ends.
    """
    rng = np.random.default_rng(setting.seed)
    most = ASIDE if square else ASIDE_MITRED
    out: list[Array] = []
    for (start, stop), n in zip(ends, pieces, strict=True):
        long = (stop - start) / n
        rough = rng.normal(0, setting.laying.variation / 2, n - 1).clip(-0.3, 0.3)
        even = start + np.arange(1, n) * long
        move = np.linspace(most, -most, PLACES) if len(ends) > 1 else np.zeros(1)
        best = move[0]
        if out and len(out[-1]) and n > 1:
            far = np.abs(even[:, None] + move * long - out[-1][:, None, None]).min(0)
            best = move[int(np.round(far.mean(0) / long, 6).argmax())]
        out.append(even + (best + rough) * long)
    return out
