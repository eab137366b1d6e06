"""Colours read from a photograph that shows a colour chart or a grey card beside the samples."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import fileasking
from app.jobcard.photo import STEP, Box, Photo, copies_of
from app.jobs import Worker
from app.session import Session
from app.widgets import Choice, button, row, text
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
from core.pictures import Picture, read_picture
from core.stock import StockStore

CORNERS = (
    "first of row 1 (brown)",
    "last of row 1 (blue-green)",
    "last of row 4 (black)",
    "first of row 4 (white)",
)
PICTURES = "Pictures (*.png *.jpg *.jpeg *.tif *.tiff *.webp *.bmp)"


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
        self.resize(1180, 680)
        self.photo = Photo()
        self.photo.clicked.connect(self._corner)
        self.photo.dragged.connect(self._box)
        self.photo.corner_moved.connect(lambda *_: self._read_chart())
        self.of_picture = text("", "hint")
        self.of_picture.setVisible(False)
        self.by_chart = text("Open a photograph with the chart lying beside the samples.", "hint")
        self.find_button = button("Find the chart", self.find)
        self.mark_button = button("Mark its four corners", self.mark)
        self.grey_button = button("Use a grey card", self.grey)
        self.read_words = text("Then drag a rectangle over a sample.", "hint")
        self.doubtful = text("", "warn")
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
        only_read = text(self.store.why_only_read, "warn")
        only_read.setVisible(self.store.only_read)
        side = QVBoxLayout()
        for w in (
            button("Open a photograph ...", self.choose, "main"),
            self.of_picture,
            text("The light", "head"),
            self.by_chart,
            self.find_button,
            self.mark_button,
            self.grey_button,
            text("The sample", "head"),
            self.read_words,
            self.doubtful,
            self.swatch,
            self.code,
            self.description,
            self.kind,
            self.add_button,
            only_read,
            self.told,
        ):
            side.addWidget(w)
        side.addStretch(1)
        inner = QWidget()
        inner.setLayout(side)
        panel = QScrollArea()  # what is said of a doubtful photograph takes room
        panel.setWidget(inner)
        panel.setWidgetResizable(True)
        panel.setFrameShape(QFrame.Shape.NoFrame)
        panel.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        panel.setFixedWidth(336)
        self.closer = button("Closer", lambda: self.photo.zoom(STEP), tip="Or turn the wheel")
        self.whole = button("Whole picture", self.photo.whole)
        seen = QVBoxLayout()
        seen.addWidget(self.photo, 1)
        seen.addWidget(
            row(
                self.closer,
                self.whole,
                text(
                    "The wheel zooms; the middle button, or space held down, moves the picture. "
                    "What is marked can be dragged.",
                    "hint",
                ),
            )
        )
        box = QHBoxLayout(self)
        box.addLayout(seen, 1)
        right = QVBoxLayout()
        right.addWidget(panel, 1)
        right.addWidget(button("Close", self.accept))
        box.addLayout(right)
        self._worker = Worker(self)
        self._job = 0
        self._worker.done.connect(self._over)
        self._worker.failed.connect(
            lambda job, words: self._over(job, lambda: self._refused(words))
        )
        self.finished.connect(lambda _: self._end())
        self._show()

    def _end(self) -> None:
        self._job = -1  # what was on its way when the window closed finds no shelf to show
        self._worker.close()
        self.store.close()

    def choose(self) -> None:
        """Ask for a photograph."""
        path = fileasking.which_file(self, "A photograph with the chart", PICTURES, "pictures")
        if path:
            self.open_photo(path)

    def open_photo(self, path: str) -> None:
        """Open a photograph and look for the chart; a bad file leaves the one before."""

        def read() -> Callable[[], None]:
            picture = read_picture(Path(path), Path(path).name)
            copies = copies_of(picture.pixels)
            return lambda: self._opened(picture, copies)

        self.told.setText("")
        self.by_chart.setText("Reading the photograph ...")
        self._ask(read)

    def _opened(self, picture: Picture, copies: tuple[QImage, ...]) -> None:
        self.pixels = picture.pixels
        self.of_picture.setText(" ".join(picture.notes))
        self.of_picture.setVisible(bool(picture.notes))
        self.photo.show_copies(copies)
        self.find()

    def _fit(self, make: Callable[[], Correction], words: str) -> None:
        boxes = self.photo.boxes
        self.told.setText("")
        self._put_right(None)
        self._show()
        self.by_chart.setText(words)

        def fit() -> Callable[[], None]:
            correction = make()
            return lambda: self._corrected(correction, boxes)

        self._ask(fit)

    def _ask(self, work: Callable[[], Callable[[], None]]) -> None:
        """Do work aside; what it returns is done here, if nothing newer was asked meanwhile."""
        self._job = self._worker.ask(lambda progress, stop: work())

    def _over(self, job: int, then: Callable[[], None]) -> None:
        if job == self._job:
            then()

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
        # the card may lie where a sample was read, which another light would not leave as it is
        self.reading, self.photo.boxes = None, []
        self._show()

    def _corner(self, x: float, y: float) -> None:
        if not self._marking or self.pixels is None:
            return
        self.photo.corners.append((x, y))
        if len(self.photo.corners) == 4:
            self._marking = False
            self._read_chart()
        else:
            self._show()

    def _read_chart(self) -> None:
        """Read the chart by its four corners as they are marked."""
        pixels, corners = self.pixels, list(self.photo.corners)
        if pixels is not None and len(corners) == 4:
            self._fit(lambda: correction_from_chart(pixels, corners), "Reading the chart ...")

    def _corrected(self, correction: Correction, boxes: list[Box]) -> None:
        self._put_right(correction)
        if correction.corners_px is not None:
            self.photo.corners = [(float(x), float(y)) for x, y in correction.corners_px]
        self._show()
        for box in boxes:  # the sample read before, as it is in this light
            self._box(*box)

    def _refused(self, words: str) -> None:
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
        for b in (
            self.find_button,
            self.mark_button,
            self.grey_button,
            self.closer,
            self.whole,
        ):
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
                + "".join(f" Take care: {d}." for d in c.doubts)
            )
        else:
            self.by_chart.setText("Put right by a grey card: less sure than by a chart.")
        self.swatch.setVisible(r is not None)
        doubts = r.doubts if r is not None else ()
        self.doubtful.setVisible(bool(doubts))
        self.doubtful.setText(f"Doubtful: {'; '.join(doubts)}.")
        code = self.code.text().strip()
        stocked = code in self.store.available()
        may_add = not self.store.only_read
        self.code.setEnabled(may_add)
        self.add_button.setEnabled(may_add and r is not None and bool(code))
        self.add_button.setToolTip("" if may_add else self.store.why_only_read)
        self.add_button.setText(f"Give {code} this colour" if stocked else "Add to the stock")
        for of_new in (self.description, self.kind):
            of_new.setEnabled(may_add and not stocked)
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
        doubts = self.reading.doubts
        colour = {
            "lab": (light, a, b),
            "illuminant": "D65",
            "observer": 2,
            "obtained": "photograph" if self.reading.sure and not doubts else "estimated",
        }
        as_estimate = ", as an estimate since it is doubtful" if doubts else ""
        try:
            if code in self.store.available():
                seen = self.store.material(code)
                self.store.change_material(code, replace(seen, **colour), seen=seen)
                said = f"{code} has this colour now{as_estimate}."
            else:
                words = self.description.text().strip() or code
                self.store.add_material(Material(code, words, self.kind.value, **colour))
                said = f"{code} is in the stock{as_estimate}. Enter its pieces in the stockroom."
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
