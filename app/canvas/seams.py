"""The sheets on the bench: their seams drawn over the work, the one that is chosen, edits of them.

Seams are painted from the sheets' rooms, each made into lines once. What is on a sheet needs the
joints of the layout, which are found aside, and only while seams are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PySide6.QtCore import QLineF, QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

from app import theme
from app.jobs import Worker
from app.session import Session
from core.commission import Commission, Sheet, Sheeting
from core.errors import EmblemaError
from core.geometry import polygon_of
from core.pieces import Layout
from core.sheets import made
from core.sheets.graph import Ints, JointGraph, joint_graph
from core.sheets.made import Sheets

if TYPE_CHECKING:
    from app.canvas.bench import Bench

LIGHT = QColor("white")
CASED = ((LIGHT, 5.0), (QColor(theme.DAY["INK"]), 2.4))  # light under dark: seen on any material
CHOSEN = ((LIGHT, 9.0), (QColor(theme.DAY["VERDIGRIS"]), 5.0))
# the more a place is spared the darker it is; the edge of one that is never cut is whole
SPARED_CLEAR = {"spared_little": 30, "spared": 60, "spared_never": 110}
PLATE = 30.0  # pixels: the plate that a sheet's number stands on
MOST_LOOSE = 2000  # pieces on no sheet that are shown one by one

Of = tuple[Layout, tuple[Sheet, ...], Sheeting]  # what the sheets shown are of


@dataclass(frozen=True, slots=True)
class Room:
    """A sheet as it is painted: mm on the work."""

    sheet: Sheet
    shape: shapely.MultiPolygon
    seam: list[QLineF]
    box: QRectF
    middle: QPointF

    @staticmethod
    def of(sheet: Sheet) -> Room:
        """Return what is painted of a sheet."""
        shape = polygon_of(sheet.outline)
        rings = [r for part in sheet.outline for r in part]
        ends = [ab for r in rings for ab in zip(r, (*r[1:], r[0]), strict=True)]
        x0, y0, x1, y1 = shape.bounds
        at = shapely.get_point(shapely.maximum_inscribed_circle(shape, tolerance=2.0), 0)
        return Room(
            sheet,
            shape,
            [QLineF(*a, *b) for a, b in ends],  # quicker by far than one path
            QRectF(x0, y0, x1 - x0, y1 - y0),
            QPointF(at.x, at.y),
        )


class Seams(QObject):
    """The sheets of a session's work, shown while the leaf that fixes them is open.

    Attributes
    ----------
    shown : bool
    chosen : int or None
        The number of the chosen sheet.
    sheets : Sheets or None
        What is on each sheet, as far as it has been looked through; see `current`.
    """

    changed = Signal()

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.shown = False
        self.chosen: int | None = None
        self.sheets: Sheets | None = None
        self._of: Of | None = None
        self._asked: Of | None = None
        self._rooms: dict[int, Room] = {}
        self._graph: tuple[Layout, JointGraph] | None = None
        self._on: tuple[JointGraph, tuple[Sheet, ...], Ints] | None = None
        self._loose: QPainterPath | None = None
        self._worker = Worker(self)
        self._worker.done.connect(self._looked)
        self._worker.failed.connect(lambda _, words: session.message.emit(words))
        for stir in (session.changed, session.laid):
            stir.connect(self.follow)

    def show(self, on: bool) -> None:
        """Show the seams on the bench, or no longer."""
        self.shown = on
        self.follow()
        self.changed.emit()

    def close(self) -> None:
        """End the background work."""
        self._worker.close()

    # --- what is on the sheets

    @property
    def _now(self) -> Of | None:
        s = self.session
        if s.layout is None or not s.layout_is_current:
            return None
        return s.layout, s.doc.sheets, s.doc.sheeting

    @property
    def current(self) -> bool:
        """Whether `sheets` are those of the document and the layout as they stand."""
        now = self._now
        return now is not None and _same(self._of, now)

    def settled(self) -> bool:
        """Whether nothing is to be looked through any more."""
        return not self.shown or not self.session.doc.sheets or self.current

    def follow(self) -> None:
        """Look through the sheets of the document as it stands, aside, if they are shown."""
        numbers = {s.number for s in self.session.doc.sheets}
        if self.chosen not in numbers:
            self.chosen = None
        now = self._now
        if not self.shown or now is None or not numbers or _same(self._asked, now):
            return
        self._asked = now
        layout, doc = now[0], self.session.doc

        def work(*_: object) -> tuple[Of, Sheets, QPainterPath]:
            sheets = made.sheets_of(doc, layout, self._joints(doc, layout))
            return now, sheets, _loose(sheets)

        self._worker.ask(work)

    def _joints(self, doc: Commission, layout: Layout) -> JointGraph:
        if self._graph is None or self._graph[0] is not layout:
            self.know(layout, joint_graph(doc, layout))
        assert self._graph is not None
        return self._graph[1]

    def know(self, layout: Layout, graph: JointGraph) -> None:
        """Take the joints of a layout, found elsewhere."""
        self._graph = layout, graph

    def _looked(self, number: int, result: tuple[Of, Sheets, QPainterPath]) -> None:
        if self._asked is not None and _same(self._asked, result[0]):
            self._of, self.sheets, self._loose = result
            self.changed.emit()

    def graph(self) -> JointGraph:
        """Return the joints of the layout as it stands.

        Raises
        ------
        EmblemaError
            It is being laid, or its joints have not been found yet.
        """
        now, known = self._now, self._graph
        if now is None or known is None or known[0] is not now[0]:
            if now is None and not self.session.laying:
                self.session.lay()
            raise EmblemaError("The work is being looked through; try again in a moment.")
        return known[1]

    def on(self) -> Ints:
        """Return the number of the sheet that each piece is on, shape (n,), 0 for none.

        Raises
        ------
        EmblemaError
            See `graph`.
        """
        graph, sheets = self.graph(), self.session.doc.sheets
        if self._on is None or self._on[0] is not graph or self._on[1] is not sheets:
            self._on = graph, sheets, made.sheet_of(sheets, graph.polygons)
        return self._on[2]

    # --- choosing

    def choose(self, number: int | None) -> None:
        """Choose a sheet, or none."""
        if number != self.chosen:
            self.chosen = number
            self.changed.emit()

    def at_seams(self) -> Ints:
        """Return the pieces at the seams of the chosen sheet, on both sides of them.

        Raises
        ------
        EmblemaError
            See `graph`.
        """
        on, graph = self.on(), self.graph()
        one, two = on[graph.a] == self.chosen, on[graph.b] == self.chosen
        seam = (one != two) & (graph.length_mm > 0)
        return np.unique(np.r_[graph.a[seam], graph.b[seam]])

    def at(self, x: float, y: float) -> int | None:
        """Return the number of the sheet at a place on the work."""
        place = shapely.Point(x, y)
        for room in self.rooms():
            if room.box.contains(QPointF(x, y)) and room.shape.intersects(place):
                return room.sheet.number
        return None

    def nearest(self, x: float, y: float) -> int | None:
        """Return the number of the sheet at a place on the work, or of the one nearest to it."""
        place = shapely.Point(x, y)
        rooms = self.rooms()
        near = min(rooms, key=lambda r: r.shape.distance(place), default=None)
        return None if near is None else near.sheet.number

    def rooms(self) -> list[Room]:
        """Return the sheets' rooms; only those that have changed are made anew."""
        was = self._rooms
        self._rooms = {
            s.number: was[s.number] if s.number in was and was[s.number].sheet is s else Room.of(s)
            for s in self.session.doc.sheets
        }
        return list(self._rooms.values())

    # --- edits, each one step

    def move(self, pieces: Collection[int], to: int) -> None:
        """Move pieces, by their place in the layout, to a sheet."""
        what = "a piece" if len(pieces) == 1 else f"{len(pieces)} pieces"
        self._edit(
            f"Move {what} to sheet {to}",
            lambda doc, layout: made.moved_to(doc, layout, pieces, to, self.graph(), self.on()),
        )

    def join(self, one: int, two: int) -> None:
        """Join two sheets; the first keeps its number."""
        self._edit(
            f"Join sheets {one} and {two}",
            lambda doc, layout: made.joined(doc, layout, one, two, self.graph()),
        )

    def part(self, number: int) -> None:
        """Part a sheet in two."""
        self._edit(
            f"Part sheet {number} in two",
            lambda doc, layout: made.parted(doc, layout, number, self.graph()),
        )

    def pin(self, number: int, on: bool) -> None:
        """Pin a sheet, so that it stays when the work is divided again, or free it."""
        words = f"Pin sheet {number}" if on else f"Take the pin out of sheet {number}"
        self.session.apply(words, made.pinned(self.session.doc, number, on))

    def _edit(self, label: str, make: Callable[[Commission, Layout], Commission]) -> None:
        self.graph()
        layout = self.session.layout
        assert layout is not None
        self.session.apply(label, make(self.session.doc, layout))
        self.session.message.emit(f"{label}: done.")

    # --- painting

    def paint(self, p: QPainter, bench: Bench) -> None:
        """Paint the seams, as wide at any scale, and the sheets' numbers."""
        if not self.shown:
            return
        view, doc = bench.view, self.session.doc
        by = view.px_per_mm
        seen = QRectF(view.left, view.top, view.width / by, view.height / by)
        rooms = [r for r in self.rooms() if r.box.intersects(seen)]
        chosen = [r for r in rooms if r.sheet.number == self.chosen]
        p.save()
        p.scale(by, by)
        p.translate(-view.left, -view.top)
        if self._loose is not None and self.current:
            p.fillPath(self._loose, QColor(168, 68, 42, 150))
        p.setBrush(Qt.BrushStyle.NoBrush)
        for some, pens in ((rooms, CASED), (chosen, CHOSEN)):
            for colour, width in pens:
                p.setPen(_pen(colour, width))
                for r in some:
                    p.drawLines(r.seam)
        self._paint_drawn(p, doc)
        p.restore()
        for r in rooms:
            if r in chosen or min(r.box.width(), r.box.height()) * by > 1.2 * PLATE:
                _plate(p, bench.to_px(r.middle.x(), r.middle.y()), r.sheet, r in chosen)

    def _paint_drawn(self, p: QPainter, doc: Commission) -> None:
        """Paint what a person drew: seams to follow, places to spare, the level line."""
        whole, dashed = Qt.PenStyle.SolidLine, Qt.PenStyle.DashLine
        for line in doc.sheeting.seams:
            for colour, width in ((LIGHT, 7.0), (QColor(theme.DAY["RUST"]), 3.4)):
                p.setPen(_pen(colour, width))
                p.drawPolyline([QPointF(*q) for q in line])
        for strength, clear in SPARED_CLEAR.items():
            p.setBrush(QColor(31, 122, 114, clear))
            for ring in getattr(doc.sheeting, strength):
                for colour, style in ((LIGHT, whole), (QColor(theme.VERDIGRIS), dashed)):
                    never = strength == "spared_never" and colour != LIGHT
                    p.setPen(_pen(colour, 2.6, whole if never else style))
                    p.drawPolygon([QPointF(*q) for q in ring])
        p.setBrush(Qt.BrushStyle.NoBrush)
        if doc.sheeting.level_mm:
            y = doc.height_mm - doc.sheeting.level_mm
            for colour, style in ((LIGHT, whole), (QColor(theme.DAY["RUST"]), dashed)):
                p.setPen(_pen(colour, 2.0, style))
                p.drawLine(QPointF(-20, y), QPointF(doc.width_mm + 20, y))


def _pen(colour: QColor, width: float, style: Qt.PenStyle = Qt.PenStyle.SolidLine) -> QPen:
    """Return a pen of so many pixels at any scale."""
    pen = QPen(colour, width, style)
    pen.setCosmetic(True)
    return pen


def _plate(p: QPainter, at: QPointF, sheet: Sheet, chosen: bool) -> None:
    """Paint a sheet's number on a plate, with a pin where it is pinned."""
    font = p.font()
    font.setPixelSize(16)
    font.setBold(True)
    p.save()
    p.setFont(font)
    words = str(sheet.number)
    wide = max(PLATE, p.fontMetrics().horizontalAdvance(words) + 16)
    box = QRectF(at.x() - wide / 2, at.y() - PLATE / 2, wide, PLATE)
    p.setPen(QPen(QColor("white"), 2.0))
    p.setBrush(QColor(theme.DAY["VERDIGRIS"] if chosen else theme.DAY["INK"]))
    p.drawRoundedRect(box, PLATE / 2, PLATE / 2)
    p.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
    if sheet.pinned:
        p.setBrush(QColor(theme.DAY["RUST"]))
        p.drawEllipse(box.topRight() + QPointF(-4, 4), 6.5, 6.5)
    p.restore()


def _loose(sheets: Sheets) -> QPainterPath:
    """Return the pieces that are on no sheet, mm; nothing where they are too many to be told."""
    path = QPainterPath()
    if 0 < sheets.loose <= MOST_LOOSE:
        for piece in sheets.polygons[sheets.sheet == 0]:
            path.addPolygon(QPolygonF([QPointF(x, y) for x, y in piece.exterior.coords]))
    return path


def _same(a: Of | None, b: Of) -> bool:
    return a is not None and a[0] is b[0] and a[1] is b[1] and a[2] == b[2]
