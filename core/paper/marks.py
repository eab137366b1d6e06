"""Marks on a page: where it is trimmed, bars that prove it true, and marks by which it is joined.

A join mark stands at the same place of the work on both pages, across their lap. Whichever page
lies on top, its edge cuts the mark: a level line with ticks 0.5 mm apart shows how far the pages
have slipped along the edge, slanting lines how far they are from it.
"""

from __future__ import annotations

import math
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from core.drawing import Paths, Rgb, Text
from core.paper.division import Tile
from core.paper.printer import CHECK_MM

TICK_MM = 0.5
APART_MM = 200.0  # join marks along a lap, at most
ARM_MM = 3.0
JOIN: Rgb = (0, 105, 115)

Lines = list[NDArray[np.float64]]


def trim_marks(x0: float, y0: float, x1: float, y1: float) -> Paths:
    """Return the marks outside a drawing's corners, mm of the page."""
    lines: Lines = []
    for x, out_x in ((x0, -1), (x1, 1)):
        for y, out_y in ((y0, -1), (y1, 1)):
            lines.append(np.array([[x + 2 * out_x, y], [x + 8 * out_x, y]]))
            lines.append(np.array([[x, y + 2 * out_y], [x, y + 8 * out_y]]))
    return Paths.of(lines, closed=False, pen_mm=0.15)


def check_bars(x0: float, y0: float, y1: float) -> list[Paths | Text]:
    """Return bars of 100 mm along the foot and up the left side, a tick every 10 mm."""
    foot, side = y1 + 5.0, x0 - 5.0
    level = [np.array([[x0 + 10, foot], [x0 + 10 + CHECK_MM, foot]])]
    upright = [np.array([[side, y0 + 10], [side, y0 + 10 + CHECK_MM]])]
    for k in range(11):
        tall = 1.6 if k % 5 == 0 else 0.9
        x, y = x0 + 10 + 10 * k, y0 + 10 + 10 * k
        level.append(np.array([[x, foot - tall], [x, foot + tall]]))
        upright.append(np.array([[side - tall, y], [side + tall, y]]))
    words = f"{CHECK_MM:g} mm"
    return [
        Paths.of(level, closed=False, pen_mm=0.2),
        Paths.of(upright, closed=False, pen_mm=0.2),
        Text(x0 + 12 + CHECK_MM, foot, words, 2.6),
        Text(side - 3.4, y0 + 10 + CHECK_MM / 2, words, 2.6, "middle", -90.0),
    ]


def join_marks(tile: Tile, tiles: Collection[Tile]) -> Lines:
    """Return the lines of a page's join marks, mm of the work, each with two ends.

    Those of one lap are the very same on both of its pages.
    """
    at = {(t.row, t.column): t for t in tiles}
    lines: Lines = []
    for left, right in ((-1, 0), (0, 1)):
        a, b = (at.get((tile.row, tile.column + k)) for k in (left, right))
        if a is not None and b is not None:
            for y in _along(a.y0, a.y1):
                lines += _mark(b.x0, a.x1, y)
        a, b = (at.get((tile.row + k, tile.column)) for k in (left, right))
        if a is not None and b is not None:
            for x in _along(a.x0, a.x1):
                lines += [line[:, ::-1] for line in _mark(b.y0, a.y1, x)]
    return lines


def _along(start: float, end: float) -> list[float]:
    n = max(2, math.ceil((end - start) / APART_MM))
    return [start + (end - start) * (k + 0.5) / n for k in range(n)]


def _mark(edge: float, other: float, y: float) -> Lines:
    """Return a mark across a lap from one page's edge to the other's, both upright, at y."""
    lines: Lines = [np.array([[edge - 2 * ARM_MM, y], [other + 2 * ARM_MM, y]])]
    for x in (edge, other):
        for up in (-1, 1):
            for k in (1, 2):
                tick, long = y + up * k * TICK_MM, 2.4 / k
                lines.append(np.array([[x - long, tick], [x + long, tick]]))
            slant = y + up * 1.4 * ARM_MM
            across, rise = ARM_MM * 0.7, up * ARM_MM * 0.7
            lines.append(np.array([[x - across, slant - rise], [x + across, slant + rise]]))
    return lines
