"""Opening draws a socket, a window or a tap on the wall: a rectangle, dragged or typed."""

from __future__ import annotations

import math

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen, QPolygonF

from app.canvas.openings import MARK, Openings
from app.tools.base import Place, Tool
from app.widgets import headed_menu
from core.commission import Ring, untaken
from core.openings import corners, lies_on_fields, with_opening, without_opening
from core.site import Opening


class OpeningTool(Tool):
    """Drags a rectangle for an opening; a click chooses the one beneath.

    Attributes
    ----------
    kind : str
        Of what is drawn next, one of `core.site.OPENINGS`.
    leave_open : bool
        Whether fields beneath it give up its ground.
    """

    name = "Opening"
    hint = (
        "Drag a rectangle where the wall opens: a socket, a window, a tap. A click chooses one; "
        "its measures are set on the Brief leaf. Delete takes it away."
    )
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self.kind, self.leave_open = "socket", True
        self._begun: Place | None = None
        self._at: Place | None = None

    @property
    def openings(self) -> Openings:
        """The openings on the bench."""
        return self.bench.openings

    def put_down(self) -> None:
        self._begun = self._at = None

    def press(self, event: QMouseEvent) -> None:
        self._begun = self._at = self.at(event)

    def move(self, event: QMouseEvent) -> None:
        if self._begun is None:
            return
        self._at = self.at(event)
        (x0, y0), _, (x1, y1), _ = corners((self._begun, self._at))
        self.session.message.emit(f"{self.kind.capitalize()}: {x1 - x0:.0f} x {y1 - y0:.0f} mm")

    def release(self, event: QMouseEvent) -> None:
        begun, at = self._begun, self._at
        self.put_down()
        if begun is None or at is None:
            return
        if math.dist(begun, at) < self.reach_mm():
            self.openings.choose(self.openings.at(*at))
            return
        self.put(corners((begun, at)))

    def put(self, ring: Ring) -> None:
        """Put an opening of this outline in, and choose it; one step."""
        doc = self.session.doc
        name = untaken(self.kind.capitalize(), [o.name for o in doc.openings])
        opening = Opening(self.kind, name, ring)
        leave = self.leave_open and lies_on_fields(doc, opening)
        after, notes = with_opening(doc, opening, leave)
        if self.session.try_apply(f"Put in {name}", after):
            self.openings.choose(len(after.openings) - 1)
            told = [f"{name} is left open: its ground is gone from the fields."] if leave else []
            self.session.message.emit(" ".join([*told, *notes]) or f"{name} is marked.")

    def take_away(self, k: int) -> None:
        """Take an opening away; ground that it took goes back to what lies about it."""
        doc = self.session.doc
        name = doc.openings[k].name
        if self.session.try_apply(f"Take {name} away", without_opening(doc, k)):
            self.openings.choose(None)

    def key(self, event: QKeyEvent) -> bool:
        chosen = self.openings.chosen
        if event.key() == Qt.Key.Key_Escape:
            if self._begun is None:
                self.openings.choose(None)
            self.put_down()
            return True
        if event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and chosen is not None:
            self.take_away(chosen)
            return True
        return False

    def menu(self, at: Place, where: QPoint) -> None:
        k = self.openings.at(*at)
        if k is None:
            return
        self.openings.choose(k)
        menu = headed_menu(self.bench, self.session.doc.openings[k].name)
        menu.addAction("Take away", lambda: self.bench.guarded(lambda: self.take_away(k)))
        menu.popup(where)

    def paint(self, p: QPainter) -> None:
        if self._begun is None or self._at is None:
            return
        ring = QPolygonF([self.bench.to_px(*q) for q in corners((self._begun, self._at))])
        p.setBrush(QColor(110, 40, 120, 50))
        p.setPen(QPen(MARK, 2.0, Qt.PenStyle.DashLine))
        p.drawPolygon(ring)
