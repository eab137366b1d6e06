"""Marks the four corners of a photographed sheet, to straighten it."""

from __future__ import annotations

import math

from PySide6.QtWidgets import QInputDialog

from app.tools.drawing import CurveTool
from core.sketch import straighten


class CornersTool(CurveTool):
    """Four clicks round the sheet, then its true size."""

    name = "Corners"
    hint = "Click the sheet's corners: upper left, upper right, lower right, lower left."

    def press(self, event: object) -> None:
        super().press(event)  # type: ignore[arg-type]
        if len(self.points) == 4:
            self.finish()

    def finish(self) -> None:
        points, self.points = self.points, []
        if len(points) != 4:
            return
        guess = math.dist(points[0], points[1])
        width, sure = QInputDialog.getDouble(
            self.bench, "Straighten", "The sheet's true width, mm:", guess, 1, 100_000, 1
        )
        if not sure:
            return
        guess = math.dist(points[1], points[2]) * width / guess
        height, sure = QInputDialog.getDouble(
            self.bench, "Straighten", "Its true height, mm:", guess, 1, 100_000, 1
        )
        if sure:
            self.straighten_to(points, width, height)

    def straighten_to(
        self, points: list[tuple[float, float]], width_mm: float, height_mm: float
    ) -> None:
        """Straighten the sketch between the corners given."""
        doc, images = straighten(self.session.doc, self.session.images, points, width_mm, height_mm)
        self.session.apply("Straighten the sketch", doc, images)
        self.bench.take("Hand")

    def paint(self, p: object) -> None:
        if len(self.points) > 1:
            self._paint_curve(p, self.points)  # type: ignore[arg-type]
        self._paint_nodes(p, self.points)  # type: ignore[arg-type]
