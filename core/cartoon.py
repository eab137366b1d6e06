"""The cartoon: the laid work drawn at its true size, on pages that are put together.

The first page is the key: page map, materials and cautions. On every other page the pieces stand
in their true size with a number keyed to their material, the work's borders with trim marks, and
check bars of 100 mm on both axes, by which a print is proved true before it is used.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from core.agreed import mark_of, piece_marks
from core.colour.convert import swatch_rgb
from core.colour.wanted import stocked_lab
from core.commission import Commission
from core.drawing import BLACK, Page, Paths, Rgb, Text
from core.errors import EmblemaError
from core.figures import CAUTIONS, Count, counts
from core.flow import curve_of
from core.geometry import polygon_of
from core.pieces import Layout

# ISO 216, mm, lying
PAPERS = {"A4": (297.0, 210.0), "A3": (420.0, 297.0), "A1": (841.0, 594.0), "A0": (1189.0, 841.0)}
WHOLE = "whole"
KEY = "Key"
MARGIN_MM = 12.0
OVERLAP_MM = 10.0
FOOT_MM = 9.0  # below the drawing: the page's name and the level check bar
CHECK_MM = 100.0

GREY: Rgb = (120, 120, 120)
FAINT: Rgb = (170, 170, 170)
FLOW: Rgb = (150, 170, 190)


@dataclass(frozen=True, slots=True)
class Tile:
    """One page's part of the work: its place in the page map and what it shows, mm of the work."""

    row: int
    column: int
    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def name(self) -> str:
        """Row by letter, column by number, such as B3."""
        letters, row = "", self.row
        while True:
            letters = chr(65 + row % 26) + letters
            row = row // 26 - 1
            if row < 0:
                return f"{letters}{self.column + 1}"


def tiles(doc: Commission, paper: str) -> tuple[Tile, ...]:
    """Return how the work is divided over pages of a paper; each overlaps the next by 10 mm.

    Raises
    ------
    EmblemaError
        There is no such paper.
    """
    w, h = doc.width_mm, doc.height_mm
    if paper == WHOLE:
        return (Tile(0, 0, 0.0, 0.0, w, h),)
    room_w, room_h = _room(*page_size(doc, paper))
    across, down = _steps(w, room_w), _steps(h, room_h)
    return tuple(
        Tile(r, c, x, y, min(x + room_w, w), min(y + room_h, h))
        for r, y in enumerate(down)
        for c, x in enumerate(across)
    )


def page_size(doc: Commission, paper: str) -> tuple[float, float]:
    """Return a page's width and height, mm: the paper lying or upright, as fewer pages do.

    Raises
    ------
    EmblemaError
        There is no such paper.
    """
    if paper == WHOLE:
        return doc.width_mm + 2 * MARGIN_MM, doc.height_mm + 2 * MARGIN_MM + FOOT_MM
    if paper not in PAPERS:
        raise EmblemaError(f"There is no paper '{paper}'; take {', '.join(PAPERS)} or whole.")
    long, short = PAPERS[paper]

    def pages(size: tuple[float, float]) -> int:
        room_w, room_h = _room(*size)
        return len(_steps(doc.width_mm, room_w)) * len(_steps(doc.height_mm, room_h))

    return min((long, short), (short, long), key=pages)


def _room(page_w: float, page_h: float) -> tuple[float, float]:
    return page_w - 2 * MARGIN_MM, page_h - 2 * MARGIN_MM - FOOT_MM


def _steps(whole: float, room: float) -> list[float]:
    n = max(1, math.ceil((whole - OVERLAP_MM) / (room - OVERLAP_MM) - 1e-9))
    return [k * (room - OVERLAP_MM) for k in range(n)]


def cartoon_pages(
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    mirrored: bool = False,
    flow: bool = True,
) -> tuple[Page, ...]:
    """Return the key page and the drawing's pages.

    Parameters
    ----------
    mirrored : bool
        Drawn as seen from the back, for work that is laid face down. Words stay readable.
    """
    return tuple(pages_by_turns(doc, layout, paper, mirrored, flow))


def pages_by_turns(
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    mirrored: bool = False,
    flow: bool = True,
) -> Iterator[Page]:
    """Yield the pages of `cartoon_pages` one by one: all of a large wall's fill much memory."""
    parts = tiles(doc, paper)
    keyed = {c.material.code: k for k, c in enumerate(counts(doc, layout), 1) if not c.bare}
    drawing = _Drawing(doc, layout, keyed, mirrored, flow)
    whole = mark_of(drawing.marks)
    yield _key_page(doc, layout, parts, paper, mirrored, keyed, whole)
    for tile in parts:
        yield _tile_page(doc, drawing, tile, paper, mirrored, len(parts))


def page_marks(doc: Commission, layout: Layout, paper: str, mirrored: bool) -> dict[str, str]:
    """Return each page's mark (`core.agreed`) by its name, and last the key's, of all pieces."""
    parts = tiles(doc, paper)
    pieces = _turned(_all_pieces(layout), doc.width_mm if mirrored else None)
    tree, marks = shapely.STRtree(pieces), piece_marks(doc, layout)
    found = {t.name: mark_of(marks[_seen(tree, t)]) for t in parts}
    return {**found, KEY: mark_of(marks)}


def _all_pieces(layout: Layout) -> NDArray[np.object_]:
    return np.concatenate([f.pieces.polygons for f in layout.fields] or [np.empty(0, object)])


def _seen(tree: shapely.STRtree, tile: Tile) -> NDArray[np.int64]:
    """Return which pieces are seen on a page, in order."""
    box = shapely.box(tile.x0, tile.y0, tile.x1, tile.y1)
    return np.sort(tree.query(box, predicate="intersects"))


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
        self, doc: Commission, layout: Layout, keyed: dict[str, int], mirrored: bool, flow: bool
    ) -> None:
        width = doc.width_mm if mirrored else None
        self.pieces = _turned(_all_pieces(layout), width)
        self.marks = piece_marks(doc, layout)
        stock = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
        words = np.array([str(keyed.get(m.code, "")) for m in doc.materials] + ["?"], dtype=object)
        self.words = words[stock]
        self.tree = shapely.STRtree(self.pieces)
        self.places, self.sizes = _label_places(self.pieces, self.words)
        self.borders = _turned(
            np.array([polygon_of(f.outline).boundary for f in doc.fields], dtype=object), width
        )
        self.flow = _turned(
            np.array(
                [curve_of(w) for w in doc.flow_lines if w.leads] if flow else [], dtype=object
            ),
            width,
        )


def _label_places(
    pieces: NDArray[np.object_], words: NDArray[np.object_]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where each piece's number stands and how high it can be, 0 where there is no room."""
    if not len(pieces):
        return np.empty((0, 2)), np.empty(0)
    circle = shapely.maximum_inscribed_circle(pieces, tolerance=0.3)
    xy = shapely.get_coordinates(circle).reshape(len(pieces), -1, 2)
    radius = np.hypot(*(xy[:, 1] - xy[:, 0]).T)
    letters = np.array([max(len(w), 1) for w in words])
    # a line of n figures, each 0.6 of its height wide, fits the circle
    size = np.minimum(2 * radius / np.hypot(0.62 * letters, 0.9), 3.0)
    return xy[:, 0], np.where(size >= 1.0, size, 0.0)


def _tile_page(
    doc: Commission, drawing: _Drawing, tile: Tile, paper: str, mirrored: bool, of: int
) -> Page:
    page_w, page_h = page_size(doc, paper)
    shift = np.array([MARGIN_MM - tile.x0, MARGIN_MM - tile.y0])
    seen = shapely.box(tile.x0, tile.y0, tile.x1, tile.y1)
    mine = _seen(drawing.tree, tile)
    items: list[Paths | Text] = []
    if len(drawing.flow):
        items.append(_lines(drawing.flow, seen, shift, FLOW, 0.15))
    items.append(_rings(drawing.pieces[mine], shift))
    items.append(_lines(drawing.borders, seen, shift, BLACK, 0.4))
    for k in mine:
        if drawing.sizes[k] > 0:
            x, y = drawing.places[k] + shift
            items.append(
                Text(float(x), float(y), drawing.words[k], float(drawing.sizes[k]), "middle")
            )
    x0, y0 = MARGIN_MM, MARGIN_MM
    x1, y1 = x0 + tile.x1 - tile.x0, y0 + tile.y1 - tile.y0
    over = [*_trim_marks(x0, y0, x1, y1), *_check_bars(x0, y0, y1)]
    side = "seen from the back (mirrored)" if mirrored else "seen from the front"
    where = "whole" if paper == WHOLE else f"page {tile.name} of {of}"
    mark = mark_of(drawing.marks[mine])
    title = textwrap.shorten(doc.title, 40, placeholder=" ...")
    foot = f"mark {mark}   {title}   {where}   {side}   true size"
    left = x0 + CHECK_MM + 26
    size = min(2.8, (page_w - MARGIN_MM - left) / (0.6 * len(foot)))
    if size < 1.6:  # a narrow page: over the trim mark's row, below the bar
        left, size = x0 + 10, min(2.8, (page_w - 2 * MARGIN_MM - 10) / (0.6 * len(foot)))
    over.append(Text(left, y1 + 8.6, foot, size, "start", colour=GREY))
    return Page(page_w, page_h, tile.name, tuple(items), tuple(over), (x0, y0, x1, y1))


def _rings(pieces: NDArray[np.object_], shift: NDArray[np.float64]) -> Paths:
    """Return the outlines of pieces, as many as there may be, none closed by its first corner."""
    xy, piece = shapely.get_coordinates(shapely.get_exterior_ring(pieces), return_index=True)
    kept = np.r_[piece[1:] == piece[:-1], False][: len(piece)]
    starts = np.searchsorted(piece[kept], np.arange(len(pieces)))
    return Paths(xy[kept] + shift, starts, pen_mm=0.15)


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


def _trim_marks(x0: float, y0: float, x1: float, y1: float) -> list[Paths | Text]:
    lines = []
    for x, out_x in ((x0, -1), (x1, 1)):
        for y, out_y in ((y0, -1), (y1, 1)):
            lines.append(np.array([[x + 2 * out_x, y], [x + 8 * out_x, y]]))
            lines.append(np.array([[x, y + 2 * out_y], [x, y + 8 * out_y]]))
    return [Paths.of(lines, closed=False, pen_mm=0.15)]


def _check_bars(x0: float, y0: float, y1: float) -> list[Paths | Text]:
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


def _key_page(
    doc: Commission,
    layout: Layout,
    parts: Iterable[Tile],
    paper: str,
    mirrored: bool,
    keyed: dict[str, int],
    mark: str,
) -> Page:
    w, h = PAPERS["A4"] if paper == WHOLE else PAPERS[paper]
    table = counts(doc, layout)
    m = MARGIN_MM
    items: list[Paths | Text] = [
        Text(m, m + 3, doc.title or "Cartoon", 6.0, bold=True),
        Text(
            m,
            m + 10,
            f"{doc.width_mm:g} x {doc.height_mm:g} mm, {len(layout):,} tesserae, "
            + ("drawn mirrored, as laid face down" if mirrored else "drawn from the front")
            + f", mark {mark}",
            3.2,
            colour=GREY,
        ),
        Text(
            m,
            m + 15.5,
            "Print at 100 %, not fitted to the page. Measure both check bars: 100 mm each.",
            3.2,
        ),
    ]
    map_w, map_h = min(w * 0.42, 190.0), h * 0.4
    items += _page_map(doc, parts, m, m + 22, map_w, map_h, mirrored)
    top = m + 22 + map_h + 8
    items.append(Text(m, top, "With care", 3.6, bold=True))
    y = top + 5.5
    for caution in CAUTIONS:
        for line in _wrapped(caution, int(map_w / 1.35)):
            items.append(Text(m, y, line, 2.5))
            y += 3.7
        y += 1.0
    items += _materials(doc, table, keyed, m + map_w + 12, m + 22, w - m, h - m)
    return Page(w, h, KEY, tuple(items))


def _page_map(
    doc: Commission,
    parts: Iterable[Tile],
    x0: float,
    y0: float,
    room_w: float,
    room_h: float,
    mirrored: bool,
) -> list[Paths | Text]:
    by = min(room_w / doc.width_mm, room_h / doc.height_mm)
    shapes = np.array([polygon_of(f.outline).boundary for f in doc.fields], dtype=object)
    lines = []
    for part in shapely.get_parts(shapely.get_parts(shapes)) if len(shapes) else []:
        c = shapely.get_coordinates(part) * by
        if mirrored:
            c[:, 0] = doc.width_mm * by - c[:, 0]
        lines.append(c + np.array([x0, y0]))
    items: list[Paths | Text] = [Paths.of(lines, closed=False, pen_mm=0.12, pen=FAINT)]
    boxes = []
    for t in parts:
        left, up, right, low = x0 + t.x0 * by, y0 + t.y0 * by, x0 + t.x1 * by, y0 + t.y1 * by
        boxes.append(np.array([[left, up], [right, up], [right, low], [left, low]]))
        size = min(5.0, 0.35 * (low - up), 0.3 * (right - left))
        items.append(Text((left + right) / 2, (up + low) / 2, t.name, size, "middle", bold=True))
    return [*items, Paths.of(boxes, pen_mm=0.2)]


def _materials(
    doc: Commission,
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


def _wrapped(words: str, letters: int) -> list[str]:
    return textwrap.wrap(words, letters)
