"""The key plan: the whole wall with its sheets, their order, and where each one stands.

It goes to the site. The plan has the fields' borders, the seams, the numbers and the level line;
the table has each sheet's distances to the edges of the work, by which the first ones are measured
out, and what movement joints and cautions ask for.

References
----------
TCNA Handbook, EJ171 (movement joints); The Tile Association, guide to movement joints on walls.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.agreed import mark_of, piece_marks
from core.bounds import one_of
from core.commission import Commission
from core.drawing import BLACK, Item, Page, Paths, Rgb, Text
from core.errors import EmblemaError
from core.figures import CAUTIONS
from core.geometry import polygon_of, polygons_in
from core.lettering import CAPITAL, LEAST_MM, fitted, wide_mm, wrapped
from core.openmarks import drawn
from core.paper.sizes import PAPERS as SIZES
from core.pieces import Layout
from core.sheets.made import OnSheet, Sheets
from core.sheets.panel import ordinal
from core.sheets.planparts import (
    FAINT,
    FOOT_MM,
    MARGIN_MM,
    TITLE_MM,
    Box,
    far_from,
    foot_of,
    sized,
    table,
)
from core.sheets.wallplan import wall_pages

Floats = NDArray[np.float64]

PAPERS = ("A4", "A3")
TABLE_MM = 94.0  # wide
APART_MM = 6.0  # one table from the next
BELOW_MM = 104.0  # high, of the table where it stands below the plan
ADVICE_MM = 52.0  # high, where it stands below the plan
ADVICE_SIZES_MM = (3.2, 2.9, 2.6, LEAST_MM)
DIMENSION_MM = 9.0  # beside the plan, for the sizes of the work

BLUE: Rgb = (20, 90, 170)
RED: Rgb = (176, 28, 28)


# heading and where each column ends, mm from the table's left
COLUMNS = (
    ("set", 6.0),
    ("sheet", 17.0),
    ("left", 29.0),
    ("right", 41.0),
    ("above", 53.0),
    ("below", 65.0),
    ("size", 84.0),
    ("kg", TABLE_MM),
)


@dataclass(frozen=True, slots=True)
class Spacing:
    """How far apart movement joints are asked for, mm, from the least to the most."""

    where: str
    source: str
    least_mm: float
    most_mm: float

    def needed(self, side_mm: float) -> tuple[int, int]:
        """Return the fewest and the most joints across a side: at the widest and closest."""
        return _parting(side_mm, self.most_mm), _parting(side_mm, self.least_mm)


FOOT = 304.8
SPACINGS = (
    Spacing("indoors", "TCNA EJ171: at most 25 ft", 25 * FOOT, 25 * FOOT),
    Spacing("outdoors or wet", "TCNA EJ171: 8 to 12 ft", 8 * FOOT, 12 * FOOT),
    Spacing("walls (UK)", "Tile Association: 3 to 4.5 m", 3000.0, 4500.0),
)
ADVICE = (
    "Advice, not a rule: also over every joint of the building and where it meets another "
    "material. Draw one as a seam of the sheets, so that no piece crosses it."
)


def _parting(side_mm: float, apart_mm: float) -> int:
    return max(0, math.ceil(side_mm / apart_mm - 1e-9) - 1)


def keyplan_pages(
    doc: Commission, layout: Layout, sheets: Sheets, paper: str = "A4"
) -> tuple[Page, ...]:
    """Return the key plan, further pages where its table is long, and the wall's where known.

    Parameters
    ----------
    paper : str
        One of `PAPERS`, upright or lying, as the plan is drawn larger.

    Raises
    ------
    EmblemaError
        There is no such paper, or there are no sheets.
    """
    one_of("The paper", paper, PAPERS)
    if not sheets.each:
        raise EmblemaError("There are no sheets yet; divide the work into sheets first.")
    long, short = SIZES[paper]
    lying = _by(doc, _room(long, short)) >= _by(doc, _room(short, long))
    w, h = (long, short) if lying else (short, long)
    box = _room(w, h)
    by = _by(doc, box)
    end = box[1] + doc.height_mm * by + DIMENSION_MM + 3  # of the plan
    items = [*_title(doc, sheets, by, w), *_plan(doc, sheets, by, box)]
    low = h - MARGIN_MM - FOOT_MM
    if lying:
        x, y = w - MARGIN_MM - TABLE_MM, MARGIN_MM + TITLE_MM
        half = (x - MARGIN_MM - 12) / 2
        first = (MARGIN_MM, end, MARGIN_MM + half, low)
        items += _advice(doc, [first, (first[2] + 6, end, first[2] + 6 + half, low)])
    else:
        x, y = MARGIN_MM, end
        items += _advice(doc, [(x + TABLE_MM + 8, y, w - MARGIN_MM, low)])
    foot = f"mark {mark_of(piece_marks(doc, layout))}   {doc.title}   key plan"
    rows, left = _table(doc, sorted(sheets.each, key=lambda s: s.order), x, y, low)
    pages = [Page(w, h, "Key plan", (*items, *rows, *foot_of(foot, w, h)))]
    while left:
        more: list[Item] = []
        for k in range(int((w - 2 * MARGIN_MM + APART_MM) / (TABLE_MM + APART_MM))):
            rows, left = _table(doc, left, MARGIN_MM + k * (TABLE_MM + APART_MM), MARGIN_MM, low)
            more += rows
            if not left:
                break
        pages.append(Page(w, h, "Key plan, sheets", (*more, *foot_of(f"{foot}, sheets", w, h))))
    pages += wall_pages(doc, sheets, (long, short), f"{foot}, wall")
    return tuple(pages)


def _room(w: float, h: float) -> Box:
    """Return the room of the plan: the table stands at its right where the page lies."""
    x0, y0 = MARGIN_MM + DIMENSION_MM, MARGIN_MM + TITLE_MM
    low = h - MARGIN_MM - FOOT_MM
    if w > h:
        return x0, y0, w - MARGIN_MM - TABLE_MM - 8, low - ADVICE_MM
    return x0, y0, w - MARGIN_MM, low - BELOW_MM


def _by(doc: Commission, box: Box) -> float:
    x0, y0, x1, y1 = box
    return min((x1 - x0) / doc.width_mm, (y1 - y0 - DIMENSION_MM - 3) / doc.height_mm)


def _title(doc: Commission, sheets: Sheets, by: float, w: float) -> list[Item]:
    title, size = fitted(doc.title or "Key plan", 7.0, w - 2 * MARGIN_MM, 3.0, bold=True)
    kg = sum(s.kg for s in sheets.each)
    said = f"Key plan, seen from the front, 1 : {1 / by:.1f}.  "
    said += f"{len(sheets.each)} sheets, {kg:.1f} kg of tesserae."
    if sheets.loose:
        said += f"  {sheets.loose:,} pieces are on no sheet."
    said, small = fitted(said, 3.8, w - 2 * MARGIN_MM, 2.4)
    return [
        Text(MARGIN_MM, MARGIN_MM + 3, title, size, bold=True),
        Text(MARGIN_MM, MARGIN_MM + 10, said, small),
    ]


def _plan(doc: Commission, sheets: Sheets, by: float, box: Box) -> list[Item]:
    """Return the wall with its borders, seams, numbers, level line and sizes."""
    corner = np.array(box[:2])

    def around(shapes: list[Polygon], pen_mm: float, pen: Rgb = BLACK) -> Paths:
        moved = shapely.transform(np.array(shapes, dtype=object), lambda xy: xy * by + corner)
        return Paths.around(moved, pen_mm=pen_mm, pen=pen)

    x0, y0 = box[:2]
    w, h = doc.width_mm * by, doc.height_mm * by
    fields = [p for f in doc.fields for p in polygons_in(polygon_of(f.outline))]
    rooms = [Polygon(p.exterior) for s in sheets.each for p in polygons_in(s.outline)]
    items: list[Item] = [
        around(fields, 0.12, FAINT),
        around(rooms, 0.4),
        around([shapely.box(0, 0, doc.width_mm, doc.height_mm)], 0.7),
    ]
    items += _named(sheets, by, corner)
    items += drawn(doc, lambda xy: xy * by + corner, shapely.box(x0, y0, x0 + w, y0 + h), True)
    seams = [np.array(line) * by + corner for line in doc.sheeting.seams]
    items.append(Paths.of(seams, closed=False, pen_mm=0.9, pen=RED))
    level = y0 + h - doc.sheeting.level_mm * by
    dashes = np.arange(x0 - 7, x0 + w, 4.0)
    lines = [np.array([[x, level], [min(x + 2.6, x0 + w), level]]) for x in dashes]
    items.append(Paths.of(lines, closed=False, pen_mm=0.6, pen=BLUE))
    items.append(Text(x0 - 7, level - 2.0, "level", 2.6, colour=BLUE, bold=True))
    return [
        *items,
        *sized(f"{round(doc.width_mm, 1):g} mm", (x0, y0 + h + 5), (x0 + w, y0 + h + 5)),
        *sized(f"{round(doc.height_mm, 1):g} mm", (x0 - 4, y0 + h), (x0 - 4, y0)),
    ]


def _named(sheets: Sheets, by: float, corner: Floats) -> list[Item]:
    """Return each sheet's number, its place in the order and its size, alike large where they fit.

    Only the numbers where there is too little room for words on most sheets.
    """
    items: list[Item] = []
    placed = [_heart(s, by, corner) for s in sheets.each]
    usual = float(np.median([room for _, _, room in placed]))
    words = [(f"set {ordinal(s.order)}", "{:.0f} × {:.0f}".format(*s.size_mm)) for s in sheets.each]
    widest = max(wide_mm(v, 1.0) for pair in words for v in pair)
    small = min(3.4, 0.17 * usual, 0.7 * usual / widest)
    for s, (x, y, room), pair in zip(sheets.each, placed, words, strict=True):
        number = str(s.number)
        told = small >= LEAST_MM and room >= 0.75 * usual
        most = (0.55 if told else 0.75) * min(room, 1.2 * usual)
        big = min(14.0, most, 0.7 * room / wide_mm(number, 1.0, bold=True))
        if told:
            y += 0.365 * big - (CAPITAL * big + 2.6 * small) / 2  # all three lines in the middle
            for line, at in zip(pair, (0.9, 2.2), strict=True):
                items.append(Text(x, y + 0.365 * big + at * small, line, small, "middle"))
        items.append(Text(x, y, number, big, "middle", bold=True))
    return items


def _heart(s: OnSheet, by: float, corner: Floats) -> tuple[float, float, float]:
    """Return where a sheet's number stands, mm on paper, and how wide it is there.

    In its middle, unless there is much more room elsewhere.
    """
    at = shapely.get_coordinates(shapely.maximum_inscribed_circle(s.outline, 1.0))
    radius, place = float(np.hypot(*(at[1] - at[0]))), at[0]
    middle = shapely.centroid(s.outline)
    clear = float(shapely.distance(middle, s.outline.boundary))
    if s.outline.contains(middle) and clear > 0.75 * radius:
        radius, place = clear, np.array(middle.coords[0])
    x, y = (place * by + corner).tolist()
    return x, y, 2 * radius * by


def _table(
    doc: Commission, each: list[OnSheet], x: float, y: float, low: float
) -> tuple[list[Item], list[OnSheet]]:
    """Return the sheets' distances to the edges of the work, and those there is no room for."""
    whole = 0.0, 0.0, doc.width_mm, doc.height_mm
    rows = [
        [*far_from(s, whole), "{:.0f} × {:.0f}".format(*s.size_mm), f"{s.kg:.2f}"] for s in each
    ]
    title = "From each edge of the work to the sheet, mm"
    items, fit = table(title, COLUMNS, rows, (x, y, low))
    return items, each[fit:]


def movement_joints(width_mm: float, height_mm: float) -> list[str]:
    """Return in words how many movement joints the published spacings ask for."""
    out = []
    for s in SPACINGS:
        told = []
        for side, way in ((width_mm, "across"), (height_mm, "up")):
            few, many = s.needed(side)
            told.append(f"{few or 'none'}{f' to {many}' if many > few else ''} {way}")
        none = not any(s.needed(v)[1] for v in (width_mm, height_mm))
        out.append(f"{s.where}: {'none' if none else ', '.join(told)} ({s.source})")
    return out


def _advice(doc: Commission, boxes: list[Box]) -> list[Text]:
    """Return movement joints and cautions, one below the other or each in a box of its own.

    In the largest letters for which there is room.
    """
    told = [
        ("Movement joints needed", [*movement_joints(doc.width_mm, doc.height_mm), ADVICE]),
        ("With care", list(CAUTIONS)),
    ]
    parts = [told] if len(boxes) == 1 else [[one] for one in told]
    out: list[Text] = []
    for size in ADVICE_SIZES_MM:
        set_in = [_paragraphs(part, box, size) for part, box in zip(parts, boxes, strict=True)]
        out = [text for items, _ in set_in for text in items]
        if all(end <= box[3] for (_, end), box in zip(set_in, boxes, strict=True)):
            break
    return out


def _paragraphs(
    told: list[tuple[str, list[str]]], box: Box, size: float
) -> tuple[list[Text], float]:
    """Return paragraphs under their titles, and where they end, mm."""
    x, y, right, _ = box
    out: list[Text] = []
    for title, words in told:
        out.append(Text(x, y, title, 1.35 * size, bold=True))
        y += 1.9 * size
        for one in words:
            for line in wrapped(one, size, right - x):
                out.append(Text(x, y, line, size))
                y += 1.35 * size
            y += 0.4 * size
        y += size
    return out, y
