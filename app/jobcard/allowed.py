"""The palette of the fields at hand: what may be laid in them, and what stays where it is."""

from __future__ import annotations

import dataclasses

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.palette import PaletteGrid
from app.jobcard.scope import Scope
from app.widgets import Choice, button, row, text
from core.commission import Commission, change_field


class Allowed(QWidget):
    """Swatches to tap."""

    def __init__(self, scope: Scope) -> None:
        super().__init__()
        self.scope, self.session = scope, scope.session
        self._all_stock = False
        self.tap = Choice(
            "A tap",
            (("allow", "allows or bars"), ("keep", "keeps or frees")),
            lambda _: None,
        )
        self.tap.setToolTip(
            "A kept colour stays on the pieces it matches best, whatever the round of changes"
        )
        self.grid = PaletteGrid()
        self.grid.tapped.connect(self.tapped)
        self.more = button("All stock", self._toggle_stock)
        self.words = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            self.words,
            self.tap,
            self.grid,
            self.more,
            row(
                button(
                    "Allow all",
                    lambda: self.allow(()),
                    tip="All but what has no one colour, such as gold and shell",
                ),
                button("Only those laid", self._only_laid),
            ),
        ):
            box.addWidget(w)

    def allowed(self) -> tuple[str, ...]:
        """Return the palette at hand: the fields' own, else their motif's; empty for all."""
        some = self.scope.fields()
        if not some:
            return ()
        f = some[0]
        of_motif = dict(self.session.doc.motif_palettes).get(f.motif, ())
        return of_motif if self.scope.of_motif and f.motif else f.colour.palette or of_motif

    def _plain(self) -> tuple[str, ...]:
        """Return what is laid where nothing is named: all that one colour tells."""
        return tuple(m.code for m in self.session.doc.materials if not m.by_choice)

    def allow(self, codes: tuple[str, ...]) -> None:
        """Let these be laid in the fields at hand, or in their motifs; none for all."""
        if set(codes) == set(self._plain()):
            codes = ()
        motifs = self.scope.motifs()
        if not self.scope.of_motif or not motifs:
            self.scope.change("Change the palette", palette=codes)
            return

        def make() -> Commission:
            doc = self.session.doc
            kept = tuple(p for p in doc.motif_palettes if p[0] not in motifs)
            new = tuple((m, codes) for m in sorted(motifs)) if codes else ()
            doc = dataclasses.replace(doc, motif_palettes=(*kept, *new))
            for f in self.scope.fields():  # a palette of its own would hide the motif's
                if f.colour.palette:
                    doc = change_field(doc, f.id, palette=())
            return doc

        self.scope.try_to("Change the motif's palette", make)

    def tapped(self, code: str) -> None:
        """Allow or bar a material, or keep or free it."""
        some = self.scope.fields()
        if not some:
            self.session.message.emit("Choose a field on the bench first.")
            return
        if self.tap.value == "keep":
            kept = some[0].colour.locked
            new = tuple(c for c in kept if c != code) if code in kept else (*kept, code)
            self.scope.change(f"{'Free' if code in kept else 'Keep'} {code}", locked=new)
            return
        every = tuple(m.code for m in self.session.doc.materials)
        now = self.allowed() or self._plain()
        codes = tuple(c for c in every if (c in now) != (c == code))
        if codes:
            self.allow(codes)
        else:
            self.session.message.emit("A palette needs at least one material.")

    def _only_laid(self) -> None:
        used = self.scope.used()
        codes = tuple(m.code for m in self.session.doc.materials if m.code in used)
        if codes:
            self.allow(codes)

    def _toggle_stock(self) -> None:
        self._all_stock = not self._all_stock
        self.draw()

    def draw(self) -> None:
        """Show the palette as it stands."""
        doc, codes = self.session.doc, self.allowed()
        used, some = self.scope.used(), self.scope.fields()
        every = {m.code for m in doc.materials}
        plainly = set(self._plain())
        allowed = set(codes) & every or plainly
        near = [m for m in doc.materials if m.code in used or (codes and m.code in allowed)]
        shown = list(doc.materials) if self._all_stock or not near else near
        self.grid.fill(shown, allowed, some[0].colour.locked if some else (), used)
        rest = len(doc.materials) - len(near)
        self.more.setText("Only these" if self._all_stock else f"Show {rest} more from the stock")
        self.more.setVisible(bool(near) and rest > 0)
        self.words.setText(
            f"{len(allowed)} of {len(every)} may be laid, {len(used)} are."
            if codes
            else f"Every material may be laid, {len(used)} are."
            if len(plainly) == len(every)
            else f"{len(plainly)} of {len(every)} may be laid, {len(used)} are. Gold, metallic, "
            "iridescent and transparent pieces and shell have no one colour: tap one to allow it, "
            "or lay it as an accent, by a swap or by hand."
        )
