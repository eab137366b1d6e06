"""What every leaf of the job card is: a column of groups that shows the document as it stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtWidgets import QFrame, QLayout, QVBoxLayout, QWidget

from app.canvas import Bench
from app.session import Session
from app.widgets import name_within, text
from core.commission import Commission, Field, change_field
from core.errors import EmblemaError


class Leaf(QWidget):
    """One stage of the job."""

    name = ""
    purpose = ""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench = session, bench
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(14, 10, 14, 14)
        self.column.setSpacing(10)
        self.column.addWidget(text(self.name, "title"))
        if self.purpose:
            self.column.addWidget(text(self.purpose, "hint"))
        self.build()
        self.column.addStretch(1)

    def build(self) -> None:
        """Make the leaf's groups, once."""

    def refresh(self) -> None:
        """Show the document, the layout and the selection as they stand: counts and words."""

    def draw(self) -> None:
        """Show what is slower to make, such as charts, once counts and words are shown."""

    def end(self) -> None:
        """End the leaf's background work, as the window closes."""

    def group(self, head: str, *widgets: QWidget) -> QFrame:
        """Add a card of widgets under a heading."""
        card = QFrame()
        card.setProperty("role", "card")
        box = QVBoxLayout(card)
        box.setContentsMargins(12, 10, 12, 12)
        box.setSpacing(8)
        if head:
            box.addWidget(text(head, "head"))
        for w in widgets:
            box.addWidget(w)
            name_within(w, head or self.name)
        self.column.addWidget(card)
        return card

    # edits

    @property
    def doc(self) -> Commission:
        """The document."""
        return self.session.doc

    def chosen(self) -> list[Field]:
        """Return the chosen fields, in the document's order."""
        ids = set(self.session.selection)
        return [f for f in self.doc.fields if f.id in ids]

    def try_to(self, label: str, make: Callable[[], Commission]) -> bool:
        """Apply an edit; what is refused is said in the window and changes nothing."""
        try:
            self.session.apply(label, make())
            return True
        except (EmblemaError, KeyError) as e:
            self.session.message.emit(str(e))
            self.refresh()
            return False

    def change(self, label: str, **changes: Any) -> None:
        """Change the document's own attributes."""
        self.try_to(label, lambda: replace(self.doc, **changes))

    def change_chosen(self, label: str, **changes: Any) -> None:
        """Change attributes of every chosen field."""

        def make() -> Commission:
            doc = self.doc
            for f in self.chosen():
                doc = change_field(doc, f.id, **changes)
            return doc

        self.try_to(label, make)


def clear(box: QLayout) -> None:
    """Take everything out of a layout."""
    while box.count():
        item = box.takeAt(0)
        widget = item.widget() if item is not None else None
        if widget is not None:
            widget.setParent(None)
            widget.deleteLater()
