"""Colour: which stocked materials are laid where, how near they come, and what the eye makes of it.

Every change recolours the pieces that lie; nothing is laid again.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QColorDialog, QDialog

from app.jobcard.allowed import Allowed
from app.jobcard.base import Leaf
from app.jobcard.colourchart import ColourChart
from app.jobcard.eye import SeenFrom
from app.jobcard.nearness import Nearness
from app.jobcard.quick import Quick
from app.jobcard.rule import Accent, Rule
from app.jobcard.scope import Scope
from app.jobcard.shorts import Shorts
from app.widgets import Choice, Slide, Switch, button, row, text
from core.colour.convert import lab_from_srgb, swatch_rgb
from core.colour.distance_view import VISIONS
from core.colour.matching import shifted
from core.commission import Commission, Field, Swap
from core.errors import EmblemaError
from core.material import Lab

BENCH_VIEWS = (
    ("plain", "colours as they are"),
    ("difference", "colour differences"),
    *((v, f"as {v} eyes see") for v in VISIONS),
)
STEPS = 5  # of the lightness slider that double its weight


class ColourLeaf(Leaf):
    """Colours of the chosen fields or of their motif."""

    name = "Colour"
    purpose = "Which stocked colours are laid. A change recolours at once; nothing is laid again."

    def build(self) -> None:
        self.scope = Scope(self.session, self.try_to)
        self.scope.changed.connect(self._rescope)
        self.near = Nearness(self.scope)
        self.group("", self.scope, self.near)
        self.shift = text("", "hint")
        self.quick = Quick(self.session, self.bench)
        self.rounds = self.group(
            "A round of changes",
            row(
                button("Lighter", lambda: self._shift("lighter")),
                button("Darker", lambda: self._shift("darker")),
            ),
            row(
                button("Warmer", lambda: self._shift("warmer")),
                button("Cooler", lambda: self._shift("cooler")),
            ),
            row(
                button("Fewer colours", self._fewer),
                button("As the sketch", self._plain, tip="Take back shift and number of colours"),
            ),
            self.shift,
            text("Lighter and darker go by 3 L*, warmer and cooler by 3 of a* and b*.", "hint"),
            self.quick,
        )
        self.allowed = Allowed(self.scope)
        self.rule = Rule(self.scope)
        self.accent = Accent(self.scope)
        self.group("Palette", self.allowed)
        self.for_fields = (
            self.rounds,
            self.group("How they are matched", self.rule),
            self.group("Accent", self.accent),
        )
        self._build_commission()
        self.chart = ColourChart()
        self.chart.chosen.connect(self._light)
        self.bench.lit_changed.connect(self._show_lit)
        self.group(
            "Colours laid and wanted",
            self.chart,
            text("Discs: materials, by their pieces. Faint: what the sketch wants.", "hint"),
        )
        self.view = Choice("", BENCH_VIEWS, self.bench.set_colours)
        self.eye = SeenFrom(self.session, self.bench)
        self.group("The bench shows", self.view)
        self.group("From where people stand", self.eye)
        self.shorts = Shorts(self.session, self.try_to)
        self.group("Short, and what could stand in", self.shorts)
        self.group(
            "The studio's stock",
            button("Open the stock ...", self.open_stock),
            button("Colour from a photograph ...", self.open_photograph),
        )

    def _build_commission(self) -> None:
        self.stock = Switch(
            "Only what is in hand",
            lambda on: self.change("Keep within the stock", within_stock=on),
            "All pieces are matched at once, never more of a material than the studio has",
        )
        self.weight = Slide("First comes", -STEPS * 2, STEPS * 2, self._no_edit, _weight_words)
        self.weight.slider.setTracking(False)
        self.weight.slider.valueChanged.connect(
            lambda v: self.change("Weigh lightness", lightness_weight=2 ** (v / STEPS))
        )
        self.grout = button("", self._choose_grout)
        self.grout.setAccessibleName("Colour of the grout")
        self.swaps = text("", "hint")
        self.unswap = button("Take back the last swap", self._unswap)
        self.group(
            "The whole commission",
            self.stock,
            self.weight,
            self.grout,
            self.swaps,
            self.unswap,
        )

    def _rescope(self) -> None:
        self.refresh()
        self.draw()

    # rounds

    def _shift(self, how: str) -> None:
        label = how.capitalize()
        self._follow(label, lambda f: {"shift_lab": shifted(f.colour.shift_lab, how)})

    def _plain(self) -> None:
        plain = {"shift_lab": (0.0, 0.0, 0.0), "at_most": 0}
        self._follow("Colours as the sketch", lambda f: plain)

    def _follow(self, label: str, of: Callable[[Field], dict[str, Any]]) -> None:
        self.quick.follow(lambda: self.scope.edit(label, of))

    def _fewer(self) -> None:
        laid = {f.field_id: len(np.unique(f.stock[f.stock >= 0])) for f in self.scope.laid()}

        def fewer(f: Field) -> dict[str, Any]:
            now = laid.get(f.id, 0)
            return {"at_most": max(1, min(now, f.colour.at_most or now) - 1)} if now else {}

        self._follow("Fewer colours", fewer)

    # the whole commission

    def _no_edit(self, value: int) -> None:
        """The slider's edit is made when it is let go."""

    def _choose_grout(self) -> None:
        now = swatch_rgb(self.doc.grout_lab)[0]
        colour = QColorDialog.getColor(QColor(*now), self, "Colour of the grout")
        if colour.isValid():
            self.set_grout(colour)

    def set_grout(self, colour: QColor) -> None:
        """Set the grout to a screen colour."""
        rgb = (colour.redF(), colour.greenF(), colour.blueF())
        lightness, a, b = (round(float(v), 2) for v in lab_from_srgb(rgb))
        lab: Lab = (lightness, a, b)
        self.change("Colour of the grout", grout_lab=lab)

    def _unswap(self) -> None:
        if self.doc.swaps:
            self.change("Take back a swap", swaps=self.doc.swaps[:-1])

    def _light(self, code: str) -> None:
        self.bench.light(None if self.bench.lit == code else code)

    def _show_lit(self) -> None:
        self.chart.lit = self.bench.lit
        self.chart.update()

    def open_stock(self) -> QDialog | None:
        """Open the studio's stock."""
        from app.jobcard.stockroom import Stockroom

        return self._open(lambda: Stockroom(self.session, self))

    def open_photograph(self) -> QDialog | None:
        """Open the reading of colours from a photograph."""
        from app.jobcard.photograph import Photograph

        return self._open(lambda: Photograph(self.session, self))

    def _open(self, make: Callable[[], QDialog]) -> QDialog | None:
        """Open a dialog on the stock; a stock that cannot be used is said."""
        try:
            dialog = make()
        except EmblemaError as e:
            self.session.message.emit(str(e))
            return None
        dialog.open()
        return dialog

    def end(self) -> None:
        self.eye.end()

    # what stands

    def refresh(self) -> None:
        doc, some = self.doc, self.scope.fields()
        self.scope.refresh()
        self.near.refresh()
        self.quick.refresh()
        for card in self.for_fields:
            card.setEnabled(bool(some))
        f = some[0] if some else Field("", "", ())
        shift = ", ".join(
            f"{name} {v:+.1f}"
            for name, v in zip(("L*", "a*", "b*"), f.colour.shift_lab, strict=True)
            if v
        )
        self.shift.setText(f"Moved by {shift}" if shift else "As the sketch has it")
        self.rule.show_field(f)
        self.accent.show_field(f)
        self.stock.show_value(doc.within_stock)
        self.weight.show_value(round(STEPS * float(np.log2(max(doc.lightness_weight, 1e-3)))))
        self._show_grout(doc)
        self.view.show_value(self.bench.colours)

    def _show_swaps(self) -> None:
        swaps, layout = self.doc.swaps, self.session.layout
        self.swaps.setText(_swap_words(swaps, layout.unswapped if layout else {}))
        self.swaps.setVisible(bool(swaps))
        self.unswap.setVisible(bool(swaps))

    def _show_grout(self, doc: Commission) -> None:
        r, g, b = swatch_rgb(doc.grout_lab)[0]
        self.grout.setText(f"Grout: L* {doc.grout_lab[0]:.0f} ...")
        ink = "white" if doc.grout_lab[0] < 55 else "#2b2c2e"
        self.grout.setStyleSheet(f"QPushButton {{ background: rgb({r},{g},{b}); color: {ink}; }}")

    def draw(self) -> None:
        self._show_swaps()
        self.allowed.draw()
        self.near.draw()
        used, laid = self.scope.used(), self.scope.laid()
        doc = self.session.laid_doc
        of = {m.code: m for m in doc.materials} if doc is not None else {}
        wanted = np.concatenate([x.wanted_lab for x in laid] or [np.empty((0, 3))])
        self.chart.lit = self.bench.lit
        self.chart.fill([(of[c], n) for c, n in used.items()], wanted)
        self.shorts.refresh()
        self.eye.look()


def _weight_words(v: int) -> str:
    if v == 0:
        return "lightness as much as hue"
    return f"{'lightness' if v > 0 else 'hue'}, {2 ** (abs(v) / STEPS):.1f} times"


def _swap_words(swaps: tuple[Swap, ...], vain: Mapping[str, int]) -> str:
    if not swaps:
        return ""
    last = "; ".join(f"{s.old} to {s.new}" for s in swaps[-3:])
    words = f"{len(swaps)} swap{'s' if len(swaps) > 1 else ''}, the last: {last}."
    if vain:
        pieces = ", ".join(f"{n:,} to {code}" for code, n in vain.items())
        words += f" Too few in hand, so not swapped: {pieces}."
    return words
