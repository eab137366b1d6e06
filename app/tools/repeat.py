"""Repeat: a motif along a line, round a frame or about a centre, seen before it is placed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import shapely
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPen

from app import theme
from app.tools.placing import CLEAR, CLICKED, DRAGGED, ONE_PLACE, PlacingTool
from core.commission import Field
from core.coverage import polygons_of
from core.errors import EmblemaError
from core.repeats import Arranged, Wish, add_repeat, arranged

HINTS = {
    "line": "Click along the line; click its first point to close it.",
    "frame": "Drag the frame's outer edge from corner to corner.",
    "centre": "Click the centre.",
}
DRAWN_BY = {"line": CLICKED, "frame": DRAGGED, "centre": ONE_PLACE}


class RepeatTool(PlacingTool):
    """Draw where the chosen fields are repeated; Enter or Repeat lays them there."""

    name = "Repeat"
    hint = (
        "Click along a line, drag a frame or click a centre, as chosen on the Fields leaf. Enter "
        "repeats the motif there."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.wish = Wish()
        self.seen: Arranged | None = None
        self.ids: tuple[str, ...] = ()

    @property
    def drawn_by(self) -> str:
        return DRAWN_BY[self.wish.way]

    def pick_up(self) -> None:
        """Begin with the chosen fields."""
        self.ids = self.session.selection
        self._look()

    def ask(self, **choices: Any) -> None:
        """Ask for other places."""
        was, self.wish = self.wish, replace(self.wish, **choices)
        if was.way != self.wish.way:
            self.points = []
            self.wish = replace(self.wish, **({"places": 0} | choices))
        self._look()
        self.bench.update()

    def press(self, event: QMouseEvent) -> None:
        points = self.points
        if self.drawn_by == CLICKED and len(points) > 2:
            if points[0] == points[-1]:
                return  # closed
            if math.dist(self.at(event), points[0]) < self.reach_mm():
                self.points = [*points, points[0]]
                self._look()
                return
        super().press(event)

    def motif(self) -> shapely.MultiPolygon:
        """Return all that is to be repeated, empty where it is gone."""
        return polygons_of(shapely.union_all([self.bench.shape_of(f) for f in self.fields()]))

    def fields(self) -> list[Field]:
        """Return the fields to be repeated that are still there."""
        return [f for f in self.session.doc.fields if f.id in self.ids]

    def look(self) -> None:
        self.seen, self.words = None, (HINTS[self.wish.way],)
        motif, doc = self.motif(), self.session.doc
        if motif.is_empty:
            self.words = ("Choose a motif or fields first.",)
        elif len(self.points) >= (1 if self.drawn_by == ONE_PLACE else 2):
            try:
                size = (doc.width_mm, doc.height_mm)
                self.seen = arranged(motif, self.wish, self.points, size)
                self.words = self.seen.words
            except EmblemaError as e:
                self.words = (str(e),)

    def finish(self) -> None:
        """Lay the motif wherever it is seen."""
        self.look()  # the motif may have changed since
        if self.seen is None:
            self.session.message.emit(self.words[0])
            return
        edited = add_repeat(self.session.doc, self.ids, self.seen)
        self.session.apply("Repeat a motif", edited.doc)
        self.bench.take("Hand")
        self.session.select(self.ids)
        self.session.message.emit(" ".join(edited.notes))

    def paint(self, p: QPainter) -> None:
        if self.seen is not None and not self._dragging:
            colour = QColor(theme.DAY["VERDIGRIS"])
            colour.setAlpha(CLEAR)
            p.setPen(QPen(QColor(theme.DAY["INK"]), 0.8))
            for f in self.fields():
                for k, shape in enumerate(self.seen.shapes(self.bench.shape_of(f))):
                    p.setBrush(colour if k else QColor(theme.DAY["RUST"]))
                    p.drawPath(self.path_of(shapely.get_parts(shape)))
        self.paint_drawn(p, self.box_drawn)
