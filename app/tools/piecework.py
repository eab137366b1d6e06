"""Tools for single pieces: lift, set, nip, join, shift and pin."""

from __future__ import annotations

import math

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen, QPolygonF

from app import theme
from app.tools.base import Place, Tool
from app.tools.drawing import CurveTool
from core import handwork
from core.errors import EmblemaError
from core.pieces import Layout


class PieceTool(Tool):
    """A tool that works on the piece under it. The layout must be that of the document."""

    cursor = Qt.CursorShape.PointingHandCursor

    def key(self, event: QKeyEvent) -> bool:
        if event.key() == Qt.Key.Key_Escape:
            self.put_down()
            return True
        return super().key(event)

    def layout(self) -> Layout:
        """Return the layout, if it is not being laid just now; one that was stopped goes on."""
        if self.session.layout is None or not self.session.layout_is_current:
            if not self.session.laying:
                self.session.lay()
            raise EmblemaError("The work is being laid; try again in a moment.")
        return self.session.layout

    def held(self, begun: Layout | None) -> Layout:
        """Return the layout, if it is the one in which a piece was taken hold of."""
        layout = self.layout()
        if layout is not begun:
            raise EmblemaError("The pieces were laid anew meanwhile; take hold again.")
        return layout

    def piece(self, at: Place) -> tuple[str, int]:
        """Return the piece at a place."""
        found = self.bench.piece_at(*at)
        if found is None:
            raise EmblemaError("There is no piece here.")
        return found


class LiftTool(PieceTool):
    """Takes a piece out."""

    name = "Lift"
    key_letter = "L"
    hint = "Click a piece to lift it out."

    def press(self, event: QMouseEvent) -> None:
        layout = self.layout()
        piece = self.piece(self.at(event))
        self.session.apply("Lift a piece", handwork.lift(self.session.doc, layout, *piece))


class SetTool(CurveTool, PieceTool):
    """Sets a piece of any shape where there is room."""

    name = "Set"
    key_letter = "E"
    hint = "Click the corners of a new piece; double-click or Enter sets it. It is trimmed to fit."

    def finish(self) -> None:
        points, self.points = self.points, []
        if len(points) < 3:
            return
        layout = self.layout()
        x = sum(q[0] for q in points) / len(points)
        y = sum(q[1] for q in points) / len(points)
        f = self.bench.field_at(x, y)
        if f is None:
            raise EmblemaError("Set the piece within a field.")
        doc = handwork.set_piece(self.session.doc, layout, f.id, tuple(points))
        self.session.apply("Set a piece", doc)

    def paint(self, p: QPainter) -> None:
        points = [*self.points]
        if self._hover is not None and points:
            points.append(self._hover)
        if len(points) > 1:
            self._paint_curve(p, [*points, points[0]])
        self._paint_nodes(p, self.points)


class NipTool(PieceTool):
    """Cuts a piece in two along a drawn line."""

    name = "Nip"
    key_letter = "N"
    hint = "Draw a line across a piece to cut it in two."
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self._line: tuple[Place, Place] | None = None

    def put_down(self) -> None:
        self._line = None

    def press(self, event: QMouseEvent) -> None:
        self._line = (self.at(event), self.at(event))

    def move(self, event: QMouseEvent) -> None:
        if self._line is not None:
            self._line = (self._line[0], self.at(event))

    def release(self, event: QMouseEvent) -> None:
        line, self._line = self._line, None
        if line is None or math.dist(*line) < self.reach_mm(4):
            return
        layout = self.layout()
        middle = ((line[0][0] + line[1][0]) / 2, (line[0][1] + line[1][1]) / 2)
        piece = self.piece(middle)
        self.session.apply("Nip a piece", handwork.nip(self.session.doc, layout, *piece, line))

    def paint(self, p: QPainter) -> None:
        if self._line is not None:
            p.setPen(QPen(QColor(theme.DAY["RUST"]), 2.2))
            p.drawLine(self.bench.to_px(*self._line[0]), self.bench.to_px(*self._line[1]))


class JoinTool(PieceTool):
    """Makes one piece of two neighbours."""

    name = "Join"
    key_letter = "J"
    hint = "Drag from one piece to its neighbour to make one of them."

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self._from: tuple[str, int] | None = None
        self._line: tuple[Place, Place] | None = None
        self._laid: Layout | None = None

    def put_down(self) -> None:
        self._from = self._line = None

    def press(self, event: QMouseEvent) -> None:
        self._laid = self.layout()
        self._from = self.piece(self.at(event))
        self._line = (self.at(event), self.at(event))

    def move(self, event: QMouseEvent) -> None:
        if self._line is not None:
            self._line = (self._line[0], self.at(event))

    def release(self, event: QMouseEvent) -> None:
        begun, self._from, self._line = self._from, None, None
        if begun is None:
            return
        layout = self.held(self._laid)
        other = self.piece(self.at(event))
        if other == begun:
            return
        if other[0] != begun[0]:
            raise EmblemaError("Pieces of two fields cannot be joined.")
        doc = handwork.join(self.session.doc, layout, *begun, other[1])
        self.session.apply("Join two pieces", doc)

    def paint(self, p: QPainter) -> None:
        if self._line is not None:
            p.setPen(QPen(QColor(theme.DAY["RUST"]), 2.2, Qt.PenStyle.DashLine))
            p.drawLine(self.bench.to_px(*self._line[0]), self.bench.to_px(*self._line[1]))


class ShiftTool(PieceTool):
    """Moves a piece; with Shift held it turns instead."""

    name = "Shift"
    key_letter = "G"
    hint = "Drag a piece to move it; hold Shift to turn it about its middle."
    cursor = Qt.CursorShape.SizeAllCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self._piece: tuple[str, int] | None = None
        self._from: Place = (0.0, 0.0)
        self._to: Place = (0.0, 0.0)
        self._turns = False
        self._laid: Layout | None = None

    def put_down(self) -> None:
        self._piece = None

    def press(self, event: QMouseEvent) -> None:
        self._laid = self.layout()
        self._piece = self.piece(self.at(event))
        self._from = self._to = self.at(event)
        self._turns = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)

    def move(self, event: QMouseEvent) -> None:
        if self._piece is not None:
            self._to = self.at(event)

    def _change(self) -> tuple[Place, float]:
        if not self._turns or self._piece is None or self._laid is None:
            return (self._to[0] - self._from[0], self._to[1] - self._from[1]), 0.0
        cx, cy = self._laid.by_id(self._piece[0]).pieces.centre_mm[self._piece[1]]
        a = math.atan2(self._from[1] - cy, self._from[0] - cx)
        b = math.atan2(self._to[1] - cy, self._to[0] - cx)
        return (0.0, 0.0), b - a

    def release(self, event: QMouseEvent) -> None:
        piece = self._piece
        if piece is None or math.dist(self._from, self._to) < self.reach_mm(2):
            self._piece = None
            return
        try:
            layout = self.held(self._laid)
            by, turn = self._change()
            doc = handwork.shift(self.session.doc, layout, *piece, by, turn)
            self.session.apply("Shift a piece", doc)
        finally:
            self._piece = None

    def paint(self, p: QPainter) -> None:
        if self._piece is None or self.bench.table is None or self.session.layout is None:
            return
        row = self.bench.table.row(*self._piece)
        if row is None:
            return
        (dx, dy), turn = self._change()
        a, b = self.bench.table.starts[row], self.bench.table.starts[row + 1]
        corners = self.bench.table.points[a:b]
        cx, cy = corners[:-1].mean(0)
        c, s = math.cos(turn), math.sin(turn)
        moved = [
            (cx + c * (x - cx) - s * (y - cy) + dx, cy + s * (x - cx) + c * (y - cy) + dy)
            for x, y in corners
        ]
        p.setPen(QPen(QColor(theme.DAY["RUST"]), 2.0))
        p.drawPolyline(QPolygonF([self.bench.to_px(*q) for q in moved]))


class PinTool(PieceTool):
    """Pins a piece, so that every new laying goes round it; again to take the pin out."""

    name = "Pin"
    key_letter = "P"
    hint = "Click a piece to pin it: new layings go round it. Click again to take the pin out."

    def press(self, event: QMouseEvent) -> None:
        layout = self.layout()
        at = self.at(event)
        piece = self.piece(at)
        doc = handwork.unpin(self.session.doc, layout, *piece)
        if doc is not None:
            self.session.apply("Take a pin out", doc)
        else:
            self.session.apply("Pin a piece", handwork.pin(self.session.doc, layout, *piece))

    def paint(self, p: QPainter) -> None:
        p.setPen(QPen(QColor("white"), 1.5))
        p.setBrush(QColor(theme.DAY["RUST"]))
        for e in self.session.doc.edits:
            if e.kind == "pin":
                p.drawEllipse(self.bench.to_px(*e.at_mm), 4.5, 4.5)
