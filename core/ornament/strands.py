"""The guilloche: two or three strands plaited, each over and under the others by turns.

Each strand may have a contour one course wide on either side; between the strands lie eyes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import LineString, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from core.ornament.parts import HAIR, Band, Figure, ground, joined, moved, rows, seen
from core.ornament.parts import guides as guides_of_ground

STEP = 0.3  # pitches from point to point of a strand
MARGIN = 1  # pitches of ground between the plait and its edge: a whole course
GENTLE = 5.0  # pitches; radius of the bends: in tighter ones courses turn too much
OPEN = 5.6  # the same of three strands, which bend again before a course has run straight
TIP = 0.2  # pitches by which the tessera in the tip of an eye may be higher or lower than others
SEGMENTS = 12  # to a quarter circle


@dataclass(frozen=True, slots=True)
class Crossing:
    """A window of the plait, and which strand passes over which in it."""

    window: BaseGeometry
    over: int
    under: int


def guilloche(k: int = 2, strands: int = 2, contour: bool = True) -> Band:
    """Return a plait of two or three strands k pitches wide.

    Raises
    ------
    ValueError
        Not two or three strands.
    """
    if strands not in (2, 3):
        raise ValueError("a guilloche here has two or three strands")
    return _of_two(k, int(contour)) if strands == 2 else _of_three(k, int(contour))


def sway_of(k: int, strands: int, contour: int) -> float:
    """Return how far a strand's middle strays to either side of the plait's, pitches."""
    wide = k + 2 * contour
    if strands == 2:  # so that the eye between has a course in its middle
        eye = max(k + 1, int(np.ceil(2 * GENTLE)) - wide)
        return (wide + eye + 1 - eye % 2) / 2
    # so that a crossing at right angles has its room within half the plait, and a whole number of
    # level courses fills the eye from its crown to its tip, or nearly
    least = np.ceil(max(2 * np.sqrt(2) * wide, 2 * OPEN * 4 / 3))
    sway = (least + np.arange(4)) / 2
    eye = 1.5 * sway - (0.5 + np.sqrt(0.5)) * wide
    return float(sway[np.argmax(np.abs(eye - np.round(eye)) < TIP)])


def _of_two(k: int, contour: int) -> Band:
    sway = sway_of(k, 2, contour)
    repeat = round(2 * np.pi * sway)  # they cross at right angles
    high = 2 * sway + k + 2 * contour + 2 * MARGIN
    lines = _lines(2, sway, repeat, high / 2)
    # whichever goes inward passes over: then each goes over and under by turns
    crossings = [
        Crossing(box(0, 0, repeat / 2, high), 0, 1),
        Crossing(box(repeat / 2, 0, repeat, high), 1, 0),
    ]

    return _band(
        "guilloche of two",
        "p211",
        k,
        contour,
        lines,
        crossings,
        high,
        _corner_of_two(k, contour, sway, high),
    )


def _corner_of_two(k: int, contour: int, sway: float, high: float) -> tuple[Figure, ...]:
    """Return both strands side by side round the corner, with the eye between them."""
    inner = shapely.Point(0, high)
    block = box(0, 0, high, high)

    def around(radius: float) -> BaseGeometry:
        return shapely.buffer(inner, radius, quad_segs=8 * SEGMENTS)

    def ring(middle: float, half: float) -> BaseGeometry:
        band = shapely.difference(around(middle + half), around(middle - half))
        return shapely.intersection(band, block)

    def guides(middle: float, off: Sequence[float]) -> tuple[LineString, ...]:
        t = np.linspace(0, np.pi / 2, 8 * SEGMENTS + 1)
        way = np.stack([np.cos(t), -np.sin(t)], axis=1)
        return tuple(LineString(np.array([0, high]) + (middle + d) * way) for d in off)

    half, edge = k / 2, k / 2 + contour
    radii = (high / 2 + sway, high / 2 - sway)
    figures = [
        Figure(f"strand {j + 1}", ring(r, half), guides(r, _outermost(k)))
        for j, r in enumerate(radii)
    ]
    if contour:
        strands = joined(f.shape for f in figures)
        wide = joined(ring(r, edge) for r in radii)
        beside = [g for r in radii for g in guides(r, (half + 0.5, -half - 0.5))]
        figures.append(Figure("contour", shapely.difference(wide, strands), tuple(beside)))
    eye = ring(high / 2, sway - edge)
    figures.append(Figure("eyes", eye, guides(high / 2, (0.0,)), follow_border=False))
    near = MARGIN / 2
    return (
        *figures,
        guides_of_ground(LineString([(0, near), (high - near, near), (high - near, high)])),
    )


def _outermost(k: int) -> tuple[float, ...]:
    """Return where the middles of the outermost of k courses lie, pitches from their middle.

    Guides there leave both sides of a strand alike; one between two courses would count them wrong.
    """
    off = (k - 1) / 2
    return (off, -off) if off else (0.0,)


def _of_three(k: int, contour: int) -> Band:
    sway = sway_of(k, 3, contour)
    repeat = round(np.sqrt(3) * np.pi * sway)  # they cross at right angles
    high = 2 * sway + k + 2 * contour + 2 * MARGIN
    lines = _lines(3, sway, repeat, high / 2)
    # in the outer lane whichever goes inward passes over, in the inner lane whichever goes outward
    crossings = []
    for j in range(6):
        at = j * repeat / 6
        x = 2 * np.pi * at / repeat
        place = [-np.cos(x - 2 * np.pi * s / 3) for s in range(3)]
        inward = [np.sin(x - 2 * np.pi * s / 3) for s in range(3)]
        lane = 1 - j % 2  # 1 is the inner
        a, b = (s for s in range(3) if abs(place[s] - (0.5 if lane else -0.5)) < 0.1)
        first = (inward[a] > 0) == (lane == 0)
        over, under = (a, b) if first else (b, a)
        window = box(at - repeat / 6, lane * high / 2, at + repeat / 6, (lane + 1) * high / 2)
        crossings.append(Crossing(window, over, under))
    corner = (Figure("boss", box(0, 0, high, high), rows(0, 0, high, high), "regulatum", False),)
    return _band("guilloche of three", "p11g", k, contour, lines, crossings, high, corner)


def _lines(count: int, sway: float, repeat: float, middle: float) -> list[LineString]:
    """Return the strands' middle lines, a repeat more at either end."""
    # a dozenth of a repeat takes whole steps, so that strands are as symmetric as they are drawn
    x = np.linspace(-repeat, 2 * repeat, 3 * 12 * int(np.ceil(repeat / STEP / 12)) + 1)
    turn = 2 * np.pi * x / repeat
    shift = [2 * np.pi * s / count for s in range(count)]
    return [LineString(np.stack([x, middle - sway * np.cos(turn - a)], axis=1)) for a in shift]


def _band(
    name: str,
    frieze: str,
    k: int,
    contour: int,
    lines: Sequence[LineString],
    crossings: Sequence[Crossing],
    high: float,
    corner: tuple[Figure, ...],
) -> Band:
    repeat = (lines[0].bounds[2] - lines[0].bounds[0]) / 3
    core = [shapely.buffer(w, k / 2, quad_segs=SEGMENTS) for w in lines]
    wide = [shapely.buffer(w, k / 2 + contour, quad_segs=SEGMENTS) for w in lines]
    one = box(0, 0, repeat, high)
    seen: list[list[BaseGeometry]] = [[] for _ in lines]
    edges: list[BaseGeometry] = []
    for c in crossings:
        for s in range(len(lines)):
            above = wide[c.over] if s == c.under else shapely.Polygon()
            edge = shapely.difference(wide[s], shapely.union(core[s], above))
            seen[s].append(shapely.intersection(shapely.difference(core[s], above), c.window))
            edges.append(shapely.intersection(edge, c.window))
    strand = [_repeated(some, repeat) for some in seen]
    edge = _repeated(edges, repeat)
    whole = box(-repeat, 0, 2 * repeat, high)
    gaps = shapely.difference(whole, joined([*strand, edge]))
    rim = whole.boundary
    eyes = joined(g for g in shapely.get_parts(gaps) if not shapely.dwithin(g, rim, HAIR))
    guides = [_beside(w, _outermost(k)) for w in lines]
    roles = [
        *((f"strand {s + 1}", strand[s], guides[s]) for s in range(len(lines))),
        ("contour", edge, [g for w in lines for g in _beside(w, (k / 2 + 0.5, -k / 2 - 0.5))]),
    ]
    figures = [_one(role, shape, some, one) for role, shape, some in roles if not shape.is_empty]
    # level courses, one of them in the middle, or next to that along the strand outside
    crown = MARGIN + k + 2 * contour + 1.5
    levels = [high / 2] if len(lines) == 2 else [crown, high - crown]
    across = [LineString([(-repeat, y), (2 * repeat, y)]) for y in levels]
    led = _one("eyes", eyes, [g for w in across for g in _inner(w, eyes)], one)
    figures.append(replace(led, follow_border=False))
    figures += [
        guides_of_ground(LineString([(0, y), (repeat, y)])) for y in (MARGIN / 2, high - MARGIN / 2)
    ]

    def draw(n: int, ends: bool) -> tuple[Figure, ...]:
        return tuple(_more(f, repeat, n) for f in figures)

    return Band(name, high, repeat, frieze, draw, corner, ground())


def _repeated(shapes: Sequence[BaseGeometry], repeat: float) -> BaseGeometry:
    """Return the shapes of one repeat as one, with those of the repeats beside it."""
    return joined(moved(g, j * repeat) for g in shapes for j in (-1, 0, 1))


def _beside(line: LineString, off: Sequence[float]) -> list[LineString]:
    """Return the lines beside one, each whole or, as buffering may leave it, in parts."""
    beside = [shapely.offset_curve(line, d, quad_segs=SEGMENTS) if d else line for d in off]
    return [g for g in shapely.get_parts(beside) if isinstance(g, LineString)]


def _one(role: str, shape: BaseGeometry, guides: Sequence[LineString], one: Polygon) -> Figure:
    """Return what lies in one repeat, its guides as far as they are seen."""
    inside = shapely.intersection(shape, one)
    return Figure(role, inside, seen(guides, inside))


def _inner(line: LineString, shapes: BaseGeometry) -> list[LineString]:
    """Return the middle half of each stretch of a line in shapes: pieces in tips are not led."""
    parts = shapely.get_parts(shapely.intersection(line, shapes))
    inner = [substring(g, 0.25, 0.75, normalized=True) for g in parts]
    return [g for g in inner if isinstance(g, LineString)]


def _more(f: Figure, repeat: float, n: int) -> Figure:
    shape = joined(moved(f.shape, repeat * j) for j in range(n))
    flow = tuple(moved(g, repeat * j) for j in range(n) for g in f.flow)
    return replace(f, shape=shape, flow=flow)
