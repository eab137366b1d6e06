"""What is seen of the work: where the view stands over it and at what scale."""

from __future__ import annotations

from PySide6.QtCore import QPointF
from PySide6.QtWidgets import QWidget

from app.canvas.view import View
from core.commission import Commission

RULER = 22  # pixels at the upper and left edges that the rulers take
MARGIN = 40
LEAST, MOST = 0.02, 60.0  # pixels a mm


class Sight:
    """A view as large as its widget; places on the work are mm."""

    def __init__(self, widget: QWidget) -> None:
        self._widget = widget
        self.px_per_mm, self.left, self.top = 1.0, 0.0, 0.0
        self.whole = True  # all is to be seen, whatever size the work and the widget get

    @property
    def wide(self) -> int:
        """The widget's width, pixels."""
        return self._widget.width()

    @property
    def high(self) -> int:
        """The widget's height, pixels."""
        return self._widget.height()

    @property
    def view(self) -> View:
        """What is seen now, rulers beneath included."""
        return View(self.left, self.top, self.px_per_mm, self.wide, self.high)

    def to_px(self, x: float, y: float) -> QPointF:
        """Return the pixel of a place on the work."""
        return QPointF((x - self.left) * self.px_per_mm, (y - self.top) * self.px_per_mm)

    def to_mm(self, at: QPointF) -> tuple[float, float]:
        """Return the place on the work of a pixel."""
        return self.left + at.x() / self.px_per_mm, self.top + at.y() / self.px_per_mm

    def fit(self, doc: Commission) -> None:
        """See the whole work."""
        room_w, room_h = self.wide - RULER - MARGIN, self.high - RULER - MARGIN
        self.px_per_mm = max(LEAST, min(room_w / doc.width_mm, room_h / doc.height_mm))
        self.left = doc.width_mm / 2 - (self.wide + RULER) / 2 / self.px_per_mm
        self.top = doc.height_mm / 2 - (self.high + RULER) / 2 / self.px_per_mm
        self.whole = True

    def zoom(self, by: float, about: QPointF | None = None) -> None:
        """Zoom about a pixel, the middle where left out."""
        about = about or QPointF(self.wide / 2, self.high / 2)
        x, y = self.to_mm(about)
        self.px_per_mm = min(MOST, max(LEAST, self.px_per_mm * by))
        self.left = x - about.x() / self.px_per_mm
        self.top = y - about.y() / self.px_per_mm
        self.whole = False

    def centre(self, x: float, y: float, px_per_mm: float | None = None) -> None:
        """Bring a place on the work to the middle."""
        if px_per_mm is not None:
            self.px_per_mm = min(MOST, max(LEAST, px_per_mm))
        self.left = x - self.wide / 2 / self.px_per_mm
        self.top = y - self.high / 2 / self.px_per_mm
        self.whole = False

    def pan(self, by: QPointF) -> None:
        """Move the work under the view by pixels."""
        self.left -= by.x() / self.px_per_mm
        self.top -= by.y() / self.px_per_mm
        self.whole = False
