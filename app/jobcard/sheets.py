"""Sheets: the full-size cartoon for paper-face mounting."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QFileDialog, QProgressBar, QWidget

from app.canvas import Bench
from app.jobcard.base import Leaf
from app.jobcard.prints import Prints, print_of
from app.jobs import Progress
from app.painting import print_pages, write_cartoon_pdf
from app.theme import INK, SLATE, STONE, VERDIGRIS
from app.widgets import Choice, Switch, button, row, text
from core.cartoon import PAPERS, WHOLE, cartoon_pages, tiles
from core.commission import Printed
from core.figures import CAUTIONS

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

WIDE = 352  # of the job card


class PageMap(QWidget):
    """How the cartoon divides over its pages."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench
        self.paper, self.mirrored = "A4", False

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the map."""
        doc = self.bench.session.doc
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        flip = doc.width_mm if self.mirrored else 0.0
        by = min((self.width() - 8) / doc.width_mm, (self.height() - 8) / doc.height_mm)
        left = (self.width() - doc.width_mm * by) / 2
        p.translate(left, 4)
        p.fillRect(QRectF(0, 0, doc.width_mm * by, doc.height_mm * by), QColor("white"))
        p.setPen(QPen(QColor(STONE), 0.8))
        for f in doc.fields:
            for part in f.outline:
                for ring in part:
                    for a, b in zip(ring, (*ring[1:], ring[0]), strict=True):
                        ax, bx = abs(flip - a[0]) * by, abs(flip - b[0]) * by
                        p.drawLine(QPointF(ax, a[1] * by), QPointF(bx, b[1] * by))
        parts = tiles(doc, self.paper)
        for t in parts:
            p.setPen(QPen(QColor(VERDIGRIS), 1.2))
            box = QRectF(t.x0 * by, t.y0 * by, (t.x1 - t.x0) * by, (t.y1 - t.y0) * by)
            p.drawRect(box)
            if len(parts) > 1 and box.height() > 14:
                p.setPen(QColor(INK if len(parts) < 40 else SLATE))
                p.drawText(box, Qt.AlignmentFlag.AlignCenter, t.name)
        p.end()


class SheetsLeaf(Leaf):
    """The cartoon on paper."""

    name = "Sheets"
    purpose = "The cartoon at its true size, for laying under the sticky film."

    def build(self) -> None:
        words = [(k, f"{k}, {v[0]:g} x {v[1]:g} mm") for k, v in PAPERS.items()]
        self.paper = Choice("Paper", [*words, (WHOLE, "one page, the finished size")], self._paper)
        self.mirrored = Switch(
            "Mirrored, as laid face down",
            lambda on: self.refresh(),
            "For work laid upside down; words stay readable",
        )
        self.print = button("Print the cartoon ...", self.ask_print)
        self.progress = QProgressBar()
        self.progress.setRange(0, 100)
        self._halt: Callable[[], None] = lambda: None
        self.stop = button("Stop", lambda: self._halt())
        self.printing = row(self.progress, self.stop)
        self.printing.hide()
        self.map = PageMap(self.bench)
        self.pages = text("", "hint")
        self.group(
            "Cartoon",
            self.paper,
            self.mirrored,
            self.map,
            self.pages,
            button("Write the cartoon as PDF ...", self.choose, "main"),
            self.print,
            self.printing,
        )
        self.prints = Prints(self.session)
        self.group("Printed", self.prints)
        self.group(
            "Before you lay over it",
            text(
                "Print at 100 %, never fitted to the page. Measure both check bars with a steel "
                "rule: 100 mm each, across and up. Trim to the corner marks and lap the pages "
                "by 10 mm.",
                "hint",
            ),
        )
        self.group("With care", *(text(c, "hint") for c in CAUTIONS))

    def _paper(self, paper: str) -> None:
        self.map.paper = paper
        self.refresh()

    def choose(self) -> None:
        """Ask where, and write."""
        path, _ = QFileDialog.getSaveFileName(
            self, "Write the cartoon", "cartoon.pdf", "PDF (*.pdf)"
        )
        if path:
            self.write(path)

    def write(self, path: str) -> None:
        """Write the cartoon of the layout as it stands."""
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None or doc is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        paper, mirrored = self.paper.value, self.mirrored.isChecked()

        def do() -> Printed:
            write_cartoon_pdf(path, doc, layout, paper, mirrored)
            return print_of(doc, layout, paper, mirrored)

        self.session.write(path, do, self.session.note_print)

    def ask_print(self) -> None:
        """Ask for a printer, and print."""
        from PySide6.QtPrintSupport import QPrintDialog, QPrinter

        printer = QPrinter(QPrinter.PrinterMode.HighResolution)
        if QPrintDialog(printer, self).exec():
            self.print_on(printer)

    def print_on(self, printer: QPrinter) -> None:
        """Print the cartoon of the layout as it stands, at its true size, in the background."""
        layout, doc = self.session.layout, self.session.laid_doc
        if layout is None or doc is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        paper, mirrored = self.paper.value, self.mirrored.isChecked()

        def work(progress: Progress, stop: Callable[[], bool]) -> tuple[int, Printed]:
            pages = cartoon_pages(doc, layout, paper, mirrored)
            sent = print_pages(printer, pages, progress, stop)
            return sent, print_of(doc, layout, paper, mirrored)

        def then(done: tuple[int, Printed]) -> None:
            self.session.note_print(done[1])
            self.session.message.emit(f"{done[0]} pages sent to the printer, at 100 %.")

        self._show_progress(0.0, "Drawing the pages ...")
        self._show_printing(True)
        self._halt = self.session.errands.watch(
            work,
            self._show_progress,
            then,
            lambda: self._show_printing(False),
        )

    def _show_printing(self, on: bool) -> None:
        self.print.setVisible(not on)
        self.printing.setVisible(on)

    def _show_progress(self, share: float, what: str) -> None:
        self.progress.setValue(round(100 * share))
        self.progress.setFormat(what)

    def refresh(self) -> None:
        n = len(tiles(self.doc, self.paper.value))
        self.pages.setText(f"{n} page{'s' if n > 1 else ''} and the key page.")
        self.map.mirrored = self.mirrored.isChecked()
        high = (WIDE - 72) * self.doc.height_mm / self.doc.width_mm
        self.map.setFixedHeight(int(min(300, max(90, high))) + 8)
        self.map.update()

    def draw(self) -> None:
        self.prints.refresh()
