"""Paints pages of data with Qt: to the screen, to a printer, and to PDF true to a tenth of a mm."""

from __future__ import annotations

import io
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from PySide6.QtCore import QMarginsF, QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QGuiApplication,
    QPageLayout,
    QPageSize,
    QPainter,
    QPainterPath,
    QPdfWriter,
    QPen,
)

from core.cartoon import cartoon_pages
from core.commission import Commission
from core.drawing import Page, Paths, Text
from core.files import write_whole
from core.pieces import Layout

POINTS_PER_MM = 72 / 25.4
PDF_DPI = 2400
MOST_UNITS = 14_400  # of a PDF page at UserUnit 1 (PDF 1.6)
_FONT_PX = 100.0


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
    for item in page.items:
        _paint(painter, item, px_per_mm)
    if page.clip_mm is not None:
        painter.restore()
    for item in page.over:
        _paint(painter, item, px_per_mm)
    painter.restore()


def _paint(painter: QPainter, item: Paths | Text, px_per_mm: float) -> None:
    if isinstance(item, Text):
        _paint_text(painter, item, px_per_mm)
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


def _paint_text(painter: QPainter, item: Text, px_per_mm: float) -> None:
    if not item.words or item.size_mm <= 0:
        return
    font = QFont(painter.font())
    font.setPixelSize(int(_FONT_PX))
    font.setBold(item.bold)
    metrics = QFontMetricsF(font)
    by = item.size_mm * px_per_mm / _FONT_PX
    wide = metrics.horizontalAdvance(item.words)
    left = {"start": 0.0, "middle": -wide / 2, "end": -wide}[item.anchor]
    painter.save()
    painter.translate(QPointF(item.x_mm * px_per_mm, item.y_mm * px_per_mm))
    painter.rotate(item.turn_deg)
    painter.scale(by, by)
    painter.setFont(font)
    painter.setPen(QColor(*item.colour))
    painter.drawText(QPointF(left, metrics.capHeight() / 2), item.words)
    painter.restore()


def write_pdf(path: str | Path, pages: Iterable[Page], title: str) -> None:
    """Write pages of any size as one PDF, each page's box exactly its size.

    Raises
    ------
    core.errors.EmblemaError
        The file cannot be written.
    """
    ensure_gui()
    pages = list(pages)
    with tempfile.TemporaryDirectory() as folder:
        raw = Path(folder) / "pages.pdf"
        _paint_pdf(raw, pages, title)
        data = _true_boxes(raw, pages)
    write_whole(path, lambda out: out.write(data))


def _unit(page: Page) -> float:
    """Return how many mm of the page one mm of the PDF stands for (UserUnit)."""
    longest = max(page.width_mm, page.height_mm) * POINTS_PER_MM
    return max(1.0, float(np.ceil(longest / MOST_UNITS)))


def _paint_pdf(raw: Path, pages: list[Page], title: str) -> None:
    writer = QPdfWriter(str(raw))
    writer.setResolution(PDF_DPI)
    writer.setTitle(title)
    writer.setCreator("Emblema")
    painter = QPainter()
    try:
        _paint_pages(writer, painter, pages)
    finally:
        painter.end()


def _paint_pages(writer: QPdfWriter, painter: QPainter, pages: list[Page]) -> None:
    for k, page in enumerate(pages):
        unit = _unit(page)
        # the writer rounds its boxes to whole points: take a size up, and cut it true afterwards
        size = QSizeF(
            np.ceil(page.width_mm / unit * POINTS_PER_MM) + 1,
            np.ceil(page.height_mm / unit * POINTS_PER_MM) + 1,
        )
        # QPageSize wants a portrait size; the layout lays it down again
        lying = size.width() > size.height()
        upright = size.transposed() if lying else size
        writer.setPageLayout(
            QPageLayout(
                QPageSize(upright, QPageSize.Unit.Point, "", QPageSize.SizeMatchPolicy.ExactMatch),
                QPageLayout.Orientation.Landscape if lying else QPageLayout.Orientation.Portrait,
                QMarginsF(0, 0, 0, 0),
            )
        )
        if k == 0:
            painter.begin(writer)
        else:
            writer.newPage()
        paint_page(painter, page, PDF_DPI / 25.4 / unit)


def _true_boxes(raw: Path, pages: list[Page]) -> bytes:
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import FloatObject, NameObject, RectangleObject

    out = PdfWriter(clone_from=PdfReader(str(raw)))
    for leaf, page in zip(out.pages, pages, strict=True):
        unit = _unit(page)
        top = float(leaf.mediabox.top)  # the upper left corner is kept
        box = RectangleObject(
            (
                0.0,
                top - page.height_mm / unit * POINTS_PER_MM,
                page.width_mm / unit * POINTS_PER_MM,
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
    path: str | Path, doc: Commission, layout: Layout, paper: str = "A4", mirrored: bool = False
) -> None:
    """Write the cartoon at its true size (see `core.cartoon`)."""
    write_pdf(path, cartoon_pages(doc, layout, paper, mirrored), doc.title)
