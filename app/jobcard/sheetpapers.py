"""The Sheets leaf's papers for bench and site: a page for each sheet, key plan, notes and lists."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app import fileasking
from app.jobcard.printing import Made, Printing
from app.jobcard.prints import print_of_sheets
from app.preview import Preview
from app.session import Session
from app.sheetfiles import write_sheets
from app.widgets import Choice, Switch, button, row, text
from core.commission import Commission, Printed
from core.drawing import Page
from core.errors import EmblemaError
from core.paper.printer import TRUE as PLAIN
from core.paper.printer import Correction, kept_correction
from core.pieces import Layout
from core.sheets.keyplan import keyplan_pages
from core.sheets.made import sheets_of
from core.sheets.notes import notes_page
from core.sheets.pages import TRUE, sheet_pages

PAPERS = (("A4", "A4"), ("A3", "A3"), (TRUE, "as large as the sheet, to lay over"))
FILLS = (
    ("lines", "lines, to lay over"),
    ("colour", "in colour"),
    ("patterns", "patterns, for black and white"),
)


class SheetPapers(QWidget):
    """Choose how sheets are drawn; look, or write them all into a folder."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.paper = Choice("Paper", PAPERS, lambda _: None)
        self.fill = Choice("Pieces", FILLS, lambda _: None)
        self.mirrored = Switch(
            "Mirrored", lambda _: None, "Seen from the back; else as the sheets are laid"
        )
        self.printing = Printing(session, "Print the sheets ...", self._to_print)
        self.shown: Preview | None = None
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            self.paper,
            self.fill,
            self.mirrored,
            button("Write all into a folder ...", self.choose, "main"),
            self.printing,
            row(
                button("Look at sheets ...", self.look_at_sheets),
                button("Key plan, notes ...", self.look_at_plan),
            ),
            text(
                "A page for each sheet with its pieces counted for a tray, the key plan and the "
                "setter's notes as PDF, and lists of sheets and pieces.",
                "hint",
            ),
        ):
            box.addWidget(w)

    def _work(self) -> tuple[Commission, Layout] | None:
        doc, layout = self.session.laid_doc, self.session.layout
        if doc is None or layout is None or not len(layout):
            self.session.message.emit("Nothing is laid yet.")
            return None
        if not doc.sheets:
            self.session.message.emit("Divide the work into sheets first.")
            return None
        return doc, layout

    def choose(self) -> None:
        """Ask where, and write."""
        if self._work() is not None:
            folder = fileasking.which_folder(
                self, "A folder for the sheets", "papers", self.session.path
            )
            if folder:
                self.write(folder)

    def _how(self) -> tuple[str, str, bool | None, Correction]:
        back = self.mirrored.isChecked() or None
        return self.paper.value, self.fill.value, back, self._correction()

    def _correction(self) -> Correction:
        """Return the correction of this computer's printer, as the cartoon has it."""
        try:
            return kept_correction()
        except EmblemaError as e:
            self.session.message.emit(str(e))
            return PLAIN

    def _note(self, doc: Commission, layout: Layout, paper: str, back: bool | None) -> Printed:
        name = "true size" if paper == TRUE else paper
        return print_of_sheets(doc, layout, name, back or doc.sheeting.laid == "mirrored")

    def write(self, folder: str) -> None:
        """Write everything about the sheets as they stand."""
        work, how = self._work(), self._how()
        if work is not None:

            def do() -> Printed:
                write_sheets(folder, *work, *how[:3], correction=how[3])
                return self._note(*work, how[0], how[2])

            self.session.write(folder, do, self.session.note_print)

    def _to_print(self) -> Callable[[], Made] | None:
        work, how = self._work(), self._how()
        if work is None:
            return None

        def make() -> Made:
            pages = tuple(sheet_pages(*work, sheets_of(*work), *how))
            return pages, self._note(*work, how[0], how[2])

        return make

    def look_at_sheets(self) -> None:
        """Show the page of each sheet."""
        how = self._how()

        def pages(doc: Commission, layout: Layout) -> Iterator[Page]:
            return sheet_pages(doc, layout, sheets_of(doc, layout), *how)

        self._look("Sheets", pages)

    def look_at_plan(self) -> None:
        """Show the key plan and the setter's notes."""

        def pages(doc: Commission, layout: Layout) -> Iterator[Page]:
            sheets = sheets_of(doc, layout)
            yield from keyplan_pages(doc, layout, sheets)
            yield notes_page(doc, layout, sheets)

        self._look("Key plan and notes", pages)

    def _look(self, title: str, pages: Callable[[Commission, Layout], Iterator[Page]]) -> None:
        work = self._work()
        if work is not None:
            self.shown = Preview(self, self.session, title, lambda: pages(*work))
            self.shown.show()
