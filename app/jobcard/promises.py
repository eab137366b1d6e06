"""What is set aside for each commission, its file still there or not, to be given back."""

from __future__ import annotations

from PySide6.QtWidgets import QMessageBox, QVBoxLayout, QWidget

from app.jobcard.share import Room, off_where_only_read
from app.widgets import Drop, button, row


class Promises(QWidget):
    """The commissions that pieces are set aside for now, one of them chosen."""

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room, self.store = room, room.store
        self.which = Drop()
        give = off_where_only_read(self.store, button("Give back ...", self.give_back))
        line = row("Set aside now for", self.which, give)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addWidget(line)
        line.layout().setStretch(1, 1)

    def refresh(self) -> None:
        """Show the promises as they stand."""
        now, own = self.which.currentData(), self.room.session.doc.key
        self.which.clear()
        for key, pieces in self.store.commissions().items():
            words = f"{self.store.title(key) or key}: {sum(pieces.values()):,} pieces"
            self.which.addItem(words + (", this commission" if key == own else ""), key)
        self.which.setCurrentIndex(max(0, self.which.findData(now)))
        self.setVisible(self.which.count() > 0)

    def give_back(self) -> None:
        """Give back all that is set aside for the commission chosen, if that is truly meant."""
        key, words = str(self.which.currentData()), self.which.currentText()
        title = self.store.title(key) or key
        b = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self, "Give back", f"{words}. Give them back, so that any other may have them?"
        )
        if answer == b.Yes:
            self.room.try_to(
                lambda: self.store.release(key), f"Nothing is set aside for '{title}' any more."
            )
