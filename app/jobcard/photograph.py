"""Colours read from a photograph that shows a colour chart or a grey card beside the samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import (
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from app.jobs import Worker
from app.session import Session
from app.theme import RUST, VERDIGRIS
from app.widgets import Choice, button, text
from core.colour.chart import (
    Correction,
    Reading,
    correction_from_chart,
    correction_from_grey,
    read_sample,
)
from core.colour.convert import swatch_rgb
from core.errors import EmblemaError
from core.material import KINDS, Material
from core.sketch import read_image
from core.stock import StockStore

CORNERS = ("dark skin", "bluish green", "black", "white")
PICTURES = "Pictures (*.png *.jpg *.jpeg *.tif *.tiff *.webp *.bmp)"


class Photo(QWidget):
    """The photograph: clicks mark corners, a drag marks a rectangle; places are its pixels."""

    clicked = Signal(float, float)
    dragged = Signal(float, float, float, float)

    def __init__(self) -> None:
        super().__init__()
        self.image: QImage | None = None
        self.corners: list[tuple[float, float]] = []
        self.boxes: list[tuple[float, float, float, float]] = []
        self._from: QPointF | None = None
        self._to: QPointF | None = None
        self.setMinimumSize(420, 320)
        self.setCursor(Qt.CursorShape.CrossCursor)

    def _scale(self) -> tuple[float, float, float]:
        if self.image is None or self.image.isNull():
            return 1.0, 0.0, 0.0
        w, h = self.image.width(), self.image.height()
        by = min(self.width() / w, self.height() / h)
        return by, (self.width() - w * by) / 2, (self.height() - h * by) / 2

    def to_widget(self, x: float, y: float) -> QPointF:
        """Return where a pixel of the photograph is shown."""
        by, left, top = self._scale()
        return QPointF(left + x * by, top + y * by)

    def to_photo(self, at: QPointF) -> tuple[float, float]:
        """Return the photograph's pixel under a place."""
        by, left, top = self._scale()
        return (at.x() - left) / by, (at.y() - top) / by

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the photograph and what is marked."""
        p = QPainter(self)
        p.fillRect(self.rect(), QColor("#4a4a48"))
        if self.image is None:
            p.setPen(QColor("white"))
            p.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "Open a photograph")
            p.end()
            return
        by, left, top = self._scale()
        p.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.drawImage(
            QRectF(left, top, self.image.width() * by, self.image.height() * by), self.image
        )
        boxes = [QRectF(self.to_widget(*b[:2]), self.to_widget(*b[2:])) for b in self.boxes]
        if self._from is not None and self._to is not None:
            boxes.append(QRectF(self._from, self._to).normalized())
        points = [self.to_widget(*c) for c in self.corners]
        for colour, width in ((QColor("white"), 4.0), (QColor(RUST), 2.0)):
            p.setPen(QPen(colour, width))
            for box in boxes:
                p.drawRect(box)
        for colour, width in ((QColor("white"), 4.0), (QColor(VERDIGRIS), 2.0)):
            p.setPen(QPen(colour, width))
            for point in points:
                p.drawEllipse(point, 8, 8)
            if len(points) == 4:
                p.drawPolygon(points)
        p.end()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a click or a drag."""
        self._from = self._to = event.position()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Draw the rectangle larger."""
        self._to = event.position()
        self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Tell of the click or the rectangle."""
        start, self._from, self._to = self._from, None, None
        self.update()
        if start is None or self.image is None:
            return
        end = event.position()
        if (end - start).manhattanLength() < 6:
            self.clicked.emit(*self.to_photo(end))
            return
        (x0, y0), (x1, y1) = self.to_photo(start), self.to_photo(end)
        self.dragged.emit(min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1))


class Photograph(QDialog):
    """Open a photograph, put its colours right by the chart, read samples, stock them."""

    def __init__(
        self, session: Session, parent: QWidget | None = None, path: Path | None = None
    ) -> None:
        super().__init__(parent)
        self.session = session
        self.store = StockStore(path)
        self.pixels: NDArray[np.uint8] | None = None
        self.correction: Correction | None = None
        self.reading: Reading | None = None
        self._marking = False
        self._grey = False
        self.setWindowTitle("Colour from a photograph")
        self.resize(1040, 680)
        self.photo = Photo()
        self.photo.clicked.connect(self._corner)
        self.photo.dragged.connect(self._box)
        self.by_chart = text("Open a photograph with the chart lying beside the samples.", "hint")
        self.find_button = button("Find the chart", self.find)
        self.mark_button = button("Mark its four corners", self.mark)
        self.grey_button = button("Use a grey card", self.grey)
        self.read_words = text("Then drag a rectangle over a sample.", "hint")
        self.swatch = text("")
        self.swatch.setFixedHeight(64)
        self.code = QLineEdit()
        self.code.setPlaceholderText("the studio's code")
        self.code.textChanged.connect(lambda _: self._show())
        self.description = QLineEdit()
        self.description.setPlaceholderText("in a few words")
        self.kind = Choice("Kind", tuple((k, k) for k in KINDS), lambda _: None)
        self.add_button = button("Add to the stock", self.add, "main")
        self.told = text("", "warn")
        side = QVBoxLayout()
        for w in (
            button("Open a photograph ...", self.choose, "main"),
            text("The light", "head"),
            self.by_chart,
            self.find_button,
            self.mark_button,
            self.grey_button,
            text("The sample", "head"),
            self.read_words,
            self.swatch,
            self.code,
            self.description,
            self.kind,
            self.add_button,
            self.told,
        ):
            side.addWidget(w)
        side.addStretch(1)
        side.addWidget(button("Close", self.accept))
        panel = QWidget()
        panel.setFixedWidth(320)
        panel.setLayout(side)
        box = QHBoxLayout(self)
        box.addWidget(self.photo, 1)
        box.addWidget(panel)
        self._worker = Worker(self)
        self._worker.done.connect(lambda _, correction: self._corrected(correction))
        self._worker.failed.connect(lambda _, words: self._refused(words))
        self.finished.connect(lambda _: self._end())
        self._show()

    def _end(self) -> None:
        self._worker.close()
        self.store.close()

    def choose(self) -> None:
        """Ask for a photograph."""
        path, _ = QFileDialog.getOpenFileName(self, "A photograph with the chart", "", PICTURES)
        if path:
            self.open_photo(path)

    def open_photo(self, path: str) -> None:
        """Open a photograph and look for the chart."""
        try:
            pixels = np.ascontiguousarray(read_image(Path(path).read_bytes(), Path(path).name))
        except OSError as e:
            self.told.setText(f"'{path}' could not be read: {e.strerror}.")
            return
        except EmblemaError as e:
            self.told.setText(str(e))
            return
        h, w = pixels.shape[:2]
        self.pixels = pixels
        self.photo.image = QImage(pixels.data, w, h, 3 * w, QImage.Format.Format_RGB888).copy()
        self.photo.corners = []
        self.find()

    def _fit(self, make: Callable[[], Correction], words: str) -> None:
        self.told.setText("")
        self.by_chart.setText(words)
        self._put_right(None)
        self._worker.ask(lambda progress, stop: make())

    def _put_right(self, correction: Correction | None) -> None:
        """Take another correction; what was read by the one before no longer holds."""
        self.correction, self.reading = correction, None
        self.photo.boxes = []

    def find(self) -> None:
        """Look for the chart."""
        pixels = self.pixels
        if pixels is not None:
            self._fit(lambda: correction_from_chart(pixels), "Looking for the chart ...")

    def mark(self) -> None:
        """Let the four corner patches be clicked."""
        self._marking, self._grey = True, False
        self.photo.corners = []
        self._show()

    def grey(self) -> None:
        """Let a grey card be marked."""
        self._grey, self._marking = True, False
        self._show()

    def _corner(self, x: float, y: float) -> None:
        if not self._marking or self.pixels is None:
            return
        self.photo.corners.append((x, y))
        if len(self.photo.corners) == 4:
            self._marking = False
            pixels, corners = self.pixels, list(self.photo.corners)
            self._fit(lambda: correction_from_chart(pixels, corners), "Reading the chart ...")
        else:
            self._show()

    def _corrected(self, correction: Correction) -> None:
        self._put_right(correction)
        if correction.corners_px is not None:
            self.photo.corners = [(float(x), float(y)) for x, y in correction.corners_px]
        self._show()

    def _refused(self, words: str) -> None:
        self._put_right(None)
        self.told.setText(words)
        self._show()

    def _box(self, x0: float, y0: float, x1: float, y1: float) -> None:
        if self.pixels is None:
            return
        outline = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        self.told.setText("")
        try:
            if self._grey:
                self._grey = False
                self._put_right(correction_from_grey(self.pixels, outline))
            elif self.correction is None:
                self.told.setText("Put the light right first, by the chart or a grey card.")
            else:
                self.reading = read_sample(self.pixels, outline, self.correction)
                self.photo.boxes = [(x0, y0, x1, y1)]
        except EmblemaError as e:
            self.told.setText(str(e))
        self._show()

    def _show(self) -> None:
        c, r = self.correction, self.reading
        have = self.pixels is not None
        for b in (self.find_button, self.mark_button, self.grey_button):
            b.setEnabled(have)
        if self._marking:
            corner = CORNERS[len(self.photo.corners)]
            self.by_chart.setText(f"Click the middle of the corner patch: {corner}.")
        elif self._grey:
            self.by_chart.setText("Drag a rectangle over the grey card (18 per cent).")
        elif c is None:
            self.by_chart.setText(
                "No light is put right yet."
                if have
                else "Open a photograph with the chart lying beside the samples."
            )
        elif c.sure:
            self.by_chart.setText(
                f"Put right by the chart ({c.method}). Its patches are off by "
                f"{c.mean_delta_e:.1f} in the mean, {c.worst_delta_e:.1f} at worst "
                f"({c.worst_patch}); expect {c.mean_unseen:.1f} of other colours. (CIEDE2000)"
            )
        else:
            self.by_chart.setText("Put right by a grey card: less sure than by a chart.")
        self.swatch.setVisible(r is not None)
        code = self.code.text().strip()
        stocked = code in self.store.available()
        self.add_button.setEnabled(r is not None and bool(code))
        self.add_button.setText(f"Give {code} this colour" if stocked else "Add to the stock")
        for of_new in (self.description, self.kind):
            of_new.setEnabled(not stocked)
        if r is not None:
            rgb, shown = swatch_rgb(r.lab)
            self.swatch.setStyleSheet(
                f"background: rgb({rgb[0]},{rgb[1]},{rgb[2]}); border-radius: 8px;"
            )
            self.read_words.setText(
                f"L* {r.lab[0]:.1f}  a* {r.lab[1]:.1f}  b* {r.lab[2]:.1f}; uneven by "
                f"{r.spread:.1f} (CIEDE2000), {100 * r.clipped:.0f} % gloss or shadow left out."
                + ("" if shown else " Screens cannot show it truly.")
                + ("" if r.sure else " By a grey card only: less sure.")
            )
        else:
            self.read_words.setText("Then drag a rectangle over a sample.")
        self.photo.update()

    def add(self) -> None:
        """Stock the sample under its code, or give the material of this code its colour."""
        if self.reading is None:
            return
        code = self.code.text().strip()
        light, a, b = (round(v, 2) for v in self.reading.lab)
        colour = {
            "lab": (light, a, b),
            "illuminant": "D65",
            "observer": 2,
            "obtained": "photograph" if self.reading.sure else "estimated",
        }
        try:
            if code in self.store.available():
                seen = self.store.material(code)
                self.store.change_material(code, replace(seen, **colour), seen=seen)
                said = f"{code} has this colour now."
            else:
                words = self.description.text().strip() or code
                self.store.add_material(Material(code, words, self.kind.value, **colour))
                said = f"{code} is in the stock. Enter its pieces in the stockroom."
        except EmblemaError as e:
            self.told.setText(str(e))
            return
        self.told.setText("")
        self.code.clear()
        self.description.clear()
        self.read_words.setText(said)

    def settled(self) -> bool:
        """Whether no chart is being read."""
        return self._worker.idle
