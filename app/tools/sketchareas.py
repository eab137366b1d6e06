"""Areas of the sketch: all of them seen before they are made fields, or one that is pointed at."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPen, QPolygonF
from shapely import MultiPolygon

from app import theme
from app.tools.base import Place, Tool

CLEAR = 150  # of what is seen before it is made
CLICK_PX = 8.0  # a press that goes less far is a click

Seen = tuple[tuple[MultiPolygon, tuple[int, int, int]], ...]


class TraceTool(Tool):
    """Shows the fields that tracing would make; Enter makes them, Escape leaves it."""

    name = "Trace"
    hint = "What tracing finds is seen; change how on the Sketch leaf. Enter makes fields of it."

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self.seen: Seen = ()
        self._paths: list[tuple[QPainterPath, QColor]] = []
        self.make: Callable[[], object] = lambda: None
        self.left: Callable[[], object] = lambda: None

    def show_areas(self, seen: Seen) -> None:
        """Show other areas, each in its colour; in mm, so that they move with the view."""
        self.seen = seen
        self._paths = []
        for shape, rgb in seen:
            path = QPainterPath()
            path.setFillRule(Qt.FillRule.OddEvenFill)
            for part in shape.geoms:
                for ring in (part.exterior, *part.interiors):
                    path.addPolygon(QPolygonF([QPointF(x, y) for x, y in ring.coords]))
            colour = QColor(*rgb)
            colour.setAlpha(CLEAR)
            self._paths.append((path, colour))
        self.bench.update()

    def put_down(self) -> None:
        self.show_areas(())
        self.left()

    def key(self, event: QKeyEvent) -> bool:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.make()
        elif event.key() == Qt.Key.Key_Escape:
            self.bench.take("Hand")
        else:
            return False
        return True

    def paint(self, p: QPainter) -> None:
        p.save()
        origin, by = self.bench.to_px(0.0, 0.0), self.bench.px_per_mm
        p.translate(origin)
        p.scale(by, by)
        pen = QPen(QColor(theme.DAY["INK"]), 1.2)
        pen.setCosmetic(True)
        p.setPen(pen)
        for path, colour in self._paths:
            p.setBrush(colour)
            p.drawPath(path)
        p.restore()


class PickTool(Tool):
    """A click takes the area of one colour, a line drawn round something takes what lies in it."""

    name = "Pick an area"
    hint = (
        "Click an area of the sketch, or draw a line round something: it becomes a field over "
        "those that are there."
    )
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self.line: list[Place] = []
        self.pick: Callable[[Sequence[Place]], object] = lambda places: None

    def put_down(self) -> None:
        self.line = []

    def press(self, event: QMouseEvent) -> None:
        self.line = [self.at(event)]

    def move(self, event: QMouseEvent) -> None:
        if self.line and event.buttons() & Qt.MouseButton.LeftButton:
            at = self.at(event)
            if math.dist(at, self.line[-1]) > self.reach_mm(3.0):
                self.line.append(at)

    def release(self, event: QMouseEvent) -> None:
        line, self.line = self.line, []
        if line:
            far = max(math.dist(line[0], q) for q in line) > self.reach_mm(CLICK_PX)
            self.pick(line if far else line[:1])

    def key(self, event: QKeyEvent) -> bool:
        if event.key() != Qt.Key.Key_Escape:
            return False
        if self.line:
            self.line = []
        else:
            self.bench.take("Hand")
        return True

    def paint(self, p: QPainter) -> None:
        if len(self.line) > 1:
            ring = QPolygonF([self.bench.to_px(*q) for q in (*self.line, self.line[0])])
            for colour, wide in (("white", 4.0), (theme.DAY["VERDIGRIS"], 2.0)):
                p.setPen(QPen(QColor(colour), wide))
                p.drawPolyline(ring)
