"""The sun: a small dial over the bench that says where the light on the work comes from."""

from __future__ import annotations

import math
from dataclasses import replace

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QRadialGradient,
)
from PySide6.QtWidgets import QWidget

from app import theme
from core.look.light import STANDARD, Light

WIDE, HIGH = 84, 102
EDGE = 10  # pixels to the corner of the bench
LOWEST, HIGHEST = 12.0, 84.0  # degrees over the wall
STEP_DEG = 15.0


class Sun(QWidget):
    """Drag the sun round the dial: at the rim the light is low over the wall, within it is high.

    Arrow keys turn it and raise it; a double click puts it back.
    """

    moved = Signal(object)  # Light

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        theme.fix(self, WIDE, HIGH)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Light from")
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setToolTip(
            "Drag the sun: light from the rim is low over the wall, from within it is high.\n"
            "Arrow keys turn and raise it; a double click puts it back."
        )
        self.light = STANDARD
        self._middle = QPointF(WIDE / 2, HIGH - 40)
        self._reach = 32.0

    def show_light(self, light: Light) -> None:
        """Show a light and tell of it."""
        if light != self.light:
            self.light = light
            self.update()
            self.moved.emit(light)

    def stand(self, wide: int, high: int) -> None:
        """Stand in the lower right corner of a bench so large."""
        self.move(wide - self.width() - EDGE, high - self.height() - EDGE)

    def place(self) -> QPointF:
        """Return where the sun stands on the dial."""
        turn = math.radians(self.light.azimuth_deg)
        out = self._reach * (HIGHEST - self.light.height_deg) / (HIGHEST - LOWEST)
        return self._middle + QPointF(math.sin(turn), -math.cos(turn)) * out

    def _take(self, at: QPointF) -> None:
        way = at * (WIDE / self.width()) - self._middle
        out = min(math.hypot(way.x(), way.y()) / self._reach, 1.0)
        turn = math.degrees(math.atan2(way.x(), -way.y())) % 360
        height = HIGHEST - out * (HIGHEST - LOWEST)
        self.show_light(replace(self.light, azimuth_deg=round(turn), height_deg=round(height)))

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Put the sun there."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.setFocus()
            self._take(event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Let it follow."""
        if event.buttons() & Qt.MouseButton.LeftButton:
            self._take(event.position())

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """Put it back."""
        self.show_light(STANDARD)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Turn it, raise it or lower it."""
        keys = Qt.Key
        turn = {keys.Key_Left: -STEP_DEG, keys.Key_Right: STEP_DEG}.get(event.key())
        rise = {keys.Key_Up: 6.0, keys.Key_Down: -6.0}.get(event.key())
        if turn is not None:
            self.show_light(replace(self.light, azimuth_deg=(self.light.azimuth_deg + turn) % 360))
        elif rise is not None:
            height = min(HIGHEST, max(LOWEST, self.light.height_deg + rise))
            self.show_light(replace(self.light, height_deg=height))
        else:
            super().keyPressEvent(event)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the dial and the sun."""
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.scale(self.width() / WIDE, self.height() / HIGH)  # as large as letters are
        font = p.font()
        font.setPixelSize(12)
        p.setFont(font)
        p.setPen(QPen(QColor(theme.VERDIGRIS if self.hasFocus() else theme.STONE)))
        ground = QColor(theme.CHALK)
        ground.setAlpha(235)
        p.setBrush(ground)
        p.drawRoundedRect(QRectF(0.5, 0.5, WIDE - 1, HIGH - 1), 8, 8)
        p.setPen(QColor(theme.INK))
        p.drawText(QRectF(0, 3, WIDE, 22), Qt.AlignmentFlag.AlignCenter, "Light from")
        shade = QRadialGradient(self.place(), 2 * self._reach)
        shade.setColorAt(0, QColor("white"))
        shade.setColorAt(1, QColor(theme.STONE))
        p.setPen(QPen(QColor(theme.SLATE), 1.2))
        p.setBrush(shade)
        p.drawEllipse(self._middle, self._reach, self._reach)
        sun = self.place()
        p.setPen(QPen(QColor("#a8701a"), 1.4))
        for k in range(8):
            ray = QPointF(math.cos(k * math.pi / 4), math.sin(k * math.pi / 4))
            p.drawLine(sun + ray * 9, sun + ray * 12)
        p.setBrush(QColor("#f0b429"))
        p.drawEllipse(sun, 7, 7)
        p.end()
