"""Pages looked at before they are printed: painted by the very code that prints them."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import islice

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QWheelEvent
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import theme
from app.painting import paint_page
from app.session import Session
from app.widgets import button, row
from core.drawing import Page

MOST = 200  # pages that are looked at: more fill the memory
ROOM = QSize(980, 680)
EDGE_PX = 16
CLOSER, FINEST = 1.5, 12.0  # times a step; px a mm


class _Sheet(QWidget):
    """One page on the bench's grey."""

    def __init__(self) -> None:
        super().__init__()
        self.page: Page | None = None
        self.px_per_mm = 1.0

    def show_page(self, page: Page, px_per_mm: float) -> None:
        self.page, self.px_per_mm = page, px_per_mm
        edge = 2 * EDGE_PX
        self.setFixedSize(
            int(page.width_mm * px_per_mm) + edge, int(page.height_mm * px_per_mm) + edge
        )
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        if self.page is None:
            return
        p = QPainter(self)
        p.fillRect(self.rect(), QColor(theme.BENCH))
        p.translate(QPointF(EDGE_PX, EDGE_PX))
        w, h = self.page.width_mm * self.px_per_mm, self.page.height_mm * self.px_per_mm
        p.fillRect(0, 0, int(w), int(h), QColor("white"))
        p.setClipRect(0, 0, int(w), int(h))
        paint_page(p, self.page, self.px_per_mm)
        p.end()


class Preview(QDialog):
    """A list of pages, and the chosen one; closer and farther by buttons, keys or Ctrl and wheel.

    Parameters
    ----------
    make : callable
        Returns the pages; it is called aside, once.
    """

    def __init__(
        self, parent: QWidget, session: Session, title: str, make: Callable[[], Iterable[Page]]
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.pages: tuple[Page, ...] = ()
        self.list = QListWidget()
        self.list.setFixedWidth(150)
        self.list.currentRowChanged.connect(lambda _: self._show(fitted=True))
        self.sheet = _Sheet()
        self.area = QScrollArea()
        self.area.setWidget(self.sheet)
        self.area.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.area.setProperty("role", "bench")
        self.said = QLabel("Drawing the pages ...")
        side = QVBoxLayout()
        side.addWidget(self.list, 1)
        right = QVBoxLayout()
        right.addWidget(self.area, 1)
        right.addWidget(
            row(
                self.said,
                button("Farther", lambda: self._closer(1 / CLOSER)),
                button("Whole page", lambda: self._show(fitted=True)),
                button("Closer", lambda: self._closer(CLOSER)),
                button("Close", self.close),
            )
        )
        box = QHBoxLayout(self)
        box.addLayout(side)
        box.addLayout(right, 1)
        self.resize(ROOM)
        self._gone = False
        session.errands.run(lambda: tuple(islice(make(), MOST + 1)), self._made, self._over)

    def _made(self, pages: tuple[Page, ...]) -> None:
        if self._gone:
            return
        self.pages = pages[:MOST]
        self.list.addItems([p.name for p in self.pages])
        more = f", the first {MOST}" if len(pages) > MOST else ""
        n = len(self.pages)
        self.said.setText(f"{n} page{'s' * (n != 1)}{more}, as printed")
        self.list.setCurrentRow(0)

    def _over(self) -> None:
        if not self._gone and not self.pages:
            self.said.setText("The pages could not be drawn.")

    def _show(self, fitted: bool) -> None:
        k = self.list.currentRow()
        if not 0 <= k < len(self.pages):
            return
        page = self.pages[k]
        if fitted:
            room = self.area.viewport().size()
            self.sheet.px_per_mm = min(
                (room.width() - 2 * EDGE_PX) / page.width_mm,
                (room.height() - 2 * EDGE_PX) / page.height_mm,
            )
        self.sheet.show_page(page, max(self.sheet.px_per_mm, 0.02))

    def _closer(self, by: float) -> None:
        self.sheet.px_per_mm = min(max(self.sheet.px_per_mm * by, 0.02), FINEST)
        self._show(fitted=False)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Closer and farther with Ctrl held."""
        if event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self._closer(CLOSER if event.angleDelta().y() > 0 else 1 / CLOSER)

    def done(self, result: int) -> None:
        """Pages that come later are not wanted."""
        self._gone = True
        super().done(result)

    def closeEvent(self, event: object) -> None:
        self._gone = True
