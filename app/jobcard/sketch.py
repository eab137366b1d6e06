"""Sketch: brought in, made true to size, laid in place, traced."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from app import fileasking
from app.jobcard.base import Leaf
from app.jobs import Worker
from app.tools.corners import CornersTool
from app.widgets import Number, Slide, Switch, button, text
from core.commission import Commission, Sketch
from core.sketch import import_sketch, place_sketch, scale_by_width
from core.trace import Traced, trace

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
        self.count_auto = Switch("Find how many colours there are", self._auto)
        self.count_auto.show_value(True)
        self.count = Slide("Colours", 2, 24, lambda v: None, lambda v: str(v))
        self.count.show_value(8)
        self.count.setEnabled(False)
        self.smallest = Number("Smallest field", "mm²", 10, 100_000, lambda v: None, 0, 50)
        self.smallest.show_value(400)
        self.smooth = Slide(
            "Borders",
            0,
            6,
            lambda v: None,
            lambda v: (
                "as they are",
                "steady",
                "even",
                "smooth",
                "smoother",
                "very smooth",
                "softest",
            )[v],
        )
        self.smooth.show_value(2)
        self.trace_button = button("Trace from sketch", self.trace, "main")
        self.group(
            "Trace from sketch",
            text("Finds the flat colours and gives each a field beneath those you drew.", "hint"),
            self.count_auto,
            self.count,
            self.smallest,
            self.smooth,
            self.trace_button,
        )
        self._worker = Worker(self)
        self._worker.done.connect(self._traced)
        self._worker.failed.connect(self._failed)
        self._asked: Commission | None = None

    def end(self) -> None:
        self._worker.close()

    def _straighten(self) -> None:
        self.bench.tools.setdefault(CornersTool.name, CornersTool(self.bench))
        self.bench.take(CornersTool.name)

    def _auto(self, on: bool) -> None:
        self.count.setEnabled(not on)

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

    def trace(self) -> None:
        """Trace in the background; the fields come as one edit."""
        doc, images = self.doc, dict(self.session.images)
        colours = None if self.count_auto.isChecked() else self.count.slider.value()
        smallest, smooth = self.smallest.spin.value(), self.smooth.slider.value() / 2
        self._asked = doc
        self.trace_button.setEnabled(False)
        self.trace_button.setText("Tracing ...")
        self._worker.ask(lambda progress, stop: trace(doc, images, colours, smallest, smooth, stop))

    def _traced(self, number: int, result: Traced) -> None:
        self._ready()
        if self.doc is not self._asked:
            self.session.message.emit("The commission changed meanwhile; trace again.")
            return
        if not self.session.try_apply("Trace from sketch", result.doc):
            return
        self.session.message.emit(f"{len(result.field_ids)} fields traced from the sketch.")

    def _failed(self, number: int, words: str) -> None:
        self._ready()
        self.session.message.emit(words)

    def _ready(self) -> None:
        self.trace_button.setEnabled(True)
        self.trace_button.setText("Trace from sketch")

    def refresh(self) -> None:
        sketch = self.doc.sketch
        self.placing.setEnabled(sketch is not None)
        self.trace_button.setEnabled(sketch is not None and self._worker.idle)
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
