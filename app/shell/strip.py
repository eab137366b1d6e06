"""The strip of hand tools at the left: one column, or two where the window is low."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRect, QSize
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QFrame, QToolButton

from app.icons import icon
from app.tools import GAPS, TOOLS

WIDE, HIGH, BETWEEN, GAP, EDGE = 50, 46, 4, 10, 6


class Strip(QFrame):
    """A button for each tool, by name."""

    def __init__(self, take: Callable[[str], object]) -> None:
        super().__init__()
        self.setProperty("role", "bar")
        self.buttons: dict[str, QToolButton] = {}
        for kind in TOOLS:
            b = QToolButton(self)
            b.setIconSize(QSize(28, 28))
            b.setCheckable(True)
            b.setAccessibleName(kind.name)
            b.setAccessibleDescription(kind.hint)
            b.setToolTip(f"<b>{kind.name}</b> ({kind.key_letter})<br>{kind.hint}")
            b.clicked.connect(lambda _, n=kind.name: take(n))
            self.buttons[kind.name] = b
        self.draw_icons()

    def draw_icons(self) -> None:
        """Draw the icons in the colours of the look."""
        for name, b in self.buttons.items():
            b.setIcon(icon(name, 28))

    def show_taken(self, name: str) -> None:
        """Show which tool is in hand."""
        for n, b in self.buttons.items():
            b.setChecked(n == name)

    def _placed(self, columns: int) -> tuple[dict[str, QRect], int]:
        """Return each button's place, and how high the strip is with so many columns."""
        places, k, y = {}, 0, EDGE
        for name in self.buttons:
            if name in GAPS:
                y += GAP + (HIGH + BETWEEN if k % columns else 0)
                k = 0
            places[name] = QRect(EDGE + (k % columns) * (WIDE + BETWEEN), y, WIDE, HIGH)
            k += 1
            if k % columns == 0:
                y += HIGH + BETWEEN
        if k % columns:
            y += HIGH + BETWEEN
        return places, y - BETWEEN + EDGE

    def minimumSizeHint(self) -> QSize:
        """Two columns are high enough."""
        return QSize(WIDE + 2 * EDGE, self._placed(2)[1])

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Take a second column where one has no room."""
        super().resizeEvent(event)
        columns = 1 if self._placed(1)[1] <= self.height() else 2
        for name, place in self._placed(columns)[0].items():
            self.buttons[name].setGeometry(place)
        wide = 2 * EDGE + columns * WIDE + (columns - 1) * BETWEEN
        self.setFixedWidth(wide)
