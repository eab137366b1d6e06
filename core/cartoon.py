"""The cartoon: the laid work drawn at its true size, on pages that are put together.

The first page is the key (`core.keypage`). On every other page the pieces stand in their true size
with a number keyed to their material, or the studio's code, the work's borders with trim marks,
join marks in the laps, and check bars of 100 mm on both axes, by which a print is proved true
before it is used.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from core.agreed import mark_of, piece_marks
from core.commission import Commission
from core.drawing import BLACK, Item, Page, Paths, Rgb, Text, scaled
from core.figures import counts
from core.flow import curve_of
from core.geometry import polygon_of
from core.keypage import KEY, key_page
from core.openmarks import drawn
from core.paper.division import FIRST_PAPERS, Division, Shown, Tile, as_first_divided, divided
from core.paper.marks import JOIN, check_bars, join_marks, trim_marks
from core.paper.printer import CHECK_MM, TRUE, Correction
from core.paper.sizes import LYING, MARGIN_MM, WHOLE, Paper, Size, paper_of
from core.pieces import Layout

NUMBERS, CODES = "key", "studio"  # what stands on the pieces
SOME = 64  # pieces that are asked at once
LEAST_LETTER_MM, MOST_LETTER_MM = 1.0, 3.0

GREY: Rgb = (120, 120, 120)
FLOW: Rgb = (150, 170, 190)


def division_of(
    doc: Commission,
    layout: Layout | None,
    paper: str,
    mirrored: bool = False,
    correction: Correction = TRUE,
) -> Division:
    """Return how the cartoon is divided over pages of a paper (`core.paper.sizes`).

    Until anything is laid, what the fields cover counts as drawn.

    Raises
    ------
    EmblemaError
        There is no such paper.
    """
    chosen = paper_of(paper, correction)
    work = doc.width_mm, doc.height_mm
    return divided(work, chosen, _shown(doc, layout, mirrored), mirrored)


def division_noted(doc: Commission, layout: Layout, word: str, mirrored: bool) -> Division:
    """Return the division of a print by what its note says, whichever version printed it.

    Raises
    ------
    EmblemaError
        This version knows no such paper.
    """
    if word in FIRST_PAPERS:
        return as_first_divided((doc.width_mm, doc.height_mm), word, mirrored)
    return division_of(doc, layout, word, mirrored)


def _shown(doc: Commission, layout: Layout | None, mirrored: bool) -> Shown:
    """Return what tells whether anything is drawn in a part of the work."""
    width = doc.width_mm if mirrored else None
    fields = np.array([polygon_of(f.outline) for f in doc.fields], dtype=object)
    if layout is None:
        drawn = fields
    else:
        drawn = np.concatenate([layout.polygons, shapely.boundary(fields), _curves(doc)])
    tree = shapely.STRtree(drawn)

    def shown(part: shapely.Geometry) -> bool:
        part = _turned(np.array([part], dtype=object), width)[0]  # sooner than all that is drawn
        near = drawn[tree.query(part)]
        shapely.prepare(part)
        # of many pieces hardly ever more than the first few are asked
        return any(
            bool(np.any(shapely.intersects(part, near[k : k + SOME])))
            for k in range(0, len(near), SOME)
        )

    return shown


def _curves(doc: Commission) -> NDArray[np.object_]:
    return np.array([curve_of(w) for w in doc.flow_lines if w.leads], dtype=object)


def cartoon_pages(
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    mirrored: bool = False,
    codes: str = NUMBERS,
    correction: Correction = TRUE,
) -> tuple[Page, ...]:
    """Return the key page and the drawing's pages.

    Parameters
    ----------
    mirrored : bool
        Drawn as seen from the back, for work that is laid face down. Words stay readable.
    codes : str
        What stands on the pieces: NUMBERS of the key, or the studio's CODES where they fit.
    correction : Correction
        Of the printer; all is drawn so much larger that its print is true.

    Raises
    ------
    EmblemaError
        There is no such paper.
    """
    return tuple(pages_by_turns(doc, layout, paper, mirrored, codes, correction))


def pages_by_turns(
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    mirrored: bool = False,
    codes: str = NUMBERS,
    correction: Correction = TRUE,
) -> Iterator[Page]:
    """Yield the pages of `cartoon_pages` one by one: all of a large wall's fill much memory."""
    division = division_of(doc, layout, paper, mirrored, correction)
    table = counts(doc, layout)
    keyed = {c.material.code: k for k, c in enumerate(table, 1) if not c.bare}
    drawing = _Drawing(doc, layout, keyed, mirrored, codes == CODES)
    own = division.paper
    lying = "A4" if own.name == WHOLE or own.roll_mm is not None else own.name
    sheet = Paper(lying, LYING, correction)
    mark = mark_of(drawing.marks)
    yield _to_print(key_page(doc, table, keyed, division, sheet, mark, codes == CODES), sheet)
    for tile in division.tiles:
        yield _to_print(_tile_page(doc, drawing, tile, division), own, division.work_mm)


def _to_print(page: Page, paper: Paper, work: Size = (0.0, 0.0)) -> Page:
    """Return a page as it is sent to a printer that is corrected for."""
    wide, high = paper.page_mm(work)
    return replace(scaled(page, *paper.correction.scale), width_mm=wide, height_mm=high)


def page_marks(doc: Commission, layout: Layout, division: Division) -> dict[str, str]:
    """Return each page's mark (`core.agreed`) by its name, and last the key's, of all pieces.

    Places left out as bare have one too, after the pages': a page that was printed of one shows
    nothing that others do not show today, and still holds if its pieces are the same.
    """
    pieces = _turned(layout.polygons, doc.width_mm if division.mirrored else None)
    tree, marks = shapely.STRtree(pieces), piece_marks(doc, layout)
    found = {t.name: mark_of(marks[_seen(tree, t)]) for t in division.places}
    return {**found, KEY: mark_of(marks)}


def _seen(tree: shapely.STRtree, tile: Tile) -> NDArray[np.int64]:
    """Return which pieces are seen on a page, in order."""
    return np.sort(tree.query(tile.box, predicate="intersects"))


def _turned(shapes: NDArray[np.object_], width: float | None) -> NDArray[np.object_]:
    """Return shapes as seen from the back of a work so wide; None for the front."""
    if width is None or not len(shapes):
        return shapes
    return np.asarray(
        shapely.transform(shapes, lambda xy: np.stack([width - xy[:, 0], xy[:, 1]], 1)),
        dtype=object,
    )


class _Drawing:
    """All that is drawn of the work, once, in mm of the work; pages take their part of it."""

    def __init__(
        self, doc: Commission, layout: Layout, keyed: dict[str, int], mirrored: bool, codes: bool
    ) -> None:
        width = doc.width_mm if mirrored else None
        self.pieces = _turned(layout.polygons, width)
        self.marks = piece_marks(doc, layout)
        stock = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
        numbers = [str(keyed.get(m.code, "")) for m in doc.materials] + ["?"]
        self.words = np.array(numbers, dtype=object)[stock]
        self.tree = shapely.STRtree(self.pieces)
        self.places, radius = _rooms(self.pieces)
        self.sizes = _letter_sizes(numbers, stock, radius)
        if codes:
            said = [m.code for m in doc.materials] + ["?"]
            sizes = _letter_sizes(said, stock, radius)
            fits = sizes > 0
            self.words[fits] = np.array(said, dtype=object)[stock[fits]]
            self.sizes[fits] = sizes[fits]
        self.borders = _turned(
            np.array([polygon_of(f.outline).boundary for f in doc.fields], dtype=object), width
        )
        self.flow = _turned(_curves(doc), width)


def _rooms(pieces: NDArray[np.object_]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the middle (n, 2) and radius of the largest circle in each piece, mm."""
    if not len(pieces):
        return np.empty((0, 2)), np.empty(0)
    circle = shapely.maximum_inscribed_circle(pieces, tolerance=0.3)
    xy = shapely.get_coordinates(circle).reshape(len(pieces), -1, 2)
    return xy[:, 0], np.hypot(*(xy[:, 1] - xy[:, 0]).T)


def _letter_sizes(
    words: list[str], which: NDArray[np.int64], radius: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how high words can stand in their circles, 0 where there is no room for them."""
    # a letter is so much of its height wide; the line of them fits the circle
    wide = [sum(0.74 if sign.isupper() else 0.62 for sign in word) or 0.62 for word in words]
    size = np.minimum(2 * radius / np.hypot(wide, 0.9)[which], MOST_LETTER_MM)
    return np.where(size >= LEAST_LETTER_MM, size, 0.0)


def _tile_page(doc: Commission, drawing: _Drawing, tile: Tile, division: Division) -> Page:
    page_w, page_h = division.paper.true_mm(division.work_mm)
    shift = np.array([MARGIN_MM - tile.x0, MARGIN_MM - tile.y0])
    mine = _seen(drawing.tree, tile)
    items: list[Item] = []
    if len(drawing.flow):
        items.append(_lines(drawing.flow, tile.box, shift, FLOW, 0.15))
    rings = Paths.around(drawing.pieces[mine], pen_mm=0.15)
    items.append(replace(rings, points=rings.points + shift))
    items.append(_lines(drawing.borders, tile.box, shift, BLACK, 0.4))

    def on_page(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        seen = xy if not division.mirrored else np.array([doc.width_mm, 0]) + xy * (-1, 1)
        return np.asarray(seen + shift)

    items += drawn(doc, on_page, shapely.transform(tile.box, lambda xy: xy + shift))
    joins = [line + shift for line in join_marks(tile, division.tiles)]
    items.append(Paths.of(joins, closed=False, pen_mm=0.1, pen=JOIN))
    for k in mine:
        if drawing.sizes[k] > 0:
            x, y = drawing.places[k] + shift
            items.append(
                Text(float(x), float(y), drawing.words[k], float(drawing.sizes[k]), "middle")
            )
    x0, y0 = MARGIN_MM, MARGIN_MM
    x1, y1 = x0 + tile.x1 - tile.x0, y0 + tile.y1 - tile.y0
    foot = _foot(doc, tile, division, mark_of(drawing.marks[mine]))
    left = x0 + CHECK_MM + 26
    size = min(2.8, (page_w - MARGIN_MM - left) / (0.6 * len(foot)))
    if size < 1.6:  # a narrow page: below the bar
        left, size = x0 + 10, min(2.8, (page_w - 2 * MARGIN_MM - 10) / (0.6 * len(foot)))
    over = [
        trim_marks(x0, y0, x1, y1),
        *check_bars(x0, y0, y1),
        Text(left, y1 + 10.4, foot, size, "start", colour=GREY),
    ]
    return Page(page_w, page_h, tile.name, tuple(items), tuple(over), (x0, y0, x1, y1))


def _foot(doc: Commission, tile: Tile, division: Division, mark: str) -> str:
    side = "seen from the back (mirrored)" if division.mirrored else "seen from the front"
    whole = division.paper.name == WHOLE
    where = "whole" if whole else f"page {tile.name} of {len(division.tiles)}"
    title = textwrap.shorten(doc.title, 40, placeholder=" ...")
    parts = [f"mark {mark}", title, where, side, "true size"]
    if division.paper.correction.in_use:
        parts.append(f"printer corrected {division.paper.correction.words}")
    return "   ".join(parts)


def _lines(
    shapes: NDArray[np.object_],
    seen: shapely.Polygon,
    shift: NDArray[np.float64],
    pen: Rgb,
    pen_mm: float,
) -> Paths:
    cut = shapely.intersection(shapes, shapely.buffer(seen, 2.0))
    parts = shapely.get_parts(shapely.get_parts(cut))
    lines = [shapely.get_coordinates(p) + shift for p in parts if p.geom_type == "LineString"]
    return Paths.of(lines, closed=False, pen_mm=pen_mm, pen=pen)
