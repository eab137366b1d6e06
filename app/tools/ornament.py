"""Ornament: a border, a strip or a disc drawn where it is to lie, seen before it is placed."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPainterPath, QPen, QPolygonF
from shapely import LinearRing

from app import theme
from app.tools.base import Place
from app.tools.drawing import CurveTool
from core.errors import EmblemaError
from core.flow import smooth_curve
from core.ornament import Ornament, Part, add_ornament
from core.ornament.kinds import KINDS, Wish, fitted

# of the preview: parts beside each other are told apart, none is a colour that will be laid
SHADES = ("#2f7f74", "#c9a45c", "#8c4a3a", "#6f8fae", "#55606e")
PALE = "#efeade"
CLEAR = 175


class OrnamentTool(CurveTool):
    """Drag a frame or a disc, click the way of a strip; Enter or Place makes fields of it."""

    name = "Ornament"
    key_letter = "R"
    hint = (
        "Drag from corner to corner of a frame or from the middle of a disc, or click along a "
        "strip. Choose the ornament on the Fields leaf; Enter or Place lays it down."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.wish = Wish()
        self.seen: Ornament | None = None
        self.words: tuple[str, ...] = ()
        self.told: Callable[[], object] = lambda: None
        self._dragging = False

    def pick_up(self) -> None:
        """Begin with the tessera and joint of the chosen field."""
        chosen = set(self.session.selection)
        for f in self.session.doc.fields:
            if f.id in chosen:
                self.ask(tessera_mm=f.laying.tessera_mm, joint_mm=f.laying.joint_mm)
                return

    def put_down(self) -> None:
        super().put_down()
        self._dragging = False
        self._look()

    def ask(self, **choices: Any) -> None:
        """Ask for the ornament otherwise."""
        was = self.wish
        self.wish = replace(was, **choices)
        if self.wish.lies != was.lies:
            self.points = []
        if self.wish.kind != was.kind:
            usual = {"courses": KINDS[self.wish.kind].usual, "repeats": 0}
            self.wish = replace(self.wish, **(usual | choices))
        self._look()
        self.bench.update()

    def press(self, event: QMouseEvent) -> None:
        if self.wish.lies == "strip":
            super().press(event)
            self._look()
            return
        self.points = [self.snapped(self.at(event))]
        self._dragging = True

    def move(self, event: QMouseEvent) -> None:
        super().move(event)
        if self._dragging and self._hover is not None:
            self.points = [self.points[0], self._hover]

    def release(self, event: QMouseEvent) -> None:
        if not self._dragging:
            return
        self._dragging = False
        if math.dist(self.points[0], self.points[-1]) < self.reach_mm():  # a click, not a drag
            self.points = []
        self._look()

    def key(self, event: QKeyEvent) -> bool:
        known = super().key(event)
        if known:
            self._look()
        return known

    def double(self, event: QMouseEvent) -> None:
        """A double click ends a strip; it is placed by Enter or the button."""

    def finish(self) -> None:
        """Make fields of what is seen."""
        if self.seen is None:
            self.session.message.emit(self.words[0] if self.words else self.hint)
            return
        edited = add_ornament(self.session.doc, self.seen)
        motif = edited.doc.field_by_id(edited.field_id).motif
        self.points = []
        self.session.apply("Place an ornament", edited.doc)
        self.session.select(f.id for f in edited.doc.fields if f.motif == motif)
        self._look()
        self.session.message.emit(" ".join(edited.notes))

    def _look(self) -> None:
        """Fit the ornament to what is drawn, or say why it cannot be."""
        self.seen, self.words = None, ()
        if len(self.points) > 1:
            try:
                self.seen = fitted(self.wish, self.points)
                self.words = self.seen.notes
            except EmblemaError as e:
                self.words = (str(e),)
        self.told()

    def paint(self, p: QPainter) -> None:
        if self.seen is not None and not self._dragging:
            shade = 0
            for part in self.seen.parts:
                ground = part.role == "ground"
                colour = QColor(PALE if ground else SHADES[shade % len(SHADES)])
                shade += not ground
                colour.setAlpha(CLEAR)
                p.setBrush(colour)
                p.setPen(QPen(QColor(theme.INK), 0.8))
                p.drawPath(self._path(part))
        if self.wish.lies == "strip":
            self._paint_strip(p)
        elif len(self.points) > 1:
            self._paint_curve(p, self._drawn())
        self._paint_nodes(p, self.points)

    def _paint_strip(self, p: QPainter) -> None:
        points = [*self.points]
        if self._hover is not None and points and self._hover != points[-1]:
            points.append(self._hover)
        if len(points) > 1:
            self._paint_curve(p, [(x, y) for x, y in smooth_curve(points).tolist()])

    def _drawn(self) -> list[Place]:
        """Return the outer edge of the frame or disc that is drawn."""
        (x0, y0), (x1, y1) = self.points[0], self.points[-1]
        if self.wish.lies == "frame":
            return [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
        r = math.dist(*self.points)
        turns = [2 * math.pi * k / 90 for k in range(91)]
        return [(x0 + r * math.cos(t), y0 + r * math.sin(t)) for t in turns]

    def _path(self, part: Part) -> QPainterPath:
        path = QPainterPath()
        path.setFillRule(Qt.FillRule.OddEvenFill)

        def add(ring: LinearRing) -> None:
            path.addPolygon(QPolygonF([self.bench.to_px(x, y) for x, y in ring.coords]))

        for g in part.outline.geoms:
            add(g.exterior)
            for hole in g.interiors:
                add(hole)
        return path
