"""The particulars of one material, typed in: what it is, what it is sold as, its colour."""

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
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.widgets import Choice, Number, button, material_rgb, row, text
from core.colour.convert import lab_from_srgb
from core.material import (
    FINISHES,
    ILLUMINANTS,
    KINDS,
    MOST_PIECES,
    MOST_PRICE,
    OBTAINED,
    PACK_UNITS,
    PRICE_UNITS,
    Material,
)


class MaterialForm(QDialog):
    """A form; `kept` carries the material when it is to be kept."""

    kept = Signal(object)

    def __init__(self, material: Material, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.material = material
        self.setWindowTitle(material.code or "A new material")
        self.lines = {name: QLineEdit(str(getattr(material, name))) for name in _LINES}
        self.numbers = {
            name: Number("", unit, low, high, lambda _: self._swatch(), decimals, step)
            for name, (_, unit, low, high, decimals, step) in _NUMBERS.items()
        }
        self.choices = {
            name: Choice("", tuple((str(v), w) for v, w in values), lambda _: self._swatch())
            for name, (_, values) in _CHOICES.items()
        }
        for name, choice in self.choices.items():
            choice.show_value(str(getattr(material, name)))
        self._begun = {
            **{name: float(getattr(material, name, 0)) for name in self.numbers},
            **dict(zip("Lab", material.lab, strict=True)),
            **{name: 100 * getattr(material, name) for name in _SHARES},
        }
        for name, number in self.numbers.items():
            number.show_value(self._begun[name])
        for name, words in _AT_NOUGHT.items():
            self.numbers[name].spin.setSpecialValueText(words)
        self._first = {name: number.value for name, number in self.numbers.items()}
        self.sample = QLabel()
        self.sample.setMinimumHeight(36)
        parts = {**self.lines, **self.choices, **self.numbers}
        names = {
            **_LINES,
            **{n: words for n, (words, *_) in (*_CHOICES.items(), *_NUMBERS.items())},
        }
        pages = QTabWidget()
        for head, rows in _PAGES.items():
            page = QWidget()
            grid = QGridLayout(page)
            grid.setHorizontalSpacing(12)
            for column in (1, 3):
                grid.setColumnStretch(column, 1)
            for k, pair in enumerate(rows):
                for j, name in enumerate(pair):
                    grid.addWidget(QLabel(names[name]), k, 2 * j)
                    grid.addWidget(parts[name], k, 2 * j + 1)
            grid.setRowStretch(len(rows), 1)
            pages.addTab(page, head)
        box = QVBoxLayout(self)
        box.addWidget(pages)
        box.addWidget(row(self.sample, button("Pick on the screen ...", self._pick)))
        self.told = text("", "warn")
        box.addWidget(self.told)
        keep = button("Keep", self.keep, "main")
        keep.setDefault(True)
        box.addWidget(row(button("Leave it", self.reject), keep))
        self.resize(720, 540)
        self._swatch()

    def keep(self) -> None:
        """Offer the material as it is in the form."""
        self.kept.emit(self.read())

    def read(self) -> Material:
        """Return the material as it is in the form."""
        # what was not touched keeps the digits that the form does not show
        changed = {k: n.value for k, n in self.numbers.items() if n.value != self._first[k]}
        lab = tuple(changed.pop(name, self._begun[name]) for name in "Lab")
        for name in changed.keys() & {"pieces", "frost_cycles"}:
            changed[name] = int(changed[name])
        for name in changed.keys() & _SHARES:
            changed[name] /= 100
        price = self.material.price
        if "price" in changed:
            price = Decimal(f"{changed.pop('price'):.2f}")
        choices = {name: choice.value for name, choice in self.choices.items()}
        return replace(
            self.material,
            **{name: edit.text().strip() for name, edit in self.lines.items()},
            **{**choices, "observer": int(choices["observer"])},
            **changed,
            lab=lab,
            price=price,
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
            self.choices["observer"].show_value("2")
            self._swatch()


_LINES = {
    "code": "Code",
    "description": "Description",
    "supplier": "Supplier",
    "grade": "Grade",
    "supplier_no": "Supplier's number",
}
_SHARES = frozenset(("waste", "broken", "off_colour", "wrong_size"))


def _same(values: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((v, v) for v in values)


# attribute: words, (value, words) of each choice
_CHOICES = {
    "kind": ("Kind", _same(KINDS)),
    "finish": ("Finish", _same(FINISHES)),
    "price_unit": ("Sold by the", tuple((v, v.replace("m2", "m²")) for v in PRICE_UNITS)),
    "pack_unit": ("A pack is of", tuple((v, v.replace("m2", "m²")) for v in PACK_UNITS)),
    "obtained": ("Colour is", _same(OBTAINED)),
    "illuminant": ("Under light", _same(ILLUMINANTS)),
    "observer": ("Seen at", (("2", "2 degrees"), ("10", "10 degrees"))),
}
# attribute: words, unit, least, most, decimals, step
_NUMBERS = {
    "L": ("L*", "", 0, 100, 2, 1),
    "a": ("a*", "", -160, 160, 2, 1),
    "b": ("b*", "", -160, 160, 2, 1),
    "length_mm": ("Length", "mm", 0.5, 2000, 2, 1),
    "width_mm": ("Width", "mm", 0.5, 2000, 2, 1),
    "thickness_mm": ("Thickness", "mm", 0.1, 200, 2, 0.5),
    "density_kg_m3": ("Density", "kg/m³", 100, 25_000, 0, 50),
    "price": ("Price", "", 0, MOST_PRICE, 2, 1),
    "pieces": ("In hand", "", 0, MOST_PIECES, 0, 10),
    "waste": ("Lost in cutting", "%", 0, 99.9, 1, 1),
    "broken": ("Sorted out: broken", "%", 0, 98, 1, 1),
    "off_colour": ("Sorted out: off colour", "%", 0, 98, 1, 1),
    "wrong_size": ("Sorted out: wrong size", "%", 0, 98, 1, 1),
    "pieces_a_kg": ("Pieces to the kilo, weighed", "", 0, 10_000_000, 1, 10),
    "pack": ("Sold in packs of", "", 0, 1_000_000, 3, 1),
    "absorption": ("Takes up water", "%", 0, 100, 2, 0.5),
    "slip_ptv": ("Pendulum value, wet", "", 0, 150, 0, 1),
    "frost_cycles": ("Cycles of frost withstood", "", 0, 10_000, 0, 10),
}
_AT_NOUGHT = {
    "pack": "loose",
    "pieces_a_kg": "not weighed",
    **dict.fromkeys(("absorption", "slip_ptv", "frost_cycles"), "not known"),
}
_PAGES = {
    "What it is": (
        ("code", "description"),
        ("kind", "finish"),
        ("length_mm", "width_mm"),
        ("thickness_mm", "density_kg_m3"),
        ("obtained", "L"),
        ("illuminant", "a"),
        ("observer", "b"),
        ("pieces", "waste"),
    ),
    "How it is bought, and tests": (
        ("supplier", "supplier_no"),
        ("price", "price_unit"),
        ("pack", "pack_unit"),
        ("grade", "pieces_a_kg"),
        ("broken", "off_colour"),
        ("wrong_size",),
        ("absorption", "slip_ptv"),
        ("frost_cycles",),
    ),
}
