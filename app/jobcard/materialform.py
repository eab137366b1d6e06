"""The particulars of one material, typed in."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from PySide6.QtCore import Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QColorDialog,
    QDialog,
    QGridLayout,
    QLabel,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from app.widgets import Choice, Number, button, material_rgb, row, text
from core.colour.convert import lab_from_srgb
from core.material import FINISHES, ILLUMINANTS, KINDS, OBTAINED, PRICE_UNITS, Material


class MaterialForm(QDialog):
    """A form; `kept` carries the material when it is to be kept."""

    kept = Signal(object)

    def __init__(self, material: Material, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.material = material
        self.setWindowTitle(material.code or "A new material")
        self.lines = {name: QLineEdit(str(getattr(material, name))) for name in _LINES}
        self.numbers = {
            name: Number(words, unit, low, high, lambda _: self._swatch(), decimals, step)
            for name, words, unit, low, high, decimals, step in _NUMBERS
        }
        self.choices = {
            name: Choice(words, tuple((v, v) for v in values), lambda _: self._swatch())
            for name, words, values in _CHOICES
        }
        for name, choice in self.choices.items():
            choice.show_value(str(getattr(material, name)))
        values = dict(zip("Lab", material.lab, strict=True))
        for name, number in self.numbers.items():
            number.show_value(float(values.get(name, getattr(material, name, 0))))
        self.numbers["waste"].show_value(100 * material.waste)
        self.sample = QLabel()
        self.sample.setMinimumHeight(36)
        grid = QGridLayout()
        grid.setHorizontalSpacing(18)
        for k, (name, edit) in enumerate(self.lines.items()):
            label = QLabel(_LINES[name])
            label.setMinimumWidth(80)
            grid.addWidget(row(label, edit), k // 2, k % 2)
        start = (len(self.lines) + 1) // 2
        for k, w in enumerate((*self.choices.values(), *self.numbers.values())):
            grid.addWidget(w, start + k // 2, k % 2)
        box = QVBoxLayout(self)
        box.addLayout(grid)
        box.addWidget(row(self.sample, button("Pick on the screen ...", self._pick)))
        self.told = text("", "warn")
        box.addWidget(self.told)
        box.addWidget(row(button("Leave it", self.reject), button("Keep", self.keep, "main")))
        self.resize(640, 520)
        self._swatch()

    def keep(self) -> None:
        """Offer the material as it is in the form."""
        self.kept.emit(self.read())

    def read(self) -> Material:
        """Return the material as it is in the form."""
        number = {name: n.spin.value() for name, n in self.numbers.items()}
        return replace(
            self.material,
            **{name: edit.text().strip() for name, edit in self.lines.items()},
            **{name: choice.value for name, choice in self.choices.items()},
            lab=(number["L"], number["a"], number["b"]),
            length_mm=number["length_mm"],
            width_mm=number["width_mm"],
            thickness_mm=number["thickness_mm"],
            density_kg_m3=number["density_kg_m3"],
            price=Decimal(f"{number['price']:.2f}"),
            pieces=int(number["pieces"]),
            waste=number["waste"] / 100,
        )

    def _swatch(self) -> None:
        if hasattr(self, "sample"):
            (r, g, b), _ = material_rgb(self.read())
            self.sample.setStyleSheet(f"background: rgb({r},{g},{b}); border-radius: 6px;")

    def _pick(self) -> None:
        now, _ = material_rgb(self.read())
        colour = QColorDialog.getColor(QColor(*now), self, "Colour on the screen")
        if colour.isValid():
            lab = lab_from_srgb((colour.redF(), colour.greenF(), colour.blueF()))
            for name, v in zip("Lab", lab, strict=True):
                self.numbers[name].show_value(float(v))
            self.choices["obtained"].show_value("estimated")
            self.choices["illuminant"].show_value("D65")  # a screen's own light
            self.material = replace(self.material, observer=2)
            self._swatch()


_LINES = {
    "code": "Code",
    "description": "Description",
    "supplier": "Supplier",
    "grade": "Grade",
}
_CHOICES = (
    ("kind", "Kind", KINDS),
    ("finish", "Finish", FINISHES),
    ("illuminant", "Light", ILLUMINANTS),
    ("obtained", "Colour is", OBTAINED),
    ("price_unit", "Sold by the", PRICE_UNITS),
)
# attribute, words, unit, least, most, decimals, step
_NUMBERS = (
    ("L", "L*", "", 0, 100, 2, 1),
    ("a", "a*", "", -160, 160, 2, 1),
    ("b", "b*", "", -160, 160, 2, 1),
    ("length_mm", "Length", "mm", 0.5, 2000, 2, 1),
    ("width_mm", "Width", "mm", 0.5, 2000, 2, 1),
    ("thickness_mm", "Thickness", "mm", 0.1, 200, 2, 0.5),
    ("density_kg_m3", "Density", "kg/m³", 100, 25_000, 0, 50),
    ("price", "Price", "", 0, 1_000_000, 2, 1),
    ("pieces", "In hand", "", 0, 100_000_000, 0, 10),
    ("waste", "Lost in cutting", "%", 0, 99.9, 1, 1),
)
