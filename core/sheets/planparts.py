"""What the pages of the key plan have in common: a table, a dimension line, a foot."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from core.drawing import Item, Paths, Rgb, Text
from core.lettering import LEAST_MM, fitted, wide_mm
from core.sheets.made import OnSheet

MARGIN_MM = 10.0
TITLE_MM = 15.0
FOOT_MM = 6.0
ROW_MM = 5.0
SIZE_MM = 3.2  # letters of a dimension
FAINT: Rgb = (190, 190, 190)
GREY: Rgb = (110, 110, 110)

Box = tuple[float, float, float, float]


def sized(words: str, a: tuple[float, float], b: tuple[float, float]) -> list[Item]:
    """Return a dimension line, its words in a gap at its middle."""
    one, two = np.array(a), np.array(b)
    long = float(np.hypot(*(two - one)))
    way = (two - one) / long
    across = np.array([-way[1], way[0]])
    middle, half = (one + two) / 2, wide_mm(words, SIZE_MM) / 2 + 1
    lines = [np.stack([end - 1.3 * across, end + 1.3 * across]) for end in (one, two)]
    if 2 * half < long:
        lines += [np.stack([one, middle - half * way]), np.stack([middle + half * way, two])]
    turn = float(np.degrees(np.arctan2(way[1], way[0])))
    return [
        Paths.of(lines, closed=False, pen_mm=0.2),
        Text(float(middle[0]), float(middle[1]), words, SIZE_MM, "middle", turn),
    ]


def foot_of(words: str, w: float, h: float) -> list[Text]:
    """Return what stands at the foot of a page, so many mm wide and high."""
    words, size = fitted(words, 2.8, w - 2 * MARGIN_MM, LEAST_MM)
    return [Text(MARGIN_MM, h - MARGIN_MM + 1.0, words, size, colour=GREY)]


def far_from(s: OnSheet, box: Box) -> list[str]:
    """Return a sheet's order and number, and its distances to the sides of a box about it."""
    x0, y0, x1, y1 = s.box_mm
    far = (x0 - box[0], box[2] - x1, y0 - box[1], box[3] - y1)
    return [str(s.order), str(s.number), *(f"{v:.0f}" for v in far)]


def table(
    title: str,
    columns: Sequence[tuple[str, float]],
    rows: Sequence[Sequence[str]],
    place: tuple[float, float, float],
    bold: int = 1,
) -> tuple[list[Item], int]:
    """Return rows of cells in columns that end at places, and how many had room.

    Parameters
    ----------
    place : tuple of float
        Left and upper edge, and how low it may reach, mm.
    bold : int
        The column in bold.
    """
    (x, y, low), size = place, 2.9
    wide = columns[-1][1]
    items: list[Item] = [Text(x, y + 1, title, size, colour=GREY)]
    y += 6
    for name, end in columns:
        items.append(Text(x + end, y, name, size, "end", bold=True))
    fit = max(1, int((low - y) / ROW_MM))
    rules = []
    for row in rows[:fit]:
        y += ROW_MM
        before = 0.0
        for k, ((_, end), words) in enumerate(zip(columns, row, strict=True)):
            told, small = fitted(words, size, end - before - 0.8, LEAST_MM, k == bold)
            items.append(Text(x + end, y, told, small, "end", bold=k == bold))
            before = end
        rules.append(np.array([[x, y + ROW_MM / 2], [x + wide, y + ROW_MM / 2]]))
    items.append(Paths.of(rules, closed=False, pen_mm=0.08, pen=FAINT))
    return items, fit
