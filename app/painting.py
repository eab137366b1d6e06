"""Paints pages of data with Qt: to the screen, to a printer, and to PDF true to a tenth of a mm."""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PySide6.QtCore import QMarginsF, QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QGuiApplication,
    QImage,
    QPageLayout,
    QPageSize,
    QPainter,
    QPainterPath,
    QPdfWriter,
    QPen,
)

from core.cartoon import NUMBERS, pages_by_turns
from core.commission import Commission
from core.drawing import Item, Page, Picture, Text
from core.errors import EmblemaError, Stopped
from core.files import write_whole
from core.paper.printer import TRUE, Correction
from core.pieces import Layout

if TYPE_CHECKING:
    from PySide6.QtPrintSupport import QPrinter

POINTS_PER_MM = 72 / 25.4
PDF_DPI = 2400
MOST_UNITS = 14_400  # of a PDF page at UserUnit 1 (PDF 1.6)
_FONT_PX = 100.0

Size = tuple[float, float]  # of a page: its width and height, mm


_kept: list[QGuiApplication] = []  # or it would be gone before its fonts are


def ensure_gui() -> None:
    """Begin an application without a screen if there is none yet: text needs one."""
    if QGuiApplication.instance() is None:
        if not os.environ.get("DISPLAY") and not os.environ.get("WAYLAND_DISPLAY"):
            os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
        _kept.append(QGuiApplication([]))


def paint_page(painter: QPainter, page: Page, px_per_mm: float) -> None:
    """Paint a page with its upper left corner at the painter's origin."""
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    if page.clip_mm is not None:
        painter.save()
        x0, y0, x1, y1 = (v * px_per_mm for v in page.clip_mm)
        painter.setClipRect(QRectF(x0, y0, x1 - x0, y1 - y0))
    letters = _Letters(painter.font())
    for item in page.items:
        _paint(painter, item, px_per_mm, letters)
    if page.clip_mm is not None:
        painter.restore()
    for item in page.over:
        _paint(painter, item, px_per_mm, letters)
    painter.restore()


class _Letters:
    """A page's letters, plain and bold, and how wide its words are: most stand there often."""

    def __init__(self, font: QFont) -> None:
        self._font = font
        self._known: dict[bool, tuple[QFont, QFontMetricsF]] = {}
        self._wide: dict[tuple[str, bool], float] = {}

    def of(self, words: str, bold: bool) -> tuple[QFont, float, float]:
        """Return the font, the width of words in it, and the height of its capitals, px."""
        if bold not in self._known:
            font = QFont(self._font)
            font.setPixelSize(int(_FONT_PX))
            font.setBold(bold)
            self._known[bold] = font, QFontMetricsF(font)
        font, metrics = self._known[bold]
        if (words, bold) not in self._wide:
            self._wide[words, bold] = metrics.horizontalAdvance(words)
        return font, self._wide[words, bold], metrics.capHeight()


def _paint(painter: QPainter, item: Item, px_per_mm: float, letters: _Letters) -> None:
    if isinstance(item, Text):
        _paint_text(painter, item, px_per_mm, letters)
        return
    if isinstance(item, Picture):
        _paint_picture(painter, item, px_per_mm)
        return
    if not len(item.starts):
        return
    path = QPainterPath()
    ends = np.r_[item.starts[1:], len(item.points)]
    points = item.points * px_per_mm
    for start, end in zip(item.starts.tolist(), ends.tolist(), strict=True):
        if end - start < 2:
            continue
        path.moveTo(*points[start])
        for x, y in points[start + 1 : end].tolist():
            path.lineTo(x, y)
        if item.closed:
            path.closeSubpath()
    if item.fill is not None:
        painter.fillPath(path, QColor(*item.fill))
    if item.pen is not None:
        pen = QPen(QColor(*item.pen), item.pen_mm * px_per_mm)
        pen.setJoinStyle(Qt.PenJoinStyle.MiterJoin)
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        painter.strokePath(path, pen)


def _paint_text(painter: QPainter, item: Text, px_per_mm: float, letters: _Letters) -> None:
    if not item.words or item.size_mm <= 0:
        return
    font, wide, high = letters.of(item.words, item.bold)
    by = item.size_mm * px_per_mm / _FONT_PX
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[item.anchor]
    painter.save()
    painter.translate(QPointF(item.x_mm * px_per_mm, item.y_mm * px_per_mm))
    painter.rotate(item.turn_deg)
    painter.scale(by, by)
    painter.setFont(font)
    painter.setPen(QColor(*item.colour))
    painter.drawText(QPointF(left, high / 2), item.words)
    painter.restore()


def _paint_picture(painter: QPainter, item: Picture, px_per_mm: float) -> None:
    high, wide = item.pixels.shape[:2]
    pixels = np.ascontiguousarray(item.pixels)
    image = QImage(pixels.data, wide, high, 3 * wide, QImage.Format.Format_RGB888)
    box = (item.x_mm, item.y_mm, item.width_mm, item.height_mm)
    painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
    painter.drawImage(QRectF(*(v * px_per_mm for v in box)), image)


def write_pdf(path: str | Path, pages: Iterable[Page], title: str) -> None:
    """Write pages of any size as one PDF, each page's box exactly its size.

    Raises
    ------
    core.errors.EmblemaError
        The file cannot be written.
    """
    ensure_gui()
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "pages.pdf"
        data = _true_boxes(raw, _paint_pdf(raw, pages, title))
    write_whole(path, lambda out: out.write(data))


def _unit(size: Size) -> float:
    """Return how many mm of the page one mm of the PDF stands for (UserUnit)."""
    longest = max(size) * POINTS_PER_MM
    return max(1.0, float(np.ceil(longest / MOST_UNITS)))


def _paint_pdf(raw: Path, pages: Iterable[Page], title: str) -> list[Size]:
    """Paint pages, each as it comes, and return their sizes."""
    writer = QPdfWriter(str(raw))
    writer.setResolution(PDF_DPI)
    writer.setTitle(title)
    writer.setCreator("Emblema")
    painter = QPainter()
    try:
        return _paint_pages(writer, painter, pages)
    finally:
        painter.end()


def _upright(size: QSizeF) -> tuple[QSizeF, QPageLayout.Orientation]:
    """Return a page's size upright, as Qt wants it, and how the page lies."""
    if size.width() > size.height():
        return size.transposed(), QPageLayout.Orientation.Landscape
    return size, QPageLayout.Orientation.Portrait


def _paint_pages(writer: QPdfWriter, painter: QPainter, pages: Iterable[Page]) -> list[Size]:
    sizes: list[Size] = []
    for page in pages:
        sizes.append((page.width_mm, page.height_mm))
        unit = _unit(sizes[-1])
        # the writer rounds its boxes to whole points: take a size up, and cut it true afterwards
        size = QSizeF(
            np.ceil(page.width_mm / unit * POINTS_PER_MM) + 1,
            np.ceil(page.height_mm / unit * POINTS_PER_MM) + 1,
        )
        upright, lies = _upright(size)
        writer.setPageLayout(
            QPageLayout(
                QPageSize(upright, QPageSize.Unit.Point, "", QPageSize.SizeMatchPolicy.ExactMatch),
                lies,
                QMarginsF(0, 0, 0, 0),
            )
        )
        if len(sizes) == 1:
            painter.begin(writer)
        else:
            writer.newPage()
        paint_page(painter, page, PDF_DPI / 25.4 / unit)
    return sizes


def print_pages(
    printer: QPrinter,
    pages: Sequence[Page],
    progress: Callable[[float, str], object] = lambda share, what: None,
    stop: Callable[[], bool] = lambda: False,
) -> int:
    """Print pages at their true size; return how many. Any thread may do it.

    Where a range was chosen for the printer only that is printed. A printer that writes a file
    writes it aside first, so that what stood there stays unless all is printed.

    Raises
    ------
    core.errors.EmblemaError
        The printer does not take a page, or its file cannot be written.
    core.errors.Stopped
        `stop` answered True; it says what became of the pages already painted.
    """
    if printer.fromPage():
        of, pages = len(pages), pages[printer.fromPage() - 1 : printer.toPage()]
        if not pages:
            raise EmblemaError(f"There are no such pages: the cartoon has {of}.")
    asked = printer.outputFileName()
    if not asked:
        _print(printer, pages, progress, stop)
        return len(pages)
    with tempfile.TemporaryDirectory() as folder:
        aside = Path(folder) / Path(asked).name
        printer.setOutputFileName(str(aside))
        try:
            _print(printer, pages, progress, stop)
        finally:
            printer.setOutputFileName(asked)
        data = aside.read_bytes()
    write_whole(asked, lambda out: out.write(data))
    return len(pages)


def _print(
    printer: QPrinter,
    pages: Sequence[Page],
    progress: Callable[[float, str], object],
    stop: Callable[[], bool],
) -> None:
    painter, n = QPainter(), len(pages)
    printer.setFullPage(True)
    try:
        for k, page in enumerate(pages):
            if stop():
                raise Stopped(_given_up(printer, k, n))
            progress(k / n, f"Printing page {k + 1} of {n}")
            upright, lies = _upright(QSizeF(page.width_mm, page.height_mm))
            printer.setPageSize(QPageSize(upright, QPageSize.Unit.Millimeter))
            printer.setPageOrientation(lies)
            if not (printer.newPage() if k else painter.begin(printer)):
                raise EmblemaError(
                    f"The printer took {k} of {n} pages and no more."
                    if k
                    else "The printer did not take the cartoon. See that it is on and reachable, "
                    "or write the cartoon as PDF."
                )
            paint_page(painter, page, printer.resolution() / 25.4)
    finally:
        if painter.isActive():
            painter.end()


def _given_up(printer: QPrinter, painted: int, of: int) -> str:
    """Give a print up; return what became of the pages already painted."""
    if not painted or printer.outputFileName() or printer.abort():
        return "Stopped; nothing was printed."
    return f"Stopped; {painted} of {of} pages are with the printer."


def _true_boxes(raw: Path, sizes: list[Size]) -> bytes:
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import FloatObject, NameObject, RectangleObject

    out = PdfWriter(clone_from=PdfReader(str(raw)))
    for leaf, (wide, high) in zip(out.pages, sizes, strict=True):
        unit = _unit((wide, high))
        top = float(leaf.mediabox.top)  # the upper left corner is kept
        box = RectangleObject(
            (
                0.0,
                top - high / unit * POINTS_PER_MM,
                wide / unit * POINTS_PER_MM,
                top,
            )
        )
        for name in ("/MediaBox", "/CropBox", "/BleedBox", "/TrimBox", "/ArtBox"):
            leaf[NameObject(name)] = box
        if unit > 1:
            leaf[NameObject("/UserUnit")] = FloatObject(unit)
    out.pdf_header = "%PDF-1.6"  # UserUnit came with it
    data = io.BytesIO()
    out.write(data)
    return data.getvalue()


def write_cartoon_pdf(
    path: str | Path,
    doc: Commission,
    layout: Layout,
    paper: str = "A4",
    mirrored: bool = False,
    codes: str = NUMBERS,
    correction: Correction = TRUE,
) -> None:
    """Write the cartoon at its true size (see `core.cartoon`)."""
    pages = pages_by_turns(doc, layout, paper, mirrored, codes, correction)
    write_pdf(path, pages, doc.title)
