"""What stands in each piece on a sheet's page: its code, its part of a run, or a number.

A code stands in its piece where it fits. Otherwise consecutive pieces of a course that are laid in
one material are named together along the course, or the piece has the number of its material, in
it or beside the drawing at the end of a line. No letter is lower than 1.6 mm.

References
----------
Bekos, Kaufmann, Symvonis & Wolff 2007, "Boundary labeling: models and efficient algorithms for
rectangular maps", doi 10.1016/j.comgeo.2006.05.003. Of all straight lines from places to the
labels about them, those of the least length together never cross.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment
from scipy.spatial.distance import cdist
from shapely import MultiPolygon, Polygon

from core.drawing import BLACK, Paths, Rgb, Text
from core.lettering import CAPITAL, LEAST_MM, wide_mm

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Shapes = NDArray[np.object_]

SIZES_MM = (3.2, 2.7, LEAST_MM)
AIR_MM = 0.25  # about words
LINE: Rgb = (90, 90, 90)
MOST_LEADERS = 48  # more lines than that are a thicket
PORT_MM = 3.4  # between the ends of two lines


@dataclass(frozen=True, slots=True)
class Drawn:
    """Pieces as they stand on the page, mm on paper.

    Attributes
    ----------
    shapes : ndarray of Polygon, shape (n,)
    angle_rad : ndarray (n,)
        The way of the course on the page.
    codes, numbers : list of str
        Of each piece's material; "" where there is none to write.
    ink : list of tuple
        The colour of what is written on each piece.
    run : tuple of ndarray of int
        Which field, course and place along it each piece has.
    joint_mm : float
    """

    shapes: Shapes
    angle_rad: Floats
    codes: list[str]
    numbers: list[str]
    ink: list[Rgb]
    run: tuple[Ints, Ints, Ints]
    joint_mm: float


@dataclass(frozen=True, slots=True)
class Named:
    """What is written, and how many pieces are named in each way.

    `left` are the pieces without a name, `taken` is the room of the words that stand beside the
    drawing.
    """

    items: list[Paths | Text]
    by_code: int
    in_runs: int
    by_number: int
    by_line: int
    left: Ints
    taken: list[Polygon]

    @property
    def unnamed(self) -> int:
        """How many pieces have no name."""
        return len(self.left)


def named(d: Drawn, outline: MultiPolygon) -> Named:
    """Return the names of all pieces; lines to those too small for one end outside the outline."""
    centre = shapely.get_coordinates(shapely.centroid(d.shapes)).reshape(-1, 2)
    left = np.array([bool(c) for c in d.codes])
    items: list[Paths | Text] = []
    code = _within(d.shapes, centre, d.angle_rad, d.codes)
    threads: list[Floats] = []
    in_runs = 0
    for run in _runs(d, left):
        if all(k in code for k in run.tolist()):
            continue
        found = _along(d, centre, run)
        if found is not None:
            text, lines = found
            items.append(text)
            threads += lines
            left[run] = False
            in_runs += len(run)
    coded = [k for k in code if left[k]]
    items += [_text(centre[k], d.codes[k], *code[k], d.ink[k]) for k in coded]
    left[coded] = False
    some = np.flatnonzero(left)
    number = _within(d.shapes[some], centre[some], d.angle_rad[some], [d.numbers[k] for k in some])
    by_number = some[list(number)]
    items += [
        _text(centre[k], d.numbers[k], *how, d.ink[k])
        for k, how in zip(by_number, number.values(), strict=True)
    ]
    left[by_number] = False
    beside = np.flatnonzero(left)[:MOST_LEADERS]
    leaders, taken = _leaders(centre[beside], [d.numbers[k] for k in beside], outline)
    items += leaders
    left[beside] = False
    items.insert(0, Paths.of(threads, closed=False, pen_mm=0.12, pen=LINE))
    bare = np.flatnonzero(left)
    return Named(items, len(coded), in_runs, len(by_number), len(beside), bare, taken)


def _text(at: Floats, words: str, size: float, turn: float, ink: Rgb) -> Text:
    return Text(float(at[0]), float(at[1]), words, size, "middle", turn, ink)


def _boxes(at: Floats, angle: Floats, wide: Floats, high: float) -> Shapes:
    """Return boxes (n,) about points, turned by angles."""
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)[:, None, :]
    across = np.stack([-np.sin(angle), np.cos(angle)], axis=1)[:, None, :]
    corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2.0
    xy = (
        at[:, None, :]
        + corner[None, :, :1] * wide[:, None, None] * along
        + corner[None, :, 1:] * high * across
    )
    return np.asarray(shapely.polygons(xy), dtype=object)


def _readable(angle: Floats) -> Floats:
    """Return angles by which words are never upside down, in (-90, 90] degrees."""
    return np.asarray(-((np.pi / 2 - angle) % np.pi) + np.pi / 2)


def _within(
    shapes: Shapes, at: Floats, angle: Floats, words: list[str]
) -> dict[int, tuple[float, float]]:
    """Return for pieces that have room for their word its size and its turn in degrees."""
    found: dict[int, tuple[float, float]] = {}
    left = np.array([k for k, w in enumerate(words) if w], np.int64)
    for size in SIZES_MM:
        wide = np.array([wide_mm(w, size) for w in words]) + 2 * AIR_MM
        for turn in (np.zeros(len(shapes)), angle, angle + np.pi / 2):
            if not len(left):
                return found
            way = _readable(turn[left])
            box = _boxes(at[left], way, wide[left], CAPITAL * size + 2 * AIR_MM)
            fits = shapely.covers(shapes[left], box)
            for k, w in zip(left[fits].tolist(), way[fits].tolist(), strict=True):
                found[k] = size, float(np.degrees(w))
            left = left[~fits]
    return found


def _runs(d: Drawn, wanted: NDArray[np.bool_]) -> Iterator[Ints]:
    """Yield consecutive pieces of one course and material, two or more."""
    field, course, place = d.run
    on = np.flatnonzero(wanted & (course >= 0))
    order = on[np.lexsort((place[on], course[on], field[on]))]
    if not len(order):
        return
    a, b = order[:-1], order[1:]
    one = (field[a] == field[b]) & (course[a] == course[b]) & (place[b] == place[a] + 1)
    one &= np.array([d.codes[i] == d.codes[j] for i, j in zip(a, b, strict=True)], bool)
    one &= shapely.distance(d.shapes[a], d.shapes[b]) <= 3 * d.joint_mm
    for run in np.split(order, np.flatnonzero(~one) + 1):
        if len(run) > 1:
            yield run


def _along(d: Drawn, centre: Floats, run: Ints) -> tuple[Text, list[Floats]] | None:
    """Return a run's name along its course with a line to both ends, None where it has no room."""
    through = centre[run]
    # joints up to twice the usual are closed; words keep to the course and half the joints by it
    grown = shapely.union_all(shapely.buffer(d.shapes[run], d.joint_mm, join_style="mitre"))
    room = grown.buffer(-0.4 * d.joint_mm, join_style="mitre")
    at = np.concatenate([through, (through[1:] + through[:-1]) / 2])
    place = np.r_[np.arange(len(run)), np.arange(len(run) - 1) + 0.5]
    nearest = np.argsort(np.abs(place - (len(run) - 1) / 2), kind="stable")
    at, place = at[nearest], place[nearest]
    code = d.codes[run[0]]
    for words in (f"{len(run)} × {code}", code):
        for size in SIZES_MM:
            wide = wide_mm(words, size)
            # the way of the course over as much of it as the words take
            half = 0.5 * wide / max(_step(through), 1e-6)
            ends = [_at(through, np.clip(place + s, 0, len(run) - 1)) for s in (-half, half)]
            way = ends[1] - ends[0]
            angle = _readable(np.arctan2(way[:, 1], way[:, 0]))
            box = _boxes(
                at, angle, np.full(len(at), wide + 2 * AIR_MM), CAPITAL * size + 2 * AIR_MM
            )
            fits = np.flatnonzero(shapely.covers(room, box))
            if len(fits):
                k = int(fits[0])
                text = _text(at[k], words, size, float(np.degrees(angle[k])), d.ink[run[0]])
                return text, _thread(through, box[k])
    return None


def _step(through: Floats) -> float:
    return float(np.hypot(*np.diff(through, axis=0).T).mean())


def _at(through: Floats, place: Floats) -> Floats:
    """Return points at places along a polyline, counted in its corners."""
    k = np.arange(len(through))
    return np.stack([np.interp(place, k, through[:, i]) for i in (0, 1)], axis=1)


def _thread(through: Floats, words: Polygon) -> list[Floats]:
    """Return the line through a run's pieces, left open where its name stands, and its ends."""
    line = shapely.LineString(through)
    parts = [
        shapely.get_coordinates(p)
        for p in shapely.get_parts(shapely.difference(line, shapely.buffer(words, 0.3)))
        if p.length > 0.2
    ]
    for end, inner in ((through[0], through[1]), (through[-1], through[-2])):
        if words.distance(shapely.Point(end)) > 0.3:
            way = (inner - end) / max(float(np.hypot(*(inner - end))), 1e-9)
            across = 0.6 * np.array([-way[1], way[0]])
            parts.append(np.stack([end - across, end + across]))
    return parts


def _leaders(
    at: Floats, words: list[str], outline: MultiPolygon
) -> tuple[list[Paths | Text], list[Polygon]]:
    """Return words about an outline with lines to their places, of the least length together.

    Also the room of each.
    """
    if not len(at):
        return [], []
    # words stand on a ring about the drawing, as many as there is room for
    ring = shapely.buffer(outline.convex_hull, 2.4, quad_segs=4).exterior
    n = max(len(at), int(ring.length / PORT_MM))
    ports = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, (np.arange(n) + 0.5) / n, normalized=True)
    )
    one, two = linear_sum_assignment(cdist(at, ports))
    middle = outline.centroid.x
    lines: list[Floats] = []
    items: list[Text] = []
    taken: list[Polygon] = []
    for k, p in zip(one, ports[two], strict=True):
        way = (p - at[k]) / max(float(np.hypot(*(p - at[k]))), 1e-9)
        lines.append(np.stack([at[k], p - 0.4 * way]))
        wide = wide_mm(words[k], LEAST_MM)
        right = bool(p[0] > middle)
        anchor, x1 = ("start", p[0] + wide) if right else ("end", p[0] - wide)
        taken.append(shapely.box(min(p[0], x1), p[1] - 1.5, max(p[0], x1), p[1] + 1.5))
        items.append(Text(float(p[0]), float(p[1]), words[k], LEAST_MM, anchor, colour=BLACK))
    return [Paths.of(lines, closed=False, pen_mm=0.1, pen=LINE), *items], taken
