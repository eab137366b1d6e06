"""A lot's own colour, where a later pour came out otherwise than the material, and its note."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QDialog, QLabel, QLineEdit, QVBoxLayout, QWidget

from app.widgets import Number, Switch, button, material_rgb, row, text
from core.colour.difference import ciede2000
from core.colour.wanted import stocked_lab
from core.material import Lab, Lot, Material

_RANGES = (("L*", 0.0, 100.0), ("a*", -160.0, 160.0), ("b*", -160.0, 160.0))


def lot_as_material(material: Material, lab: Lab | None) -> Material:
    """Return the material as a lot of it looks."""
    return material if lab is None else replace(material, lab=lab)


def lot_off(material: Material, lab: Lab) -> float:
    """Return how far a lot's colour is from the material's, CIEDE2000."""
    own, common = stocked_lab([lot_as_material(material, lab), material])
    return float(ciede2000(own, common))


class LotForm(QDialog):
    """A form; `kept` carries the lot's colour (None: the material's) and its note."""

    kept = Signal(object, str)

    def __init__(self, material: Material, lot: Lot, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.material, self.before = material, lot.lab or material.lab
        self.setWindowTitle(f"Lot {lot.id} of {lot.code}")
        self.same = Switch("The same as the material", lambda _: self._show())
        self.same.show_value(lot.lab is None)
        self.numbers = tuple(
            Number(words, "", low, high, lambda _: self._show(), decimals=2, step=1)
            for words, low, high in _RANGES
        )
        for number, v in zip(self.numbers, self.before, strict=True):
            number.show_value(v)
        self._first = tuple(number.value for number in self.numbers)
        self.note = QLineEdit(lot.note)
        self.common, self.own = QLabel("Material"), QLabel("Lot")
        self.words = text("", "hint")
        self.told = text("", "warn")
        box = QVBoxLayout(self)
        box.setSpacing(10)
        box.addWidget(
            text(
                f"{material.description}, bought on {lot.bought_on}: {lot.in_hand:,} in hand. "
                f"Its colour is under {material.illuminant}, {material.observer} degrees, "
                "as the material's is.",
                "hint",
            )
        )
        box.addWidget(self.same)
        for number in self.numbers:
            box.addWidget(number)
        box.addWidget(row(self.common, self.own, gap=0))
        box.addWidget(self.words)
        box.addWidget(row("Note", self.note))
        box.addWidget(self.told)
        keep = button("Keep", self.keep, "main")
        keep.setDefault(True)
        box.addWidget(row(button("Leave it", self.reject), keep))
        self.resize(440, 470)
        self._show()

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

    def keep(self) -> None:
        """Offer the colour and the note as they are in the form."""
        self.kept.emit(self.lab(), self.note.text().strip())

    def _show(self) -> None:
        lab = self.lab()
        for number in self.numbers:
            number.setEnabled(lab is not None)
        _paint(self.common, self.material)
        _paint(self.own, lot_as_material(self.material, lab))
        self.words.setText(
            "The lot looks as the material does."
            if lab is None
            else f"The lot is {lot_off(self.material, lab):.1f} from the material (CIEDE2000)."
        )


def _paint(label: QLabel, material: Material) -> None:
    (r, g, b), _ = material_rgb(material)
    ink = "#000000" if 0.3 * r + 0.59 * g + 0.11 * b > 128 else "#ffffff"
    label.setFixedHeight(48)
    label.setStyleSheet(f"background: rgb({r},{g},{b}); color: {ink}; padding: 0 10px;")
