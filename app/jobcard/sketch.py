"""Sketch: brought in, made true to size, laid in place, traced."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from app import fileasking
from app.jobcard.base import Leaf
from app.jobcard.tracing import Tracing
from app.tools.corners import CornersTool
from app.widgets import Number, Slide, button, text
from core.commission import Sketch
from core.sketch import import_sketch, place_sketch, scale_by_width

PICTURES = "Pictures (*.png *.jpg *.jpeg *.tif *.tiff *.webp *.bmp)"


class SketchLeaf(Leaf):
    """The client's sketch."""

    name = "Sketch"
    purpose = "Bring in the coloured sketch, make it true to size, and trace its fields."

    def build(self) -> None:
        self.state = text("", "hint")
        self.group(
            "Picture",
            self.state,
            button("Bring in a sketch ...", self.choose, "main"),
        )
        self.width_mm = Number("Its width", "mm", 1, 100_000, self._width, 1, 5)
        self.left = Number("Left edge", "mm", -100_000, 100_000, self._left, 1, 5)
        self.upper = Number("Upper edge", "mm", -100_000, 100_000, self._upper, 1, 5)
        self.turn = Number("Turned", "°", -180, 180, self._turn, 2, 0.5)
        self.placing = self.group(
            "Size and place",
            self.width_mm,
            self.left,
            self.upper,
            self.turn,
            button("Known length: measure it ...", lambda: self.bench.take("Measure")),
            button(
                "Straighten a photograph ...",
                self._straighten,
                tip="Mark the four corners of the sheet in a photograph taken at an angle",
            ),
        )
        self.opacity = Slide("Seen", 0, 100, self._opacity, lambda v: f"{v} %")
        self.opacity.show_value(100)
        self.group("On the bench", self.opacity)
        self.tracing = Tracing(self.session, self.bench)
        self.group("Trace from sketch", self.tracing)

    def end(self) -> None:
        self.tracing.end()

    def _straighten(self) -> None:
        self.bench.tools.setdefault(CornersTool.name, CornersTool(self.bench))
        self.bench.take(CornersTool.name)

    def choose(self) -> None:
        """Ask for a picture and bring it in."""
        path = fileasking.which_file(self, "The client's sketch", PICTURES, "pictures")
        if path:
            self.bring_in(path)

    def bring_in(self, path: str) -> None:
        """Bring a picture in as the sketch; a large scan is read aside."""
        doc = self.doc

        def read() -> tuple[Sketch | None, dict[str, bytes], tuple[str, ...]]:
            brought, images, notes = import_sketch(doc, Path(path), Path(path).name)
            return brought.sketch, images, notes

        def take(found: tuple[Sketch | None, dict[str, bytes], tuple[str, ...]]) -> None:
            sketch, images, notes = found
            brought = replace(self.doc, sketch=sketch)
            if not self.session.try_apply("Bring in a sketch", brought, images):
                return
            for note in notes:
                self.session.message.emit(note)

        self.session.errands.run(read, take)

    def _width(self, mm: float) -> None:
        self.try_to("Scale the sketch", lambda: scale_by_width(self.doc, mm))

    def _left(self, mm: float) -> None:
        if self.doc.sketch is not None:
            y = self.doc.sketch.origin_mm[1]
            self.try_to("Move the sketch", lambda: place_sketch(self.doc, (mm, y)))

    def _upper(self, mm: float) -> None:
        if self.doc.sketch is not None:
            x = self.doc.sketch.origin_mm[0]
            self.try_to("Move the sketch", lambda: place_sketch(self.doc, (x, mm)))

    def _turn(self, degrees: float) -> None:
        self.try_to(
            "Turn the sketch", lambda: place_sketch(self.doc, turn_rad=math.radians(degrees))
        )

    def _opacity(self, percent: int) -> None:
        self.bench.sketch_opacity = percent / 100
        self.bench.redraw()

    def refresh(self) -> None:
        sketch = self.doc.sketch
        self.placing.setEnabled(sketch is not None)
        self.tracing.refresh()
        if sketch is None:
            self.state.setText("No sketch yet. PNG, JPEG, TIFF, WebP or BMP; a scan or a photo.")
            return
        self.state.setText(
            f"{sketch.width_px:,} x {sketch.height_px:,} pixels, "
            f"{sketch.width_px * sketch.mm_per_px:.0f} x "
            f"{sketch.height_px * sketch.mm_per_px:.0f} mm on the work"
        )
        self.width_mm.show_value(sketch.width_px * sketch.mm_per_px)
        self.left.show_value(sketch.origin_mm[0])
        self.upper.show_value(sketch.origin_mm[1])
        self.turn.show_value(math.degrees(sketch.turn_rad))
