"""Who lays the commission and by what rates: its own copy of what the studio keeps."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from PySide6.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from app.session import Session
from app.widgets import Number, button, row, text
from core.commission import Commission, Rates
from core.errors import EmblemaError
from core.figures.pace import measured_with
from core.stock import StockStore

MONEY = ("hour", "grout_kg", "adhesive_kg")
SHARES = ("margin", "tax")

# attribute, words, unit, most, decimals, step, what it is
RATES = (
    ("hour", "An hour's work", "", 10_000, 2, 1, ""),
    ("grout_kg", "Grout, a kg", "", 10_000, 2, 0.5, ""),
    ("adhesive_kg", "Adhesive, a kg", "", 10_000, 2, 0.5, ""),
    ("seconds_a_piece", "A piece takes", "s", 3600, 0, 5, "To pick, nip and lay one in courses"),
    (
        "putty_minutes",
        "Putty stays workable",
        "min",
        1440,
        0,
        5,
        "As mixed; patches are laid in it",
    ),
    ("margin", "Margin", "%", 500, 1, 1, "On all that it costs"),
    ("tax", "Tax", "%", 100, 2, 1, "On the price with the margin"),
    ("glass_kerf_mm", "A cut in glass takes", "mm", 5, 1, 0.1, "Lost between two tesserae"),
    ("stone_kerf_mm", "A cut in stone takes", "mm", 10, 1, 0.1, "The saw's blade"),
    ("edge_mm", "A rough edge takes", "mm", 30, 1, 0.5, "At each edge of a plate, slab or rod"),
)


class OfStudio(QWidget):
    """Name, address, currency and rates, as this commission has them."""

    def __init__(
        self, session: Session, try_to: Callable[[str, Callable[[], Commission]], bool]
    ) -> None:
        super().__init__()
        self.session, self.try_to = session, try_to
        self.lines = {
            "studio": self._line("studio", "Name of the studio"),
            "address": self._line("address", "Its address"),
            "currency": self._line("currency", "Currency, such as EUR"),
        }
        self.numbers = {
            a: Number(words, unit, 0, most, self._rate(a), decimals, step, tip)
            for a, words, unit, most, decimals, step, tip in RATES
        }
        self.told = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (*self.lines.values(), *self.numbers.values()):
            box.addWidget(w)
        box.addWidget(
            row(
                button(
                    "Keep for the studio",
                    self.keep,
                    tip="New commissions begin with these; others stay as they are",
                ),
                button("Take the studio's", self.take, tip="Use them in this commission"),
            )
        )
        box.addWidget(self.told)

    def _line(self, name: str, words: str) -> QLineEdit:
        line = QLineEdit()
        line.setPlaceholderText(words)
        line.editingFinished.connect(
            lambda: self._change("Change who lays it", **{name: line.text().strip()})
        )
        return line

    def _change(self, label: str, **changes: Any) -> None:
        self.try_to(label, lambda: replace(self.session.doc, **changes))

    def _rate(self, name: str) -> Callable[[float], object]:
        def changed(value: float) -> None:
            new: float | Decimal = value
            if name in MONEY:
                new = Decimal(f"{value:.2f}")
            elif name in SHARES:
                new = round(value / 100, 6)
            rates = replace(self.session.doc.rates, **{name: new})
            self._change("Change a rate", rates=rates)

        return changed

    def refresh(self) -> None:
        """Show what the commission has."""
        doc = self.session.doc
        for name, line in self.lines.items():
            if not line.hasFocus():
                line.setText(getattr(doc, name))
        for name, number in self.numbers.items():
            value = float(getattr(doc.rates, name))
            number.show_value(100 * value if name in SHARES else value)
        new = doc.rates == Rates() and not (doc.studio or doc.currency)
        self.told.setText(
            "Kept for the studio, they come along into each new commission."
            if new
            else "These are this commission's own: it stays as quoted whatever the studio keeps."
        )

    def keep(self) -> None:
        """Keep these for the studio."""
        if self._with(self._keep):
            self.session.message.emit("New commissions begin with these rates.")

    def _keep(self, store: StockStore) -> None:
        """Keep them, the pace measured here beside that of earlier commissions."""
        doc = self.session.doc
        measured = measured_with(store.studio().rates.measured, doc)
        own = doc.reckoned_by
        store.keep_studio(replace(own, rates=replace(own.rates, measured=measured)))

    def take(self) -> None:
        """Take the studio's into this commission; one step."""
        found: list[Commission] = []
        self._with(lambda store: found.append(self.session.doc.by_studio(store.studio())))
        if found:
            self.try_to("Take the studio's rates", lambda: found[0])

    def _with(self, do: Callable[[StockStore], object]) -> bool:
        try:
            with StockStore() as store:
                do(store)
        except EmblemaError as e:
            self.session.message.emit(str(e))
            return False
        return True
