"""Hand: choose, move and see. Measure: a distance, which can scale the sketch."""

from __future__ import annotations

import math

from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen
from PySide6.QtWidgets import QInputDialog

from app import theme
from app.tools.base import Place, Tool
from app.widgets import headed_menu, label
from core.errors import EmblemaError
from core.repeats import part_places
from core.rounds import move_fields, remove_fields
from core.sketch import scale_by_points


class HandTool(Tool):
    """Chooses fields and pieces, and drags the view, or a chosen field with Alt held."""

    name = "Hand"
    key_letter = "H"
    hint = (
        "Click a field to choose it, again for the piece. Drag to move the view; "
        "Alt and drag moves the chosen field."
    )
    cursor = Qt.CursorShape.ArrowCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self._pressed: QPointF | None = None
        self._dragged = False
        self._field_from: Place | None = None
        self._field_to: Place | None = None

    def put_down(self) -> None:
        self._pressed = self._field_from = self._field_to = None

    def press(self, event: QMouseEvent) -> None:
        self._pressed, self._dragged = event.position(), False
        if event.modifiers() & Qt.KeyboardModifier.AltModifier and self.session.selection:
            self._field_from = self._field_to = self.at(event)

    def move(self, event: QMouseEvent) -> None:
        if self._pressed is None:
            return
        d = event.position() - self._pressed
        if not self._dragged and math.hypot(d.x(), d.y()) < 5:
            return
        self._dragged = True
        if self._field_from is not None:
            self._field_to = self.at(event)
        else:
            self.bench.pan(d)
            self._pressed = event.position()

    def release(self, event: QMouseEvent) -> None:
        begun, dragged = self._pressed, self._dragged
        a, b = self._field_from, self._field_to
        self._pressed = self._field_from = self._field_to = None
        if begun is None:
            return
        if a is not None and b is not None:
            if dragged:
                by = (b[0] - a[0], b[1] - a[1])
                edited = move_fields(self.session.doc, self.session.selection, by)
                self.session.apply("Move a field", edited.doc)
                if edited.lost:
                    self.session.message.emit(
                        f"Covered for the most part: {', '.join(edited.lost)}."
                    )
            return
        if not dragged:
            self._choose(self.at(event), bool(event.modifiers() & _ADD))

    def _choose(self, at: Place, add: bool) -> None:
        if self.bench.seams.shown and self.session.doc.sheets:
            self.bench.seams.choose(self.bench.seams.at(*at))
            return
        f = self.bench.field_at(*at)
        if f is None:
            self.session.select(())
        elif add:
            chosen = self.session.selection
            rest = tuple(i for i in chosen if i != f.id)
            self.session.select(rest if f.id in chosen else (*chosen, f.id))
        elif self.session.selection == (f.id,):
            piece = self.bench.piece_at(*at)
            if piece is not None:
                self.session.select_piece(*piece)
        else:
            self.session.select((f.id,))

    def key(self, event: QKeyEvent) -> bool:
        if event.key() == Qt.Key.Key_Escape:
            if self._field_from is not None:  # give the move up, keep the choice
                self.put_down()
            else:
                self.session.select(())
            return True
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self.session.selection:
            self.session.apply(
                "Remove fields", remove_fields(self.session.doc, self.session.selection)
            )
            return True
        return False

    def menu(self, at: Place, where: QPoint) -> None:
        f = self.bench.field_at(*at)
        if f is None:
            return
        if f.id not in self.session.selection:
            self.session.select((f.id,))
        menu = headed_menu(self.bench, f.name)
        if f.motif:
            menu.addAction(
                f"Choose the whole motif: {f.motif}",
                lambda: self.bench.guarded(lambda: self._choose_motif(f.motif)),
            )
        if f.id in self.session.doc.linked():
            menu.addAction(
                "Part this place",
                lambda: self.bench.guarded(lambda: self._part(f.id)),
            )
        menu.addAction(
            "Remove; neighbours take its room",
            lambda: self.bench.guarded(lambda: self._remove(f.id, f.name)),
        )
        menu.popup(where)

    def _choose_motif(self, motif: str) -> None:
        ids = [f.id for f in self.session.doc.fields if f.motif == motif]
        if not ids:
            raise EmblemaError(f"There is no motif '{motif}' any more.")
        self.session.select(ids)

    def _part(self, field_id: str) -> None:
        self.session.apply("Part a place", part_places(self.session.doc, [field_id]))

    def _remove(self, field_id: str, name: str) -> None:
        doc = self.session.doc
        if all(f.id != field_id for f in doc.fields):
            raise EmblemaError(f"'{name}' is no longer there.")
        self.session.apply(f"Remove {name}", remove_fields(doc, [field_id]))

    def paint(self, p: QPainter) -> None:
        a, b = self._field_from, self._field_to
        if a is None or b is None or not self._dragged:
            return
        shift = self.bench.to_px(*b) - self.bench.to_px(*a)
        p.setPen(QPen(QColor(theme.DAY["VERDIGRIS"]), 2.0, Qt.PenStyle.DashLine))
        for f in self.session.doc.fields:
            if f.id in self.session.selection:
                for ring in self.bench.outline_path(f):
                    p.drawPolyline(ring.translated(shift))


_ADD = Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.ControlModifier


class MeasureTool(Tool):
    """Shows a distance on the work; a double click makes it a known length of the sketch."""

    name = "Measure"
    key_letter = "M"
    hint = "Drag from one point to another. Enter makes it a known length: the sketch is scaled."
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self.ends: tuple[Place, Place] | None = None
        self._dragging = False

    def put_down(self) -> None:
        self.ends = None

    def press(self, event: QMouseEvent) -> None:
        self.ends, self._dragging = (self.at(event), self.at(event)), True

    def move(self, event: QMouseEvent) -> None:
        if self._dragging and self.ends is not None:
            self.ends = (self.ends[0], self.at(event))

    def release(self, event: QMouseEvent) -> None:
        self._dragging = False

    def key(self, event: QKeyEvent) -> bool:
        if event.key() == Qt.Key.Key_Escape:
            self.ends = None
            return True
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.ends is not None:
            length, sure = QInputDialog.getDouble(
                self.bench,
                "Known length",
                "This distance is, in mm:",
                math.dist(*self.ends),
                0.1,
                100_000,
                1,
            )
            if sure:
                self.scale_to(length)
            return True
        return False

    def scale_to(self, length_mm: float) -> None:
        """Scale the sketch so that the measured distance is a known length."""
        if self.ends is not None:
            doc = scale_by_points(self.session.doc, *self.ends, length_mm)
            self.session.apply("Scale the sketch", doc)

    def paint(self, p: QPainter) -> None:
        if self.ends is None:
            return
        a, b = (self.bench.to_px(*q) for q in self.ends)
        for colour, width in ((QColor("white"), 4.0), (QColor(theme.DAY["RUST"]), 1.8)):
            p.setPen(QPen(colour, width))
            p.drawLine(a, b)
        words = f"{math.dist(*self.ends):.1f} mm"
        label(p, (a + b) / 2, words)
