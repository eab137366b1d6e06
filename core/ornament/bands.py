"""Bands of straight and of round figures: meander, dentils, chequer, triangles, lozenges, scales
and the running wave.

Sizes are in pitches.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry

from core.ornament.parts import Band, Figure, enlarged, ground, guides, joined, moved, rows, seen

GRID = "regulatum"
# the bar's way through its cells, from repeat to repeat, by how often it turns inward
MEANDERS = {
    1: ((0, 0), (0, 2), (2, 2), (2, 0), (4, 0)),
    2: ((0, 0), (0, 4), (4, 4), (4, 2), (2, 2), (2, 0), (6, 0)),
    3: ((0, 0), (0, 6), (6, 6), (6, 2), (4, 2), (4, 4), (2, 4), (2, 0), (8, 0)),
}
SCALE_WIDE = 4  # rows: then courses along the crown turn little, and end at 53 to 62 degrees
GUIDED = 3  # pitches from guide to guide of a scale
TONES = ("scales", "scales between", "scales beneath")  # a row meets the two beneath it
ARC_STEP = 0.35  # pitches from point to point of a curve


def meander(k: int = 1, turns: int = 2) -> Band:
    """Return a meander: bars and ways between, all of k pitches, on a grid of k pitches."""
    way = MEANDERS[turns]
    repeat, wide = way[-1][0], 2 * turns + 1

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        one = joined(_bar(a, b) for a, b in pairwise(way))
        bars = joined(moved(one, repeat * j) for j in range(n))
        bars = shapely.intersection(bars, box(0, 0, repeat * n, wide))
        return (_grid("bars", bars, k),)

    round_the_corner = joined([box(0, 0, wide, 1), box(wide - 1, 0, wide, wide)])
    corner = [_grid("bars", round_the_corner, k)]
    if turns > 1:
        corner.append(_grid("boss", box(0, 2, wide - 2, wide - 1), k))
    group = "p211" if turns > 1 else "p2mg"
    return Band("meander", k * wide, k * repeat, group, draw, tuple(corner), ground(GRID, False))


def _bar(a: tuple[int, int], b: tuple[int, int]) -> Polygon:
    (x0, x1), (y0, y1) = sorted((a[0], b[0])), sorted((a[1], b[1]))
    return box(x0, y0, x1 + 1, y1 + 1)


def _grid(role: str, cells: BaseGeometry, k: int) -> Figure:
    """Return a figure drawn in cells of k pitches, laid as a grid."""
    shape = enlarged(cells, k)
    return Figure(role, shape, rows(*shape.bounds), GRID, False)


def dentils(k: int = 2) -> Band:
    """Return dentils of k pitches, as far apart, under a fillet of k pitches."""

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        cells = 2 * n + ends
        teeth = joined(box(2 * j + 1, 1, 2 * j + 2, 2) for j in range(n))
        fillet = box(0, 0, cells, 1)
        return (_grid("dentils", teeth, k), _grid("fillet", fillet, k))

    corner = (
        _grid("dentils", box(0, 1, 1, 2), k),
        _grid("fillet", joined([box(0, 0, 2, 1), box(1, 0, 2, 2)]), k),
    )
    return Band("dentils", 2 * k, 2 * k, "p1m1", draw, corner, ground(GRID, False), k)


def chequer(k: int = 2, high: int = 2) -> Band:
    """Return a chequer of cells of k pitches in so many rows."""

    def dark(wide: int) -> BaseGeometry:
        cells = [(i, j) for i in range(wide) for j in range(high) if (i + j) % 2 == 0]
        return shapely.MultiPolygon([box(i, j, i + 1, j + 1) for i, j in cells])

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        wide = 2 * n + ends
        return (_grid("chequer", dark(wide), k),)

    # a side has an odd number of cells, so the block goes on with the other colour
    block = shapely.difference(box(0, 0, high, high), dark(high))
    corner = (_grid("chequer", block, k),)
    group = "p2mg" if high % 2 == 0 else "p2mm"
    return Band("chequer", k * high, 2 * k, group, draw, corner, ground(GRID, False), k)


def triangles(k: int = 6) -> Band:
    """Return a saw of teeth k pitches high and twice as long, cut at 45 degrees."""

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        one = Polygon([(0, k), (k, 0), (2 * k, k)])
        teeth = shapely.MultiPolygon([moved(one, 2 * k * j) for j in range(n)])
        outer, inner = (LineString([(0, y), (2 * k * n, y)]) for y in (0.5, k - 0.5))
        return Figure("teeth", teeth, (inner,), follow_border=False), guides(outer)

    corner = (_grid("boss", box(0, 0, 1, 1), k),)
    return Band("triangles", k, 2 * k, "p1m1", draw, corner, ground("tessellatum", False))


def lozenges(k: int = 5) -> Band:
    """Return squares of k by k pitches standing on their corners, tip to tip."""
    wide = k * np.sqrt(2.0)
    one = Polygon([(0, wide / 2), (wide / 2, 0), (wide, wide / 2), (wide / 2, wide)])
    # in the middle of a course, else a square of an even number would be counted wrong
    off = (0.5 if k % 2 == 0 else 0.0) / np.sqrt(2.0)
    guide = LineString([(wide / 4 + off, wide / 4 - off), (3 * wide / 4 + off, 3 * wide / 4 - off)])

    def figure(n: int) -> Figure:
        shapes = shapely.MultiPolygon([moved(one, wide * j) for j in range(n)])
        flow = tuple(moved(guide, wide * j) for j in range(n))
        return Figure("lozenges", shapes, flow, GRID, False)

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        edges = (LineString([(0, y), (wide * n, y)]) for y in (0.5, wide - 0.5))
        return figure(n), guides(*edges)

    return Band(
        "lozenges",
        wide,
        wide,
        "p2mm",
        draw,
        draw(1, True),
        ground("tessellatum", False),
    )


def scales(k: int = 4, high: int = 2) -> Band:
    """Return scales in so many rows of k pitches, each lying over the two beneath.

    Courses run along the crown of a scale. Where four meet, the one beneath has a neck a tessera
    wide, and the tips of those beside it end square there. A course of ground runs on beneath.
    """
    half = SCALE_WIDE / 2
    radius = (half**2 + 1) / 2
    reach = np.arcsin(half / radius)
    count = int(np.ceil(2 * reach * radius * k / ARC_STEP))
    t = np.linspace(-reach, reach, count + 1 - count % 2)
    arc = np.stack([radius * np.sin(t), radius * np.cos(t) - radius + 1], axis=1)
    middle = len(arc) // 2
    left, right = arc[middle:] - np.array([half, 1]), arc[1 : middle + 1] + np.array([half, -1])
    sharp = Polygon([*arc, *np.concatenate([left, right])[::-1][1:-1]])
    above = joined(moved(sharp, x, -1) for x in (-half, half))
    # the middles of courses inside the crown, about its middle
    off = np.arange(0.5, k, GUIDED) / k / radius
    led = [LineString(arc * (1 - d) + np.array([0, d * (1 - radius)])) for d in off]

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        window = box(0, 0, SCALE_WIDE * n, high)

        def neck(x: float, y: float) -> Polygon:
            wide = (1 if ends and not 0 < x < SCALE_WIDE * n else 0.5) / k
            return box(x - wide, y - 0.5, x + wide, y + 0.5)

        def scale(x: float, y: float) -> BaseGeometry:
            own = shapely.intersection(neck(x, y - 1), moved(above, x, y))
            tips = joined(neck(x + d, y) for d in (-half, half))
            return joined([shapely.difference(moved(sharp, x, y), tips), own])

        out = []
        for tone, role in enumerate(TONES[:high]):
            places = [
                (half + SCALE_WIDE * i - (j % 2) * half, j)
                for j in range(tone, high, len(TONES))
                for i in range(n + j % 2)
            ]
            shape = shapely.intersection(joined(scale(*at) for at in places), window)
            shape, lines = (
                enlarged(shape, k),
                [enlarged(moved(g, *at), k) for at in places for g in led],
            )
            out.append(Figure(role, shape, seen(lines, shape), follow_border=False))
        edge = LineString([(0, k * high + 0.5), (SCALE_WIDE * n * k, k * high + 0.5)])
        return (*out, guides(edge))

    size = k * high + 1
    corner = (_grid("boss", box(0, 0, size, size), 1),)
    return Band("scales", size, SCALE_WIDE * k, "p1m1", draw, corner, ground("tessellatum", False))


def _turned(x: float, y: float, radius: float, begin: float, end: float) -> list[list[float]]:
    """Return points on an arc from one angle to another, degrees, the last left out."""
    count = max(4, int(np.ceil(abs(np.radians(end - begin)) * radius / ARC_STEP)))
    t = np.radians(np.linspace(begin, end, count, endpoint=False))
    points: list[list[float]] = np.stack(
        [x + radius * np.cos(t), y + radius * np.sin(t)], axis=1
    ).tolist()
    return points


def wave(k: int = 3) -> Band:
    """Return a running wave whose head is k pitches thick, over a fillet of one.

    Wave and ground part along one line of half circles, each a quarter or a half turn: a trough
    and a crest of radius 2k, and between them the two heads of diameter k. Turned by half a turn
    about the middle between the heads it is the same line, wave and ground changed.
    """
    high = 4 * k + 2
    middle = high / 2
    arcs = (
        (0, 2 * k, -90, 0),
        (4 * k, 2 * k, 180, 0),
        (5.5 * k, k / 2, 0, -180),
        (4.5 * k, k / 2, 0, 180),
        (6 * k, 2 * k, 180, 270),
    )
    line = [q for x, r, a, b in arcs for q in _turned(x, middle, r, a, b)]

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        length = 6 * k * n
        top = [(x + 6 * k * j, y) for j in range(n) for x, y in line]
        return (Figure("wave", Polygon([*top, (length, 1), (length, 0), (0, 0)])),)

    corner = (
        Figure("wave", joined([box(0, 0, high, 1), box(high - 1, 0, high, high)])),
        _grid("boss", box(k, k + 1, 3 * k + 1, 3 * k + 2), 1),  # k courses of ground all round
    )
    return Band("wave", high, 6 * k, "p1", draw, corner, ground())
