"""How the fields at hand are matched: nearest, mixed or shaded, and with which accent."""

from __future__ import annotations

from typing import Any

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.palette import MaterialBox
from app.jobcard.scope import Scope
from app.widgets import Choice, Number, Slide, Switch, text
from core.commission import Field

RULES = (
    ("nearest", "each piece its nearest"),
    ("mix", "mixed, for the eye to blend"),
    ("shade", "shaded from one to another"),
)
BLENDS = ("First", "Second", "Third", "Fourth")
NAMES_PX = 56  # so wide are the names of the boxes one below the other


class Rule(QWidget):
    """The rule, what it blends, and how many colours at most."""

    def __init__(self, scope: Scope) -> None:
        super().__init__()
        self.scope = scope
        self.choice = Choice("Match", RULES, self._choose)
        self.blend = [
            MaterialBox(name, "none", lambda _: self._blend(), NAMES_PX) for name in BLENDS
        ]
        self.words = text("", "hint")
        self.along = Switch(
            "Along the courses, not across",
            lambda on: scope.change("Turn the shading", shade_along=on),
        )
        self.most = Number(
            "Colours, at most",
            "",
            0,
            40,
            lambda n: scope.change("Colours, at most", at_most=int(n)),
            0,
            1,
            "0 for as many as match",
        )
        self.most.spin.setSpecialValueText("as many")
        _column(self, self.choice, self.words, *self.blend, self.along, self.most)

    def _choose(self, rule: str) -> None:
        changes: dict[str, Any] = {"match": rule}
        some = self.scope.fields()
        if rule == "shade" and some and len(some[0].colour.blend) < 2:
            # begin with the two laid most, the darker first
            used = sorted(self.scope.used().items(), key=lambda u: -u[1])[:2]
            doc = self.scope.session.doc
            codes = sorted((c for c, _ in used), key=lambda c: doc.material(c).lab[0])
            if len(codes) == 2:
                changes["blend"] = tuple(codes)
        self.scope.change("Change the matching", **changes)

    def _blend(self) -> None:
        codes = tuple(dict.fromkeys(b.value for b in self.blend if b.value))
        most = 3 if self.choice.value == "mix" else len(BLENDS)
        self.scope.change("Choose what to blend", blend=codes[:most])

    def show_field(self, f: Field) -> None:
        """Show a field's rule."""
        self.choice.show_value(f.colour.match)
        for k, box in enumerate(self.blend):
            box.fill(
                self.scope.session.doc.materials,
                f.colour.blend[k] if k < len(f.colour.blend) else "",
            )
            box.setVisible(f.colour.match == "shade" or (f.colour.match == "mix" and k < 3))
        self.words.setVisible(f.colour.match != "nearest")
        self.words.setText(
            "Two or three to mix; none chosen: found in the palette."
            if f.colour.match == "mix"
            else "Two or more, in the order in which they are to follow."
        )
        self.along.setVisible(f.colour.match == "shade")
        self.along.show_value(f.colour.shade_along)
        self.most.setVisible(f.colour.match == "nearest")
        self.most.show_value(f.colour.at_most)


class Accent(QWidget):
    """A material struck in among the others."""

    def __init__(self, scope: Scope) -> None:
        super().__init__()
        self.scope = scope
        self.material = MaterialBox("Accent", "none", self._choose)
        self.share = Slide("Share of pieces", 0, 100, lambda v: None, lambda v: f"{v} %")
        self.share.slider.setTracking(False)
        self.share.slider.valueChanged.connect(
            lambda v: scope.change("Share of the accent", accent_share=v / 100)
        )
        self.along = Switch(
            "In runs along the courses",
            lambda on: scope.change("Run the accent", accent_along=on),
        )
        _column(self, self.material, self.share, self.along)

    def _choose(self, code: str) -> None:
        self.scope.edit(
            "Choose the accent",
            lambda f: {
                "accent": code,
                "accent_share": f.colour.accent_share or 0.05 if code else 0.0,
            },
        )

    def show_field(self, f: Field) -> None:
        """Show a field's accent."""
        self.material.fill(self.scope.session.doc.materials, f.colour.accent)
        self.share.show_value(round(100 * f.colour.accent_share))
        self.share.setEnabled(bool(f.colour.accent))
        self.along.show_value(f.colour.accent_along)
        self.along.setEnabled(bool(f.colour.accent))


def _column(of: QWidget, *widgets: QWidget) -> None:
    box = QVBoxLayout(of)
    box.setContentsMargins(0, 0, 0, 0)
    box.setSpacing(8)
    for w in widgets:
        box.addWidget(w)
