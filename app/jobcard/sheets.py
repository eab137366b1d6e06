"""Sheets: those that the work is lifted in, and the full-size cartoon."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from app import fileasking
from app.jobcard.base import Leaf
from app.jobcard.cartoonpaper import CartoonPaper
from app.jobcard.dividing import Dividing
from app.jobcard.printing import Made, Printing
from app.jobcard.prints import Prints, print_of
from app.jobcard.projecting import Projecting
from app.jobcard.sheetpapers import SheetPapers
from app.painting import write_cartoon_pdf
from app.preview import Preview
from app.widgets import button, text
from core.cartoon import cartoon_pages, pages_by_turns
from core.commission import Printed
from core.figures import CAUTIONS

if TYPE_CHECKING:
    pass


class SheetsLeaf(Leaf):
    """The sheets on the bench, and the cartoon on paper."""

    name = "Sheets"
    purpose = "The sheets in which the work is lifted, and its cartoon at true size."

    def build(self) -> None:
        self.dividing = Dividing(self.session, self.bench)
        self.group("Sheets to lift", self.dividing)
        self.group("How they are divided", self.dividing.limits)
        self.papers = SheetPapers(self.session)
        self.group("Sheets on paper", self.papers)
        self.cartoon = CartoonPaper(self.session)
        self.printing = Printing(self.session, "Print the cartoon ...", self._to_print)
        self.group(
            "Cartoon",
            self.cartoon,
            button("Look at the pages ...", self.look),
            button("Write the cartoon as PDF ...", self.choose, "main"),
            self.printing,
        )
        self.prints = Prints(self.session)
        self.group("Printed", self.prints)
        self.group("Your printer", self.cartoon.printer)
        self.projecting = Projecting(self.session)
        self.group("Projected", self.projecting)
        self.group(
            "Before you lay over it",
            text(
                "Print at 100 %, never fitted to the page. Measure both check bars with a steel "
                "rule: 100 mm each, across and up. Trim to the corner marks and lap the pages "
                "until the join marks run on: a line that meets its first tick is 0.5 mm off.",
                "hint",
            ),
        )
        self.group("With care", *(text(c, "hint") for c in CAUTIONS))

    def look(self) -> None:
        """Show the pages as they will be printed."""
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None or doc is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        given = self.cartoon.wanted().given
        self.shown = Preview(
            self, self.session, "The cartoon", lambda: pages_by_turns(doc, layout, *given)
        )
        self.shown.show()

    def choose(self) -> None:
        """Ask where, and write."""
        path = fileasking.where_to(
            self, "Write the cartoon", "cartoon.pdf", "PDF (*.pdf)", "papers", self.session.path
        )
        if path:
            self.write(path)

    def write(self, path: str) -> None:
        """Write the cartoon of the layout as it stands."""
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None or doc is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        how = self.cartoon.wanted()

        def do() -> Printed:
            write_cartoon_pdf(path, doc, layout, *how.given)
            return print_of(doc, layout, how.division(doc, layout))

        self.session.write(path, do, self.session.note_print)

    def _to_print(self) -> Callable[[], Made] | None:
        layout, doc = self.session.layout, self.session.laid_doc
        if layout is None or doc is None:
            self.session.message.emit("Nothing is laid yet.")
            return None
        how = self.cartoon.wanted()

        def make() -> Made:
            note = print_of(doc, layout, how.division(doc, layout))
            return cartoon_pages(doc, layout, *how.given), note

        return make

    def refresh(self) -> None:
        self.dividing.refresh()
        self.cartoon.refresh()
        self.projecting.refresh()

    def draw(self) -> None:
        self.prints.refresh()

    def end(self) -> None:
        self.dividing.end()
