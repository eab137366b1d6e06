"""Outline draws a field, Flow line the andamento, Size line how large pieces are along it."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import shapely
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen, QPolygonF
from PySide6.QtWidgets import QMenu

from app import theme
from app.tools.base import Place, Tool
from app.widgets import label
from core.commission import Commission, FlowLine, add_flow_line, change_flow_line, remove_flow_line
from core.errors import EmblemaError
from core.fields import add_outline, closed_curve, pull_border, pulled
from core.flow import smooth_curve

NODE = 5.0
PULLS_PX = 60.0  # along a border that is pulled: zoom in to pull less of it


class CurveTool(Tool):
    """Gathers points; Enter or a double click ends, Backspace takes the last point back."""

    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self.points: list[Place] = []
        self._hover: Place | None = None

    def put_down(self) -> None:
        self.points, self._hover = [], None

    def snapped(self, at: Place) -> Place:
        """Return the place, drawn to the work's edge where it is near."""
        reach, doc = self.reach_mm(), self.session.doc
        x, y = at
        for far in (0.0, doc.width_mm):
            x = far if abs(x - far) < reach else x
        for far in (0.0, doc.height_mm):
            y = far if abs(y - far) < reach else y
        return x, y

    def press(self, event: QMouseEvent) -> None:
        at = self.snapped(self.at(event))
        if not self.points or math.dist(at, self.points[-1]) > 1e-6:
            self.points.append(at)

    def move(self, event: QMouseEvent) -> None:
        self._hover = self.snapped(self.at(event))

    def double(self, event: QMouseEvent) -> None:
        self.finish()

    def key(self, event: QKeyEvent) -> bool:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.finish()
        elif event.key() == Qt.Key.Key_Escape:
            self.put_down()
        elif event.key() == Qt.Key.Key_Backspace and self.points:
            self.points.pop()
        else:
            return False
        return True

    def finish(self) -> None:
        """Make what was drawn part of the commission."""

    def _paint_nodes(self, p: QPainter, points: list[Place]) -> None:
        p.setPen(QPen(QColor(theme.DAY["VERDIGRIS"]), 1.6))
        p.setBrush(QColor("white"))
        for q in points:
            p.drawEllipse(self.bench.to_px(*q), NODE, NODE)

    def _paint_curve(self, p: QPainter, curve: list[Place]) -> None:
        path = QPolygonF([self.bench.to_px(*q) for q in curve])
        p.setBrush(Qt.BrushStyle.NoBrush)
        for colour, width in (("#c8ffffff", 4.5), (theme.DAY["VERDIGRIS"], 2.2)):
            p.setPen(QPen(QColor(colour), width))
            p.drawPolyline(path)


class OutlineTool(CurveTool):
    """Draws a field round, cut out of the fields beneath it; or pulls a chosen field's border."""

    name = "Outline"
    key_letter = "O"
    hint = (
        "Click round the field; click the first point, double-click or press Enter to close it. "
        "S: straight or smooth. Drag the border of a chosen field to pull it."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.smooth = True
        self._grip: tuple[Place, Place] | None = None

    def put_down(self) -> None:
        super().put_down()
        self._grip = None

    def _on_border(self, at: Place) -> bool:
        chosen = set(self.session.selection)
        point = shapely.Point(at)
        return any(
            self.bench.shape_of(f).boundary.distance(point) < self.reach_mm(7)
            for f in self.session.doc.fields
            if f.id in chosen
        )

    def move(self, event: QMouseEvent) -> None:
        super().move(event)
        if self._grip is not None:
            self._grip = (self._grip[0], self.at(event))

    def release(self, event: QMouseEvent) -> None:
        grip, self._grip = self._grip, None
        if grip is None:
            return
        if math.dist(*grip) < self.reach_mm(5):  # a click, not a drag: the first point
            super().press(event)
            return
        doc = pull_border(self.session.doc, *grip, self.reach_mm(PULLS_PX))
        self.session.apply("Pull a border", doc)

    def press(self, event: QMouseEvent) -> None:
        at = self.at(event)
        if not self.points and self._on_border(at):
            self._grip = (at, at)
        elif len(self.points) > 2 and math.dist(at, self.points[0]) < self.reach_mm():
            self.finish()
        else:
            super().press(event)

    def key(self, event: QKeyEvent) -> bool:
        if event.key() == Qt.Key.Key_S:
            self.smooth = not self.smooth
            self.session.message.emit("Smooth outline" if self.smooth else "Straight outline")
            return True
        return super().key(event)

    def finish(self) -> None:
        points, self.points = self.points, []
        if len(points) < 3:
            return
        edited = add_outline(self.session.doc, points, smooth=self.smooth)
        self.session.apply("Draw a field", edited.doc)
        self.session.select((edited.field_id,))
        for note in edited.notes:
            self.session.message.emit(note)

    def _paint_pulled(self, p: QPainter, grip: tuple[Place, Place]) -> None:
        chosen = set(self.session.selection)
        for f in self.session.doc.fields:
            for ring in (r for part in f.outline for r in part) if f.id in chosen else ():
                line = np.array([*ring, ring[0]])
                moved = pulled(line, *grip, self.reach_mm(PULLS_PX))
                self._paint_curve(p, [(float(x), float(y)) for x, y in moved])

    def paint(self, p: QPainter) -> None:
        if self._grip is not None and math.dist(*self._grip) > 0:
            self._paint_pulled(p, self._grip)
        points = [*self.points]
        if self._hover is not None and points and math.dist(self._hover, points[-1]) > 1e-6:
            points.append(self._hover)
        if len(points) > 2 and self.smooth and len(set(points)) > 2:
            curve = [(float(x), float(y)) for x, y in closed_curve(points, 3 * self.reach_mm(2))]
            self._paint_curve(p, [*curve, curve[0]])
        elif len(points) > 1:
            self._paint_curve(p, [*points, points[0]])
        self._paint_nodes(p, self.points)


class FlowLineTool(CurveTool):
    """Draws flow lines, for the chosen field or for all; drags and removes their points."""

    name = "Flow line"
    key_letter = "F"
    hint = (
        "Click along the way the courses are to run; double-click or Enter ends the line. "
        "Drag a point to move it."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self._held: tuple[str, int] | None = None
        self._to: Place | None = None

    def put_down(self) -> None:
        super().put_down()
        self._held = self._to = None

    def _node_at(self, at: Place) -> tuple[str, int] | None:
        reach = self.reach_mm()
        for line in reversed(self._mine()):
            for k, q in enumerate(line.points):
                if math.dist(q, at) < reach:
                    return line.id, k
        return None

    def drawn_by_it(self, line: FlowLine) -> bool:
        """Return whether a line is of the kind that this tool draws."""
        return line.leads

    def _mine(self) -> list[FlowLine]:
        """Return the lines that guide the chosen fields: only theirs can be taken hold of."""
        chosen = set(self.session.selection)
        lines = filter(self.drawn_by_it, self.session.doc.flow_lines)
        return [w for w in lines if not chosen or w.field_id is None or w.field_id in chosen]

    def _line(self, line_id: str) -> FlowLine:
        return next(w for w in self.session.doc.flow_lines if w.id == line_id)

    def press(self, event: QMouseEvent) -> None:
        at = self.at(event)
        if not self.points:
            self._held = self._node_at(at)
            if self._held is not None:
                self._to = at
                return
        super().press(event)

    def move(self, event: QMouseEvent) -> None:
        super().move(event)
        if self._held is not None:
            self._to = self._hover

    def release(self, event: QMouseEvent) -> None:
        held, to = self._held, self._to
        self._held = self._to = None
        if held is None or to is None:
            return
        line = next((w for w in self.session.doc.flow_lines if w.id == held[0]), None)
        if line is None or held[1] >= len(line.points):  # undone while it was held
            return
        points = list(line.points)
        if math.dist(points[held[1]], to) > self.reach_mm(3):
            points[held[1]] = to
            self.session.apply(
                f"Move a {self.name.lower()}",
                change_flow_line(self.session.doc, held[0], points=tuple(points), smooth=True),
            )

    def finish(self) -> None:
        points, self.points = self.points, []
        if len(points) < 2:
            return
        chosen = self.session.selection
        self.draw(points, chosen[0] if len(chosen) == 1 else None)

    def draw(self, points: list[Place], owner: str | None) -> None:
        """Make a line of what was clicked, for one field or for all."""
        doc, _ = add_flow_line(self.session.doc, points, owner)
        self.session.apply("Draw a flow line", doc)
        self.session.message.emit(f"Flow line for {self.whose(owner)}.")

    def whose(self, owner: str | None) -> str:
        """Return whom a line is for, in words."""
        return self.session.doc.field_by_id(owner).name if owner else "all fields"

    def words(self, owner: str | None) -> str:
        """Return what is said beside a line while it is drawn."""
        return f"flow line for {self.whose(owner)}"

    def menu(self, at: Place, where: QPoint) -> None:
        node = self._node_at(at)
        if node is None:
            return
        menu = QMenu(self.bench)
        line = self._line(node[0])

        def offer(words: str, label: str, make: Callable[[Commission], Commission]) -> None:
            def do() -> None:
                doc = self.session.doc
                if line not in doc.flow_lines:
                    raise EmblemaError(
                        f"That {self.name.lower()} is no longer as it was; click it again."
                    )
                self.session.apply(label, make(doc))

            menu.addAction(words, lambda: self.bench.guarded(do))

        offer(
            f"Remove this {self.name.lower()}",
            f"Remove a {self.name.lower()}",
            lambda doc: remove_flow_line(doc, line.id),
        )
        if len(line.points) > 2:
            rest = tuple(q for k, q in enumerate(line.points) if k != node[1])
            offer(
                "Remove this point",
                "Remove a point",
                lambda doc: change_flow_line(doc, line.id, points=rest),
            )
        menu.popup(where)

    def paint(self, p: QPainter) -> None:
        for line in self._mine():
            points = list(line.points)
            if self._held is not None and self._held[0] == line.id and self._to is not None:
                points[self._held[1]] = self._to
                self._paint_curve(p, [(x, y) for x, y in smooth_curve(points).tolist()])
            if len(points) < 60:
                self._paint_nodes(p, points)
        points = [*self.points]
        if self._hover is not None and points and math.dist(self._hover, points[-1]) > 1e-6:
            points.append(self._hover)
        if len(points) > 1:
            self._paint_curve(p, [(x, y) for x, y in smooth_curve(points).tolist()])
        self._paint_nodes(p, self.points)
        if self.points and self._hover is not None:
            chosen = self.session.selection
            owner = chosen[0] if len(chosen) == 1 else None
            label(p, self.bench.to_px(*self._hover), self.words(owner))


class SizeLineTool(FlowLineTool):
    """Draws lines along which pieces are of a size of their own; the courses run as they do."""

    name = "Size line"
    key_letter = "Z"
    hint = (
        "Click along what wants another size; Up and Down change the size, Enter ends the line. "
        "Drag a point to move it."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.tessera_mm: float | None = None  # None: half of what is laid there
        self.told: Callable[[], object] = lambda: None

    def size_mm(self) -> float:
        """Return the size of pieces along the next line."""
        if self.tessera_mm is not None:
            return self.tessera_mm
        doc, chosen = self.session.doc, set(self.session.selection)
        some = [f.laying.tessera_mm for f in doc.fields if not chosen or f.id in chosen]
        return max(1.0, round(min(some, default=10.0)) / 2)

    def drawn_by_it(self, line: FlowLine) -> bool:
        return line.tessera_mm is not None

    def key(self, event: QKeyEvent) -> bool:
        step = {Qt.Key.Key_Up: 0.5, Qt.Key.Key_Down: -0.5}.get(Qt.Key(event.key()))
        if step is None:
            return super().key(event)
        self.ask(min(max(self.size_mm() + step, 1.0), 500.0))
        return True

    def ask(self, tessera_mm: float) -> None:
        """Take a size for the next line."""
        self.tessera_mm = tessera_mm
        self.told()
        self.bench.update()

    def draw(self, points: list[Place], owner: str | None) -> None:
        size = self.size_mm()
        doc, _ = add_flow_line(self.session.doc, points, owner, size)
        self.session.apply("Draw a size line", doc)
        self.session.message.emit(f"Pieces of {size:g} mm along it, for {self.whose(owner)}.")

    def words(self, owner: str | None) -> str:
        return f"pieces of {self.size_mm():g} mm, for {self.whose(owner)}"
