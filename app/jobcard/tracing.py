"""The Sketch leaf's tracing: what it would find is seen on the bench before it is made."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.canvas import Bench
from app.jobs import Worker
from app.session import Session
from app.tools.base import Place
from app.tools.sketchareas import PickTool, TraceTool
from app.widgets import Choice, Slide, Switch, button, row, text
from core.colour.convert import swatch_rgb
from core.commission import Commission
from core.errors import EmblemaError
from core.fields import add_area
from core.geometry import polygon_of
from core.trace import Flat, Picked, Traced, Wish, picked_at, picked_within, trace

SETTLE_MS = 350
SMALLEST = (4000.0, 2000.0, 1000.0, 400.0, 200.0, 100.0, 50.0)  # mm2, from coarse to fine
INKS = (
    ("aside", "go to the areas beside them"),
    ("borders", "part areas, as borders"),
    ("drawn", "are a colour of their own"),
)
CALM = ("as it is", "a little calmer", "calm", "calmer", "as calm as can be")
BORDERS = ("as they are", "steady", "even", "smooth", "smoother", "very smooth", "softest")
ALIKE = (2.0, 4.0, 6.0, 8.0, 11.0, 15.0, 20.0)


class Tracing(QWidget):
    """Trace all, or pick one area."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench = session, bench
        self.found: Traced | None = None
        self._asked: Commission | None = None
        self._flat: tuple[str, Flat] | None = None
        self._job = 0
        self.fine = Slide("From coarse to fine", 0, len(SMALLEST) - 1, self._again, _size)
        self.fine.show_value(3)
        self.ink = Choice("Ink lines", INKS, self._again)
        self.calm = Slide("Grain and wash", 0, len(CALM) - 1, self._again, lambda v: CALM[v])
        self.calm.show_value(3)
        self.smooth = Slide("Borders", 0, 6, self._again, lambda v: BORDERS[v])
        self.smooth.show_value(2)
        self.count_auto = Switch("Find how many colours there are", self._auto)
        self.count_auto.show_value(True)
        self.count = Slide("Colours", 2, 24, self._again, lambda v: str(v))
        self.count.show_value(8)
        self.count.setVisible(False)
        self.trace_button = button("Trace from sketch", self.look, "main")
        self.words = text("", "hint")
        self.make_button = button("Make fields of it", self.make, "main")
        self.leave_button = button("Leave it", lambda: bench.take("Hand"))
        self.alike = Slide("One colour", 0, len(ALIKE) - 1, lambda v: None, _alike)
        self.alike.show_value(3)
        self.pick_button = button(
            "Pick an area",
            self.pick_up,
            tip="Click an area of the sketch, or draw a line round something",
        )
        self._deciding = row(self.make_button, self.leave_button)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            text("Finds the flat colours and gives each a field beneath those you drew.", "hint"),
            self.trace_button,
            self.words,
            self._deciding,
            self.fine,
            self.ink,
            self.calm,
            self.smooth,
            self.count_auto,
            self.count,
            text("Or one at a time, over the fields there are:", "hint"),
            self.pick_button,
            self.alike,
        ):
            box.addWidget(w)
        self._worker = Worker(self)
        self._worker.done.connect(self._done)
        self._worker.failed.connect(self._failed)
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(SETTLE_MS)
        self._settle.timeout.connect(self.look)
        bench.tool_changed.connect(lambda _: self._show())
        self._show()

    def end(self) -> None:
        """End what runs aside."""
        self._worker.close()

    # all areas

    @property
    def wish(self) -> Wish:
        """How the sketch is to be traced."""
        return Wish(
            None if self.count_auto.isChecked() else self.count.slider.value(),
            SMALLEST[self.fine.slider.value()],
            self.smooth.slider.value() / 2,
            self.ink.value,
            self.calm.slider.value(),
        )

    @property
    def looking(self) -> bool:
        """Whether what tracing finds is looked at."""
        return self.bench.tool is not None and self.bench.tool.name == TraceTool.name

    def _auto(self, on: bool) -> None:
        self.count.setVisible(not on)
        self._again()

    def _again(self, _: object = None) -> None:
        """Look once more, once the hand has settled, if it is looked at."""
        if self.looking:
            self._settle.start()

    def look(self) -> None:
        """Show on the bench what tracing finds."""
        tool = self.bench.tools.setdefault(TraceTool.name, TraceTool(self.bench))
        assert isinstance(tool, TraceTool)
        tool.make, tool.left = self.make, self._left
        if not self.looking:
            self.bench.take(TraceTool.name)
        doc, images, wish = self.session.doc, dict(self.session.images), self.wish
        self._asked, self.found = doc, None
        self.words.setText("Looking ...")
        self._job = self._worker.ask(lambda progress, stop: trace(doc, images, wish, stop))
        self._show()

    def _left(self) -> None:
        """What was looked at is left as it was."""
        self._settle.stop()
        self._worker.stop()
        self._job, self.found = -1, None
        self.words.setText("")

    def _done(self, job: int, result: object) -> None:
        if job != self._job:
            return
        if isinstance(result, Picked):
            self._take(result)
            return
        assert isinstance(result, Traced)
        self.found = result
        shapes = {f.id: polygon_of(f.outline) for f in result.doc.fields}
        tool = self.bench.tools[TraceTool.name]
        assert isinstance(tool, TraceTool)
        tool.show_areas(
            tuple(
                (shapes[i], swatch_rgb(lab)[0])
                for i, lab in zip(result.field_ids, result.labs, strict=True)
            )
        )
        n = len(result.field_ids)
        self.words.setText(f"{n} field{'s' * (n != 1)} found. Nothing is changed yet.")
        self._show()

    def _failed(self, job: int, words: str) -> None:
        if job == self._job:
            self.words.setText(words)
            self.session.message.emit(words)
            self._show()

    def make(self) -> None:
        """Make the fields that are seen, in one step."""
        found = self.found
        if found is None:
            return
        if self.session.doc is not self._asked:
            self.session.message.emit("The commission changed meanwhile; it is looked at again.")
            self.look()
            return
        if self.session.try_apply("Trace from sketch", found.doc):
            n = len(found.field_ids)
            self.session.message.emit(f"{n} field{'s' * (n != 1)} traced from the sketch.")
            self.bench.take("Hand")

    # one area

    def pick_up(self) -> None:
        """Take the tool that picks one area."""
        tool = self.bench.tools.setdefault(PickTool.name, PickTool(self.bench))
        assert isinstance(tool, PickTool)
        tool.pick = self.pick
        self.bench.take(PickTool.name)

    def pick(self, places: Sequence[Place]) -> None:
        """Make a field of the area at a place, or within a line."""
        doc, images = self.session.doc, dict(self.session.images)
        alike, calm = ALIKE[self.alike.slider.value()], self.calm.slider.value()
        smooth, kept = self.smooth.slider.value() / 2, self._flat
        key = f"{doc.sketch} {calm}"

        def find() -> Picked:
            flat = kept[1] if kept is not None and kept[0] == key else Flat.of(doc, images, calm)
            self._flat = key, flat
            if len(places) == 1:
                return picked_at(flat, places[0], alike, smooth)
            return picked_within(flat, places, alike, smooth)

        self.words.setText("Looking ...")
        self._job = self._worker.ask(lambda progress, stop: find())
        self._show()

    def _take(self, found: Picked) -> None:
        self.words.setText("")
        self._show()
        try:
            edited = add_area(self.session.doc, found.shape, found.name)
            self.session.apply("Pick an area", edited.doc)
        except EmblemaError as e:
            self.words.setText(str(e))
            self._show()
            return
        self.session.select((edited.field_id,))
        for note in edited.notes:
            self.session.message.emit(note)

    # what is shown

    def refresh(self) -> None:
        """Show what can be done."""
        self._show()

    def _show(self) -> None:
        sketched = self.session.doc.sketch is not None
        self.trace_button.setEnabled(sketched)
        self.pick_button.setEnabled(sketched)
        self.trace_button.setVisible(not self.looking)
        self._deciding.setVisible(self.looking)
        self.make_button.setEnabled(self.found is not None)
        self.words.setVisible(bool(self.words.text()))


def _size(step: int) -> str:
    return f"from {SMALLEST[step]:,.0f} mm²"


def _alike(step: int) -> str:
    return ("the very same", "nearly so", "alike", "about", "widely", "more widely", "most widely")[
        step
    ]
