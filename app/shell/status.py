"""The line at the foot of the window: what was done, what the tool waits for, how far laying is.

It lies beside the work and never over it. A sentence that finds no room on it is read whole by
the button at its end.
"""

from __future__ import annotations

from PySide6.QtCore import QPoint, QRect, QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleAnnouncementEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
)
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QSizePolicy,
    QToolButton,
    QWidget,
)

from app import theme

SAID_MS = 12_000  # so long a sentence stands before the tool's own comes back
HIGH = 38


class OneLine(QLabel):
    """Words on one line, ended by dots where there is no room; they never ask for room."""

    cut = Signal(bool)

    def __init__(self, role: str = "") -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.setTextFormat(Qt.TextFormat.PlainText)
        if role:
            self.setProperty("role", role)

    def minimumSizeHint(self) -> QSize:
        """One line high, and as narrow as may be."""
        return QSize(0, super().minimumSizeHint().height())

    def setText(self, words: str) -> None:
        """Show other words."""
        super().setText(" ".join(words.splitlines()))
        self._measure()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Tell anew whether the words have room."""
        super().resizeEvent(event)
        self._measure()

    def _measure(self) -> None:
        is_cut = self.fontMetrics().horizontalAdvance(self.text()) > self.width()
        self.setToolTip(self.text() if is_cut else "")
        self.cut.emit(is_cut)

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint what has room."""
        p = QPainter(self)
        words = p.fontMetrics().elidedText(
            self.text(), Qt.TextElideMode.ElideRight, max(0, self.width())
        )
        p.setPen(self.palette().color(self.foregroundRole()))
        p.drawText(self.rect(), int(Qt.AlignmentFlag.AlignVCenter | self.alignment()), words)
        p.end()


class StatusLine(QFrame):
    """What was said last or what the tool waits for, the hand's place, and the laying's progress.

    `stopped` is emitted by its button.
    """

    stopped = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setProperty("role", "bar")
        self.setAccessibleName("Status")
        self._said, self._rest = "", ""
        self._line = OneLine()
        self._all = QToolButton()
        self._all.setText("More")
        self._all.setToolTip("Read the whole sentence")
        self._all.clicked.connect(self._read)
        self._all.hide()
        self._line.cut.connect(self._all.setVisible)
        self.under_hand = OneLine("hint")
        self.under_hand.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.count = QLabel()
        self.count.setProperty("role", "hint")
        self.progress = QProgressBar()
        self.progress.setAccessibleName("Progress of the laying")
        self.progress.setRange(0, 100)
        theme.fix(self.progress, wide=210)
        self.stop = QToolButton()
        self.stop.setText("Stop")
        self.stop.setToolTip("Stop laying; what stood before stays")
        self.stop.clicked.connect(self.stopped)
        for b in (self._all, self.stop):
            b.setProperty("role", "small")
        box = QHBoxLayout(self)
        box.setContentsMargins(12, 2, 8, 2)
        box.setSpacing(10)
        box.addWidget(self._line, 5)
        box.addWidget(self._all)
        box.addWidget(self.under_hand, 4)
        box.addWidget(self.count)
        box.addWidget(self.progress)
        box.addWidget(self.stop)
        theme.fix(self, high=HIGH)
        self.show_progress(False)
        self.show_place("")
        self._quiet = QTimer(self, singleShot=True, interval=SAID_MS)
        self._quiet.timeout.connect(lambda: self.say(""))

    def text(self) -> str:
        """Return what was said last, if it still stands."""
        return self._said

    def say(self, words: str) -> None:
        """Say something in plain words; nothing brings back what the tool waits for."""
        self._tell(words, "")
        if words:
            self._quiet.start()

    def warn(self, words: str) -> None:
        """Say that something could not be done; it stands until something else is said."""
        self._tell(words, "warn")

    def _tell(self, words: str, role: str) -> None:
        self._quiet.stop()
        if self._line.property("role") != role:
            self._line.setProperty("role", role)
            self._line.style().polish(self._line)
        self._said = words
        self._show()
        if words and QAccessible.isActive():
            QAccessible.updateAccessibility(QAccessibleAnnouncementEvent(self._line, words))

    def rest(self, words: str) -> None:
        """Show these words whenever nothing was said."""
        self._rest = words
        self._show()

    def show_place(self, words: str) -> None:
        """Show what lies under the hand; it gives its room back when there is nothing."""
        self.under_hand.setText(words)
        self.under_hand.setVisible(bool(words))

    def _show(self) -> None:
        self._line.setText(self._said or self._rest)
        self._line.setAccessibleName(self._line.text())

    def _read(self) -> None:
        """Show the whole sentence above the line, until the hand goes elsewhere."""
        Slip(self, self._line.text()).show_above(self._line)

    def show_progress(self, on: bool) -> None:
        """Show or hide how far the laying is."""
        self.progress.setVisible(on)
        self.stop.setVisible(on)


class Slip(QLabel):
    """A slip of paper with words on it that goes away at the next click or key."""

    def __init__(self, parent: QWidget, words: str) -> None:
        super().__init__(words, parent)
        self.setWindowFlags(Qt.WindowType.Popup)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setProperty("role", "slip")
        self.setWordWrap(True)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)

    def show_above(self, over: QWidget) -> None:
        """Show it above a widget, as wide as words are easily read."""
        wide = max(320, min(640, over.width()))
        high = self.heightForWidth(wide)
        corner = over.mapToGlobal(QPoint(0, 0)) - QPoint(0, high + 6)
        self.setGeometry(QRect(corner, QSize(wide, high)))
        self.show()
