"""A chart of the colours in hand: hue and strength from above, lightness at the side.

Discs are materials as large as their pieces are many; the faint cloud is what the sketch wants.
"""

from __future__ import annotations

import math

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QHelpEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QToolTip, QWidget

from app import theme
from app.widgets import describe, material_rgb
from core.colour.convert import Floats, bytes_from_lab
from core.material import Material

CLOUD = 1500  # wanted colours that are drawn at most
LIGHT_WIDE = 46


class ColourChart(QWidget):
    """The painted chart; a click on a disc names its material."""

    chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.setFixedHeight(236)
        self.materials: tuple[Material, ...] = ()
        self.pieces: tuple[int, ...] = ()
        self.lit: str | None = None
        self._cloud: Floats = np.empty((0, 3))
        self._rgb = bytes_from_lab(self._cloud)

    def fill(self, used: list[tuple[Material, int]], wanted: Floats) -> None:
        """Show materials with their pieces, and wanted colours (n, 3)."""
        used = sorted(used, key=lambda u: -u[1])
        self.materials = tuple(m for m, _ in used)
        self.pieces = tuple(n for _, n in used)
        wanted = wanted[np.isfinite(wanted).all(axis=1)]
        step = max(1, math.ceil(len(wanted) / CLOUD))
        self._cloud = wanted[::step]
        self._rgb = bytes_from_lab(self._cloud)
        self.update()

    @property
    def _reach(self) -> float:
        """a* or b* at the edge of the chart."""
        labs = np.array([m.lab for m in self.materials]).reshape(-1, 3)
        both = np.vstack([labs, self._cloud])
        far = float(np.abs(both[:, 1:]).max()) if len(both) else 0.0
        return max(30.0, math.ceil((far + 4) / 10) * 10)

    def _plane(self) -> QRectF:
        side = min(self.width() - LIGHT_WIDE - 24, self.height() - 12)
        return QRectF(4, 6, side, side)

    def _light(self) -> QRectF:
        plane = self._plane()
        return QRectF(self.width() - LIGHT_WIDE, plane.y(), LIGHT_WIDE - 4, plane.height())

    def _place(self, a: float, b: float) -> QPointF:
        plane, reach = self._plane(), self._reach
        half = plane.width() / 2
        return QPointF(plane.x() + half * (1 + a / reach), plane.y() + half * (1 - b / reach))

    def _height(self, lightness: float) -> float:
        bar = self._light()
        return bar.y() + 6 + (bar.height() - 12) * (1 - lightness / 100)

    def radius(self, k: int) -> float:
        """Return how large a material's disc is, pixels: its area goes with its pieces."""
        most = max(self.pieces, default=1) or 1
        return 4.5 + 10.5 * math.sqrt(self.pieces[k] / most)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the chart."""
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        plane, bar, reach = self._plane(), self._light(), self._reach
        p.setPen(QPen(QColor(theme.SAND), 1))
        p.setBrush(QColor(theme.PAPER))
        p.drawRoundedRect(plane, 6, 6)
        p.drawRoundedRect(bar, 6, 6)
        for r in range(20, int(reach) + 1, 20):
            by = plane.width() / 2 * r / reach
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.drawEllipse(plane.center(), by, by)
        p.drawLine(self._place(-reach, 0), self._place(reach, 0))
        p.drawLine(self._place(0, -reach), self._place(0, reach))
        p.setPen(Qt.PenStyle.NoPen)
        mid = bar.center().x()
        for (lightness, a, b), rgb in zip(self._cloud.tolist(), self._rgb.tolist(), strict=True):
            p.setBrush(QColor(*rgb, 90))
            p.drawEllipse(self._place(a, b), 2.4, 2.4)
            p.drawRect(QRectF(bar.x() + 3, self._height(lightness) - 0.7, 9, 1.4))
        for k, m in enumerate(self.materials):
            lit = m.code == self.lit
            p.setPen(QPen(QColor(theme.RUST if lit else theme.INK), 2.6 if lit else 1.0))
            p.setBrush(QColor(*material_rgb(m)[0]))
            p.drawEllipse(self._place(m.lab[1], m.lab[2]), self.radius(k), self.radius(k))
            by = 0.55 * self.radius(k)
            p.drawEllipse(QPointF(mid + 6, self._height(m.lab[0])), by, by)
        font = p.font()
        font.setPixelSize(10)
        p.setFont(font)
        p.setPen(QColor(theme.SLATE))
        for words, a, b, dx, dy in (
            ("red", reach, 0, -24, -4),
            ("green", -reach, 0, 4, -4),
            ("yellow", 0, reach, 4, 12),
            ("blue", 0, -reach, 4, -5),
        ):
            p.drawText(self._place(a, b) + QPointF(dx, dy), words)
        p.drawText(QPointF(plane.x() + 6, plane.bottom() - 6), "a ring: 20 of a*, b*")
        p.drawText(
            QRectF(bar.x(), bar.y() + 1, bar.width(), 12), Qt.AlignmentFlag.AlignHCenter, "light"
        )
        p.drawText(
            QRectF(bar.x(), bar.bottom() - 13, bar.width(), 12),
            Qt.AlignmentFlag.AlignHCenter,
            "dark",
        )
        p.end()

    def material_at(self, at: QPointF) -> Material | None:
        """Return the material whose disc lies at a place, the smallest uppermost."""
        for k in reversed(range(len(self.materials))):
            m = self.materials[k]
            way = at - self._place(m.lab[1], m.lab[2])
            if math.hypot(way.x(), way.y()) <= max(self.radius(k), 8):
                return m
        return None

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Name the material under the hand."""
        m = self.material_at(event.position())
        if m is not None:
            self.chosen.emit(m.code)

    def event(self, event: QEvent) -> bool:
        """Describe the material under the hand."""
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            m = self.material_at(QPointF(event.pos()))
            if m is not None:
                QToolTip.showText(event.globalPos(), describe(m), self)
            else:
                QToolTip.hideText()
            return True
        return super().event(event)
