"""Ornament: a border, a strip or a disc drawn where it is to lie, seen before it is placed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from PySide6.QtGui import QColor, QPainter, QPen

from app import theme
from app.tools.base import Place
from app.tools.placing import CLEAR, CLICKED, DRAGGED, PlacingTool
from core.errors import EmblemaError
from core.ornament import Ornament, add_ornament
from core.ornament.kinds import KINDS, Wish, fitted

# of the preview: parts beside each other are told apart, none is a colour that will be laid
SHADES = ("#2f7f74", "#c9a45c", "#8c4a3a", "#6f8fae", "#55606e")
PALE = "#efeade"


class OrnamentTool(PlacingTool):
    """Drag a frame or a disc, click the way of a strip; Enter or Place makes fields of it."""

    name = "Ornament"
    key_letter = "R"
    hint = (
        "Drag from corner to corner of a frame or from the middle of a disc, or click along a "
        "strip. Choose the ornament on the Fields leaf; Enter or Place lays it down."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.wish = Wish()
        self.seen: Ornament | None = None

    @property
    def drawn_by(self) -> str:
        return CLICKED if self.wish.lies == "strip" else DRAGGED

    def pick_up(self) -> None:
        """Begin with the tessera and joint of the chosen field."""
        chosen = set(self.session.selection)
        for f in self.session.doc.fields:
            if f.id in chosen:
                self.ask(tessera_mm=f.laying.tessera_mm, joint_mm=f.laying.joint_mm)
                return

    def ask(self, **choices: Any) -> None:
        """Ask for the ornament otherwise."""
        was = self.wish
        self.wish = replace(was, **choices)
        if self.wish.lies != was.lies:
            self.points = []
        if self.wish.kind != was.kind:
            usual = {"courses": KINDS[self.wish.kind].usual, "repeats": 0}
            self.wish = replace(self.wish, **(usual | choices))
        self._look()
        self.bench.update()

    def finish(self) -> None:
        """Make fields of what is seen."""
        if self.seen is None:
            self.session.message.emit(self.words[0] if self.words else self.hint)
            return
        edited = add_ornament(self.session.doc, self.seen)
        motif = edited.doc.field_by_id(edited.field_id).motif
        self.points = []
        self.session.apply("Place an ornament", edited.doc)
        self.session.select(f.id for f in edited.doc.fields if f.motif == motif)
        self._look()
        self.session.message.emit(" ".join(edited.notes))

    def look(self) -> None:
        self.seen, self.words = None, ()
        if len(self.points) > 1:
            try:
                self.seen = fitted(self.wish, self.points)
                self.words = self.seen.notes
            except EmblemaError as e:
                self.words = (str(e),)

    def paint(self, p: QPainter) -> None:
        if self.seen is not None and not self._dragging:
            shade = 0
            for part in self.seen.parts:
                ground = part.role == "ground"
                colour = QColor(PALE if ground else SHADES[shade % len(SHADES)])
                shade += not ground
                colour.setAlpha(CLEAR)
                p.setBrush(colour)
                p.setPen(QPen(QColor(theme.DAY["INK"]), 0.8))
                p.drawPath(self.path_of(part.outline.geoms))
        self.paint_drawn(p, self._drawn)

    def _drawn(self) -> list[Place]:
        """Return the outer edge of the frame or disc that is drawn."""
        if self.wish.lies == "frame":
            return self.box_drawn()
        (x0, y0), r = self.points[0], math.dist(*self.points)
        turns = [2 * math.pi * k / 90 for k in range(91)]
        return [(x0 + r * math.cos(t), y0 + r * math.sin(t)) for t in turns]
