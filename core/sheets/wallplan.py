"""The wall's page of the key plan: the whole wall, where the work hangs, and what opens in it.

Its tables have each sheet's distances to the sides of the wall, and for each opening its size, its
place, and how far the sheets beside it are.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.commission import Commission
from core.drawing import BLACK, Item, Page, Paths, Rgb, Text
from core.geometry import polygons_in
from core.lettering import LEAST_MM, fitted, wide_mm, wrapped
from core.openings import ELECTRIC, shape_of
from core.openmarks import drawn
from core.sheets.made import OnSheet, Sheets
from core.sheets.planparts import (
    FOOT_MM,
    GREY,
    MARGIN_MM,
    ROW_MM,
    SIZE_MM,
    TITLE_MM,
    Box,
    far_from,
    foot_of,
    sized,
    table,
)
from core.site import Opening

Floats = NDArray[np.float64]

TABLE_MM, APART_MM = 100.0, 8.0
EDGE_MM = 10.0  # about the plan, for the sizes of the wall
BESIDE_MM = 150.0  # from an opening: a sheet so near is said to lie beside it
MOST_BESIDE = 4
WORDS_MM = 2.9

SHEET_COLUMNS = (
    ("set", 8.0),
    ("sheet", 22.0),
    ("left", 41.0),
    ("right", 60.0),
    ("above", 79.0),
    ("below", TABLE_MM),
)
OPENING_COLUMNS = (
    ("opening", 30.0),
    ("size", 47.0),
    ("left", 57.0),
    ("below", 69.0),
    ("sheets beside", TABLE_MM),
)
ELECTRICIAN = (
    "Sockets, switches, hoods and hobs: local code and a licensed electrician decide where they "
    "may be and how near to water and heat. Current off before a plate is taken away or a sheet is "
    "set beside one."
)
PLUMBER = "Taps and windows: seal the edge of the mosaic there; no grout stands in for it."


def wall_pages(doc: Commission, sheets: Sheets, size: tuple[float, float], foot: str) -> list[Page]:
    """Return the wall's page, and more where its tables are long; none where nothing is known.

    Parameters
    ----------
    size : tuple of float
        A page's width and height, mm, the longer side first.
    foot : str
        What stands at the foot of each.
    """
    if not doc.site and not doc.openings:
        return []
    w, h = size
    low = h - MARGIN_MM - FOOT_MM
    wall = _wall(doc)
    x = w - MARGIN_MM - TABLE_MM
    items = _title(doc, wall, w)
    items += _plan(doc, sheets, wall, (MARGIN_MM, MARGIN_MM + TITLE_MM, x - APART_MM, low))
    parts = _tables(doc, sheets, wall)
    pages, column = list[Page](), (x, MARGIN_MM + TITLE_MM)
    while parts:
        title, columns, rows, bold = parts.pop(0)
        some, fit = table(title, columns, rows, (*column, low - 3), bold)
        items += some
        column = column[0], column[1] + 6 + ROW_MM * min(fit, len(rows)) + 8
        if fit < len(rows):
            parts.insert(0, (title, columns, rows[fit:], bold))
        elif column[1] < low - 20 and parts:
            continue
        if not parts:
            break
        column = column[0] + TABLE_MM + APART_MM, MARGIN_MM
        if column[0] + TABLE_MM > w:
            pages.append(Page(w, h, "Key plan, wall", (*items, *foot_of(foot, w, h))))
            items, column = [], (MARGIN_MM, MARGIN_MM)
    items += _advice(doc, column, low)
    pages.append(Page(w, h, "Key plan, wall", (*items, *foot_of(foot, w, h))))
    return pages


def _wall(doc: Commission) -> Polygon:
    """Return the wall; where none was measured, what work and openings take."""
    work = shapely.box(0, 0, doc.width_mm, doc.height_mm)
    if doc.site:
        return Polygon(doc.site)
    return shapely.box(*shapely.total_bounds([work, *map(shape_of, doc.openings)]))


def _title(doc: Commission, wall: Polygon, w: float) -> list[Item]:
    x0, y0, x1, y1 = wall.bounds
    said = f"Work {doc.width_mm:.0f} × {doc.height_mm:.0f} mm"
    if doc.site:
        said = f"Wall {x1 - x0:.0f} × {y1 - y0:.0f} mm.  {said}"
        said += f", {-x0:.0f} from its left, {y1 - doc.height_mm:.0f} above its lower edge"
    many = len(doc.openings)
    said += f".  {many} opening{'s' * (many != 1)}." if many else "."
    title, big = fitted(f"{doc.title or 'Key plan'}: the wall", 6.0, w - 2 * MARGIN_MM, LEAST_MM)
    told, small = fitted(said, 3.8, w - 2 * MARGIN_MM, LEAST_MM)
    return [
        Text(MARGIN_MM, MARGIN_MM + 3, title, big, bold=True),
        Text(MARGIN_MM, MARGIN_MM + 10, told, small),
    ]


def _plan(doc: Commission, sheets: Sheets, wall: Polygon, box: Box) -> list[Item]:
    """Return the wall with the work, the sheets and the openings on it, and its sizes."""
    work = shapely.box(0, 0, doc.width_mm, doc.height_mm)
    x0, y0, x1, y1 = shapely.total_bounds([wall, work])
    left, top = box[0] + EDGE_MM, box[1]
    by = min((box[2] - left) / (x1 - x0), (box[3] - EDGE_MM - top) / (y1 - y0))

    def place(xy: Floats) -> Floats:
        return np.asarray((xy - (x0, y0)) * by + (left, top))

    def around(shapes: list[Polygon], pen_mm: float, pen: Rgb = BLACK) -> Paths:
        return Paths.around(
            shapely.transform(np.array(shapes, dtype=object), place), pen_mm=pen_mm, pen=pen
        )

    rooms = [Polygon(p.exterior) for s in sheets.each for p in polygons_in(s.outline)]
    items: list[Item] = [around(rooms, 0.2, GREY), around([work], 0.45)]
    if doc.site:
        items.append(around([wall], 0.8))
    items += _numbers(sheets, place, by)
    items += drawn(doc, place, above=True)
    if doc.site:
        items += _hung(doc, wall, place)
    a, b = place(np.array([[x0, y0], [x1, y1]])).tolist()
    items += sized(f"{x1 - x0:.0f} mm", (a[0], b[1] + 5), (b[0], b[1] + 5))
    items += sized(f"{y1 - y0:.0f} mm", (a[0] - 5, b[1]), (a[0] - 5, a[1]))
    return items


def _hung(doc: Commission, wall: Polygon, place: Callable[[Floats], Floats]) -> list[Item]:
    """Return the distances of the work to the sides of the wall, where there are any."""
    x0, y0, x1, y1 = wall.bounds
    w, h = doc.width_mm, doc.height_mm
    ends = [
        ((x0, h / 2), (0.0, h / 2)),
        ((w, h / 2), (x1, h / 2)),
        ((w / 2, 0.0), (w / 2, y0)),
        ((w / 2, y1), (w / 2, h)),
    ]
    items: list[Item] = []
    for one, two in ends:
        far = abs(two[0] - one[0]) + abs(two[1] - one[1])
        a, b = place(np.array([one, two])).tolist()
        words = f"{far:.0f}"
        if far > 0.5 and abs(b[0] - a[0]) + abs(b[1] - a[1]) > wide_mm(words, SIZE_MM) + 3:
            items += sized(words, (a[0], a[1]), (b[0], b[1]))
    return items


def _numbers(sheets: Sheets, place: Callable[[Floats], Floats], by: float) -> list[Item]:
    """Return the sheets' numbers where they are large enough to be read."""
    items: list[Item] = []
    for s in sheets.each:
        circle = shapely.get_coordinates(shapely.maximum_inscribed_circle(s.outline, 1.0))
        room = 2 * by * float(np.hypot(*(circle[1] - circle[0])))
        words = str(s.number)
        size = min(6.0, 0.6 * room, 0.8 * room / wide_mm(words, 1.0))
        if size >= LEAST_MM:
            x, y = place(circle[:1])[0].tolist()
            items.append(Text(x, y, words, size, "middle", colour=GREY))
    return items


Table = tuple[str, tuple[tuple[str, float], ...], list[list[str]], int]


def _tables(doc: Commission, sheets: Sheets, wall: Polygon) -> list[Table]:
    out: list[Table] = []
    frame = wall.bounds if doc.site else (0.0, 0.0, doc.width_mm, doc.height_mm)
    of = "wall" if doc.site else "work"
    if doc.openings:
        rows = [_row(o, sheets, frame) for o in doc.openings]
        title = f"Openings, from the left and lower edge of the {of}, mm"
        out.append((title, OPENING_COLUMNS, rows, 0))
    if doc.site:
        x0, y0, x1, y1 = frame
        rows = [far_from(s, (x0, y0, x1, y1)) for s in sorted(sheets.each, key=lambda s: s.order)]
        out.append(("From each side of the wall to the sheet, mm", SHEET_COLUMNS, rows, 1))
    return out


def _row(o: Opening, sheets: Sheets, frame: tuple[float, float, float, float]) -> list[str]:
    x0, y0, x1, y1 = shape_of(o).bounds
    near = ", ".join(beside(o, sheets)[:MOST_BESIDE]) or "none near"
    size = f"{x1 - x0:.0f} × {y1 - y0:.0f}"
    return [o.name or o.kind, size, f"{x0 - frame[0]:.0f}", f"{frame[3] - y1:.0f}", near]


def beside(o: Opening, sheets: Sheets) -> list[str]:
    """Return the sheets beside an opening, the nearest first: number, and how far its pieces are.

    Such as "3: 2", in mm.
    """
    shape = shape_of(o)
    found: list[tuple[float, OnSheet]] = []
    for s in sheets.each:
        if shapely.distance(s.outline, shape) < BESIDE_MM:
            far = float(shapely.distance(sheets.polygons[s.which], shape).min())
            found.append((far, s))
    found.sort(key=lambda one: (round(one[0]), one[1].number))
    return [f"{s.number}: {far:.0f}" for far, s in found if far < BESIDE_MM]


def _advice(doc: Commission, column: tuple[float, float], low: float) -> list[Item]:
    """Return the cautions that the openings ask for, beneath the tables."""
    told = []
    if any(o.kind in ELECTRIC for o in doc.openings):
        told.append(ELECTRICIAN)
    if any(o.kind in ("tap", "window") for o in doc.openings):
        told.append(PLUMBER)
    x, y = column
    items: list[Item] = []
    for words in told:
        for line in wrapped(words, WORDS_MM, TABLE_MM):
            if y < low:
                items.append(Text(x, y, line, WORDS_MM))
            y += 1.4 * WORDS_MM
        y += 1.5
    return items
