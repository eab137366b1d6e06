"""A button that prints pages at their true size in the background, with progress and a stop."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from PySide6.QtWidgets import QProgressBar, QVBoxLayout, QWidget

from app.jobs import Progress
from app.painting import print_pages
from app.session import Session
from app.widgets import button, row
from core.commission import Printed
from core.drawing import Page

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

Made = tuple[Sequence[Page], Printed]


class Printing(QWidget):
    """Print; `ask` returns what makes the pages and the note of them, or None where it said why."""

    def __init__(
        self, session: Session, words: str, ask: Callable[[], Callable[[], Made] | None]
    ) -> None:
        super().__init__()
        self.session, self._ask = session, ask
        self.print = button(words, self.ask_print)
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self._halt: Callable[[], None] = lambda: None
        self.stop = button("Stop", lambda: self._halt())
        self.going = row(self.progress, self.stop)
        self.going.hide()
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        for w in (self.print, self.going):
            box.addWidget(w)

    def ask_print(self) -> None:
        """Ask for a printer, and print."""
        from PySide6.QtPrintSupport import QPrintDialog, QPrinter

        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        if QPrintDialog(printer, self).exec():
            self.print_on(printer)

    def print_on(self, printer: QPrinter) -> None:
        """Print the pages of the layout as it stands."""
        make = self._ask()
        if make is None:
            return

        def work(progress: Progress, stop: Callable[[], bool]) -> tuple[int, Printed]:
            pages, note = make()
            return print_pages(printer, pages, progress, stop), note

        def then(done: tuple[int, Printed]) -> None:
            self.session.note_print(done[1])
            self.session.message.emit(f"{done[0]} pages sent to the printer, at 100 %.")

        self._show_progress(0.0, "Drawing the pages ...")
        self._show_going(True)
        self._halt = self.session.errands.watch(
            work, self._show_progress, then, lambda: self._show_going(False)
        )

    def _show_going(self, on: bool) -> None:
        self.print.setVisible(not on)
        self.going.setVisible(on)

    def _show_progress(self, share: float, what: str) -> None:
        self.progress.setValue(round(100 * share))
        self.progress.setFormat(what)
