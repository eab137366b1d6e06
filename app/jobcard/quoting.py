"""The price on the Figures leaf: line by line, each with what it is made of."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.quoteroom import QuoteRoom
from app.jobcard.unfold import Unfold
from app.session import Session
from app.widgets import button, text
from core.commission import Commission
from core.figures import Figures, Line, tax_line
from core.figures.money import paid


class QuotePart(QWidget):
    """Lines of the quote, and the sum that they make."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.lines: dict[str, Unfold] = {}
        self.total = Unfold(strong=True)
        self.unpriced, self.given = text("", "hint"), text("", "hint")
        self._rows = QVBoxLayout()
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(2)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        box.addLayout(self._rows)
        for w in (
            self.total,
            self.given,
            self.unpriced,
            text("Click a figure to see its parts.", "hint"),
        ):
            box.addWidget(w)
        box.addWidget(button("Quote ...", self.open, tip="Its terms, options and the document"))
        self.room: QuoteRoom | None = None

    def open(self) -> None:
        """Open the room for the quote."""
        if self.room is None:
            self.room = QuoteRoom(self, self.session)
        self.room.refresh()
        self.room.show()
        self.room.raise_()

    def end(self) -> None:
        """End what is still to be reckoned, as the window closes."""
        if self.room is not None:
            self.room.end()

    def show_price(self, doc: Commission | None, f: Figures | None) -> None:
        """Show the price of a layout, or none where nothing is laid."""
        self.setVisible(doc is not None and f is not None)
        if doc is None or f is None:
            return
        shown = [*f.price.lines, *([tax_line(doc, f.price)] if doc.rates.tax else [])]
        self._fill(shown, doc.currency)
        parts = [(x.words, paid(x.amount, doc.currency)) for x in shown]
        self.total.fill("Together", paid(f.quote, doc.currency), parts)
        self.given.setText(_given(doc, f))
        self.given.setVisible(bool(doc.quoted))
        self.unpriced.setVisible(bool(f.unpriced))
        self.unpriced.setText(f"Sold by the sheet, not reckoned: {', '.join(f.unpriced)}")

    def _fill(self, shown: list[Line], currency: str) -> None:
        keys = {x.key for x in shown}
        for key in [k for k in self.lines if k not in keys]:
            self.lines.pop(key).deleteLater()
        for k, x in enumerate(shown):
            line = self.lines.setdefault(x.key, Unfold())
            if self._rows.indexOf(line) != k:
                self._rows.insertWidget(k, line)
            line.fill(x.words, paid(x.amount, currency), x.parts)


def _given(doc: Commission, f: Figures) -> str:
    """Return what was quoted last, and whether that is still the sum."""
    if not doc.quoted:
        return ""
    last = doc.quoted[-1]
    number = f"No. {last.number}, " if last.number else ""
    words = f"Quoted {paid(last.total, last.currency)} ({number}{last.on})"
    if (last.total, last.currency) == (f.quote, doc.currency):
        return f"{words}, as it stands."
    return f"{words}; it has changed since and stands at {paid(f.quote, doc.currency)} now."
