"""Parts the pieces into sheets that can be faced with paper, lifted wet and set.

Seams run along joints only. Each sheet is begun as a cell of a bond that fits the limits, and has
a window of the largest size about it; then the seam between each two neighbours is laid anew
along the joints that cost least (`core.sheets.cut`), within both windows, so that it wanders and
its pieces interlock.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.commission import Sheeting
from core.errors import EmblemaError, Stopped
from core.sheets.beside import all_round, both_whole, parted_beside, through
from core.sheets.bond import WANDER, Places, bond, either_way
from core.sheets.cut import cheapest_cut
from core.sheets.graph import Floats, Ints, JointGraph

ALONG = 2.5  # times that a seam costs where it follows a course, since it then runs straight
BETWEEN_FIELDS = 0.7  # times, where two fields meet: an edge of the drawing hides it
SPARED = (2.5, 8.0, 1000.0)  # times, across a place that is to be spared a little, much, wholly
UNEVEN = 0.85  # share by which joints cost more or less here and there, so that seams wander
WAVE = 2.5  # tesserae between one such place and the next
BACK = 0.5  # of a piece's side: what it costs to lie a whole wander from where its sheet began
SMALL = 0.5  # of a sheet's usual area: what is smaller joins its neighbour, where both go together
ROUNDS = 2
NOTHING_MM = 1e-6  # that tells of no size
HANGS = 0.6  # of a piece's side: what hangs on its sheet by less joint is torn off by its weight
NECK = 2.0  # tesserae: what holds two parts of a sheet together by less is too thin to lift


def divide(
    graph: JointGraph,
    sheeting: Sheeting,
    seed: int = 1,
    stop: Callable[[], bool] = lambda: False,
    tell: Callable[[float], object] = lambda share: None,
    openings: Sequence[Polygon] = (),
) -> Ints:
    """Return on which sheet each piece is, shape (n,), numbered from 0 in no order.

    `tell` hears what share of the seams is laid. No sheet goes all round one of the `openings`:
    seams run into it, so that each sheet beside it can be set past what sticks out there.

    Raises
    ------
    core.errors.EmblemaError
        The sheets would be smaller than the pieces.
    core.errors.Stopped
        `stop` answered True.
    """
    if not len(graph):
        return np.empty(0, np.int64)
    tessera = float(np.sqrt(np.median(graph.area_mm2)))
    _check_limits(graph, sheeting, tessera)
    apart = ~_crossed(graph, sheeting.seams)
    part = graph.parts(np.zeros(len(graph), np.int64), apart)
    never = [shapely.Polygon(r).buffer(0) for r in sheeting.spared_never]
    places = Places.of(openings, never)
    label, begun = np.full(len(graph), -1), 0
    cells: list[Floats] = []
    for k in range(int(part.max()) + 1):
        mine = np.flatnonzero(part == k)
        limits = either_way(graph, mine, sheeting)
        found, boxes = bond(graph, mine, limits, places)
        label[mine] = begun + found
        begun += len(boxes)
        cells += boxes
        if stop():
            raise Stopped
    shape = _Shape.of(graph, np.array(cells), label)
    label = _joined(graph, label, shape, sheeting, apart)
    cost = _cost(graph, sheeting, tessera, seed)
    for turn in range(ROUNDS):

        def told(share: float, turn: int = turn) -> None:
            if stop():
                raise Stopped
            tell((turn + share) / ROUNDS)

        label = _seams(graph, label, shape, cost, apart, tessera, told)
        label = whole(graph, label, apart, shape)
    label = _without_necks(graph, label, apart, shape, tessera)
    label, shape = _within_limits(graph, label, shape, sheeting, apart)
    if openings:
        label, origin = parted_beside(graph, label, cost, openings)
        shape = _Shape.of(graph, shape.window[origin], label)
    label = _joined(graph, label, shape, sheeting, apart, openings)
    return np.unique(label, return_inverse=True)[1].astype(np.int64)


def halves(
    graph: JointGraph, sheeting: Sheeting, seed: int = 1, openings: Sequence[Polygon] = ()
) -> NDArray[np.bool_]:
    """Return which pieces are on the second of two halves, shape (n,).

    The seam runs across the longer side, where it costs least near the middle, or into one of the
    `openings` that the pieces go all round.
    """
    every = np.arange(len(graph))
    cost = _cost(graph, sheeting, float(np.sqrt(np.median(graph.area_mm2))), seed)
    for opening in openings:
        if all_round(graph, every, opening):
            return through(graph, every, cost, opening)
    n, area = len(graph), graph.area_mm2
    box = graph.box_of(every)
    along = graph.centre_mm[:, int(box[3] - box[1] > box[2] - box[0])]
    order = np.argsort(along, kind="stable")
    share = np.empty(n)
    share[order] = (np.cumsum(area[order]) - area[order] / 2) / area.sum()
    one, two = np.zeros(n), np.zeros(n)
    one[share > 0.5 + WANDER], two[share < 0.5 - WANDER] = np.inf, np.inf
    one[order[-1]] = two[order[0]] = np.inf  # neither half is empty
    return both_whole(graph, cheapest_cut(n, graph.a, graph.b, cost, one, two))


def _check_limits(graph: JointGraph, sheeting: Sheeting, tessera: float) -> None:
    if min(sheeting.width_mm, sheeting.height_mm) < 3 * tessera:
        raise EmblemaError(
            f"A sheet of {sheeting.width_mm:g} x {sheeting.height_mm:g} mm is hardly larger than "
            f"the tesserae of {tessera:.3g} mm; take one at least three times as large."
        )


def _crossed(
    graph: JointGraph, seams: tuple[tuple[tuple[float, float], ...], ...]
) -> NDArray[np.bool_]:
    """Return the joints that a drawn seam runs along: it passes between the two pieces."""
    out = np.zeros(len(graph.a), bool)
    if not seams:
        return out
    lines = [shapely.LineString(s) for s in seams]
    centre = graph.centre_mm
    ends = np.stack([centre[graph.a], centre[graph.b]], axis=1)
    link = np.asarray(shapely.linestrings(ends), dtype=object)
    out[shapely.STRtree(link).query(lines, predicate="intersects")[1]] = True
    return out


@dataclass(frozen=True, slots=True)
class _Shape:
    """Where each sheet may be, and where it began; both boxes (k, 4), mm."""

    window: Floats
    begun: Floats

    @staticmethod
    def of(graph: JointGraph, window: Floats, label: Ints) -> _Shape:
        begun = np.array([graph.box_of(label == k) for k in range(len(window))])
        return _Shape(window, begun)

    def may_hold(self, bounds: Floats, sheet: int) -> NDArray[np.bool_]:
        """Return which boxes (n, 4) lie within a sheet's window."""
        w = self.window[sheet]
        out: NDArray[np.bool_] = (bounds[:, :2] >= w[:2] - NOTHING_MM).all(1) & (
            bounds[:, 2:] <= w[2:] + NOTHING_MM
        ).all(1)
        return out


def _pairs(graph: JointGraph, label: Ints, kept: NDArray[np.bool_]) -> tuple[Ints, Floats]:
    """Return which sheets lie side by side (k, 2), and how much of a seam they share, mm."""
    one, two = label[graph.a], label[graph.b]
    on = (one != two) & kept
    pair = np.sort(np.stack([one[on], two[on]], axis=1), axis=1)
    found, which = np.unique(pair, axis=0, return_inverse=True)
    length = np.bincount(which.ravel(), graph.length_mm[on], len(found))
    return found, np.asarray(length, np.float64)


def _joined(
    graph: JointGraph,
    label: Ints,
    shape: _Shape,
    sheeting: Sheeting,
    apart: NDArray[np.bool_],
    openings: Sequence[Polygon] = (),
) -> Ints:
    """Join what is smaller than half a sheet to its neighbour, where both together are one.

    What is begun larger moves its window over both. None is made that goes round an opening.
    """
    label = label.copy()
    usual = np.median(np.bincount(label, graph.area_mm2))
    while True:
        area, kg = np.bincount(label, graph.area_mm2), np.bincount(label, graph.kg)
        pairs, length = _pairs(graph, label, apart)
        best: tuple[float, float, int, int] | None = None
        for (one, two), shared in zip(pairs.tolist(), length.tolist(), strict=True):
            small = min(area[one], area[two])
            if small >= SMALL * usual or kg[one] + kg[two] > sheeting.weight_kg:
                continue
            both = np.r_[
                np.minimum(shape.begun[one, :2], shape.begun[two, :2]),
                np.maximum(shape.begun[one, 2:], shape.begun[two, 2:]),
            ]
            if not _fits(both, shape.window[one]):
                continue
            if best is not None and (small, -shared) >= best[:2]:
                continue
            pieces = (label == one) | (label == two)
            if not any(all_round(graph, pieces, o) for o in openings):
                best = small, -shared, one, two
        if best is None:
            return label
        one, two = best[2:]
        label[label == two] = one
        shape.begun[one] = graph.box_of(label == one)
        middle = (shape.begun[one, :2] + shape.begun[one, 2:]) / 2
        half = (shape.window[one, 2:] - shape.window[one, :2]) / 2
        shape.window[one] = np.r_[middle - half, middle + half]


def _fits(box: Floats, window: Floats) -> bool:
    """Return whether a box is no larger than a window."""
    return bool((box[2:] - box[:2] <= window[2:] - window[:2] + NOTHING_MM).all())


def _cost(graph: JointGraph, sheeting: Sheeting, tessera: float, seed: int) -> Floats:
    """Return what a seam costs along each joint, mm: dear where it would be seen or do harm."""
    a, b = graph.a, graph.b
    times = np.ones(len(a))
    alike = graph.field[a] == graph.field[b]
    times[alike & (graph.course[a] != graph.course[b])] = ALONG
    times[~alike] = BETWEEN_FIELDS
    # fine work is spared by itself: its joints are near, and hands see them
    times *= np.clip(tessera / np.sqrt((graph.area_mm2[a] + graph.area_mm2[b]) / 2), 1.0, 3.0)
    rings = (sheeting.spared_little, sheeting.spared, sheeting.spared_never)
    dear = np.ones(len(a))
    for some, by in zip(rings, SPARED, strict=True):
        spared = shapely.union_all([shapely.Polygon(r).buffer(0) for r in some])
        dear[shapely.contains_xy(spared, graph.middle_mm)] = by
    times *= dear
    return graph.length_mm * times * _wavering(graph.middle_mm, WAVE * tessera, seed)


def _wavering(xy: Floats, step: float, seed: int) -> Floats:
    """Return a share above or below 1 that changes smoothly from place to place."""
    at = (xy - xy.min(axis=0)) / step if len(xy) else xy
    cells = np.floor(at).astype(np.int64)
    rows, columns = (cells.max(axis=0) + 2) if len(xy) else (1, 1)
    value = np.random.default_rng(seed).uniform(-UNEVEN, UNEVEN, (rows, columns))
    f = at - cells
    i, j = cells.T
    out = (
        value[i, j] * (1 - f[:, 0]) * (1 - f[:, 1])
        + value[i + 1, j] * f[:, 0] * (1 - f[:, 1])
        + value[i, j + 1] * (1 - f[:, 0]) * f[:, 1]
        + value[i + 1, j + 1] * f[:, 0] * f[:, 1]
    )
    return np.asarray(1 + out)


def _seams(
    graph: JointGraph,
    label: Ints,
    shape: _Shape,
    cost: Floats,
    apart: NDArray[np.bool_],
    tessera: float,
    told: Callable[[float], object],
) -> Ints:
    """Lay the seam between each two sheets anew where it costs least."""
    label = label.copy()
    one_of, two_of = graph.a, graph.b
    pairs = _pairs(graph, label, apart)[0].tolist()
    for done, (one, two) in enumerate(pairs):
        told(done / len(pairs))
        mine = np.flatnonzero((label == one) | (label == two))
        number = np.full(len(graph), -1)
        number[mine] = np.arange(len(mine))
        a, b = number[one_of], number[two_of]
        on = (a >= 0) & (b >= 0) & apart
        sides = [_on_a_sheet(graph, mine, shape, k, tessera) for k in (one, two)]
        # what neither may hold stays where it is
        neither = ~np.isfinite(sides[0]) & ~np.isfinite(sides[1])
        for k, side in zip((one, two), sides, strict=True):
            side[neither] = np.where(label[mine[neither]] == k, 0.0, np.inf)
        second = cheapest_cut(len(mine), a[on], b[on], cost[on], *sides)
        if second.all() or not second.any():
            continue
        label[mine] = np.where(second, two, one)
    return label


def _on_a_sheet(graph: JointGraph, mine: Ints, shape: _Shape, sheet: int, tessera: float) -> Floats:
    """Return what it costs to have pieces on a sheet, mm: the farther from where it began, more."""
    centre, begun = graph.centre_mm[mine], shape.begun[sheet]
    spare = (shape.window[sheet, 2:] - shape.window[sheet, :2] - begun[2:] + begun[:2]) / 2
    off = np.maximum(np.maximum(begun[:2] - centre, centre - begun[2:]), 0.0)
    far = np.hypot(*(off / np.maximum(spare, tessera)).T)
    cost = BACK * np.sqrt(graph.area_mm2[mine]) * far**2
    return np.where(shape.may_hold(graph.bounds[mine], sheet), cost, np.inf)


def whole(graph: JointGraph, label: Ints, apart: NDArray[np.bool_], shape: _Shape) -> Ints:
    """Return sheets that hang together: what is cut off from the rest goes to a neighbour.

    To the one that it shares most of its joints with, of those whose window holds it.
    """
    label = label.copy()
    for _ in range(len(graph)):
        part = graph.parts(label, apart)
        area = np.bincount(part, graph.area_mm2)
        of = np.empty(len(area), np.int64)
        of[part] = label
        order = np.lexsort((area, of))
        main = np.zeros(len(area), bool)
        main[order[np.r_[of[order][1:] != of[order][:-1], True]]] = True
        loose = ~main[part]
        if not loose.any():
            break
        ends = (graph.a, graph.b), (graph.b, graph.a)
        moved = False
        for p in np.unique(part[loose]).tolist():
            shared: dict[int, float] = {}
            for x, y in ends:
                on = (part[x] == p) & (label[x] != label[y]) & apart
                for k, mm in zip(label[y[on]].tolist(), graph.length_mm[on].tolist(), strict=True):
                    shared[k] = shared.get(k, 0.0) + mm
            mine = part == p
            held = {k for k in shared if shape.may_hold(graph.bounds[mine], k).all()}
            if shared:
                label[mine] = max(shared, key=lambda k: (k in held, shared[k], -k))
                moved = True
        if not moved:
            break
    return label


def _without_necks(
    graph: JointGraph, label: Ints, apart: NDArray[np.bool_], shape: _Shape, tessera: float
) -> Ints:
    """Return sheets without necks too thin to be lifted by: what hangs on one goes next door."""
    label = label.copy()
    wide = shapely.buffer(graph.polygons, 0.15 * tessera, join_style="mitre")
    for k in np.unique(label).tolist():
        mine = np.flatnonzero(label == k)
        room = shapely.union_all(wide[mine])
        parts = shapely.get_parts(shapely.buffer(room, -NECK / 2 * tessera, quad_segs=2))
        if len(parts) < 2:
            continue
        near = shapely.STRtree(parts).nearest(graph.polygons[mine])
        largest = int(np.argmax(shapely.area(parts)))
        for p in range(len(parts)):
            off = mine[near == p]
            if p != largest and len(off):
                _to_a_neighbour(graph, label, off, k, apart, shape)
    _let_go(graph, label, apart, shape)
    return whole(graph, label, apart, shape)


def _let_go(graph: JointGraph, label: Ints, apart: NDArray[np.bool_], shape: _Shape) -> None:
    """Give pieces next door that hang on their sheet by a joint much shorter than their side."""
    side = np.sqrt(graph.area_mm2)
    firm = graph.length_mm >= HANGS * np.minimum(side[graph.a], side[graph.b])
    part = graph.parts(label, firm & apart)
    area = np.bincount(part, graph.area_mm2)
    of = np.empty(len(area), np.int64)
    of[part] = label
    main = {k: int(p) for p in np.argsort(area, kind="stable") for k in (int(of[p]),)}
    one, two = part[graph.a], part[graph.b]
    held = np.zeros(len(area))  # by how much joint each part hangs on its sheet
    on = (label[graph.a] == label[graph.b]) & (one != two) & apart
    np.add.at(held, one[on], graph.length_mm[on])
    np.add.at(held, two[on], graph.length_mm[on])
    least = np.full(len(area), np.inf)
    np.minimum.at(least, part, side)
    for p in np.flatnonzero(held < HANGS * least).tolist():
        if main[int(of[p])] != p:
            _to_a_neighbour(graph, label, np.flatnonzero(part == p), int(of[p]), apart, shape)


def _to_a_neighbour(
    graph: JointGraph,
    label: Ints,
    some: Ints,
    sheet: int,
    apart: NDArray[np.bool_],
    shape: _Shape,
) -> None:
    """Give pieces of a sheet to the neighbour that they share most joints with and that may.

    They stay where no neighbour would hold them by more than their own sheet does.
    """
    on = np.zeros(len(graph), bool)
    on[some] = True
    shared: dict[int, float] = {}
    own = 0.0
    for x, y in ((graph.a, graph.b), (graph.b, graph.a)):
        own += float(graph.length_mm[on[x] & ~on[y] & (label[y] == sheet) & apart].sum())
        seam = on[x] & (label[y] != sheet) & apart
        for k, mm in zip(label[y[seam]].tolist(), graph.length_mm[seam].tolist(), strict=True):
            shared[k] = shared.get(k, 0.0) + mm
    held = [k for k in shared if shared[k] > own and shape.may_hold(graph.bounds[some], k).all()]
    if held:
        label[some] = max(held, key=lambda k: (shared[k], -k))


def _within_limits(
    graph: JointGraph, label: Ints, shape: _Shape, sheeting: Sheeting, apart: NDArray[np.bool_]
) -> tuple[Ints, _Shape]:
    """Return sheets parted in two, as long as one is larger or heavier than it may be.

    They are numbered anew without gaps, each with its window and the box that it fills.
    """
    label = label.copy()
    todo = np.unique(label).tolist()
    window = {k: shape.window[k] for k in todo}
    while todo:
        k = todo.pop()
        mine = np.flatnonzero(label == k)
        box = graph.box_of(mine)
        over = (box[2:] - box[:2]) / (window[k][2:] - window[k][:2])
        if len(mine) < 2 or (
            over.max() <= 1 + NOTHING_MM / 100 and graph.kg[mine].sum() <= sheeting.weight_kg
        ):
            continue
        x = graph.centre_mm[mine, int(np.argmax(over))]
        half = x > (x.min() + x.max()) / 2
        new = max(window) + 1
        window[new] = window[k]
        label[mine[half]] = new
        # what either half is cut off from belongs to the other
        for one, two in ((k, new), (new, k)):
            part = graph.parts(label, apart)
            on = np.flatnonzero(label == one)
            main = np.bincount(part[on], graph.area_mm2[on]).argmax()
            label[on[part[on] != main]] = two
        if (label == k).any() and (label == new).any():
            todo += [k, new]
    some, label = np.unique(label, return_inverse=True)
    return label, _Shape.of(graph, np.array([window[k] for k in some.tolist()]), label)
