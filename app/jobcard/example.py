"""The list that a new studio begins with: an example, until it is taken over or put away."""

from __future__ import annotations

from PySide6.QtWidgets import QMessageBox, QVBoxLayout, QWidget

from app.jobcard.share import Room, off_where_only_read
from app.widgets import button, row, text


class Example(QWidget):
    """Says that materials are examples, and what can be done about it."""

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room = room
        self.words = text("", "hint")
        self.empty = button(
            "Begin with an empty shelf",
            self.begin_empty,
            tip="Takes every example off the shelf; what you added or changed stays",
        )
        self.over = button(
            "Take over this list", self.take_over, tip="These materials are the studio's own"
        )
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(self.words)
        box.addWidget(row(*(off_where_only_read(room.store, b) for b in (self.empty, self.over))))

    def refresh(self) -> None:
        """Show how many there are."""
        n = sum(m.example for m in self.room.store.materials())
        self.setVisible(n > 0)
        self.words.setText(
            f"{n:,} materials are an example of what the trade sells, with colours, prices and "
            "counts made up for it. What you change, count or buy more of becomes your own."
        )

    def _sure(self, title: str, words: str) -> bool:
        yes = QMessageBox.StandardButton.Yes
        return QMessageBox.question(self, title, words) == yes

    def begin_empty(self) -> None:
        """Take every example off the shelf, if that is truly meant."""
        words = (
            "Take every example off the shelf? What you added or changed stays, and so do "
            "commissions that use examples."
        )
        if self._sure("An empty shelf", words):
            self.room.try_to(self.room.store.begin_empty, "The examples are off the shelf.")

    def take_over(self) -> None:
        """Make every example the studio's own, if that is truly meant."""
        words = "Are these materials, with their counts and prices, the studio's own from now on?"
        if self._sure("Take over this list", words):
            self.room.try_to(self.room.store.take_over, "The list is the studio's own.")
