"""What is drawn in front of the picture each time: rulers, the key of the map, a welcome."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRect, QRectF, Qt
from PySide6.QtGui import QColor, QLinearGradient, QPainter, QPen

from app import theme
from app.canvas.pieces import SCALE, STEPS
from app.canvas.sight import RULER, Sight


def paint_rulers(p: QPainter, sight: Sight) -> None:
    """Paint rulers in mm along the upper and left edges."""
    p.setRenderHint(QPainter.RenderHint.Antialiasing, False)
    w, h = sight.wide, sight.high
    p.fillRect(0, 0, w, RULER, QColor(theme.CHALK))
    p.fillRect(0, 0, RULER, h, QColor(theme.CHALK))
    font = p.font()
    font.setPixelSize(10)
    p.setFont(font)
    step = _nice(60 / sight.px_per_mm)
    p.setPen(QColor(theme.SLATE))
    x = math.floor(sight.left / step) * step
    while (px := sight.to_px(x, 0).x()) < w:
        if px > RULER:
            p.drawLine(int(px), RULER - 6, int(px), RULER)
            if px + 3 + p.fontMetrics().horizontalAdvance(f"{x:g}") < w:
                p.drawText(QPointF(px + 3, 12), f"{x:g}")
        x += step
    y = math.floor(sight.top / step) * step
    while (py := sight.to_px(0, y).y()) < h:
        if py > RULER:
            p.drawLine(RULER - 6, int(py), RULER, int(py))
            if py + 3 + p.fontMetrics().horizontalAdvance(f"{y:g}") < h:
                p.save()
                p.translate(12, py + 3)
                p.rotate(90)
                p.drawText(QPointF(0, 3), f"{y:g}")
                p.restore()
        y += step
    p.fillRect(0, 0, RULER, RULER, QColor(theme.SAND))
    p.drawText(QRectF(0, 0, RULER, RULER), Qt.AlignmentFlag.AlignCenter, "mm")


def paint_key(p: QPainter, high: int) -> None:
    """Paint the key of the map of colour differences in the lower left corner."""
    box = QRectF(RULER + 14, high - 82, 360, 70)
    p.setPen(QPen(QColor(theme.STONE)))
    p.setBrush(QColor(theme.CHALK))
    p.drawRoundedRect(box, 8, 8)
    font = p.font()
    font.setPixelSize(12)
    p.setFont(font)
    bar = QRectF(box.x() + 16, box.y() + 28, 328, 12)
    colours = QLinearGradient(bar.topLeft(), bar.topRight())
    for k, rgb in enumerate(SCALE):
        colours.setColorAt(k / (len(STEPS) - 1), QColor(*(int(v) for v in rgb)))
    p.fillRect(bar, colours)
    p.setPen(QColor(theme.INK))
    words = "From what is wanted (CIEDE2000); pink: no material"
    p.drawText(QPointF(bar.x(), box.y() + 19), words)
    for k, step in enumerate(STEPS):
        x = bar.x() + bar.width() * k / (len(STEPS) - 1)
        p.drawLine(QPointF(x, bar.bottom()), QPointF(x, bar.bottom() + 4))
        more = "+" if k == len(STEPS) - 1 else ""
        at = QRectF(x - 30, bar.bottom() + 5, 60, 16)
        p.drawText(at, Qt.AlignmentFlag.AlignHCenter, f"{step:g}{more}")


def paint_welcome(p: QPainter, where: QRect) -> None:
    """Say how to begin."""
    p.setPen(QColor(theme.SLATE))
    font = p.font()
    font.setPixelSize(16)
    p.setFont(font)
    words = (
        "Drop the client's sketch here, or bring it in on the Sketch leaf.\n"
        "Then draw fields with Outline, or trace them from the sketch."
    )
    p.drawText(where, Qt.AlignmentFlag.AlignCenter, words)


def _nice(least: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at least so much."""
    power = 10 ** math.floor(math.log10(max(least, 1e-9)))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= least)
