"""The cartoon's key page: the page map, the materials with their numbers, how to join, cautions."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.convert import swatch_rgb
from core.colour.wanted import stocked_lab
from core.commission import Commission
from core.drawing import Item, Page, Paths, Rgb, Text
from core.figures import CAUTIONS, Count
from core.geometry import polygon_of
from core.paper.division import Division, Tile
from core.paper.sizes import MARGIN_MM, Paper

KEY = "Key"
READ_MM = 1.6  # the least height of a label that is read without a glass
HATCH_MM = 1.6

GREY: Rgb = (120, 120, 120)
FAINT: Rgb = (170, 170, 170)


def key_page(
    doc: Commission,
    table: tuple[Count, ...],
    keyed: dict[str, int],
    division: Division,
    sheet: Paper,
    mark: str,
    codes: bool,
) -> Page:
    """Return the key page, true to size, on a sheet of its own.

    Parameters
    ----------
    keyed : dict
        The number of each material's code.
    mark : str
        The mark of all pieces.
    codes : bool
        Whether the studio's codes stand on the pieces.
    """
    w, h = sheet.true_mm(division.work_mm)
    m = MARGIN_MM
    pieces = sum(c.pieces for c in table)
    seen = "drawn mirrored, as laid face down" if division.mirrored else "drawn from the front"
    size = f"{doc.width_mm:g} x {doc.height_mm:g} mm, {pieces:,} tesserae"
    items: list[Item] = [
        Text(m, m + 3, doc.title or "Cartoon", 6.0, bold=True),
        Text(m, m + 10, f"{size}, {seen}, mark {mark}", 3.2, colour=GREY),
    ]
    y = m + 15.5
    for words in _how_to(division, codes):
        items.append(Text(m, y, words, 3.2))
        y += 4.8
    y += 1.7
    map_w = min(w * 0.42, 190.0)
    by = min(map_w / doc.width_mm, 0.4 * h / doc.height_mm)
    items += _materials(table, keyed, m + map_w + 12, y, w - m, h - m)
    items += _page_map(doc, division, np.array([m, y]), by)
    y += by * doc.height_mm + 4
    if division.bare:
        items.append(Text(m, y, "Hatched: nothing is drawn there, so there is no page.", 2.5))
        y += 4
    items.append(Text(m, y + 2, "With care", 3.6, bold=True))
    y += 7.5
    for caution in CAUTIONS:
        for line in textwrap.wrap(caution, int(map_w / 1.35)):
            items.append(Text(m, y, line, 2.5))
            y += 3.7
        y += 1.0
    return Page(w, h, KEY, tuple(items))


def _how_to(division: Division, codes: bool) -> list[str]:
    """Return the lines that say how the pages are proved true and joined."""
    first = "Print at 100 %, not fitted to the page. Measure both check bars: 100 mm each."
    c = division.paper.correction
    if c.in_use:
        first += f" Corrected for a printer whose bars read {c.across_mm:g} x {c.up_mm:g} mm."
    lines = [first]
    sides = zip(division.laps_mm, ("across", "down"), strict=True)
    laps = [f"{round(lap, 1):g} mm {side}" for lap, side in sides if lap]
    if laps:
        lines.append(
            f"Trim to the corner marks and lap the pages by {' and '.join(laps)}, until the join "
            "marks run on. A line that meets its first tick is 0.5 mm off."
        )
    if codes:
        lines.append("Pieces carry the studio's code, or their number where it has no room.")
    return lines


def _page_map(
    doc: Commission, division: Division, at: NDArray[np.float64], by: float
) -> list[Item]:
    """Return the map with its corner at a place of the page, so many times the work's size."""
    shapes = np.array([polygon_of(f.outline).boundary for f in doc.fields], dtype=object)
    lines = []
    for part in shapely.get_parts(shapely.get_parts(shapes)) if len(shapes) else []:
        c = shapely.get_coordinates(part) * by
        if division.mirrored:
            c[:, 0] = doc.width_mm * by - c[:, 0]
        lines.append(c + at)
    tiles, places = ([division.on_map(t) for t in of] for of in (division.tiles, division.bare))
    bare = [line * by + at for t in places for line in _hatched(t, HATCH_MM / by)]
    boxes = [shapely.get_coordinates(t.box)[:-1] * by + at for t in tiles]
    return [
        Paths.of(bare, closed=False, pen_mm=0.1, pen=FAINT),
        Paths.of(lines, closed=False, pen_mm=0.12, pen=FAINT),
        *_page_labels(tiles, places, by, at),
        Paths.of(boxes, pen_mm=0.2 if len(boxes) < 200 else 0.1),
    ]


def _hatched(t: Tile, apart: float) -> list[NDArray[np.float64]]:
    """Return slanting lines over a place without a page, mm of the work."""
    high = t.y1 - t.y0
    n = math.ceil((t.x1 - t.x0 + high) / apart)
    slants = [
        shapely.LineString([(t.x0 + k * apart, t.y0), (t.x0 + k * apart - high, t.y1)])
        for k in range(1, n)
    ]
    cut = shapely.intersection(np.array(slants, dtype=object), t.box)
    return [shapely.get_coordinates(c) for c in cut if c.geom_type == "LineString"]


def _page_labels(
    tiles: list[Tile], bare: list[Tile], by: float, at: NDArray[np.float64]
) -> list[Item]:
    """Return each page's name in its place, or, where they are too many to be read there, the
    letters of rows and numbers of columns along the map's edges.
    """

    def middle(t: Tile) -> tuple[float, float]:
        return at[0] + by * (t.x0 + t.x1) / 2, at[1] + by * (t.y0 + t.y1) / 2

    def fits(t: Tile) -> float:
        wide, high = by * (t.x1 - t.x0), by * (t.y1 - t.y0)
        return min(5.0, 0.6 * high, 0.92 * wide / (0.72 * len(t.name)))

    sizes = [fits(t) for t in tiles]
    if min(sizes, default=READ_MM) >= READ_MM:
        return [
            Text(*middle(t), t.name, size, "middle", bold=True)
            for t, size in zip(tiles, sizes, strict=True)
        ]
    grid = (*tiles, *bare)
    columns = {t.column: (middle(t)[0], str(t.column + 1)) for t in grid}
    rows = {t.row: (middle(t)[1], t.letters) for t in grid}
    wide = 0.75 * READ_MM * max(len(name) for _, name in columns.values())
    return [
        *(
            Text(x, at[1] - 1.4, name, READ_MM, "middle", bold=True)
            for x, name in _apart(columns, wide)
        ),
        *(
            Text(at[0] - 1.0, y, name, READ_MM, "end", bold=True)
            for y, name in _apart(rows, READ_MM)
        ),
    ]


def _apart(labels: dict[int, tuple[float, str]], least: float) -> list[tuple[float, str]]:
    """Return every label, or every second and so on, so that they stand so far apart."""
    placed = [labels[k] for k in sorted(labels)]
    pitch = (placed[-1][0] - placed[0][0]) / max(len(placed) - 1, 1)
    return placed[:: max(1, math.ceil(least / max(pitch, 1e-9)))]


def _materials(
    table: tuple[Count, ...],
    keyed: dict[str, int],
    x0: float,
    y0: float,
    x1: float,
    y1: float,
) -> list[Paths | Text]:
    rows = _rows(table, keyed)
    row_h = min(5.4, max(3.0, (y1 - y0) / max(len(rows) + 1, 1)))
    size = 0.5 * row_h
    items: list[Paths | Text] = [
        Text(x0, y0, "No.", size, bold=True),
        Text(x0 + 19, y0, "Material", size, bold=True),
        Text(x1, y0, "Pieces", size, "end", bold=True),
    ]
    for k, (number, code, description, rgb, pieces) in enumerate(rows, 1):
        y = y0 + k * row_h
        box = np.array([[0, -0.38], [8, -0.38], [8, 0.38], [0, 0.38]]) * (1, row_h) + (x0 + 8, y)
        items.append(Paths.of([box], pen_mm=0.1, pen=GREY, fill=rgb))
        items.append(Text(x0, y, number, size, bold=True))
        items.append(Text(x0 + 19, y, f"{code}  {description}".strip(), size))
        items.append(Text(x1, y, f"{pieces:,}", size, "end"))
    return items


def _rows(table: tuple[Count, ...], keyed: dict[str, int]) -> list[tuple[str, str, str, Rgb, int]]:
    """Return the key's rows: number, code, description, colour and pieces."""
    rows = []
    for c in table:
        m = c.material
        rgb, _ = swatch_rgb(stocked_lab([m])[0])
        rows.append((str(keyed.get(m.code, "?")), m.code, m.description, rgb, c.pieces))
    return rows
