"""A figure that shows what it is made of when it is clicked, or under the hand."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app.jobcard.base import clear
from app.widgets import text

Part = tuple[str, str]  # words, and the figure at the end of the line

FOLDED, UNFOLDED = "▸", "▾"


class Unfold(QFrame):
    """One line: words and a figure. A click unfolds its parts beneath it."""

    def __init__(self, strong: bool = False) -> None:
        super().__init__()
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setProperty("role", "unfold")
        self.mark, self.words, self.figure = QLabel(FOLDED), QLabel(), QLabel()
        self.mark.setFixedWidth(14)
        self.words.setWordWrap(True)
        for label in (self.words, self.figure) if strong else ():
            label.setStyleSheet("font-weight: 600;")
        head = QHBoxLayout()
        head.setSpacing(4)
        head.addWidget(self.mark)
        head.addWidget(self.words, 1)
        head.addWidget(self.figure)
        self._parts = QWidget()
        self._grid = QGridLayout(self._parts)
        self._grid.setContentsMargins(18, 2, 0, 4)
        self._grid.setHorizontalSpacing(10)
        self._grid.setVerticalSpacing(3)
        self._grid.setColumnStretch(0, 1)
        self._parts.hide()
        self.parts: tuple[Part, ...] = ()
        box = QVBoxLayout(self)
        box.setContentsMargins(2, 3, 2, 3)
        box.setSpacing(2)
        box.addLayout(head)
        box.addWidget(self._parts)

    def fill(self, words: str, figure: str, parts: Sequence[Part]) -> None:
        """Show a figure and what it is made of."""
        self.words.setText(words)
        self.figure.setText(figure)
        self.mark.setVisible(bool(parts))
        if tuple(parts) == self.parts:
            return
        self.parts = tuple(parts)
        self.setToolTip("\n".join(f"{w}   {v}".rstrip() for w, v in parts[:24]))
        if self.unfolded:
            self._lay_out()

    @property
    def unfolded(self) -> bool:
        """Whether the parts are shown."""
        return not self._parts.isHidden()

    def unfold(self, on: bool) -> None:
        """Show the parts, or fold them away."""
        self.mark.setText(UNFOLDED if on else FOLDED)
        if on:
            self._lay_out()
        self._parts.setVisible(on)

    def _lay_out(self) -> None:
        clear(self._grid)
        for k, (words, figure) in enumerate(self.parts):
            label, value = text(words), QLabel(figure)
            value.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)
            for w in (label, value):
                w.setProperty("role", "part")
            self._grid.addWidget(label, k, 0)
            self._grid.addWidget(value, k, 1)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Unfold, or fold away."""
        if event.button() == Qt.MouseButton.LeftButton and self.parts:
            self.unfold(not self.unfolded)

    def keyPressEvent(self, event: object) -> None:
        """Space and Enter do what a click does."""
        keys = (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if getattr(event, "key", lambda: None)() in keys and self.parts:
            self.unfold(not self.unfolded)
        else:
            super().keyPressEvent(event)  # type: ignore[arg-type]
