"""Where the work goes, what it is set on and with, and what a square metre of it takes besides."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from typing import Any

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.fold import Fold
from app.session import Session
from app.widgets import Choice, Number, Switch, text
from core.commission import Commission
from core.place import ADHESIVES, GROUTS, PLACES, SUBSTRATES, WALLS

Try = Callable[[str, Callable[[], Commission]], bool]
NOT_SAID = ("", "not said yet")
_ADHESIVE = {
    "C1": "C1: cement",
    "C2": "C2: cement, better",
    "C2S1": "C2 S1: better, bends",
    "C2S2": "C2 S2: better, bends much",
    "D2": "D2: ready-mixed paste",
    "R1": "R1: resin",
    "R2": "R2: resin, better",
}
_GROUT = {
    "CG1": "CG1: cement",
    "CG2": "CG2: cement, better",
    "CG2WA": "CG2 W A: takes little water, wears little",
    "RG": "RG: resin",
}
# attribute, words, unit, most, decimals, step, what it is
GOODS = (
    ("notch_mm", "Trowel's notch", "mm", 100, 1, 1, "Square, as far apart as wide; 0: by the bed"),
    ("notch_share", "Of it stays as bed", "%", 100, 0, 5, "Half where ridges are as wide"),
    ("adhesive_surplus", "Adhesive, surplus", "%", 500, 0, 5, "Bought beyond what the bed holds"),
    ("paper_m2", "Facing paper", "m²", 100, 2, 0.1, "For a m², with laps; 0: none"),
    ("paper", "A m² of it costs", "", 10_000, 2, 0.5, ""),
    ("paste_kg_m2", "Paste", "kg", 100, 2, 0.05, "For a m²"),
    ("paste", "A kg of it costs", "", 10_000, 2, 0.5, ""),
    ("film_m2", "Film over the cartoon", "m²", 100, 2, 0.1, "For a m², with laps; 0: none"),
    ("film", "A m² of it costs", "", 10_000, 2, 0.5, ""),
    ("mesh_m2", "Mesh", "m²", 100, 2, 0.1, "For a m², with laps; 0: none"),
    ("mesh", "A m² of it costs", "", 10_000, 2, 0.5, ""),
    ("putty_kg_m2", "Putty", "kg", 100, 2, 0.5, "For a m²; 0: none"),
    ("putty", "A kg of it costs", "", 10_000, 2, 0.5, ""),
)
_MONEY = ("paper", "film", "mesh", "paste", "putty")
_SHARES = ("notch_share", "adhesive_surplus")
# of the rates themselves
_BED = (
    ("bed_mm", "Depth of the bed", "mm", 100, 1, 0.5, "Where no notch says so"),
    ("adhesive_kg_m2_mm", "A mm of bed weighs", "kg/m²", 100, 2, 0.1, "Of adhesive, dry"),
    ("grout_kg_dm3", "A litre of grout weighs", "kg", 10, 2, 0.1, "Cement 1.4 to 1.8, resin 1.5"),
    ("grout_surplus", "Grout, surplus", "%", 500, 0, 1, "Bought beyond what the joints hold"),
)


class WhereTo(QWidget):
    """The place: what kind it is, what the work is set on and with."""

    def __init__(self, session: Session, try_to: Try) -> None:
        super().__init__()
        self.session, self.try_to = session, try_to
        self.choices = {
            "kind": Choice("Place", self._of(dict.fromkeys(PLACES)), self._set("kind")),
            "substrate": Choice("Set on", self._grounds(), self._set("substrate")),
            "adhesive": Choice("Adhesive", self._of(_ADHESIVE, ADHESIVES), self._set("adhesive")),
            "grout": Choice("Grout", self._of(_GROUT, GROUTS), self._set("grout")),
        }
        self.cooker = Switch("Beside a hob or cooker", self._set("cooker"))
        self.told = text("Figures say what does not suit there, and why.", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        kind, *others = self.choices.values()
        for w in (kind, self.cooker, *others, self.told):
            box.addWidget(w)

    @staticmethod
    def _of(words: dict[str, Any], values: tuple[str, ...] = PLACES) -> list[tuple[str, str]]:
        return [NOT_SAID, *((v, words.get(v) or v) for v in values)]

    @staticmethod
    def _grounds() -> list[tuple[str, str]]:
        carries = {name: f"{name} (to {limit:g} kg/m²)" for name, limit in WALLS}
        return [NOT_SAID, *((v, carries.get(v, v)) for v in SUBSTRATES)]

    def _set(self, name: str) -> Callable[[Any], object]:
        def changed(value: Any) -> None:
            doc = self.session.doc
            place = replace(doc.place, **{name: value})
            self.try_to("Say where it goes", lambda: replace(doc, place=place))

        return changed

    def refresh(self) -> None:
        """Show what the commission has."""
        place = self.session.doc.place
        for name, choice in self.choices.items():
            choice.show_value(getattr(place, name))
        self.cooker.show_value(place.cooker)


class Takes(Fold):
    """What a square metre takes of adhesive, grout, paper, film and the like, and their prices."""

    def __init__(self, session: Session, try_to: Try) -> None:
        self.session, self.try_to = session, try_to
        self.bed = {
            a: Number(words, unit, 0, most, self._rate(a), decimals, step, tip)
            for a, words, unit, most, decimals, step, tip in _BED
        }
        self.goods = {
            a: Number(words, unit, 0, most, self._good(a), decimals, step, tip)
            for a, words, unit, most, decimals, step, tip in GOODS
        }
        super().__init__("Bed, paper, film, putty", *self.bed.values(), *self.goods.values())

    def _rate(self, name: str) -> Callable[[float], object]:
        def changed(value: float) -> None:
            doc = self.session.doc
            new = round(value / 100, 6) if name == "grout_surplus" else value
            rates = replace(doc.rates, **{name: new})
            self.try_to("Change what it takes", lambda: replace(doc, rates=rates))

        return changed

    def _good(self, name: str) -> Callable[[float], object]:
        def changed(value: float) -> None:
            doc = self.session.doc
            new: float | Decimal = value
            if name in _MONEY:
                new = Decimal(f"{value:.2f}")
            elif name in _SHARES:
                new = round(value / 100, 6)
            goods = replace(doc.rates.goods, **{name: new})
            rates = replace(doc.rates, goods=goods)
            self.try_to("Change what it takes", lambda: replace(doc, rates=rates))

        return changed

    def refresh(self) -> None:
        """Show what the commission has."""
        rates = self.session.doc.rates
        for name, number in self.bed.items():
            value = float(getattr(rates, name))
            number.show_value(100 * value if name == "grout_surplus" else value)
        for name, number in self.goods.items():
            value = float(getattr(rates.goods, name))
            number.show_value(100 * value if name in _SHARES else value)
