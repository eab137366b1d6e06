"""Colour: which stocked materials are laid where, how near they come, and what the eye makes of it.

Every change recolours the pieces that lie; nothing is laid again.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QColorDialog, QWidget

from app.jobcard.base import Leaf
from app.jobcard.colourchart import ColourChart
from app.jobcard.eye import SeenFrom
from app.jobcard.palette import MaterialBox, PaletteGrid
from app.jobcard.shorts import Shorts
from app.widgets import Choice, Number, Slide, Switch, button, row, text
from core.colour.convert import lab_from_srgb, swatch_rgb
from core.colour.distance_view import VISIONS
from core.colour.matching import shifted
from core.commission import Commission, Field, Swap, change_field
from core.material import Lab
from core.pieces import LaidField

BENCH_VIEWS = (
    ("plain", "colours as they are"),
    ("difference", "colour differences"),
    *((v, f"as {v} eyes see") for v in VISIONS),
)
RULES = (
    ("nearest", "each piece its nearest"),
    ("mix", "mixed, for the eye to blend"),
    ("shade", "shaded from one to another"),
)
BLENDS = ("First", "Second", "Third", "Fourth")
STEPS = 5  # of the lightness slider that double its weight


class ColourLeaf(Leaf):
    """Colours of the chosen fields or of their motif."""

    name = "Colour"
    purpose = "Which stocked colours are laid. A change recolours at once; nothing is laid again."

    def build(self) -> None:
        self._all_stock = False
        self._before: tuple[tuple[str, ...], float] | None = None
        self._now: tuple[tuple[str, ...], float] | None = None
        self._seen_layout: object = None
        self.whom = text("", "head")
        self.scope = Choice(
            "For",
            (("fields", "the chosen fields"), ("motif", "their whole motif")),
            lambda _: self._rescope(),
        )
        self.mean = text("")
        self.top = self.group("", self.whom, self.scope, self.mean)
        self.shift = text("", "hint")
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
        )
        self._build_palette()
        self._build_rule()
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

    def _build_palette(self) -> None:
        self.tap = Choice(
            "A tap",
            (("allow", "allows or bars"), ("keep", "keeps or frees")),
            lambda _: None,
        )
        self.tap.setToolTip(
            "A kept colour stays on the pieces it matches best, whatever the round of changes"
        )
        self.grid = PaletteGrid()
        self.grid.tapped.connect(self._tapped)
        self.more = button("All stock", self._toggle_stock)
        self.palette_words = text("", "hint")
        self.palette_card = self.group(
            "Palette",
            self.palette_words,
            self.tap,
            self.grid,
            self.more,
            row(
                button("Allow all", lambda: self._set_palette(())),
                button("Only those laid", self._only_laid),
            ),
        )

    def _build_rule(self) -> None:
        self.rule = Choice("Match", RULES, self._rule)
        self.blend = [MaterialBox(name, "none", lambda _: self._blend()) for name in BLENDS]
        self.blend_words = text("", "hint")
        self.along = Switch(
            "Along the courses, not across",
            lambda on: self._change("Turn the shading", shade_along=on),
        )
        self.most = Number(
            "Colours, at most", "", 0, 40, self._most, 0, 1, "0 for as many as match"
        )
        self.most.spin.setSpecialValueText("as many")
        self.rule_card = self.group(
            "How they are matched",
            self.rule,
            self.blend_words,
            *self.blend,
            self.along,
            self.most,
        )
        self.accent = MaterialBox("Accent", "none", self._accent)
        self.share = Slide(
            "Share of pieces",
            0,
            100,
            lambda v: None,
            lambda v: f"{v} %",
        )
        self.share.slider.setTracking(False)
        self.share.slider.valueChanged.connect(
            lambda v: self._change("Share of the accent", accent_share=v / 100)
        )
        self.accent_along = Switch(
            "In runs along the courses",
            lambda on: self._change("Run the accent", accent_along=on),
        )
        self.accent_card = self.group("Accent", self.accent, self.share, self.accent_along)

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

    # whom an edit is for

    def _rescope(self) -> None:
        self.refresh()
        self.draw()

    def fields(self) -> list[Field]:
        """Return the fields that an edit is for: those chosen, or all of their motifs."""
        some = self.chosen()
        if self.scope.value == "motif":
            motifs = {f.motif for f in some if f.motif}
            ids = {f.id for f in some}
            return [f for f in self.doc.fields if f.id in ids or f.motif in motifs]
        return some

    def _edit(self, label: str, of: Callable[[Field], dict[str, Any]]) -> None:
        """Change each field that the edit is for; one step."""

        def make() -> Commission:
            doc = self.doc
            for f in self.fields():
                doc = change_field(doc, f.id, **of(f))
            return doc

        self.try_to(label, make)

    def _change(self, label: str, **changes: Any) -> None:
        self._edit(label, lambda f: changes)

    def _laid(self) -> list[LaidField]:
        layout = self.session.layout
        ids = {f.id for f in self.fields()} or {f.id for f in self.doc.fields}
        return [f for f in layout.fields if f.field_id in ids] if layout is not None else []

    def _used(self) -> dict[str, int]:
        """Return the pieces laid of each code in the fields at hand."""
        doc = self.session.laid_doc
        if doc is None or not doc.materials:
            return {}
        total = np.zeros(len(doc.materials), np.int64)
        for laid in self._laid():
            total += np.bincount(laid.stock[laid.stock >= 0], minlength=len(total))
        return {doc.materials[k].code: int(total[k]) for k in np.flatnonzero(total)}

    # rounds

    def _shift(self, how: str) -> None:
        self._edit(how.capitalize(), lambda f: {"shift_lab": shifted(f.shift_lab, how)})

    def _plain(self) -> None:
        self._change("Colours as the sketch", shift_lab=(0.0, 0.0, 0.0), at_most=0)

    def _fewer(self) -> None:
        laid = {f.field_id: len(np.unique(f.stock[f.stock >= 0])) for f in self._laid()}

        def fewer(f: Field) -> dict[str, Any]:
            now = laid.get(f.id, 0)
            return {"at_most": max(1, min(now, f.at_most or now) - 1)} if now else {}

        self._edit("Fewer colours", fewer)

    def _most(self, n: float) -> None:
        self._change("Colours, at most", at_most=int(n))

    # palette

    def allowed(self) -> tuple[str, ...]:
        """Return the palette at hand: the fields' own, else their motif's; empty for all."""
        some = self.fields()
        if not some:
            return ()
        f = some[0]
        of_motif = dict(self.doc.motif_palettes).get(f.motif, ())
        return of_motif if self.scope.value == "motif" and f.motif else f.palette or of_motif

    def _set_palette(self, codes: tuple[str, ...]) -> None:
        if len(codes) == len(self.doc.materials):
            codes = ()
        motifs = {f.motif for f in self.chosen() if f.motif}
        if self.scope.value != "motif" or not motifs:
            self._change("Change the palette", palette=codes)
            return

        def make() -> Commission:
            doc = self.doc
            kept = tuple(p for p in doc.motif_palettes if p[0] not in motifs)
            new = tuple((m, codes) for m in sorted(motifs)) if codes else ()
            doc = dataclasses.replace(doc, motif_palettes=(*kept, *new))
            for f in self.fields():  # a palette of its own would hide the motif's
                if f.palette:
                    doc = change_field(doc, f.id, palette=())
            return doc

        self.try_to("Change the motif's palette", make)

    def _tapped(self, code: str) -> None:
        some = self.fields()
        if not some:
            self.session.message.emit("Choose a field on the bench first.")
            return
        if self.tap.value == "keep":
            kept = some[0].locked
            new = tuple(c for c in kept if c != code) if code in kept else (*kept, code)
            self._change(f"{'Free' if code in kept else 'Keep'} {code}", locked=new)
            return
        every = tuple(m.code for m in self.doc.materials)
        now = self.allowed() or every
        codes = tuple(c for c in every if (c in now) != (c == code))
        if codes:
            self._set_palette(codes)
        else:
            self.session.message.emit("A palette needs at least one material.")

    def _only_laid(self) -> None:
        used = self._used()
        codes = tuple(m.code for m in self.doc.materials if m.code in used)
        if codes:
            self._set_palette(codes)

    def _toggle_stock(self) -> None:
        self._all_stock = not self._all_stock
        self._show_palette()

    # rules

    def _rule(self, rule: str) -> None:
        changes: dict[str, Any] = {"match": rule}
        if rule == "shade" and self.fields() and len(self.fields()[0].blend) < 2:
            # begin with the two laid most, the darker first
            used = sorted(self._used().items(), key=lambda u: -u[1])[:2]
            codes = sorted((c for c, _ in used), key=lambda c: self.doc.material(c).lab[0])
            if len(codes) == 2:
                changes["blend"] = tuple(codes)
        self._change("Change the matching", **changes)

    def _blend(self) -> None:
        codes = tuple(dict.fromkeys(b.value for b in self.blend if b.value))
        self._change("Choose what to blend", blend=codes[:3] if self.rule.value == "mix" else codes)

    def _accent(self, code: str) -> None:
        self._edit(
            "Choose the accent",
            lambda f: {"accent": code, "accent_share": f.accent_share or 0.05 if code else 0.0},
        )

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

    def open_stock(self) -> QWidget:
        """Open the studio's stock."""
        from app.jobcard.stockroom import Stockroom

        room = Stockroom(self.session, self)
        room.open()
        return room

    def open_photograph(self) -> QWidget:
        """Open the reading of colours from a photograph."""
        from app.jobcard.photograph import Photograph

        window = Photograph(self.session, self)
        window.open()
        return window

    def end(self) -> None:
        self.eye.end()

    # what stands

    def refresh(self) -> None:
        doc, some = self.doc, self.fields()
        names = ", ".join(f.name for f in some[:3]) + (" ..." if len(some) > 3 else "")
        self.whom.setText(
            "Choose a field on the bench"
            if not some
            else f"{names}"
            if len(some) < 4
            else f"{len(some)} fields: {names}"
        )
        has_motif = any(f.motif for f in self.chosen())
        self.scope.setEnabled(has_motif)
        for card in (self.rounds, self.rule_card, self.accent_card):
            card.setEnabled(bool(some))
        f = some[0] if some else Field("", "", ())
        self._show_mean()
        shift = ", ".join(
            f"{name} {v:+.1f}" for name, v in zip(("L*", "a*", "b*"), f.shift_lab, strict=True) if v
        )
        self.shift.setText(f"Moved by {shift}" if shift else "As the sketch has it")
        self.rule.show_value(f.match)
        for k, box in enumerate(self.blend):
            box.fill(doc.materials, f.blend[k] if k < len(f.blend) else "")
            box.setVisible(f.match == "shade" or (f.match == "mix" and k < 3))
        self.blend_words.setVisible(f.match != "nearest")
        self.blend_words.setText(
            "Two or three to mix; none chosen: found in the palette."
            if f.match == "mix"
            else "Two or more, in the order in which they are to follow."
        )
        self.along.setVisible(f.match == "shade")
        self.along.show_value(f.shade_along)
        self.most.setVisible(f.match == "nearest")
        self.most.show_value(f.at_most)
        self.accent.fill(doc.materials, f.accent)
        self.share.show_value(round(100 * f.accent_share))
        self.share.setEnabled(bool(f.accent))
        self.accent_along.show_value(f.accent_along)
        self.accent_along.setEnabled(bool(f.accent))
        self.stock.show_value(doc.within_stock)
        self.weight.show_value(round(STEPS * float(np.log2(max(doc.lightness_weight, 1e-3)))))
        self._show_grout(doc)
        self.view.show_value(self.bench.colours)

    def _show_swaps(self) -> None:
        swaps, layout = self.doc.swaps, self.session.layout
        self.swaps.setText(_swap_words(swaps, layout.unswapped if layout else {}))
        self.swaps.setVisible(bool(swaps))
        self.unswap.setVisible(bool(swaps))

    def _show_palette(self) -> None:
        doc, codes, used, some = self.doc, self.allowed(), self._used(), self.fields()
        every = {m.code for m in doc.materials}
        allowed = set(codes) & every or every
        near = [m for m in doc.materials if m.code in used or (codes and m.code in allowed)]
        shown = list(doc.materials) if self._all_stock or not near else near
        self.grid.fill(shown, allowed, some[0].locked if some else (), used)
        rest = len(doc.materials) - len(near)
        self.more.setText("Only these" if self._all_stock else f"Show {rest} more from the stock")
        self.more.setVisible(bool(near) and rest > 0)
        self.palette_words.setText(
            f"{len(allowed)} of {len(every)} may be laid, {len(used)} are."
            if codes
            else f"Every material may be laid, {len(used)} are."
        )

    def _show_grout(self, doc: Commission) -> None:
        r, g, b = swatch_rgb(doc.grout_lab)[0]
        self.grout.setText(f"Grout: L* {doc.grout_lab[0]:.0f} ...")
        ink = "white" if doc.grout_lab[0] < 55 else "#2b2c2e"
        self.grout.setStyleSheet(f"QPushButton {{ background: rgb({r},{g},{b}); color: {ink}; }}")

    def _show_mean(self) -> None:
        """Say how near the colours come, and how near they came before the last change."""
        laid = [x for x in self._laid() if len(x.delta_e)]
        values = np.concatenate([x.delta_e for x in laid]) if laid else np.empty(0)
        values = values[np.isfinite(values)]
        if not len(values):
            self.mean.setText("No colours to compare yet.")
            return
        key = tuple(x.field_id for x in laid)
        now = (key, float(values.mean()))
        if self.session.layout is not self._seen_layout:
            self._seen_layout = self.session.layout
            self._before = self._now if self._now and self._now[0] == key else None
        elif self._now is None or self._now[0] != key:
            self._before = None
        self._now = now
        before = (
            f", before {self._before[1]:.1f}"
            if self._before and abs(self._before[1] - now[1]) >= 0.05
            else ""
        )
        far = float((values > self.doc.limits.colour_delta_e).mean())
        self.mean.setText(
            f"Mean difference {now[1]:.1f}{before}; worst {values.max():.1f}. "
            f"{far:.0%} beyond {self.doc.limits.colour_delta_e:g}. (CIEDE2000)"
        )

    def draw(self) -> None:
        self._show_swaps()
        self._show_palette()
        used, laid = self._used(), self._laid()
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
