"""Parts a field in two along a line drawn across it."""

from __future__ import annotations

from PySide6.QtGui import QPainter

from app.tools.drawing import CurveTool
from core.errors import EmblemaError
from core.fields import split


class PartTool(CurveTool):
    """A curve from border to border of the chosen field."""

    name = "Part"
    hint = "Click a line across the chosen field, from border to border. Enter parts it."

    def finish(self) -> None:
        points, self.points = self.points, []
        chosen = self.session.selection
        if len(chosen) != 1:
            self.session.message.emit("Choose the one field that is to be parted.")
            return
        try:
            edited = split(self.session.doc, chosen[0], points)
        except EmblemaError as e:
            self.session.message.emit(str(e))
            return
        self.session.apply("Part a field", edited.doc)
        self.bench.take("Hand")

    def paint(self, p: QPainter) -> None:
        if len(self.points) > 1:
            self._paint_curve(p, self.points)
        self._paint_nodes(p, self.points)
