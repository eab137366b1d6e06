"""Where sheets begin: in a bond of rows and columns, parted at openings and not through a face."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from shapely import Polygon

from core.commission import Sheeting
from core.sheets.graph import Floats, Ints, JointGraph

WANDER = 0.08  # of a sheet's side, at least, that is left for its seams to wander in
STEPS = 80  # places for an edge in each row or column
FARTHEST = 4  # whole spacings that an edge goes from its place at most
SHUN, SEEK = 30.0, 3.0  # what an edge in a place costs and gains, in squares of a whole spacing off

Spans = Floats  # (k, 2): from where to where, mm


@dataclass(frozen=True, slots=True)
class Places:
    """Boxes (k, 4), mm: of openings, through which an edge is wanted, and of what none may cut."""

    seek: tuple[tuple[float, float, float, float], ...] = ()
    shun: tuple[tuple[float, float, float, float], ...] = ()

    @staticmethod
    def of(openings: Sequence[Polygon], never: Sequence[Polygon]) -> Places:
        """Return the boxes of some areas."""
        return Places(tuple(o.bounds for o in openings), tuple(n.bounds for n in never))

    def along(self, axis: int) -> tuple[Spans, Spans]:
        """Return what each box spans across (axis 0) or down (axis 1), shape (k, 2)."""
        each = (np.array(b, float).reshape(-1, 4) for b in (self.seek, self.shun))
        seek, shun = (b[:, [axis, axis + 2]] for b in each)
        return seek, shun

    def in_row(self, top: float, low: float) -> tuple[Spans, Spans]:
        """Return what is spanned across a row; what its edges part already is not sought again."""
        seek = tuple(b for b in self.seek if b[1] > top and b[3] < low)
        shun = tuple(b for b in self.shun if b[1] < low and b[3] > top)
        return Places(seek, shun).along(0)


def parted_at(low: float, high: float, n: int, most: float, seek: Spans, shun: Spans) -> Floats:
    """Return the edges between n parts, alike large but for places sought and shunned.

    No part is larger than `most`. Where n parts cannot keep clear of what is shunned, but one more
    can, they are n + 1.
    """
    if not len(seek) + len(shun):
        return np.asarray(low + (high - low) * np.arange(1, n) / n)
    first, cuts = _edges(low, high, n, most, seek, shun)
    if cuts:
        more, still = _edges(low, high, n + 1, most, seek, shun)
        return more if still < cuts else first
    return first


def _edges(
    low: float, high: float, n: int, most: float, seek: Spans, shun: Spans
) -> tuple[Floats, int]:
    """Return n - 1 edges, and how many lie where none should.

    Of all edges on a fine grid those of the least cost together, by dynamic programming.
    """
    if n == 1:
        return np.empty(0), 0
    even = low + (high - low) * np.arange(1, n) / n
    step = (high - low) / n
    at = np.linspace(low, high, STEPS * n + 1)
    price = np.zeros(len(at))
    for a, b in seek:
        within = (at > a) & (at < b)
        # one that is narrower than the grid is as wide as its step
        price -= SEEK * (within if within.any() else np.abs(at - (a + b) / 2) < step / STEPS)
    for a, b in shun:
        price += SHUN * ((at > a) & (at < b))
    most = max(most, 1.001 * step)

    def near(k: int) -> slice:
        return slice(max(STEPS * (k - FARTHEST), 0), min(STEPS * (k + FARTHEST), STEPS * n) + 1)

    def reach(one: slice, other: slice) -> Floats:
        apart = at[None, other] - at[one, None]
        return np.where((apart > 0.25 * step) & (apart <= most), 0.0, np.inf)

    here = near(1)
    best = reach(slice(0, 1), here)[0] + price[here] + ((at[here] - even[0]) / step) ** 2
    came = []
    for k, goal in enumerate(even[1:], 2):
        there = near(k)
        total = best[:, None] + reach(here, there)
        came.append(total.argmin(axis=0))
        best = total.min(axis=0) + price[there] + ((at[there] - goal) / step) ** 2
        here = there
    last = len(at) - 1
    out = [int((best + reach(here, slice(last, last + 1))[:, 0]).argmin())]
    for back in reversed(came):
        out.append(int(back[out[-1]]))
    edges = at[[near(k).start + one for k, one in enumerate(out[::-1], 1)]]
    return edges, int(sum(((edges > a) & (edges < b)).sum() for a, b in shun))


def either_way(graph: JointGraph, mine: Ints, sheeting: Sheeting) -> tuple[float, float]:
    """Return the largest sheet's width and height, mm, as drawn or turned: as fewer sheets do.

    Never so large that it weighs more than its limit.
    """
    box = graph.box_of(mine)
    per_mm2 = float(graph.kg[mine].sum() / graph.area_mm2[mine].sum())
    w, h = sheeting.width_mm, sheeting.height_mm
    by = min(1.0, math.sqrt(0.92 * sheeting.weight_kg / (per_mm2 * w * h)))
    w, h = w * by, h * by

    def number(size: tuple[float, float]) -> int:
        sides = zip(box[2:] - box[:2], size, _spacing(graph, mine, size), strict=True)
        across, down = (_steps(*side) for side in sides)
        return across * down

    return min(((w, h), (h, w)), key=number)


def _spacing(graph: JointGraph, mine: Ints, size: tuple[float, float]) -> tuple[float, float]:
    """Return how far sheets of a size begin from one another, so that their seams can wander."""
    largest = np.percentile(graph.bounds[mine, 2:] - graph.bounds[mine, :2], 95, axis=0)
    across, down = (
        s - min(max(WANDER * s, 1.5 * most), 0.5 * s) for s, most in zip(size, largest, strict=True)
    )
    return across, down


def _steps(extent: float, size: float, spacing: float) -> int:
    """Return how many sheets go side by side; where one is enough no seam has to wander."""
    return 1 if extent <= size else math.ceil(extent / spacing)


def bond(
    graph: JointGraph, mine: Ints, size: tuple[float, float], places: Places = Places()
) -> tuple[Ints, list[Floats]]:
    """Return pieces parted in rows, and each row in columns, and the box that each sheet may fill.

    Rows are alike in height; a row's columns hold alike much. Where there are places to part at, or
    to keep clear of, rows and columns give way for those.
    """
    across, down = _spacing(graph, mine, size)
    centre, bounds = graph.centre_mm[mine], graph.bounds[mine]
    low, high = centre[:, 1].min(), centre[:, 1].max()
    rows = _steps(bounds[:, 3].max() - bounds[:, 1].min(), size[1], down)
    edges = parted_at(low, high, rows, down, *places.along(1))
    row, rows = np.searchsorted(edges, centre[:, 1], side="right"), len(edges) + 1
    label = np.zeros(len(mine), np.int64)
    boxes: list[Floats] = []
    for r in range(rows):
        on = np.flatnonzero(row == r)
        seek, shun = places.in_row(*np.r_[low, edges, high][r : r + 2])
        for run in _runs(centre[on, 0], across):
            some = on[run]
            x = centre[some, 0]
            order = np.argsort(x, kind="stable")
            wide = bounds[some, 2].max() - bounds[some, 0].min()
            columns = _steps(wide, size[0], across)
            share = np.cumsum(graph.area_mm2[mine[some]][order])
            place = np.minimum(columns * (share - share[0] / 2) / share[-1], columns - 1e-9)
            column = np.empty(len(some), np.int64)
            column[order] = place.astype(np.int64)
            if columns > 1 and max(np.ptp(x[column == c]) for c in np.unique(column)) > across:
                column = np.minimum((x - x.min()) * columns / np.ptp(x), columns - 1).astype(
                    np.int64
                )
            if columns > 1 and (len(seek) or len(shun)):
                walls = parted_at(x.min(), x.max(), columns, across, seek, shun)
                column = np.searchsorted(walls, x, side="right")
            for c in np.unique(column):
                here = some[column == c]
                label[here] = len(boxes)
                box = graph.bounds[mine[here]]
                middle = (box[:, :2].min(axis=0) + box[:, 2:].max(axis=0)) / 2
                half = np.array(size) / 2
                boxes.append(np.r_[middle - half, middle + half])
    return label, boxes


def _runs(x: Floats, far: float) -> list[Ints]:
    """Return places that are not parted by a gap as wide as a sheet, run by run."""
    order = np.argsort(x, kind="stable")
    gaps = np.flatnonzero(np.diff(x[order]) > far)
    return [np.asarray(r, np.int64) for r in np.split(order, gaps + 1) if len(r)]
