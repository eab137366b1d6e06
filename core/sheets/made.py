"""Sheets of a commission: made, told apart, altered by hand, and what is on each.

A sheet is kept in the document as the room of its pieces, so that what was printed and faced stays
the same sheet whatever is laid anew beside it: a piece is on the sheet that its middle lies in.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path

import numpy as np
import shapely
from shapely import MultiPolygon, Polygon

from core.bounds import shown
from core.commission import Commission, Ring, Sheet
from core.errors import EmblemaError
from core.files import write_text
from core.geometry import outline_of, polygon_of
from core.openings import gone_round, shape_of
from core.pieces import Layout
from core.plaintext import csv_text
from core.sheets.divide import divide, halves
from core.sheets.graph import Floats, Ints, JointGraph, Shapes, joint_graph
from core.sheets.order import setting_order
from core.sheets.room import all_met, half_joints, room_mended, room_of
from core.site import Opening

NEAR_MM = 20.0  # a piece whose middle lies in no sheet belongs to the nearest, if so near
SIDES = ("left", "above", "right", "below")
MOST_MENDED = 12  # pieces moved at once for which rooms are mended, not made again
MATCH_MM = 90.0  # of seam to one pair of marks that must meet
LEAST_MATCH_MM = 15.0  # of seam, with any mark
MARKS = ("tick", "cross")
COLUMNS = ("sheet", "order", "width_mm", "height_mm", "weight_kg", "pieces")


@dataclass(frozen=True, slots=True)
class Beside:
    """A neighbour of a sheet: its number, where it lies (`SIDES`) and the seam they share, mm."""

    number: int
    side: str
    seam_mm: float
    middle_mm: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Match:
    """A mark that two sheets bear at one place of their seam: it must meet when they are set."""

    sheets: tuple[int, int]
    at_mm: tuple[float, float]
    way: tuple[float, float]  # unit vector from the first sheet to the second
    mark: str


@dataclass(frozen=True, slots=True)
class OnSheet:
    """What is on one sheet.

    Attributes
    ----------
    number, order : int
        What is written on it, and its place in the order of setting, both from 1.
    which : ndarray of int
        Its pieces, in the order of the layout's fields.
    box_mm : tuple of float
        x0, y0, x1, y1 of its pieces on the work.
    kg : float
        Of its pieces, without paper and paste.
    counts : tuple of (int, int)
        Index of each material among the commission's (-1 for none), and its pieces.
    """

    number: int
    order: int
    which: Ints
    outline: MultiPolygon
    box_mm: tuple[float, float, float, float]
    area_mm2: float
    kg: float
    counts: tuple[tuple[int, int], ...]
    beside: tuple[Beside, ...]
    pinned: bool

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        x0, y0, x1, y1 = self.box_mm
        return x1 - x0, y1 - y0


@dataclass(frozen=True, slots=True)
class Sheets:
    """All sheets of a layout. `sheet` (n,) says for each piece on which it is, 0 for none."""

    each: tuple[OnSheet, ...]
    matches: tuple[Match, ...]
    sheet: Ints
    graph: JointGraph
    stock: Ints

    @property
    def polygons(self) -> Shapes:
        """All pieces, shape (n,)."""
        return self.graph.polygons

    @property
    def loose(self) -> int:
        """Pieces that are on no sheet."""
        return int((self.sheet == 0).sum())


def divided(
    doc: Commission,
    layout: Layout,
    stop: Callable[[], bool] = lambda: False,
    graph: JointGraph | None = None,
    tell: Callable[[float], object] = lambda share: None,
) -> Commission:
    """Return the commission divided into sheets; pinned ones stay.

    `tell` hears what share is done. Here and below `graph` are the joints of the layout, found
    anew where left out: that takes longer than all else by hand.

    Raises
    ------
    EmblemaError
        Nothing is laid, or a sheet would be hardly larger than a piece.
    core.errors.Stopped
        `stop` answered True.
    """
    if not len(layout):
        raise EmblemaError("Nothing is laid yet, so there is nothing to divide into sheets.")
    graph = joint_graph(doc, layout) if graph is None else graph
    stay = tuple(s for s in doc.sheets if s.pinned)
    held = sheet_of(stay, graph.polygons)
    free = np.flatnonzero(held == 0)
    label = np.full(len(graph), -1)
    label[free] = divide(graph.only(free), doc.sheeting, doc.seed, stop, tell, opened(doc))
    rooms = [np.flatnonzero(label == k) for k in range(int(label.max(initial=-1)) + 1)]
    boxes = np.array([shapely.total_bounds(graph.polygons[r]) for r in rooms]).reshape(-1, 4)
    numbers = (n for n in count(1) if n not in {s.number for s in stay})
    half, order = half_joints(graph), setting_order(boxes, _level(doc)).tolist()
    begun = [room_of(graph, rooms[k], half) for k in order]
    shapes = all_met(begun, [polygon_of(s.outline) for s in stay], float(half.max(initial=0.5)))
    made = [Sheet(next(numbers), outline_of(shape)) for shape in shapes]
    return replace(doc, sheets=tuple(sorted((*stay, *made), key=lambda s: s.number)))


def opened(doc: Commission) -> tuple[Polygon, ...]:
    """Return the areas of the wall's openings, mm of the work."""
    return tuple(shape_of(o) for o in doc.openings)


def _level(doc: Commission) -> float:
    """Return where the level line is, y in mm."""
    return doc.height_mm - doc.sheeting.level_mm


def sheet_of(sheets: tuple[Sheet, ...], polygons: Shapes) -> Ints:
    """Return for each piece (n,) the number of the sheet that it is on, 0 where on none."""
    out = np.zeros(len(polygons), np.int64)
    if not sheets or not len(polygons):
        return out
    rooms = np.array([polygon_of(s.outline) for s in sheets], dtype=object)
    shapely.prepare(rooms)
    middle = shapely.centroid(polygons)
    piece, sheet = shapely.STRtree(rooms).query(middle, predicate="covered_by")
    number = np.array([s.number for s in sheets])
    out[piece[::-1]] = number[sheet[::-1]]  # of several the first
    lost = np.flatnonzero(out == 0)
    if len(lost):
        near = shapely.STRtree(rooms).query_nearest(
            middle[lost], max_distance=NEAR_MM, all_matches=False
        )
        out[lost[near[0]]] = number[near[1]]
    return out


def in_setting_order(
    doc: Commission, polygons: Shapes, on: Ints | None = None
) -> list[tuple[Sheet, Ints]]:
    """Return the sheets that hold pieces in the order of setting, each with its pieces.

    Parameters
    ----------
    on : ndarray (n,), optional
        What `sheet_of` says of them.
    """
    on = sheet_of(doc.sheets, polygons) if on is None else on
    held = [(s, np.flatnonzero(on == s.number)) for s in doc.sheets]
    some = [(s, which) for s, which in held if len(which)]
    boxes = np.array([shapely.total_bounds(polygons[which]) for _, which in some])
    return [some[k] for k in setting_order(boxes.reshape(-1, 4), _level(doc)).tolist()]


def sheets_of(doc: Commission, layout: Layout, graph: JointGraph | None = None) -> Sheets:
    """Return what is on each sheet of a commission."""
    graph = joint_graph(doc, layout) if graph is None else graph
    on = sheet_of(doc.sheets, graph.polygons)
    stock = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
    seams = _seams(graph, on)
    each = []
    for order, (s, which) in enumerate(in_setting_order(doc, graph.polygons, on), 1):
        kinds, many = np.unique(stock[which], return_counts=True)
        x0, y0, x1, y1 = shapely.total_bounds(graph.polygons[which]).tolist()
        each.append(
            OnSheet(
                number=s.number,
                order=order,
                which=which,
                outline=polygon_of(s.outline),
                box_mm=(x0, y0, x1, y1),
                area_mm2=float(graph.area_mm2[which].sum()),
                kg=float(graph.kg[which].sum()),
                counts=tuple(zip(kinds.tolist(), many.tolist(), strict=True)),
                beside=_beside(s.number, seams),
                pinned=s.pinned,
            )
        )
    each.sort(key=lambda s: s.number)
    return Sheets(tuple(each), _matches(seams), on, graph, stock)


def cut_within(sheets: Sheets, rings: Collection[Ring]) -> Ints:
    """Return the joints of the graph by which a seam runs through some places."""
    graph, on = sheets.graph, sheets.sheet
    seam = np.flatnonzero((on[graph.a] != on[graph.b]) & (graph.length_mm > 0))
    places = shapely.union_all([Polygon(r).buffer(0) for r in rings])
    out: Ints = seam[shapely.contains_xy(places, graph.middle_mm[seam])]
    return out


def write_sheets_csv(path: str | Path, sheets: Sheets) -> None:
    """Write one row a sheet, in the order of their numbers."""
    rows: list[list[object]] = [[*COLUMNS]]
    for s in sheets.each:
        w, h = s.size_mm
        rows.append([s.number, s.order, f"{w:.3f}", f"{h:.3f}", f"{s.kg:.4f}", len(s.which)])
    write_text(path, csv_text(rows))


@dataclass(frozen=True, slots=True)
class _Seam:
    """The joints that part two sheets: their middles (n, 2), how long each is, and the way over."""

    sheets: tuple[int, int]
    at: Floats
    length: Floats
    way: Floats


def _seams(graph: JointGraph, on: Ints) -> list[_Seam]:
    one, two = on[graph.a], on[graph.b]
    seam = np.flatnonzero((one != two) & (one > 0) & (two > 0) & (graph.length_mm > 0))
    flip = one[seam] > two[seam]
    a, b = (
        np.where(flip, graph.b[seam], graph.a[seam]),
        np.where(flip, graph.a[seam], graph.b[seam]),
    )
    pair, which = np.unique(np.stack([on[a], on[b]], axis=1), axis=0, return_inverse=True)
    out = []
    for k, (i, j) in enumerate(pair.tolist()):
        mine = np.flatnonzero(which.ravel() == k)
        at = graph.middle_mm[seam[mine]]
        line = shapely.shortest_line(graph.polygons[a[mine]], graph.polygons[b[mine]])
        ends = shapely.get_coordinates(line).reshape(-1, 2, 2)
        way = ends[:, 1] - ends[:, 0]
        way /= np.maximum(np.hypot(*way.T), 1e-9)[:, None]
        out.append(_Seam((i, j), at, graph.length_mm[seam[mine]], way))
    return out


def _beside(number: int, seams: list[_Seam]) -> tuple[Beside, ...]:
    """Return a sheet's neighbours, each on the side on which most of the seam faces it."""
    out = []
    for s in seams:
        if number not in s.sheets:
            continue
        other = s.sheets[1] if s.sheets[0] == number else s.sheets[0]
        way = (s.way * s.length[:, None]).sum(axis=0) * (1 if s.sheets[0] == number else -1)
        side = (
            ("right" if way[0] > 0 else "left")
            if abs(way[0]) > abs(way[1])
            else ("below" if way[1] > 0 else "above")
        )
        x, y = np.average(s.at, axis=0, weights=s.length).tolist()
        out.append(Beside(other, side, float(s.length.sum()), (x, y)))
    return tuple(sorted(out, key=lambda b: (SIDES.index(b.side), b.number)))


def _matches(seams: list[_Seam]) -> tuple[Match, ...]:
    """Return marks along every seam, ticks and crosses by turns, so that neighbours must meet."""
    out = []
    for s in seams:
        whole_mm = float(s.length.sum())
        if whole_mm < LEAST_MATCH_MM:
            continue
        spread = s.at - np.average(s.at, axis=0, weights=s.length)
        axis = np.linalg.svd(spread, full_matrices=False)[2][0] if len(spread) > 1 else np.ones(2)
        along = spread @ (axis * (1 if axis[np.argmax(np.abs(axis))] > 0 else -1))
        number = max(1, round(whole_mm / MATCH_MM))
        wanted = along.min() + (np.arange(number) + 0.5) / number * np.ptp(along)
        for n, w in enumerate(wanted):
            # the longest joint near the place that is wanted
            near = np.abs(along - w) <= max(np.ptp(along) / number / 4, np.abs(along - w).min())
            k = int(np.flatnonzero(near)[np.argmax(s.length[near])])
            x, y = s.at[k].tolist()
            way = (float(s.way[k, 0]), float(s.way[k, 1]))
            out.append(Match(s.sheets, (x, y), way, MARKS[n % 2]))
    return tuple(out)


# --- by hand --------------------------------------------------------------------------------


def joint_with(graph: JointGraph, on: Ints, pieces: Collection[int]) -> dict[int, float]:
    """Return how much joint some pieces share with the rest of each sheet, mm.

    Parameters
    ----------
    on : ndarray of int, shape (n,)
        The sheet of each piece, 0 for none.
    """
    mine = np.zeros(len(graph), bool)
    mine[list(pieces)] = True
    out: dict[int, float] = {}
    for x, y in ((graph.a, graph.b), (graph.b, graph.a)):
        seam = mine[x] & ~mine[y] & (on[y] > 0)
        for k, mm in zip(on[y[seam]].tolist(), graph.length_mm[seam].tolist(), strict=True):
            out[k] = out.get(k, 0.0) + mm
    return out


def moved_to(
    doc: Commission,
    layout: Layout,
    pieces: Collection[int],
    sheet: int,
    graph: JointGraph | None = None,
    on: Ints | None = None,
) -> Commission:
    """Return the commission with pieces (places in the layout) moved to another sheet.

    Parameters
    ----------
    on : ndarray (n,), optional
        What `sheet_of` says of the layout's pieces.

    Raises
    ------
    EmblemaError
        There is no such sheet, or a sheet would be left in two.
    """
    graph, on = _by_hand(doc, layout, graph, sheet, on=on)
    which = np.array(sorted(pieces), np.int64)
    touched = sorted({sheet, *on[which[on[which] > 0]].tolist()})
    before, now = on, on.copy()
    now[which] = sheet
    some = np.flatnonzero(np.isin(now, touched))
    own = graph.only(some)
    was, parts = (own.parts(of[some]) for of in (before, now))
    for k in touched:
        many = len(np.unique(was[before[some] == k]))
        if len(np.unique(parts[now[some] == k])) > max(1, many):
            raise EmblemaError(
                f"Sheet {k} would come apart: the piece hangs on it by nothing. Move the pieces "
                "between first."
            )
    return _with_changed(doc, graph, now, touched, which)


def joined(
    doc: Commission, layout: Layout, one: int, two: int, graph: JointGraph | None = None
) -> Commission:
    """Return the commission with two sheets joined to one, whatever they weigh together.

    Raises
    ------
    EmblemaError
        There are no such sheets, or they do not lie side by side.
    """
    graph, on = _by_hand(doc, layout, graph, one, two)
    on = np.where(on == two, one, on)
    if len(np.unique(graph.parts(on)[on == one])) > 1:
        raise EmblemaError(f"Sheets {one} and {two} do not lie side by side.")
    return _with_changed(doc, graph, on, [one, two])


def parted(
    doc: Commission, layout: Layout, sheet: int, graph: JointGraph | None = None
) -> Commission:
    """Return the commission with a sheet parted in two, across its longer side.

    Raises
    ------
    EmblemaError
        There is no such sheet, or it is one piece.
    """
    graph, on = _by_hand(doc, layout, graph, sheet)
    which = np.flatnonzero(on == sheet)
    if len(which) < 2:
        raise EmblemaError(f"Sheet {sheet} is a single piece.")
    new = max(s.number for s in doc.sheets) + 1
    on[which[halves(graph.only(which), doc.sheeting, doc.seed, opened(doc))]] = new
    return _with_changed(doc, graph, on, [sheet, new])


def pinned(doc: Commission, sheet: int, on: bool) -> Commission:
    """Return the commission with a sheet pinned, or free."""
    _check_sheet(doc, sheet)
    return replace(
        doc,
        sheets=tuple(replace(s, pinned=on) if s.number == sheet else s for s in doc.sheets),
    )


def _check_sheet(doc: Commission, sheet: int) -> None:
    if all(s.number != sheet for s in doc.sheets):
        raise EmblemaError(f"There is no sheet {sheet}; there are {len(doc.sheets)} sheets.")


def _by_hand(
    doc: Commission,
    layout: Layout,
    graph: JointGraph | None,
    *sheets: int,
    on: Ints | None = None,
) -> tuple[JointGraph, Ints]:
    """Return the graph and the sheet of each piece, as far as they are not known."""
    for k in sheets:
        _check_sheet(doc, k)
    graph = joint_graph(doc, layout) if graph is None else graph
    return graph, sheet_of(doc.sheets, graph.polygons) if on is None else on


def _gone_round(doc: Commission, sheet: Sheet) -> tuple[Opening, ...]:
    return gone_round(doc, polygon_of(sheet.outline))


def _with_changed(
    doc: Commission,
    graph: JointGraph,
    on: Ints,
    changed: list[int],
    moved: Ints | None = None,
) -> Commission:
    """Return the commission with the rooms of some sheets made anew, those without pieces gone.

    Numbers stay: what is written on paper does not change. Where only a few pieces `moved`, rooms
    are mended about them.

    Raises
    ------
    EmblemaError
        A sheet would go all round an opening that none went round before.
    """
    each = {s.number: s for s in doc.sheets}
    before = {o for k in changed if k in each for o in _gone_round(doc, each[k])}
    half, todo = half_joints(graph), set(changed)
    for k in changed:
        todo.discard(k)
        others = [polygon_of(s.outline) for n, s in each.items() if n != k and n not in todo]
        which = np.flatnonzero(on == k)
        was = each.pop(k, None)
        if len(which):
            room = None
            if was is not None and moved is not None and len(moved) <= MOST_MENDED:
                room = room_mended(graph, on, k, polygon_of(was.outline), moved, half, others)
            if room is None:
                widest = float(half[which].max())
                (room,) = all_met([room_of(graph, which, half)], others, widest)
            each[k] = Sheet(k, outline_of(room), was is not None and was.pinned)
            round_it = [o for o in _gone_round(doc, each[k]) if o not in before]
            if round_it:
                raise EmblemaError(
                    f"Sheet {k} would go all round '{shown(round_it[0].name)}' and could not be "
                    "set past it; leave a seam that runs into it."
                )
    return replace(doc, sheets=tuple(each[k] for k in sorted(each)))
