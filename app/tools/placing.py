"""What tools have in common that show where something is to lie before it is placed."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import shapely
from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPolygonF
from shapely import LinearRing

from app.tools.base import Place
from app.tools.drawing import CurveTool
from core.flow import smooth_curve

CLICKED, DRAGGED, ONE_PLACE = "clicked", "dragged", "one place"
CLEAR = 175  # of what is seen before it is placed


class PlacingTool(CurveTool):
    """Click along a line, drag from one point to another or click one; Enter places what is seen.

    `words` say how it fits, or why it does not; `told` is called whenever they change.
    """

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.words: tuple[str, ...] = ()
        self.told: Callable[[], object] = lambda: None
        self._dragging = False

    @property
    def drawn_by(self) -> str:
        """How the hand draws it: by clicks, by dragging, or by one click."""
        raise NotImplementedError

    def look(self) -> None:
        """Fit it to what is drawn, or say why it cannot be."""
        raise NotImplementedError

    def put_down(self) -> None:
        super().put_down()
        self._dragging = False
        self._look()

    def press(self, event: QMouseEvent) -> None:
        if self.drawn_by == CLICKED:
            super().press(event)
            self._look()
            return
        self.points = [self.snapped(self.at(event))]
        self._dragging = True

    def move(self, event: QMouseEvent) -> None:
        super().move(event)
        if self._dragging and self._hover is not None:
            one = self.drawn_by == ONE_PLACE
            self.points = [self._hover] if one else [self.points[0], self._hover]

    def release(self, event: QMouseEvent) -> None:
        if not self._dragging:
            return
        self._dragging = False
        drags = self.drawn_by == DRAGGED
        if drags and math.dist(self.points[0], self.points[-1]) < self.reach_mm():
            self.points = []  # a click, not a drag
        self._look()

    def key(self, event: QKeyEvent) -> bool:
        known = super().key(event)
        if known:
            self._look()
        return known

    def double(self, event: QMouseEvent) -> None:
        """A double click ends a line; what is seen is placed by Enter or the button."""

    def _look(self) -> None:
        self.look()
        self.told()

    def paint_drawn(self, p: QPainter, edge: Callable[[], list[Place]]) -> None:
        """Paint the line that is clicked, or the edge of what is dragged, and its points."""
        if self.drawn_by == CLICKED:
            points = [*self.points]
            if self._hover is not None and points and self._hover != points[-1]:
                points.append(self._hover)
            if len(points) > 1:
                self._paint_curve(p, [(x, y) for x, y in smooth_curve(points).tolist()])
        elif len(self.points) > 1:
            self._paint_curve(p, edge())
        self._paint_nodes(p, self.points)

    def box_drawn(self) -> list[Place]:
        """Return the edge of the rectangle that is dragged."""
        (x0, y0), (x1, y1) = self.points[0], self.points[-1]
        return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]

    def path_of(self, polygons: Iterable[shapely.Polygon]) -> QPainterPath:
        """Return polygons in pixels."""
        path = QPainterPath()
        path.setFillRule(Qt.FillRule.OddEvenFill)

        def add(ring: LinearRing) -> None:
            path.addPolygon(QPolygonF([self.bench.to_px(x, y) for x, y in ring.coords]))

        for g in polygons:
            add(g.exterior)
            for hole in g.interiors:
                add(hole)
        return path
