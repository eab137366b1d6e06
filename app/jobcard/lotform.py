"""One lot of a material, bought now or to be changed: how many, when, its colour and a note.

A lot of another pour may have come out otherwise than the material; it then has a colour of its
own, shown beside the material's with how far they are apart.
"""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QDate, Signal
from PySide6.QtWidgets import (
    QDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QMessageBox,
    QVBoxLayout,
    QWidget,
)

from app.widgets import Number, Switch, button, day_edit, material_rgb, row, text
from core.colour.difference import ciede2000
from core.colour.wanted import stocked_lab
from core.material import MOST_PIECES, Lab, Lot, Material

_RANGES = (("L*", 0, 100), ("a*", -160, 160), ("b*", -160, 160))
_TYPED = 999  # so far a wrong number can be typed, to be told what is wrong instead of ignored


def lot_as_material(material: Material, lab: Lab | None) -> Material:
    """Return the material as a lot of it looks."""
    return material if lab is None else replace(material, lab=lab)


def lot_off(material: Material, lab: Lab) -> float:
    """Return how far a lot's colour is from the material's, CIEDE2000."""
    own, common = stocked_lab([lot_as_material(material, lab), material])
    return float(ciede2000(own, common))


class LotForm(QDialog):
    """A form; `kept` carries the lot as it is to be.

    A lot without a number is a new one and is asked its pieces; those of a lot on the shelf are
    changed by counting it.
    """

    kept = Signal(object)

    def __init__(self, material: Material, lot: Lot, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.material, self.lot, self.before = material, lot, lot.lab or material.lab
        self.setWindowTitle(f"Lot {lot.id} of {lot.code}" if lot.id else f"A lot of {lot.code}")
        # no finer check before Keep: an empty count is no fault while the form is filled in
        self._tried = False
        self.pieces = Number("Pieces", "", 0, 10 * MOST_PIECES - 1, self._show, 0, 10)
        self.pieces.show_value(lot.bought)
        self.date = day_edit(lot.bought_on)
        self.date.dateChanged.connect(self._show)
        self._first_date = self.date.date()
        self.note = QLineEdit(lot.note)
        self.note.setMinimumHeight(36)
        self.same = Switch("Its colour is the material's", self._show)
        self.same.show_value(lot.lab is None)
        self.numbers = tuple(
            Number(words, "", -_TYPED, _TYPED, self._show, decimals=2, step=1)
            for words, _, _ in _RANGES
        )
        for number, v in zip(self.numbers, self.before, strict=True):
            number.show_value(v)
        self._first = tuple(number.value for number in self.numbers)
        self.faults = {w: text("", "warn") for w in (self.pieces, self.date, *self.numbers)}
        self.common, self.own = QLabel("Material"), QLabel("Lot")
        self.words = text("", "hint")
        self.told = text("", "warn")
        self._lay_out()
        self._show()
        first = self.pieces.spin if not lot.id else self.note
        first.setFocus()
        first.selectAll()

    def _lay_out(self) -> None:
        m, lot = self.material, self.lot
        head = m.description
        if lot.id:
            head += (
                f": {lot.in_hand:,} in hand of {lot.bought:,} bought; 'Count a lot ...' changes it."
            )
        grid = QGridLayout()
        grid.setColumnStretch(0, 1)
        grid.setColumnMinimumWidth(1, 190)
        grid.setHorizontalSpacing(14)
        grid.setVerticalSpacing(10)
        dated = row("Bought on", self.date)
        for k, (shown, field) in enumerate(
            ((self.pieces, self.pieces), (dated, self.date), *((n, n) for n in self.numbers))
        ):
            # the note and the switch have a line each between the date and the colour
            at = k if k < 2 else k + 2
            grid.addWidget(shown, at, 0)
            grid.addWidget(self.faults[field], at, 1)
        for shown in (self.pieces, self.faults[self.pieces]):
            shown.setVisible(not lot.id)
        grid.addWidget(row("Note", self.note, gap=14), 2, 0, 1, 2)
        grid.addWidget(self.same, 3, 0, 1, 2)
        keep = button("Keep", self.keep, "main")
        keep.setDefault(True)
        box = QVBoxLayout(self)
        box.setContentsMargins(18, 16, 18, 14)
        box.setSpacing(10)
        box.addWidget(text(head, "hint"))
        box.addLayout(grid)
        box.addWidget(row(self.common, self.own, gap=0))
        box.addWidget(self.words)
        box.addWidget(self.told)
        box.addStretch(1)
        box.addWidget(row(button("Leave it", self.reject), keep))
        self.words.setMinimumHeight(2 * self.words.fontMetrics().lineSpacing())
        self.resize(520, 560 if not lot.id else 520)

    def lab(self) -> Lab | None:
        """Return the lot's colour as it is in the form."""
        if self.same.isChecked():
            return None
        # what was not touched keeps the digits that the form does not show
        light, a, b = (
            v if n.value == first else n.value
            for n, first, v in zip(self.numbers, self._first, self.before, strict=True)
        )
        return light, a, b

    def read(self) -> Lot:
        """Return the lot as it is in the form."""
        bought_on = self.lot.bought_on
        if self._dated_anew():
            bought_on = self.date.date().toString("yyyy-MM-dd")
        return replace(
            self.lot,
            bought=self.lot.bought if self.lot.id else int(self.pieces.value),
            bought_on=bought_on,
            lab=self.lab(),
            note=self.note.text().strip(),
        )

    def keep(self) -> None:
        """Offer the lot as it is in the form; what is wrong is told beside it instead."""
        self._tried = True
        self._show()
        for field, words in self._wrong().items():
            if words:
                field.setFocus()
                return
        if self._to_come() and self._dated_anew():
            day = f"{self.date.date().toPython():%d %B %Y}"
            b = QMessageBox.StandardButton
            words = f"{day} is still to come. Was the lot bought on that day?"
            if QMessageBox.question(self, "Bought on", words, b.Yes | b.No, b.No) != b.Yes:
                self.date.setFocus()
                return
        self.kept.emit(self.read())

    def _dated_anew(self) -> bool:
        return not self.lot.id or self.date.date() != self._first_date

    def _to_come(self) -> bool:
        return self.date.date() > QDate.currentDate()

    def _wrong(self) -> dict[QWidget, str]:
        """Return what is wrong, by the field that it is to be typed in."""
        found: dict[QWidget, str] = {}
        if not self.lot.id:
            n = self.pieces.value
            if n > MOST_PIECES:
                found[self.pieces.spin] = f"{MOST_PIECES:,} are the most"
            elif n < 1 and self._tried:
                found[self.pieces.spin] = "How many are there?"
        if not self.same.isChecked():
            for number, (words, low, high) in zip(self.numbers, _RANGES, strict=True):
                if not low <= number.value <= high:
                    found[number.spin] = f"{words} is {low} to {high}"
        return found

    def _show(self, *_: object) -> None:
        lab, wrong = self.lab(), self._wrong()
        for number in self.numbers:
            number.setEnabled(lab is not None)
        for field in (self.pieces, *self.numbers):
            self.faults[field].setText(wrong.get(field.spin, ""))
        self.faults[self.date].setText("Still to come" if self._to_come() else "")
        _paint(self.common, self.material)
        _paint(self.own, lot_as_material(self.material, lab))
        m = self.material
        under = f"under {m.illuminant}, {m.observer} degrees, as the material's is"
        self.words.setText(
            "The lot looks as the material does."
            if lab is None
            else f"{lot_off(m, lab):.1f} from the material (CIEDE2000); its colour is {under}."
        )


def _paint(label: QLabel, material: Material) -> None:
    (r, g, b), _ = material_rgb(material)
    ink = "#000000" if 0.3 * r + 0.59 * g + 0.11 * b > 128 else "#ffffff"
    label.setFixedHeight(48)
    label.setStyleSheet(f"background: rgb({r},{g},{b}); color: {ink}; padding: 0 10px;")
