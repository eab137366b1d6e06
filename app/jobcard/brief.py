"""Brief: what is to be made, how large, and how it is reckoned."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QLineEdit, QPlainTextEdit

from app.jobcard.base import Leaf
from app.jobcard.keptrounds import KeptRounds
from app.jobcard.site import OfSite
from app.jobcard.studio import OfStudio
from app.jobcard.whereto import Takes, WhereTo
from app.widgets import Number, button, row, text
from core.agreed import agree
from core.rounds import resize_work


class Notes(QPlainTextEdit):
    """Notes that are kept when the hand goes elsewhere."""

    def __init__(self, keep: Callable[[], object]) -> None:
        super().__init__()
        self._keep = keep
        self.setTabChangesFocus(True)
        self.setAccessibleName("Notes")

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """Keep what was written."""
        super().focusOutEvent(event)
        self._keep()


class BriefLeaf(Leaf):
    """The commission as agreed."""

    name = "Brief"
    purpose = "What is to be made, for where, and how large."

    def build(self) -> None:
        self.title = QLineEdit()
        self.title.setPlaceholderText("Name of the commission")
        self.title.setAccessibleName("Name of the commission")
        self.title.editingFinished.connect(
            lambda: self.change("Name the commission", title=self.title.text().strip())
        )
        self.notes = Notes(self._keep_notes)
        self.notes.setPlaceholderText("Place, client's wishes, what was agreed ...")
        self.notes.setFixedHeight(110)
        self.group("Commission", self.title, self.notes)
        self.width_mm = Number("Finished width", "mm", 10, 100_000, self._width, 1, 10)
        self.height_mm = Number("Finished height", "mm", 10, 100_000, self._height, 1, 10)
        self.group(
            "Size",
            self.width_mm,
            self.height_mm,
            text(
                "A new width makes the whole drawing larger or smaller; tesserae keep their size. "
                "A new height crops or adds below.",
                "hint",
            ),
        )
        self.place = WhereTo(self.session, self.try_to)
        self.group("Where it goes", self.place)
        self.site = OfSite(self.session, self.bench, self.try_to)
        self.group("The wall and its openings", self.site)
        self.studio = OfStudio(self.session, self.try_to)
        self.group("The studio and its rates", self.studio)
        self.takes = Takes(self.session, self.try_to)
        self.column.addWidget(self.takes)
        self.agreed = text("", "hint")
        self.agree = button("All is agreed", self._agree)
        self.free = button("No longer agreed", self._free)
        self.group("Agreed with the client", self.agreed, row(self.agree, self.free))
        self.rounds = KeptRounds(self.session)
        self.group("Rounds kept", self.rounds)
        self.group(
            "The hand",
            text("Every laying has small irregularities. Lay it with other ones:", "hint"),
            button("Another throw of the hand", self._throw),
        )

    def _keep_notes(self) -> None:
        self.change("Write notes", notes=self.notes.toPlainText())

    def _width(self, mm: float) -> None:
        if abs(mm - self.doc.width_mm) > 1e-6:
            self.try_to("Resize the work", lambda: resize_work(self.doc, mm))

    def _height(self, mm: float) -> None:
        if abs(mm - self.doc.height_mm) > 1e-6:
            self.try_to("Change the height", lambda: resize_work(self.doc, self.doc.width_mm, mm))

    def _agree(self) -> None:
        ids = {f.id for f in self.doc.fields}
        self.try_to("Agree all", lambda: agree(self.doc, ids, date.today().isoformat()))

    def _free(self) -> None:
        self.change("No longer agreed", agreed=())

    def _throw(self) -> None:
        self.change("Another throw of the hand", seed=self.doc.seed + 1)

    def refresh(self) -> None:
        doc = self.doc
        if not self.title.hasFocus():
            self.title.setText(doc.title)
        if not self.notes.hasFocus() and self.notes.toPlainText() != doc.notes:
            self.notes.setPlainText(doc.notes)
        self.studio.refresh()
        self.place.refresh()
        self.takes.refresh()
        self.site.refresh()
        self.rounds.refresh()
        self.width_mm.show_value(doc.width_mm)
        self.height_mm.show_value(doc.height_mm)
        self.agreed.setText(
            f"{len(doc.agreed)} of {len(doc.fields)} fields are agreed. What would change them "
            "asks first; all that is printed as a cartoon is agreed by itself."
        )
        self.agree.setEnabled(len(doc.agreed) < len(doc.fields))
        self.free.setEnabled(bool(doc.agreed))

    def draw(self) -> None:
        self.rounds.draw()
