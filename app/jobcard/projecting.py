"""The Sheets leaf's way to the projector: the whole work, or one sheet on the bench."""

from __future__ import annotations

import shapely
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.projected import Box, Projected
from app.session import Session
from app.widgets import Choice, button, text
from core.sheets.made import sheet_of

WHOLE = "whole"


class Projecting(QWidget):
    """Choose what, and project it."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.what = Choice("Show", [(WHOLE, "the whole work, on the wall")], lambda _: None)
        self.shown: Projected | None = None
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            self.what,
            button("Project ...", self.project),
            text(
                "Fills the second screen. Mark the corners of the finished work on the wall, or "
                "of a sheet on the bench, and drag the four corners of the picture onto them. "
                "Do not look into the lamp.",
                "hint",
            ),
        ):
            box.addWidget(w)
        self._numbers: tuple[int, ...] = ()

    def refresh(self) -> None:
        """Offer the sheets there are."""
        numbers = tuple(s.number for s in self.session.doc.sheets)
        if numbers == self._numbers:
            return
        self._numbers, chosen = numbers, self.what.value
        self.what.box.clear()
        for value, words in (
            (WHOLE, "the whole work, on the wall"),
            *((str(n), f"sheet {n}, on the bench") for n in numbers),
        ):
            self.what.box.addItem(words, value)
        self.what.show_value(chosen)

    def project(self) -> None:
        """Open the projected picture."""
        doc, layout = self.session.laid_doc, self.session.layout
        if doc is None or layout is None or not len(layout):
            self.session.message.emit("Nothing is laid yet.")
            return
        box: Box = (0.0, 0.0, doc.width_mm, doc.height_mm)
        name = "the work"
        if self.what.value != WHOLE:
            pieces = layout.polygons
            mine = pieces[sheet_of(doc.sheets, pieces) == int(self.what.value)]
            if not len(mine):
                self.session.message.emit(f"Nothing lies on sheet {self.what.value} any more.")
                return
            x0, y0, x1, y1 = shapely.total_bounds(mine).tolist()
            box, name = (x0, y0, x1, y1), f"sheet {self.what.value}"
        if self.shown is not None:
            self.shown.close()
        self.shown = Projected(self.session, box, name)
        self.shown.closed.connect(self._gone)
        self.shown.show_on_second()

    def _gone(self) -> None:
        self.shown = None
