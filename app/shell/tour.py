"""The first tour: five steps round the window, each beside the part that it tells of."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QRect, Qt
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout, QWidget

from app import settings, theme
from app.widgets import button, text

STEPS = (
    (
        "bench",
        "The bench",
        "The work lies here, at any scale: turn the wheel to look closer, drag to move, press 0 to "
        "see all of it. The switches above show or hide the sketch, the outlines, the flow and the "
        "tesserae.",
    ),
    (
        "strip",
        "Hand tools",
        "Draw fields with Outline, and with Flow line how the courses run. Lift, Set, Nip, Join "
        "and Shift work on single pieces. What each tool waits for stands in the line at the foot "
        "of the window.",
    ),
    (
        "card",
        "The job card",
        "One leaf for each stage, from the Brief to the Figures. Go through them in any order: "
        "whatever you change, the pieces follow at once, and every step can be taken back.",
    ),
    (
        "trays",
        "Trays",
        "One tray for each material in use, with what is laid of it and what is in hand. Drag a "
        "tray on a piece, a field or another tray to lay that material there.",
    ),
    (
        "status",
        "Before you cut glass",
        "Look again lists the pieces that a craftsman would take out, Sheets divides the work and "
        "prints it, Figures counts and quotes. Help has the manual (F1), and every key.",
    ),
)
WIDE, BESIDE = 380, 14


class Frame(QWidget):
    """A frame round a part of the window; the mouse goes through it."""

    def __init__(self, window: QWidget) -> None:
        super().__init__(window)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the frame."""
        p = QPainter(self)
        p.setPen(QPen(QColor(theme.VERDIGRIS), 6))
        p.drawRect(self.rect())
        p.end()


class Tour(QFrame):
    """A card with one step's words; Enter goes on, Escape ends it.

    Parameters
    ----------
    parts : dict
        The parts of the window by the names in `STEPS`.
    """

    def __init__(self, window: QWidget, parts: dict[str, QWidget]) -> None:
        super().__init__(window)
        self.setProperty("role", "card")
        self.setAccessibleName("First tour")
        self._parts, self.step = parts, 0
        self._frame = Frame(window)
        self.head, self.words = text("", "title"), text("")
        self.count = text("", "hint")
        self.end = button("End", self.close)
        self.back = button("Back", lambda: self.turn_to(self.step - 1))
        self.on = button("Next", self._go_on, "main")
        foot = QHBoxLayout()
        foot.addWidget(self.count, 1)
        for b in (self.end, self.back, self.on):
            foot.addWidget(b)
        box = QVBoxLayout(self)
        box.setContentsMargins(18, 14, 18, 14)
        box.setSpacing(10)
        box.addWidget(self.head)
        box.addWidget(self.words, 1)
        box.addLayout(foot)
        window.installEventFilter(self)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.show()
        self._frame.show()
        self.turn_to(0)

    def turn_to(self, step: int) -> None:
        """Show a step."""
        self.step = step
        _, head, words = STEPS[step]
        self.head.setText(head)
        self.words.setText(words)
        self.count.setText(f"{step + 1} of {len(STEPS)}")
        self.back.setEnabled(step > 0)
        self.on.setText("Next" if step + 1 < len(STEPS) else "Done")
        self._place()
        self.on.setFocus()

    def _go_on(self) -> None:
        if self.step + 1 < len(STEPS):
            self.turn_to(self.step + 1)
        else:
            self.close()

    def _place(self) -> None:
        """Stand beside the part, or in the middle of one that takes most of the window."""
        window, part = self.parentWidget(), self._parts[STEPS[self.step][0]]
        at = QRect(part.mapTo(window, part.rect().topLeft()), part.size())
        wide = theme.px(WIDE)
        self.setFixedWidth(wide)
        high = max(self.heightForWidth(wide), self.sizeHint().height())
        left = at.center().x() - wide // 2
        top = at.center().y() - high // 2
        if at.height() > 1.5 * at.width():
            left = at.right() + BESIDE if at.left() < wide else at.left() - wide - BESIDE
        elif at.width() > 4 * at.height():
            top = at.top() - high - BESIDE
        left = max(BESIDE, min(left, window.width() - wide - BESIDE))
        top = max(BESIDE, min(top, window.height() - high - BESIDE))
        self.setGeometry(left, top, wide, high)
        self._frame.setGeometry(at)
        self._frame.raise_()
        self.raise_()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Follow the window's size."""
        if event.type() == QEvent.Type.Resize:
            self._place()
        return False

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter goes on, Escape ends it."""
        if event.key() == Qt.Key.Key_Escape:
            self.close()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            (self.back if self.back.hasFocus() else self.on).click()
        else:
            super().keyPressEvent(event)

    def closeEvent(self, event: QEvent) -> None:
        """Leave the window as it was; it is not offered again unasked."""
        self.parentWidget().removeEventFilter(self)
        self._frame.deleteLater()
        settings.change(toured=True)
        super().closeEvent(event)
