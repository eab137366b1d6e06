"""A card of the job card that is folded away until it is asked for."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from app.jobcard.unfold import FOLDED, UNFOLDED
from app.widgets import name_within, text


class Fold(QFrame):
    """A heading with a word at its end; a click shows what lies beneath.

    `opened` is called whenever it is unfolded, so that what is slow to make is made then.
    """

    def __init__(
        self, head: str, *widgets: QWidget, opened: Callable[[], object] = lambda: None
    ) -> None:
        super().__init__()
        self.setProperty("role", "card")
        self._opened, self.head = opened, head
        self.button = QToolButton()
        self.button.setProperty("role", "fold")
        self.button.setCheckable(True)
        self.button.setText(f"{FOLDED} {head}")
        self.button.setAccessibleName(head)
        self.button.setMinimumHeight(36)
        self.button.setCursor(Qt.CursorShape.PointingHandCursor)
        self.button.toggled.connect(self._turn)
        self.figure, self.warning = text(""), text("", "warn")
        top = QHBoxLayout()
        top.addWidget(self.button)
        for label in (self.figure, self.warning):
            label.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            top.addWidget(label, 1)
        self.body = QWidget()
        inner = QVBoxLayout(self.body)
        inner.setContentsMargins(0, 0, 0, 6)
        inner.setSpacing(8)
        for w in widgets:
            inner.addWidget(w)
            name_within(w, head)
        self.body.hide()
        box = QVBoxLayout(self)
        box.setContentsMargins(10, 2, 12, 2)
        box.setSpacing(2)
        box.addLayout(top)
        box.addWidget(self.body)
        self.say("")

    @property
    def unfolded(self) -> bool:
        """Whether what lies beneath is shown."""
        return self.button.isChecked()

    def unfold(self, on: bool = True) -> None:
        """Show what lies beneath, or fold it away."""
        self.button.setChecked(on)

    def say(self, words: str, warn: bool = False) -> None:
        """Show a figure or a few words at the end of the heading."""
        self.figure.setText("" if warn else words)
        self.warning.setText(words if warn else "")
        self.figure.setVisible(not warn)
        self.warning.setVisible(warn)

    def _turn(self, on: bool) -> None:
        self.button.setText(f"{UNFOLDED if on else FOLDED} {self.head}")
        if on:
            self._opened()
        self.body.setVisible(on)
