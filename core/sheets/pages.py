"""A page for each sheet: what is laid on it, where it goes and how it meets its neighbours.

The drawing stands in the middle with its neighbours' names about it. A panel at its right or below
holds the number, the order of setting, which side is which, and the count of each material, so
that a tray can be filled for that sheet alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.agreed import mark_of, piece_marks
from core.bounds import one_of
from core.colour.convert import swatch_rgb
from core.colour.wanted import stocked_lab
from core.commission import Commission
from core.drawing import BLACK, Item, Page, Paths, Rgb, Text, scaled
from core.errors import EmblemaError
from core.geometry import lines_in, polygons_in
from core.lettering import LEAST_MM, fitted, wide_mm
from core.openmarks import drawn as drawn_openings
from core.paper.printer import TRUE as PLAIN
from core.paper.printer import Correction
from core.paper.sizes import PAPERS as SIZES
from core.patches import Patch, patches
from core.pieces import Layout
from core.sheets import panel
from core.sheets.labels import Drawn, Named, named
from core.sheets.made import OnSheet, Sheets
from core.sheets.patchmarks import lines, numbers, rooms
from core.sheets.patterns import PATTERNS, Pattern, drawn

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]
Shapes = NDArray[np.object_]

TRUE = "true"
PAPERS = ("A4", "A3", TRUE)
FILLS = ("lines", "colour", "patterns")
MARGIN_MM = 9.0
FOOT_MM = 6.0
BAND_MM = 10.0  # about the drawing, for its neighbours' names
CLOSER = (1.4, 1.5, 1.6, 1.7, 1.8, 1.9, 2.0)  # times larger, where pieces have no room for a name
CLOSER_HEAD_MM = 8.0
SMALLER = 0.7  # a sheet may be drawn so much smaller, so that its table stands beside it
MARK_MM = 3.5  # half the length of a tick or cross on paper

GREY: Rgb = (120, 120, 120)
RED: Rgb = (176, 28, 28)
_TURN = {"left": -90.0, "right": 90.0, "above": 0.0, "below": 0.0}
_OUT = {"left": (-1.0, 0.0), "right": (1.0, 0.0), "above": (0.0, -1.0), "below": (0.0, 1.0)}
_BACK = {"left": "right", "right": "left", "above": "above", "below": "below"}


def sheet_pages(
    doc: Commission,
    layout: Layout,
    sheets: Sheets,
    paper: str = "A4",
    fill: str = "lines",
    mirrored: bool | None = None,
    correction: Correction = PLAIN,
) -> Iterator[Page]:
    """Yield a page for each sheet in the order of setting, and more where its table needs them.

    Parameters
    ----------
    paper : str
        One of `PAPERS`: upright or lying, as it is drawn larger, or "true" for pages on which it
        is drawn at its true size.
    fill : str
        One of `FILLS`.
    mirrored : bool, optional
        Drawn as seen from the back; left out as the work is laid.
    correction : Correction
        Of the printer; all is drawn so much larger that its print is true.

    Raises
    ------
    EmblemaError
        There is no such paper or fill, or there are no sheets.
    """
    one_of("The paper", paper, PAPERS)
    one_of("The fill", fill, FILLS)
    if not sheets.each:
        raise EmblemaError("There are no sheets yet; divide the work into sheets first.")
    back = doc.sheeting.laid == "mirrored" if mirrored is None else mirrored
    work = _Work(doc, layout, sheets, fill, back)
    for sheet in sorted(sheets.each, key=lambda s: s.order):
        for page in _pages(work, sheet, paper, correction):
            yield scaled(page, *correction.scale)


class _Work:
    """All that is known of each piece and material, once for all pages."""

    def __init__(
        self, doc: Commission, layout: Layout, sheets: Sheets, fill: str, mirrored: bool
    ) -> None:
        self.doc, self.sheets, self.fill, self.mirrored = doc, sheets, fill, mirrored
        laid = [f for f in layout.fields if len(f.pieces)]
        number = {f.id: k for k, f in enumerate(doc.fields)}
        size = [len(f.pieces) for f in laid]
        self.field = np.repeat(np.array([number[f.field_id] for f in laid], np.int64), size)
        self.course = np.concatenate([f.pieces.course for f in laid])
        self.place = np.concatenate([f.pieces.piece for f in laid])
        self.angle = np.concatenate([f.pieces.angle_rad for f in laid])
        self.marks = piece_marks(doc, layout)
        self.joint_mm = np.array([f.laying.joint_mm for f in doc.fields])[self.field]
        kinds, many = np.unique(sheets.stock[sheets.stock >= 0], return_counts=True)
        # as the key of the cartoon numbers them
        self.number = {int(k): n for n, k in enumerate(kinds, 1)}
        lab = stocked_lab(doc.materials) if doc.materials else np.empty((0, 3))
        self.rgb = [swatch_rgb(c)[0] for c in lab]
        self.ink: list[Rgb] = [BLACK if c[0] > 52 else (255, 255, 255) for c in lab]
        self.pattern: dict[int, Pattern] = {}
        if fill == "patterns":
            most = kinds[np.argsort(-many, kind="stable")][: len(PATTERNS)]
            lightest = most[np.argsort(-lab[most, 0], kind="stable")]
            spread = np.linspace(0, len(PATTERNS) - 1, len(most)).round().astype(int)
            self.pattern = {int(k): PATTERNS[p] for k, p in zip(lightest, spread, strict=True)}

    def rows(self, sheet: OnSheet) -> list[panel.Row]:
        """Return the table of a sheet's materials."""
        out = []
        for k, pieces in sheet.counts:
            if k < 0:
                out.append(panel.Row("?", "without a material", None, None, pieces))
            else:
                m = self.doc.materials[k]
                number, pattern = str(self.number[k]), self.pattern.get(k)
                rgb = None if self.fill == "patterns" else self.rgb[k]
                out.append(panel.Row(number, m.code, rgb, pattern, pieces))
        return out


@dataclass(frozen=True, slots=True)
class _Placed:
    """Where a sheet stands on its page: what is to the right or below it, and how it is scaled."""

    page: tuple[float, float]
    panel: tuple[float, float, float, float]
    corner: tuple[float, float]  # of the sheet's box on paper
    by: float

    @property
    def aside(self) -> bool:
        """Whether the panel stands at the right."""
        return self.panel[0] > MARGIN_MM

    def on_paper(self, xy: Floats, sheet: OnSheet, mirrored: bool) -> Floats:
        """Return places of the work, shape (..., 2), on the page."""
        x0, y0, x1, _ = sheet.box_mm
        x = (x1 - xy[..., 0]) if mirrored else (xy[..., 0] - x0)
        out = np.stack([x, xy[..., 1] - y0], axis=-1) * self.by + np.array(self.corner)
        return np.asarray(out)


def _ways(sheet: OnSheet, paper: str, correction: Correction) -> list[_Placed]:
    """Return how a page may be taken, upright or lying, its panel aside or below.

    What draws the sheet largest comes first. Papers are as large as what is printed on them as
    that truly measures.
    """
    w, h = sheet.size_mm
    edge = MARGIN_MM + BAND_MM
    if paper == TRUE:
        high = max(h + 2 * BAND_MM, panel.ASIDE_HIGH_MM)
        page = (w + 2 * edge + panel.GAP_MM + panel.ASIDE_MM, high + 2 * MARGIN_MM + FOOT_MM)
        left = page[0] - MARGIN_MM - panel.ASIDE_MM
        box = (left, MARGIN_MM, page[0] - MARGIN_MM, MARGIN_MM + high)
        return [_Placed(page, box, (edge, MARGIN_MM + (high - h) / 2), 1.0)]
    long, short = SIZES[paper]
    found = []
    across, up = correction.scale
    for pw, ph in ((long / across, short / up), (short / across, long / up)):
        for aside in (True, False):
            right, low = pw - MARGIN_MM, ph - MARGIN_MM - FOOT_MM
            if aside:
                box = (right - panel.ASIDE_MM, MARGIN_MM, right, low)
                room = (box[0] - panel.GAP_MM - MARGIN_MM, low - MARGIN_MM)
            else:
                box = (MARGIN_MM, low - panel.BELOW_MM, right, low)
                room = (right - MARGIN_MM, box[1] - panel.GAP_MM - MARGIN_MM)
            by = min((room[0] - 2 * BAND_MM) / w, (room[1] - 2 * BAND_MM) / h, 1.0)
            corner = MARGIN_MM + (room[0] - w * by) / 2, MARGIN_MM + (room[1] - h * by) / 2
            found.append(_Placed((pw, ph), box, corner, by))
    return sorted(found, key=lambda at: -at.by)


def _chosen(ways: list[_Placed], facts: panel.Facts, rows: list[panel.Row]) -> _Placed:
    """Return the first way in which the whole table stands beside the drawing, if there is one."""
    for at in ways:
        told = replace(facts, by=at.by, unnamed=1)
        if at.by >= SMALLER * ways[0].by and not panel.drawn(told, rows, at.panel, at.aside)[1]:
            return at
    return ways[0]


def _pages(work: _Work, sheet: OnSheet, paper: str, correction: Correction) -> Iterator[Page]:
    mixes = patches(work.doc, work.sheets.graph.only(sheet.which))
    facts = panel.Facts(
        title=work.doc.title,
        number=sheet.number,
        order=sheet.order,
        of=len(work.sheets.each),
        size_mm=sheet.size_mm,
        kg=sheet.kg,
        pieces=len(sheet.which),
        putty=_putty(mixes),
        by=1.0,
        mirrored=work.mirrored,
        laid=work.doc.sheeting.laid,
        unnamed=0,
        closer=False,
    )
    rows = work.rows(sheet)
    at = _chosen(_ways(sheet, paper, correction), facts, rows)
    outline = shapely.transform(sheet.outline, lambda xy: at.on_paper(xy, sheet, work.mirrored))
    items, names = _drawing(work, sheet, at, mixes, outline)
    items += drawn_openings(work.doc, lambda xy: at.on_paper(xy, sheet, work.mirrored), _about(at))
    crossed, taken = _matches(work, sheet, at)
    items += crossed
    items += _neighbours(work, sheet, at, outline, [*taken, *names.taken])
    mark = mark_of(work.marks[sheet.which])
    name = f"Sheet {sheet.number}"
    foot = f"mark {mark}   {work.doc.title}   sheet {sheet.number}"
    if correction.in_use:
        foot += f"   printer corrected {correction.words}"
    closer = [] if paper == TRUE else [*_closer(work, sheet, at, mixes, names.left, foot)]
    facts = replace(facts, by=at.by, unnamed=names.unnamed, closer=bool(closer))
    beside, left = panel.drawn(facts, rows, at.panel, at.aside)
    yield Page(*at.page, name, (*items, *beside, *_foot(foot, at.page)))
    across, up = correction.scale
    size = at.page if paper != TRUE else (SIZES["A4"][0] / across, SIZES["A4"][1] / up)
    while left:
        more, left = panel.table_page(facts, left, size, MARGIN_MM, FOOT_MM)
        yield Page(*size, f"{name}, trays", (*more, *_foot(f"{foot}, trays", size)))
    yield from closer


def _drawing(
    work: _Work,
    sheet: OnSheet,
    at: _Placed,
    mixes: Sequence[Patch],
    outline: MultiPolygon,
    some: Ints | None = None,
) -> tuple[list[Item], Named]:
    """Return a sheet's pieces as they stand on a page, with its edge, its patches and its names.

    Parameters
    ----------
    outline : MultiPolygon
        About which lines to small pieces end, mm on paper.
    some : ndarray of int, optional
        Of the sheet's pieces, those that are drawn.
    """
    some = np.arange(len(sheet.which)) if some is None else some
    which = sheet.which[some]
    shapes = _moved(work.sheets.polygons[which], at, sheet, work.mirrored)
    names = named(_to_name(work, which, shapes, at), outline)
    place = np.full(len(sheet.which), -1)
    place[some] = np.arange(len(some))
    of = [(k, place[m.which][place[m.which] >= 0]) for k, m in enumerate(mixes, 1)]
    of = [(k, mine) for k, mine in of if len(mine)]
    areas = rooms(shapes, work.joint_mm[which] * at.by, [mine for _, mine in of])
    items: list[Item] = [*_filled(work, which, shapes)]
    light = work.fill != "patterns"
    items.append(Paths.around(shapes, pen_mm=0.1 if light else 0.15, pen=GREY if light else BLACK))
    items.append(lines(areas))
    items.append(_edge(work, sheet, at, None if len(some) == len(sheet.which) else outline))
    items += names.items
    if len(mixes) > 1:
        written = [i for i in names.items if isinstance(i, Text)]
        items += numbers(areas, [k for k, _ in of], written)
    return items, names


def _closer(
    work: _Work, sheet: OnSheet, at: _Placed, mixes: Sequence[Patch], left: Ints, foot: str
) -> Iterator[Page]:
    """Yield pages of those parts of a sheet, drawn larger, where pieces had no room for a name."""
    edge = np.array([MARGIN_MM + BAND_MM, MARGIN_MM + BAND_MM + CLOSER_HEAD_MM])
    room = np.array(at.page) - edge - (edge[0], MARGIN_MM + FOOT_MM + BAND_MM)
    own = replace(at, corner=(0.0, 0.0))
    bounds = shapely.bounds(
        _moved(work.sheets.polygons[sheet.which], own, sheet, work.mirrored)
    ).reshape(-1, 4)
    # pieces reach over the edge of their part by no more than their own size
    whole = bounds[:, 2:].max(axis=0) - bounds[:, :2].min(axis=0)
    most = (bounds[:, 2:] - bounds[:, :2]).max(axis=0)
    found = []
    for times in CLOSER:
        if times * at.by <= 1.0:
            spare = np.minimum(times * most, 0.4 * room)
            parts = np.ceil(times * whole / (room - spare)).astype(np.int64)
            parts = np.where(times * whole <= room, 1, parts)
            found.append((int(parts.prod()), -times, parts))
    if not len(left) or not found:
        return
    _, times, parts = min(found, key=lambda one: one[:2])
    by, bounds = -times * at.by, -times * bounds
    own = replace(own, by=by)
    low, high = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    middle = (bounds[:, :2] + bounds[:, 2:]) / 2
    cell = np.minimum((middle - low) * parts / (high - low), parts - 1).astype(np.int64)
    number = cell[:, 1] * parts[0] + cell[:, 0]
    wanted = np.unique(number[left]).tolist()
    for n, k in enumerate(wanted, 1):
        some = np.flatnonzero(number == k)
        begin = bounds[some, :2].min(axis=0)
        corner = edge - begin
        placed = replace(own, corner=(float(corner[0]), float(corner[1])))
        x0, y0, x1, y1 = (np.r_[begin, bounds[some, 2:].max(axis=0)] + np.tile(corner, 2)).tolist()
        part = MultiPolygon([shapely.box(x0, y0, x1, y1)])
        items, names = _drawing(work, sheet, placed, mixes, part, some)
        row, column = divmod(k, int(parts[0]))
        where = f"row {row + 1} of {parts[1]} from above, {column + 1} of {parts[0]} from the left"
        told = f"{len(some):,} pieces, 1 : {1 / by:.2f}, {where}"
        if names.unnamed:
            told += f"; {names.unnamed:,} have no name here either"
        name = f"Sheet {sheet.number}, closer {n} of {len(wanted)}"
        head = [
            Text(MARGIN_MM, MARGIN_MM + 4, name, 7.0, bold=True),
            Text(MARGIN_MM, MARGIN_MM + 11, *fitted(told, 3.2, at.page[0] - 45, LEAST_MM)),
            *panel.way_up(at.page[0] - MARGIN_MM - 7, MARGIN_MM, 21.0),
        ]
        yield Page(*at.page, name, (*items, *head, *_foot(f"{foot}, closer {n}", at.page)))


def _putty(mixes: tuple[Patch, ...]) -> str:
    """Return how often putty is mixed, for how many pieces, and how much of it."""

    def span(values: list[int]) -> str:
        least, most = min(values), max(values)
        return f"{least:,}" if least == most else f"{least:,} to {most:,}"

    grams = span([round(1000 * m.kg) for m in mixes])
    each = " each" if len(mixes) > 1 else ""
    of = f"{len(mixes)} patch{'es' * (len(mixes) > 1)} of putty"
    return f"{of}, {span([m.pieces for m in mixes])} pieces{each}, {grams} g"


def _about(at: _Placed) -> Polygon:
    """Return the room of the drawing on its page, its neighbours' names included."""
    (x, y), edge = at.corner, 0.6 * BAND_MM
    right = at.panel[0] - panel.GAP_MM if at.aside else at.page[0] - MARGIN_MM
    low = at.page[1] - MARGIN_MM - FOOT_MM if at.aside else at.panel[1] - panel.GAP_MM
    return shapely.box(x - edge, y - edge, right - edge, low - edge)


def _foot(words: str, size: tuple[float, float]) -> list[Text]:
    words, high = fitted(words, 2.8, size[0] - 2 * MARGIN_MM, LEAST_MM)
    return [Text(MARGIN_MM, size[1] - MARGIN_MM + 1.0, words, high, colour=GREY)]


def _moved(shapes: Shapes, at: _Placed, sheet: OnSheet, mirrored: bool) -> Shapes:
    return np.asarray(
        shapely.transform(shapes, lambda xy: at.on_paper(xy, sheet, mirrored)), dtype=object
    )


def _filled(work: _Work, which: Ints, shapes: Shapes) -> list[Paths | Text]:
    stock = work.sheets.stock[which]
    items: list[Paths | Text] = []
    for k in np.unique(stock[stock >= 0]).tolist():
        if work.fill == "colour":
            items.append(Paths.around(shapes[stock == k], pen=None, fill=work.rgb[k]))
        elif k in work.pattern:
            items += drawn(work.pattern[k], shapes[stock == k])
    return items


def _edge(work: _Work, sheet: OnSheet, at: _Placed, within: MultiPolygon | None) -> Paths:
    """Return a sheet's outline, or what of it lies within a part of the page.

    Pools that no other sheet has pieces in are not its edge.
    """
    others = shapely.STRtree(work.sheets.polygons[work.sheets.sheet != sheet.number])
    parts = []
    for p in polygons_in(sheet.outline):
        holes = [h for h in p.interiors if len(others.query(Polygon(h), predicate="covers"))]
        parts.append(Polygon(p.exterior, holes))
    moved = _moved(np.array(parts, object), at, sheet, work.mirrored)
    if within is None:
        return Paths.around(moved, pen_mm=0.5)
    seen = shapely.intersection(shapely.boundary(moved), shapely.buffer(within, 1.0))
    seen_lines = [shapely.get_coordinates(p) for edge in seen for p in lines_in(edge)]
    return Paths.of(seen_lines, closed=False, pen_mm=0.5)


def _to_name(work: _Work, which: Ints, shapes: Shapes, at: _Placed) -> Drawn:
    stock = work.sheets.stock[which].tolist()
    angle = work.angle[which]
    told = [k >= 0 and k not in work.pattern for k in stock]
    return Drawn(
        shapes,
        -angle if work.mirrored else angle,
        [work.doc.materials[k].code if t else "" for k, t in zip(stock, told, strict=True)],
        [str(work.number[k]) if t else "" for k, t in zip(stock, told, strict=True)],
        [work.ink[k] if work.fill == "colour" and k >= 0 else BLACK for k in stock],
        (work.field[which], work.course[which], work.place[which]),
        float(np.median(work.joint_mm[which])) * at.by,
    )


def _matches(work: _Work, sheet: OnSheet, at: _Placed) -> tuple[list[Paths | Text], list[Polygon]]:
    """Return the ticks and crosses on a sheet's seams, and the room that they take."""
    lines: list[Floats] = []
    for m in work.sheets.matches:
        if sheet.number not in m.sheets:
            continue
        middle = at.on_paper(np.array(m.at_mm), sheet, work.mirrored)
        way = np.array(m.way) * ((-1.0, 1.0) if work.mirrored else (1.0, 1.0))
        turned = np.array([-way[1], way[0]])
        arms = [way] if m.mark == "tick" else [(way + turned) / 2**0.5, (way - turned) / 2**0.5]
        lines += [np.stack([middle - MARK_MM * a, middle + MARK_MM * a]) for a in arms]
    taken = [shapely.buffer(shapely.LineString(c), 0.6) for c in lines]
    return [Paths.of(lines, closed=False, pen_mm=0.55, pen=RED)], taken


def _neighbours(
    work: _Work,
    sheet: OnSheet,
    at: _Placed,
    outline: MultiPolygon,
    taken: list[Polygon],
) -> list[Paths | Text]:
    """Return each neighbour's name outside the seam that it shares, and the way up."""
    size, items = 4.2, list[Paths | Text]()
    taken = [*taken, shapely.buffer(outline, 0.8)]
    room = shapely.box(*outline.bounds).buffer(BAND_MM, join_style="mitre")
    said = [(f"sheet {b.number}", b.side, b.middle_mm, True) for b in sheet.beside]
    said += [("edge of the work", side, middle, False) for side, middle in _edges(work.doc, sheet)]
    for words, side, middle, bold in said:
        side = _BACK[side] if work.mirrored else side
        high = size if bold else 2.8
        out, turn = np.array(_OUT[side]), _TURN[side]
        along = np.array([-out[1], out[0]])
        wide = wide_mm(words, high, bold) + 1.5
        w, h = (high + 1.0, wide) if turn else (wide, high + 1.0)
        start = at.on_paper(np.array(middle), sheet, work.mirrored)
        for step in range(680):
            push, slide = divmod(step, 17)
            shift = ((slide + 1) // 2) * (-1) ** slide * 0.25 * wide
            x, y = start + out * (0.6 * push) + along * shift
            box = shapely.box(x - w / 2, y - h / 2, x + w / 2, y + h / 2)
            if room.covers(box) and not any(box.intersects(t) for t in taken):
                break
        taken.append(box)
        colour = BLACK if bold else GREY
        items.append(Text(float(x), float(y), words, high, "middle", turn, colour, bold))
    return items


def _edges(doc: Commission, sheet: OnSheet) -> list[tuple[str, tuple[float, float]]]:
    """Return the sides on which a sheet ends where the work does."""
    x0, y0, x1, y1 = sheet.box_mm
    near = 6.0
    middle_x, middle_y = (x0 + x1) / 2, (y0 + y1) / 2
    return [
        (side, middle)
        for side, ends, middle in (
            ("left", x0 <= near, (x0, middle_y)),
            ("above", y0 <= near, (middle_x, y0)),
            ("right", x1 >= doc.width_mm - near, (x1, middle_y)),
            ("below", y1 >= doc.height_mm - near, (middle_x, y1)),
        )
        if ends
    ]
