"""What the eye blends: the work from where people will stand, and with other colour vision."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from app.canvas import Bench
from app.jobs import Progress, Worker
from app.session import Session
from app.widgets import Choice, Slide, text
from core.colour.convert import Floats
from core.colour.distance_view import (
    VISIONS,
    blended_size_mm,
    blending_distance_mm,
    bytes_of,
    linear_picture,
    seen_from,
    seen_with,
)
from core.colour.shown import shown_lab
from core.commission import Commission
from core.pieces import Layout

PREVIEW_PX = 560  # along the longer side
METRES = (0.5, 1, 1.5, 2, 3, 4, 5, 7, 10, 15, 20, 30, 40, 60)
EYES = (
    ("", "most eyes"),
    *((v, f"{v} eyes") for v in VISIONS),
)


class SeenFrom(QWidget):
    """A preview of what is seen from a distance, made off the interface thread."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench = session, bench
        self.eyes = Choice("Seen with", EYES, lambda _: self.look())
        self.far = Slide("From", 0, len(METRES) - 1, lambda _: self.look(), self._words)
        self.far.show_value(METRES.index(3))
        self.picture = QLabel()
        self.picture.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.picture.setMinimumHeight(120)
        self.blends = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (self.far, self.eyes, self.picture, self.blends):
            box.addWidget(w)
        self._painted: tuple[Layout, float, Floats] | None = None
        self._asked: tuple[Layout, float, str] | None = None
        self._job = 0
        self._worker = Worker(self)
        self._worker.done.connect(self._done)
        self._worker.failed.connect(self._failed)

    @staticmethod
    def _words(k: int) -> str:
        return f"{METRES[k]:g} m"

    @property
    def metres(self) -> float:
        """How far off the eye is."""
        return float(METRES[self.far.slider.value()])

    def look(self) -> None:
        """Ask for the preview of the layout as it stands."""
        layout, doc = self.session.layout, self.session.laid_doc
        far = 1000 * self.metres
        size = min((f.laying.tessera_mm for f in doc.fields), default=10.0) if doc else 10.0
        self.blends.setText(
            f"At {self.metres:g} m all below {blended_size_mm(far):.1f} mm blends (1 arc minute). "
            f"Tesserae of {size:g} mm blend from {blending_distance_mm(size) / 1000:.0f} m, "
            "nearer where they are alike in lightness."
        )
        if layout is None or doc is None:
            self._asked = None
            self.picture.setText("Nothing laid yet")
            return
        vision, kept, asked = self.eyes.value, self._painted, self._asked
        if asked is not None and asked[0] is layout and asked[1:] == (far, vision):
            return
        self._asked = (layout, far, vision)

        def work(progress: Progress, stop: object) -> tuple[Layout, float, Floats, QImage]:
            if kept is not None and kept[0] is layout:
                step, linear = kept[1], kept[2]
            else:
                step, linear = paint(doc, layout)
            seen = seen_from(linear, step, far)
            if vision:
                seen = seen_with(seen, vision)
            pixels = np.ascontiguousarray(bytes_of(seen))
            h, w = pixels.shape[:2]
            image = QImage(pixels.data, w, h, 3 * w, QImage.Format.Format_RGB888).copy()
            return layout, step, linear, image

        self._job = self._worker.ask(work)

    def _done(self, number: int, result: tuple[Layout, float, Floats, QImage]) -> None:
        layout, step, linear, image = result
        self._painted = (layout, step, linear)
        if number == self._job:
            wide = max(self.width(), 200)
            self.picture.setPixmap(
                QPixmap.fromImage(image).scaled(
                    wide,
                    300,
                    Qt.AspectRatioMode.KeepAspectRatio,
                    Qt.TransformationMode.SmoothTransformation,
                )
            )

    def _failed(self, number: int, words: str) -> None:
        self._asked = None
        self.session.message.emit(words)

    def end(self) -> None:
        """End the background work."""
        self._worker.close()

    def settled(self) -> bool:
        """Whether the newest preview is shown."""
        return self._worker.idle


def paint(doc: Commission, layout: Layout) -> tuple[float, Floats]:
    """Return mm a pixel, and the layout in linear light at that scale."""
    step = max(doc.width_mm, doc.height_mm) / PREVIEW_PX
    some = [f for f in layout.fields if len(f.pieces)]
    polygons = np.concatenate([f.pieces.polygons for f in some] or [np.empty(0, object)])
    lab = np.concatenate([shown_lab(doc, f) for f in some] or [np.empty((0, 3))])
    size = (doc.width_mm, doc.height_mm)
    return step, linear_picture(polygons, lab, doc.grout_lab, size, step)
