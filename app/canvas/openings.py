"""The wall and its openings on the bench: dashed outlines with their names, one of them chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely
from PySide6.QtCore import QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPen, QPolygonF

from app import theme
from app.session import Session
from core.openings import shape_of

if TYPE_CHECKING:
    from app.canvas.bench import Bench

LIGHT = QColor(255, 255, 255, 225)
MARK = QColor("#6e2878")  # as on paper
FONT_PX = 12
LEAST_PX = 14.0  # an opening that is seen smaller has no name


class Openings(QObject):
    """What opens in the wall of a session's work; `chosen` is its place in the list, or None."""

    changed = Signal()

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.chosen: int | None = None
        session.changed.connect(self._follow)
        session.opened.connect(lambda: self.choose(None))

    def _follow(self) -> None:
        if self.chosen is not None and self.chosen >= len(self.session.doc.openings):
            self.choose(None)

    def choose(self, k: int | None) -> None:
        """Choose an opening by its place in the list, or none."""
        if k != self.chosen:
            self.chosen = k
            self.changed.emit()

    def at(self, x: float, y: float) -> int | None:
        """Return the opening at a place on the work; of several the last."""
        here = shapely.Point(x, y)
        found = [k for k, o in enumerate(self.session.doc.openings) if shape_of(o).covers(here)]
        return found[-1] if found else None

    def paint(self, p: QPainter, bench: Bench) -> None:
        """Paint the wall's edge and the openings, as wide at any scale."""
        doc = self.session.doc
        if not bench.layers["outlines"]:
            return
        p.save()
        font = p.font()
        font.setPixelSize(FONT_PX)
        font.setBold(True)
        p.setFont(font)
        p.setBrush(Qt.BrushStyle.NoBrush)
        if doc.site:
            p.setPen(QPen(QColor(theme.SLATE), 2.0))
            p.drawPolygon(QPolygonF([bench.to_px(x, y) for x, y in doc.site]))
        for k, o in enumerate(doc.openings):
            ring = QPolygonF([bench.to_px(x, y) for x, y in o.outline])
            chosen = k == self.chosen
            wide = 3.2 if chosen else 2.0
            for pen in (QPen(LIGHT, wide + 2.0), QPen(MARK, wide, Qt.PenStyle.DashLine)):
                p.setPen(pen)
                p.drawPolygon(ring)
            box = ring.boundingRect()
            if min(box.width(), box.height()) >= LEAST_PX:
                _name(p, o.name or o.kind, box.center(), chosen)
        p.restore()


def _name(p: QPainter, words: str, at: QPointF, chosen: bool) -> None:
    """Paint a name on a light plate, so that it is read over any material."""
    wide = p.fontMetrics().horizontalAdvance(words) + 10
    box = QRectF(at.x() - wide / 2, at.y() - 9, wide, 18)
    p.setPen(QPen(MARK, 1.5) if chosen else Qt.PenStyle.NoPen)
    p.setBrush(LIGHT)
    p.drawRoundedRect(box, 4, 4)
    p.setPen(MARK)
    p.drawText(box, Qt.AlignmentFlag.AlignCenter, words)
    p.setBrush(Qt.BrushStyle.NoBrush)
