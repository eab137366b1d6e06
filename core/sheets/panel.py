"""The panel beside a sheet's drawing: its number, its facts, which side is which, its materials."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from core.drawing import BLACK, Paths, Rgb, Text
from core.lettering import LEAST_MM, fitted, wide_mm
from core.sheets.patterns import Pattern
from core.sheets.patterns import drawn as pattern_drawn
from core.sheets.sides import pictures

ASIDE_MM = 70.0  # wide, where it stands at the right
ASIDE_HIGH_MM = 186.0
BELOW_MM = 66.0  # high, where it stands below
GAP_MM = 4.0
ROW_MM, CLOSE_ROW_MM, LEAST_ROW_MM = 5.4, 4.1, 3.6
COLUMN_MM, APART_MM = 33.0, 3.0  # a column at least, and what parts two
SWATCH_MM = 6.0
IN_MM = 14.0  # to where the code begins
GREY: Rgb = (110, 110, 110)
RED: Rgb = (176, 28, 28)

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Row:
    """A material on the sheet: its number on the pages, its code, how it is shown, its pieces."""

    number: str
    code: str
    rgb: Rgb | None
    pattern: Pattern | None
    pieces: int


@dataclass(frozen=True, slots=True)
class Facts:
    """What is said of a sheet; `by` is mm on paper for each mm of the work."""

    title: str
    number: int
    order: int
    of: int
    size_mm: tuple[float, float]
    kg: float
    pieces: int
    putty: str
    by: float
    mirrored: bool
    laid: str
    unnamed: int
    closer: bool  # whether those without a name have one on a page drawn larger

    @property
    def scale(self) -> str:
        """The scale in words."""
        if self.by == 1.0:
            return "true size"
        return f"1 : {1 / self.by:.2f}, not true size"


def ordinal(n: int) -> str:
    """Return a number as 1st, 2nd, 3rd, 4th ..."""
    tail = {1: "st", 2: "nd", 3: "rd"}.get(n % 10, "th") if n % 100 not in (11, 12, 13) else "th"
    return f"{n}{tail}"


def drawn(
    facts: Facts, rows: list[Row], box: Box, aside: bool
) -> tuple[list[Paths | Text], list[Row]]:
    """Return what stands in the panel, and the rows of the table that have no room there."""
    x0, y0, x1, y1 = box
    if aside:
        items, high = _head(facts, x0, y0, x1 - x0)
        more, sides = pictures(facts.laid, x0, y0 + high, x1 - x0)
        table = (x0, y0 + high + sides + 1.5, x1, y1)
    else:
        head = min(70.0, 0.36 * (x1 - x0))
        items, _ = _head(facts, x0, y0, head)
        more, _ = pictures(facts.laid, x0 + head + 5, y0, 64.0)
        table = (x0 + head + 74, y0, x1, y1)
    listed, left = _table(rows, table)
    return [*items, *more, *listed], left


def table_page(
    facts: Facts, rows: list[Row], size: tuple[float, float], margin: float, foot: float
) -> tuple[list[Paths | Text], list[Row]]:
    """Return a page of more rows, and those that it has no room for."""
    title = f"Sheet {facts.number}: trays, continued"
    listed, left = _table(rows, (margin, margin + 14, size[0] - margin, size[1] - margin - foot))
    return [Text(margin, margin + 4, title, 7.0, bold=True), *listed], left


def _head(facts: Facts, x: float, y: float, wide: float) -> tuple[list[Paths | Text], float]:
    """Return the number, the way up and the facts, and how high they are."""
    words = str(facts.number)
    big = min(27.0, 27.0 * (wide - 18) / wide_mm(words, 27.0, bold=True))
    items: list[Paths | Text] = [Text(x, y + 11, words, big, bold=True)]
    items += way_up(x + wide - 7, y, 21.0)
    w, h = facts.size_mm
    side = "MIRRORED: seen from the back" if facts.mirrored else "seen from the front"
    lines = [
        (f"set {ordinal(facts.order)} of {facts.of}", 5.4, True, BLACK),
        (f"{w:.0f} × {h:.0f} mm,  {facts.kg:.2f} kg", 4.2, False, BLACK),
        (f"{facts.pieces:,} pieces", 4.2, False, BLACK),
        (facts.putty, 3.0, False, BLACK),
        (side, 3.6, True, RED if facts.mirrored else BLACK),
        (f"drawn {facts.scale}", 3.2, False, BLACK),
    ]
    if facts.unnamed:
        where = "are named on the closer pages" if facts.closer else "are too small to name"
        lines.append((f"{facts.unnamed:,} pieces {where}", 2.6, False, GREY))
    low = y + 25.0
    for said, size, bold, colour in lines:
        said, size = fitted(said, size, wide, LEAST_MM, bold)
        items.append(Text(x, low, said, size, "start", 0.0, colour, bold))
        low += 1.1 * size + 1.7
    items += _scale_bar(x, low + 0.5, facts.by, wide)
    return items, low + 6.5 - y


def way_up(x: float, y: float, high: float) -> list[Paths | Text]:
    """Return a thick arrow that points up."""
    ring = np.array([[0, 0], [6.5, 9], [2.6, 9], [2.6, 16], [-2.6, 16], [-2.6, 9], [-6.5, 9]])
    return [
        Paths.of([ring + np.array([x, y])], pen=None, fill=BLACK),
        Text(x, y + high - 2.2, "UP", 4.2, "middle", bold=True),
    ]


def _scale_bar(x: float, y: float, by: float, wide: float) -> list[Paths | Text]:
    """Return a bar that is a round length of the work, 100 mm where there is room."""
    mm = next(v for v in (100, 50, 20, 10, 5, 2, 1) if v * by <= wide - 18 or v == 1)
    long = mm * by
    lines = [np.array([[x, y], [x + long, y]])]
    lines += [np.array([[x + s, y - 1.2], [x + s, y + 1.2]]) for s in (0.0, long)]
    return [
        Paths.of(lines, closed=False, pen_mm=0.25),
        Text(x + long + 1.5, y, f"{mm} mm", 2.8),
    ]


def _table(rows: list[Row], box: Box) -> tuple[list[Paths | Text], list[Row]]:
    """Return the materials in columns, and those that there is no room for."""
    x0, y0, x1, y1 = box
    columns, row = _columns(len(rows), x1 - x0, y1 - y0)
    deep = max(1, int((y1 - y0) / row + 1e-9) - 1)
    if len(rows) < columns * deep:
        deep = -(-len(rows) // columns)  # alike long
    wide = (x1 - x0 + APART_MM) / columns
    size = min(3.4, 0.66 * row)
    items: list[Paths | Text] = []
    for k in range(columns):
        some = rows[k * deep : (k + 1) * deep]
        if not some:
            break
        left, right = x0 + k * wide, x0 + (k + 1) * wide - APART_MM
        y = y0 + row / 2
        items.append(Text(left, y, "No.", 2.4, colour=GREY))
        items.append(Text(left + IN_MM, y, "material", 2.4, colour=GREY))
        items.append(Text(right, y, "pieces", 2.4, "end", colour=GREY))
        for r in some:
            y += row
            items += _row(r, left, right, y, row, size)
    return items, rows[columns * deep :]


def _columns(rows: int, wide: float, high: float) -> tuple[int, float]:
    """Return how many columns a table is set in, and how high each row is: as high as may be."""
    most = max(1, int((wide + APART_MM) / (COLUMN_MM + APART_MM)))
    for columns in range(1, most + 1):
        row = high / (-(-rows // columns) + 1)
        if row >= CLOSE_ROW_MM or (columns == most and row >= LEAST_ROW_MM):
            return columns, min(row, ROW_MM)
    return most, LEAST_ROW_MM


def _row(
    r: Row, left: float, right: float, y: float, row: float, size: float
) -> list[Paths | Text]:
    high = 0.8 * row
    box = np.array([[0, -0.5], [1, -0.5], [1, 0.5], [0, 0.5]]) * (SWATCH_MM, high)
    box += (left + IN_MM - SWATCH_MM - 1.5, y)
    items: list[Paths | Text] = [Text(left, y, r.number, size, bold=True)]
    if r.pattern is not None:
        items += pattern_drawn(r.pattern, np.array([shapely.Polygon(box)], dtype=object))
    items.append(Paths.of([box], pen_mm=0.12, pen=GREY, fill=r.rgb))
    count = f"{r.pieces:,}"
    room = right - left - IN_MM - wide_mm(count, size, bold=True) - 1.5
    code, code_size = fitted(r.code, size, room, LEAST_MM)
    items.append(Text(left + IN_MM, y, code, code_size))
    items.append(Text(right, y, count, size, "end", bold=True))
    return items
