"""Divides each course into whole pieces and shifts the cuts so that joints do not run on.

Every cut is a position along its course. Lengths follow the room there is across the course,
so that pieces keep about one size; a seeded spread leaves the hand in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.geometry import cross, unit
from core.laying.exact import dot, raised
from core.laying.field.grid import Array
from core.quality import THIN

ONWARD = np.array([1.0, 0.618])  # the way that counts as onward along a course
MEET = 0.09  # pitches within which two cuts stand in line
APART = 0.25  # pitches that a cut keeps from the cuts of the course beside
LEAST = 0.6  # share of its length that a piece keeps, however its cuts are shifted
ROUNDS = 16
RUN = 8  # cuts to either side with which one moves together
ALONE = 1.6  # pitches from the next course beyond which one is by itself
EVEN_ENOUGH = 0.1  # squares of the pitch by which neighbours in a course may differ
EVENING = 0.6  # share of the rest that one round evens out
TINY = 1.45  # squares of the pitch below which a ring is one piece
SMALL = 0.45  # squares of the pitch below which a course is not worth a piece


@dataclass(frozen=True, slots=True)
class Ruler:
    """All courses end to end on one line, to look up places on all of them at once.

    `at` is the distance along that line of each point in `xy`; course k runs from `start[k]` to
    `stop[k]`; courses lie well apart on the line. `ring` marks closed courses.
    """

    at: Array
    xy: Array
    start: Array
    stop: Array
    ring: NDArray[np.bool_]

    @staticmethod
    def of(courses: list[Array]) -> Ruler:
        """Lay courses, each (n, 2) mm, end to end."""
        if not courses:
            nothing = np.empty(0)
            return Ruler(nothing, np.empty((0, 2)), nothing, nothing, np.empty(0, bool))
        at, start, stop, ring = [], [], [], []
        reach = 0.0
        for c in courses:
            s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(c, axis=0).T))] + reach
            at.append(s)
            start.append(s[0])
            stop.append(s[-1])
            ring.append(bool(np.hypot(*(c[0] - c[-1])) < 1e-9))
            reach = s[-1] + 1000.0
        return Ruler(
            np.concatenate(at),
            np.concatenate(courses),
            np.array(start),
            np.array(stop),
            np.array(ring),
        )

    def point(self, u: Array) -> Array:
        """Return the points (n, 2) at places u (n,)."""
        return np.stack(
            [
                np.interp(u, self.at, self.xy[:, 0]),
                np.interp(u, self.at, self.xy[:, 1]),
            ],
            axis=1,
        )

    def tangent(self, u: Array, reach: Array | float, course: NDArray[np.int64]) -> Array:
        """Return unit tangents (n, 2) at places u on their courses, as seen over `reach` mm."""
        a = self.point(np.maximum(u - reach, self.start[course]))
        b = self.point(np.minimum(u + reach, self.stop[course]))
        return unit(b - a)


@dataclass(frozen=True, slots=True)
class Stretches:
    """One stretch of a course a piece: places `a` to `b` on the ruler."""

    course: NDArray[np.int64]
    piece: NDArray[np.int64]
    a: Array
    b: Array

    @property
    def last(self) -> NDArray[np.bool_]:
        """Whether each is the last of its course, whose pieces follow one another."""
        out: NDArray[np.bool_] = np.ones(len(self.course), bool)
        out[:-1] = self.course[1:] != self.course[:-1]
        return out


def divide(
    ruler: Ruler,
    room: Array,
    want: Array,
    pitch: Array,
    length: float,
    variation: float,
    seed: int,
) -> Stretches:
    """Divide every course into pieces.

    Parameters
    ----------
    room : ndarray (n,)
        Room across the course at each point of the ruler, in pitches there.
    want : ndarray (n,)
        Length wanted of a piece at each point, in pitches.
    pitch : ndarray (n,)
        The pitch at each point, mm.
    length : float
        The field's own pitch, mm.
    variation : float
        Spread of lengths, as a share of them.
    """
    rng = np.random.default_rng(seed)
    density = raised(np.clip(room, 0.5, 1.6), 0.8) / (want * (pitch / length))
    step = np.diff(ruler.at, prepend=ruler.at[0])
    step[np.isin(ruler.at, ruler.start)] = 0.0
    measure = np.cumsum(step * np.r_[density[:1], (density[1:] + density[:-1]) / 2])
    m0 = np.interp(ruler.start, ruler.at, measure)
    m1 = np.interp(ruler.stop, ruler.at, measure)
    number = np.maximum(1, np.rint((m1 - m0) / length)).astype(np.int64)
    number = np.where(ruler.ring, np.maximum(number, 3), number)
    course = np.repeat(np.arange(len(number)), number + 1)
    k = np.arange(len(course)) - np.repeat(np.cumsum(number + 1) - number - 1, number + 1)
    last = k == number[course]
    inner = (k > 0) & ~last
    share = k / number[course]
    share = share + inner * rng.normal(0, variation / 2, len(k)).clip(-0.3, 0.3) / number[course]
    at = m0[course] + share * (m1 - m0)[course]
    u = np.interp(at, measure + 1e-9 * np.arange(len(measure)), ruler.at)
    u = np.clip(u, ruler.start[course], ruler.stop[course])
    pitch = np.interp(u, ruler.at, pitch)
    apart = APART * pitch * np.interp(u, ruler.at, want)
    u = _staggered(ruler, u, course, k == 0, last, pitch, apart, rng)
    first = np.nonzero(~last)[0]
    return Stretches(course[first], k[first], u[first], u[first + 1])


def _staggered(
    ruler: Ruler,
    u: Array,
    course: NDArray[np.int64],
    is_first: NDArray[np.bool_],
    is_last: NDArray[np.bool_],
    pitch: Array,
    apart: Array,
    rng: np.random.Generator,
) -> Array:
    """Shift cuts along their courses, `apart` mm from the cuts beside, keeping lengths alike.

    A ring's first and last cut are one: both move together.
    """
    ring = ruler.ring[course]
    fixed = (is_first | is_last) & ~ring
    firsts, lasts = np.nonzero(is_first)[0], np.nonzero(is_last)[0]
    span = (ruler.stop - ruler.start)[course]
    before, after = (
        np.maximum(np.arange(len(u)) - 1, 0),
        np.minimum(np.arange(len(u)) + 1, len(u) - 1),
    )
    on_ring = ruler.ring[course[firsts]]
    before[firsts[on_ring]] = lasts[on_ring] - 1
    after[lasts[on_ring]] = firsts[on_ring] + 1
    rest = _gaps(u, before, after, is_first, is_last, ring, span)
    keep = ~(is_last & ring)
    pairs = np.empty((0, 2), np.int64)
    for turn in range(ROUNDS):
        place = ruler.start[course] + np.mod(u - ruler.start[course], np.where(ring, span, np.inf))
        place = np.where(ring, place, u)
        xy = ruler.point(place)
        t = ruler.tangent(place, 0.3 * pitch, course)
        if turn % 4 == 0:
            who = np.nonzero(keep)[0]
            pairs = who[cKDTree(xy[who]).query_pairs(1.6 * pitch.max(), output_type="ndarray")]
            pairs = np.concatenate([pairs, pairs[:, ::-1]])
            pairs = pairs[course[pairs[:, 0]] != course[pairs[:, 1]]]
            if turn == 0:
                lean = _leans(course[pairs], len(ruler.start), rng)
        mine, other = pairs.T
        d = xy[other] - xy[mine]
        ti = t[mine]
        along = dot(d, ti)
        across = np.abs(cross(d, ti))
        room = apart[mine]
        wide = across / pitch[mine]
        push = (np.abs(along) < room) & (wide > 0.5) & (wide < 1.4)
        i, a, room = mine[push], along[push], room[push]
        # cuts that meet part the same way all along, or they would hold one another fast
        onward = np.where(dot(t[i], ONWARD) >= 0, 1.0, -1.0)
        sign = np.where(np.abs(a) > MEET * pitch[i], np.sign(a), -onward * lean[course[i]])
        asked = np.bincount(i, -sign * (room - np.abs(a)), len(u))
        force = np.asarray(asked, np.float64)
        force = force + _together(force, firsts[course], lasts[course], ring)
        gap = _gaps(u, before, after, is_first, is_last, ring, span)
        # springs: each side would like to keep its share of the room
        want = (gap.sum(0) * rest[0] / np.maximum(rest.sum(0), 1e-9)) - gap[0]
        move = 0.35 * force + 0.25 * want
        most = np.maximum(np.minimum(0.25 * gap, (gap - LEAST * rest) / 2), 0.0)
        move = np.clip(move, -most[0], most[1])
        move[fixed] = 0.0
        move[lasts[on_ring]] = move[firsts[on_ring]]
        u = u + move
    return u


def _together(
    force: Array, first: NDArray[np.int64], last: NDArray[np.int64], ring: NDArray[np.bool_]
) -> Array:
    """Return the mean push round each cut along its course, which moves a whole run of cuts.

    Cut by cut the lengths between would hold a run of joints in line fast. Towards the ends of an
    open course, which stay, it dies away.
    """
    k = np.arange(len(force))
    total = np.r_[0.0, np.cumsum(force)]
    low, high = np.maximum(k - RUN, first), np.minimum(k + RUN, last)
    free = np.where(ring, 1.0, np.minimum(np.minimum(k - first, last - k) / RUN, 1.0))
    out: Array = free * (total[high + 1] - total[low]) / (high + 1 - low)
    return out


def _leans(beside: NDArray[np.int64], n: int, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return for each of n courses which way it yields, so that neighbours go opposite ways."""
    one, count = np.unique(beside[beside[:, 0] < beside[:, 1]], axis=0, return_counts=True)
    near: list[list[tuple[int, int]]] = [[] for _ in range(n)]
    for (a, b), c in zip(one.tolist(), count.tolist(), strict=True):
        near[a].append((c, b))
        near[b].append((c, a))
    lean = np.zeros(n)
    for start in range(n):
        todo = [start] if lean[start] == 0 else []
        while todo:
            k = todo.pop()
            if lean[k] != 0:
                continue
            pull = sum(c * lean[j] for c, j in near[k])
            lean[k] = -np.sign(pull) if pull != 0 else rng.choice([-1.0, 1.0])
            todo += [j for _, j in sorted(near[k]) if lean[j] == 0]
    return lean


def _gaps(
    u: Array,
    before: NDArray[np.int64],
    after: NDArray[np.int64],
    is_first: NDArray[np.bool_],
    is_last: NDArray[np.bool_],
    ring: NDArray[np.bool_],
    span: Array,
) -> Array:
    """Return the distances to the cut before and the cut after, shape (2, n)."""
    back = u - u[before] + np.where(is_first & ring, span, 0.0)
    fore = u[after] - u + np.where(is_last & ring, span, 0.0)
    return np.stack([np.maximum(back, 0.0), np.maximum(fore, 0.0)])


def places(ruler: Ruler, stretches: Stretches, each: int) -> Array:
    """Return `each` points evenly along every stretch, shape (n, each, 2) mm."""
    share = (np.arange(each) + 0.5) / each
    u = stretches.a[:, None] + share * (stretches.b - stretches.a)[:, None]
    start = ruler.start[stretches.course][:, None]
    span = (ruler.stop - ruler.start)[stretches.course][:, None]
    ring = ruler.ring[stretches.course][:, None]
    u = np.where(ring, start + np.mod(u - start, span), u)
    return ruler.point(u.ravel()).reshape(len(u), each, 2)


def evened(
    ruler: Ruler,
    stretches: Stretches,
    area: Array,
    want: Array,
    pitch: Array,
    ends_only: bool,
    times: int,
) -> Stretches:
    """Move each cut a little from the small piece beside it into the large one, some times over.

    Parameters
    ----------
    area : ndarray (n,)
        Territory of each stretch, in squares of the pitch.
    want : ndarray (n,)
        How large each is wanted beside the others.
    pitch : ndarray (n,)
        The pitch at each, mm.
    ends_only : bool
        Only the first and the last cut of a course move, so that joints stay in line elsewhere.
    """
    order = np.lexsort((stretches.piece, stretches.course))
    course, piece = stretches.course[order], stretches.piece[order]
    a, b, size, want, pitch = (v[order] for v in (stretches.a, stretches.b, area, want, pitch))
    first = np.searchsorted(course, np.arange(len(ruler.start)))
    last = np.r_[first[1:], len(course)] - 1
    after = np.minimum(np.arange(len(course)) + 1, len(course) - 1)
    some = last >= first
    after[last[some]] = first[some]  # round a ring
    length = np.maximum(b - a, 1e-9) / pitch
    height = np.maximum(size / length, 0.3)
    between = (height + height[after]) / 2 / pitch
    still = np.zeros(len(course), bool)
    still[last[some]] = ~ruler.ring[course[last[some]]]
    if ends_only:
        outer = np.zeros(len(course), bool)
        outer[first[some]] = True
        outer[np.maximum(last[some] - 1, first[some])] = True
        still |= ~outer
    inner = np.ones(len(course), bool)
    inner[first[some]] = ruler.ring[course[first[some]]]
    before = np.empty_like(after)
    before[after] = np.arange(len(course))
    for _ in range(times):
        more = size[after] / want[after] - size / want
        more = np.sign(more) * np.maximum(np.abs(more) - EVEN_ENOUGH, 0.0)
        move = np.clip(EVENING / 2 * more / between, -0.2 * (b - a), 0.2 * (b - a)[after])
        move[still] = 0.0
        b = b + move
        a = np.where(inner, a + move[before], a)
        # what is moved has about the height of the pieces on both sides
        won = move * between
        size = size + won - np.where(inner, won[before], 0.0)
    return Stretches(course, piece, a, b)


def _alone(ruler: Ruler, k: int, pitch: float) -> bool:
    """Say whether no other course is beside one, that could grow into its place."""
    mine = np.zeros(len(ruler.at), bool)
    lo, hi = np.searchsorted(ruler.at, [ruler.start[k], ruler.stop[k]])
    mine[lo : hi + 1] = True
    if mine.all():
        return True
    far = cKDTree(ruler.xy[~mine]).query(ruler.xy[mine])[0]
    return bool(np.median(far) > ALONE * pitch)


def _across(ring: Array) -> Array:
    """Return a short course across a ring, whose last point is left out."""
    middle = ring.mean(axis=0)
    far = ring[int(np.argmax(np.hypot(*(ring - middle).T)))]
    out: Array = middle + np.array([[-0.5], [0.5]]) * (far - middle)
    return out


def respaced(ruler: Ruler, stretches: Stretches, area: Array, pitch: Array) -> tuple[Ruler, Array]:
    """Take what room each piece found and return the courses to divide again, and their room.

    Course ends too thin for a piece, and courses too small for one, are given up; the courses
    beside grow into the place.

    Parameters
    ----------
    area : ndarray (n,)
        Territory of each stretch, in squares of the pitch there.
    pitch : ndarray (n,)
        The pitch at each, mm.
    """
    length = np.maximum((stretches.b - stretches.a) / pitch, 1e-6)
    height = area / length
    courses: list[Array] = []
    rooms: list[Array] = []
    order = np.lexsort((stretches.piece, stretches.course))
    edge = np.searchsorted(stretches.course[order], np.arange(len(ruler.start) + 1))
    for k in range(len(ruler.start)):
        mine = order[edge[k] : edge[k + 1]]
        a, b = 0, len(mine)
        narrow = np.median(height[mine]) < THIN and _alone(ruler, k, float(np.median(pitch[mine])))
        if not ruler.ring[k] and not narrow:
            while b - a > 1 and height[mine[a]] < THIN:
                a += 1
            while b - a > 1 and height[mine[b - 1]] < THIN:
                b -= 1
        mine = mine[a:b]
        if not len(mine) or area[mine].sum() < SMALL:
            continue
        if ruler.ring[k] and area[mine].sum() < TINY:
            lo, hi = np.searchsorted(ruler.at, [ruler.start[k], ruler.stop[k]])
            courses.append(_across(ruler.xy[lo:hi]))
            rooms.append(np.ones(2))
            continue
        u0, u1 = stretches.a[mine[0]], stretches.b[mine[-1]]
        if ruler.ring[k]:
            u0, u1 = ruler.start[k], ruler.stop[k]
        lo, hi = np.searchsorted(ruler.at, [u0 + 1e-9, u1 - 1e-9])
        u = np.r_[u0, ruler.at[lo:hi], u1]
        mid = (stretches.a[mine] + stretches.b[mine]) / 2
        if ruler.ring[k]:
            span = u1 - u0
            mid = u0 + np.mod(mid - u0, span)
            turn = np.argsort(mid)
            room = np.interp(u, mid[turn], height[mine][turn], period=span)
        else:
            room = np.interp(u, mid, height[mine])
        rooms.append(np.asarray(room))
        xy = ruler.point(u)
        if ruler.ring[k]:
            xy[-1] = xy[0]
        courses.append(xy)
    return Ruler.of(courses), np.concatenate(rooms) if rooms else np.empty(0)
