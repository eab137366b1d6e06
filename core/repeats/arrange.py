"""Where the places of a repeat lie: along a line, round a frame or about a centre.

Places are whole and spread evenly; what is over or short is shared by all, and said. The motif
itself is one of the places, the one nearest to where it was drawn, and keeps its stance there; all
others are turned as the way turns from that one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from core.commission import Point
from core.errors import EmblemaError
from core.flow import smooth_curve
from core.geometry import SNAP_MM
from core.moves import Move, move_of
from core.ornament.fit import SEEN_MM, Bent

Complexes = NDArray[np.complex128]

WAYS = ("line", "frame", "centre")
ROOM = 1.25  # of the motif's width from one to the next, where no number is asked for
MOST_PLACES = 500
CURVE_STEP_MM = 1.0
LEVEL, UPRIGHT, CORNER = "level", "upright", "corner"


@dataclass(frozen=True, slots=True)
class Wish:
    """How a motif is to be repeated.

    Attributes
    ----------
    way : str
        One of `WAYS`.
    places : int
        How many; round a frame, from corner to corner of a level side. 0 for as many as fit.
    turned : bool
        Whether places turn with the way; else all stand as the motif does.
    mirrored : bool
        Whether every other place is mirrored.
    corners : bool
        Whether a place stands in each corner of a frame, turned half way.
    """

    way: str = "line"
    places: int = 0
    turned: bool = True
    mirrored: bool = False
    corners: bool = True


@dataclass(frozen=True, slots=True)
class Arranged:
    """Places for a motif, and what is to be said of them.

    `shift` carries the motif itself to its own place, `moves` carry it on from there to the others.
    """

    shift: Move
    moves: tuple[Move, ...]
    words: tuple[str, ...]

    def shapes(self, motif: shapely.Geometry) -> list[shapely.Geometry]:
        """Return a shape of the motif, as it was drawn, in all places, its own first."""
        own = shapely.transform(motif, self.shift.out)
        return [own, *(shapely.transform(own, m.out) for m in self.moves)]


@dataclass(frozen=True, slots=True)
class _Place:
    """A place: where the motif's middle comes to lie, and the way that it turns with."""

    at: complex
    way: complex
    mirrored: bool = False
    side: str = LEVEL

    @property
    def move(self) -> Move:
        """The move there from (0, 0), mirrored across the way."""
        if self.mirrored:
            return move_of(self.at, -self.way, True)
        return move_of(self.at, self.way)


def arranged(
    motif: MultiPolygon, wish: Wish, points: Sequence[Point], size_mm: tuple[float, float]
) -> Arranged:
    """Return where a motif is repeated.

    Parameters
    ----------
    motif : MultiPolygon
        All that is repeated, mm.
    points : sequence of (x, y)
        Of the line, closed where the last is the first; two corners of the frame's outer edge; or
        the centre, mm.
    size_mm : tuple of float
        The finished work's width and height: no place may leave it.

    Raises
    ------
    EmblemaError
        There is no room for it, in words.
    """
    asked = [wish.places] if wish.places else _downwards(motif, wish, points)
    fault = EmblemaError("There is no room for two places.")
    for n in asked:
        if n > MOST_PLACES:
            raise EmblemaError(f"{n} places are asked for; {MOST_PLACES} are the most.")
        places, words = _RULES[wish.way](motif, replace(wish, places=n), points)
        out = _from_own(motif, wish, places, words)
        try:
            return _with_room(motif, out, size_mm)
        except EmblemaError as e:
            fault = e
    raise fault


def _downwards(motif: MultiPolygon, wish: Wish, points: Sequence[Point]) -> list[int]:
    """Return the numbers of places to try, from as many as fit with room between them."""
    step = 2 if wish.mirrored and wish.way != "line" else 1
    least = 1 if wish.way == "frame" else 2
    most = _LENGTHS[wish.way](motif, wish, points)
    n = max(least, min(round(most), MOST_PLACES))
    if step == 2:
        n = max(2, 2 * round(most / 2))
    return list(range(n, max(least, n - 4 * step) - 1, -step))


def _wide(motif: MultiPolygon, way: complex) -> float:
    """Return how far a motif reaches along a way, mm."""
    xy = shapely.get_coordinates(motif)
    return float(np.ptp(xy @ np.array([way.real, way.imag]) / abs(way)))


def _middle(motif: MultiPolygon) -> complex:
    x0, y0, x1, y1 = motif.bounds
    return complex((x0 + x1) / 2, (y0 + y1) / 2)


# --- along a line -----------------------------------------------------------------------------


def _curve(points: Sequence[Point]) -> Bent:
    if len(set(points)) < 2:
        raise EmblemaError("A line needs at least two different points.")
    return Bent(smooth_curve(points, CURVE_STEP_MM), 1.0)


def _line_length(motif: MultiPolygon, wish: Wish, points: Sequence[Point]) -> float:
    """Return how many places fit along a line, not rounded."""
    curve = _curve(points)
    middle = _middle(motif)
    near = shapely.LineString(curve.line).project(shapely.Point(middle.real, middle.imag))
    way = _complex(curve.along(np.array([near]))[1])[0]
    return float(curve.at[-1]) / (ROOM * _wide(motif, way)) + (not curve.closed)


def _line(
    motif: MultiPolygon, wish: Wish, points: Sequence[Point]
) -> tuple[list[_Place], list[str]]:
    curve, n = _curve(points), wish.places
    if n < 2:
        raise EmblemaError("A line needs two places or more.")
    if curve.closed and wish.mirrored and n % 2:
        raise EmblemaError("Round a closed line, mirrored every other, the number must be even.")
    length = float(curve.at[-1])
    step = length / (n if curve.closed else n - 1)
    at, way = (_complex(v) for v in curve.along(np.linspace(0, step * (n - 1), n)))
    places = [
        _Place(a, w if wish.turned else 1 + 0j, wish.mirrored and bool(k % 2))
        for k, (a, w) in enumerate(zip(at, way, strict=True))
    ]
    return places, [f"{n} places, {step:.1f} mm from middle to middle along the line."]


def _complex(xy: NDArray[np.float64]) -> list[complex]:
    return [complex(x, y) for x, y in xy]


# --- round a frame ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Frame:
    """What the sides of a frame are: between its corners, the middles of places `deep` inside."""

    box: tuple[float, float, float, float]
    deep: float  # of the middles on a side, from the outer edge
    corner: complex  # of a corner's middle, from the corner

    def sides(self) -> tuple[float, float]:
        """Return the lengths of a level and an upright side between the corners' middles."""
        x0, y0, x1, y1 = self.box
        return x1 - x0 - 2 * self.corner.real, y1 - y0 - 2 * self.corner.imag


def _frame_of(motif: MultiPolygon, wish: Wish, points: Sequence[Point]) -> _Frame:
    (ax, ay), (bx, by) = points[0], points[-1]
    box = (min(ax, bx), min(ay, by), max(ax, bx), max(ay, by))
    wide, high = _wide(motif, 1 + 0j), _wide(motif, 1j)
    if not wish.turned:
        frame = _Frame(box, high / 2, complex(wide / 2, high / 2))
    elif wish.corners:
        # turned half way a corner's place reaches farther out: it stands so much farther in
        xy = shapely.get_coordinates(motif)
        middle = _middle(motif)
        turned = ((xy[:, 0] + 1j * xy[:, 1]) - middle) * np.exp(-0.25j * np.pi)
        reach = max(float(-turned.imag.min()), float(-turned.real.min()))
        frame = _Frame(box, high / 2, complex(reach, reach))
    else:
        frame = _Frame(box, high / 2, complex(high, high))
    if min(frame.sides()) <= wide / 2:
        raise EmblemaError("The frame is too small for this motif: draw it larger.")
    return frame


def _frame_length(motif: MultiPolygon, wish: Wish, points: Sequence[Point]) -> float:
    level, _ = _frame_of(motif, wish, points).sides()
    return level / (ROOM * _wide(motif, 1 + 0j))


def _frame(
    motif: MultiPolygon, wish: Wish, points: Sequence[Point]
) -> tuple[list[_Place], list[str]]:
    frame, n = _frame_of(motif, wish, points), wish.places
    level, upright = frame.sides()
    even = wish.mirrored and wish.corners
    if even and n % 2:
        raise EmblemaError(
            "Mirrored every other, a side needs an even number, so that the corners are alike."
        )
    step = level / n
    m = max(2, 2 * round(upright / step / 2)) if even else max(1, round(upright / step))
    x0, y0, x1, y1 = frame.box
    deep, c = frame.deep, frame.corner
    aside = deep if wish.turned else c.real
    begin = 0 if wish.corners else 0.5
    places: list[_Place] = []
    sides = (
        (complex(x0 + c.real, y0 + deep), 1 + 0j, n, step, complex(x0, y0) + c),
        (complex(x1 - aside, y0 + c.imag), 1j, m, upright / m, complex(x1 - c.real, y0 + c.imag)),
        (complex(x1 - c.real, y1 - deep), -1 + 0j, n, step, complex(x1, y1) - c),
        (complex(x0 + aside, y1 - c.imag), -1j, m, upright / m, complex(x0 + c.real, y1 - c.imag)),
    )
    for k, (at, way, count, far, corner) in enumerate(sides):
        if wish.corners:
            turned = way * np.exp(-0.25j * np.pi) if wish.turned else 1 + 0j
            places.append(_Place(corner, complex(turned), False, CORNER))
        for j in range(int(wish.corners), count):
            mirrored = wish.mirrored and bool(j % 2)
            side = UPRIGHT if k % 2 else LEVEL
            stance = way if wish.turned else 1 + 0j
            places.append(_Place(at + way * far * (begin + j), stance, mirrored, side))
    return places, _frame_words(n, m, step, upright / m, frame)


def _frame_words(n: int, m: int, level: float, upright: float, frame: _Frame) -> list[str]:
    words = [
        f"Level sides: {n} repeats of {level:.1f} mm.",
        f"Upright sides: {m} repeats of {upright:.1f} mm.",
    ]
    off = upright - level
    if abs(off) < SEEN_MM:
        return words
    high = frame.box[3] - frame.box[1] - m * off
    more = "farther apart" if off > 0 else "nearer"
    words.append(
        f"There each stands {abs(off):.1f} mm {more}; {high:.1f} mm high would fit exactly."
    )
    return words


# --- about a centre ---------------------------------------------------------------------------


def _radius(motif: MultiPolygon, points: Sequence[Point]) -> tuple[complex, complex]:
    centre = complex(*points[-1])
    arm = _middle(motif) - centre
    if abs(arm) <= SNAP_MM:
        raise EmblemaError("The centre is the middle of the motif itself: choose another.")
    return centre, arm


def _centre_length(motif: MultiPolygon, wish: Wish, points: Sequence[Point]) -> float:
    _, arm = _radius(motif, points)
    return 2 * np.pi * abs(arm) / (ROOM * _wide(motif, arm * 1j))


def _centre(
    motif: MultiPolygon, wish: Wish, points: Sequence[Point]
) -> tuple[list[_Place], list[str]]:
    (centre, arm), n = _radius(motif, points), wish.places
    if n < 2:
        raise EmblemaError("About a centre there are two places or more.")
    if wish.mirrored and n % 2:
        raise EmblemaError("Mirrored every other, the number of places must be even.")
    turns = np.exp(2j * np.pi * np.arange(n) / n)
    turns = np.round(turns.real, 15) + 1j * np.round(turns.imag, 15)
    across = arm / abs(arm) * 1j
    places = [
        _Place(
            centre + arm * complex(t),
            across * complex(t) if wish.turned else 1 + 0j,
            wish.mirrored and bool(k % 2),
        )
        for k, t in enumerate(turns)
    ]
    step = 2 * abs(arm) * np.sin(np.pi / n)
    return places, [
        f"{n} places, one each {360 / n:.4g} degrees, {step:.1f} mm from middle to middle."
    ]


_RULES = {"line": _line, "frame": _frame, "centre": _centre}
_LENGTHS = {"line": _line_length, "frame": _frame_length, "centre": _centre_length}


# --- all of them ------------------------------------------------------------------------------


def _from_own(
    motif: MultiPolygon, wish: Wish, places: Sequence[_Place], words: Sequence[str]
) -> Arranged:
    """Return the moves from the motif's own place, the nearest that it can keep its stance in."""
    middle = _middle(motif)
    # in a frame a motif stands as on the upper side
    keeps = [p for p in places if p.side != CORNER] or list(places)
    if wish.way == "frame" and wish.turned:
        keeps = [p for p in keeps if p.side == LEVEL and p.way.real > 0] or keeps
    own = min(keeps, key=lambda p: (p.mirrored, round(abs(p.at - middle), 3)))
    by = own.at - middle
    back = own.move.back()
    moves = tuple(p.move.after(back) for p in places if p is not own)
    said = list(words)
    if abs(by) >= SEEN_MM:
        said.append(f"The motif itself moves {abs(by):.1f} mm to its place.")
    return Arranged(Move((by.real, by.imag)), moves, tuple(said))


def _with_room(motif: MultiPolygon, out: Arranged, size_mm: tuple[float, float]) -> Arranged:
    """Return it, with what room is left between places said, if none lies on another."""
    shapes = np.array(out.shapes(motif), dtype=object)
    hair = SNAP_MM * motif.length
    work = shapely.box(-SNAP_MM, -SNAP_MM, size_mm[0] + SNAP_MM, size_mm[1] + SNAP_MM)
    outside = int(np.count_nonzero(~shapely.covers(work, shapes)))
    if outside:
        some = "1 place" if outside == 1 else f"{outside} places"
        raise EmblemaError(f"{some} of {len(shapes)} would leave the work.")
    tree = shapely.STRtree(shapes)
    a, b = tree.query(shapes, predicate="intersects")
    a, b = a[a < b], b[a < b]
    if (shapely.area(shapely.intersection(shapes[a], shapes[b])) > hair).any():
        raise EmblemaError(f"{len(shapes)} places would lie on one another: ask for fewer.")
    _, apart = tree.query_nearest(shapes, exclusive=True, return_distance=True, all_matches=False)
    least = float(apart.min())
    room = f"{least:.1f} mm apart where nearest." if least >= SEEN_MM else "They touch."
    return replace(out, words=(*out.words, room))
