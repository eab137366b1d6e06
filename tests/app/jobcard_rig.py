"""A small commission on a real session, bench, job card and trays, without a screen."""

from __future__ import annotations

import io
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
from PIL import Image
from PySide6.QtCore import QEventLoop, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton, QWidget

from app.canvas import Bench
from app.jobcard import JobCard
from app.session import Session
from app.tools import give_tools
from app.trays import Trays
from core.archive import Work
from core.commission import Commission, Field
from core.sketch import import_sketch
from core.stock.lists import starter_stock


def pump(until: Callable[[], bool], most: float = 60.0) -> bool:
    """Run the event loop until something holds."""
    app = QApplication.instance() or QApplication([])
    end = time.monotonic() + most
    while not until() and time.monotonic() < end:
        app.processEvents(QEventLoop.ProcessEventsFlag.AllEvents, 20)
    return until()


def square(x0: float, y0: float, x1: float, y1: float) -> tuple:
    """Return an outline."""
    return ((((x0, y0), (x1, y0), (x1, y1), (x0, y1)),),)


def small() -> tuple[Commission, dict[str, bytes]]:
    """Return two fields over a sketch that runs from red to blue."""
    x = np.linspace(0, 1, 120)
    row = np.stack([200 - 150 * x, 60 + 0 * x, 60 + 150 * x], axis=1)
    picture = Image.fromarray(np.tile(row.astype(np.uint8), (80, 1, 1)))
    data = io.BytesIO()
    picture.save(data, "PNG")
    fields = (
        Field("f1", "Left", square(0, 0, 60, 80), motif="sea"),
        Field("f2", "Right", square(60, 0, 120, 80), motif="sea"),
    )
    doc = Commission("Threshold", 120.0, 80.0, fields=fields, materials=starter_stock())
    return import_sketch(doc, data.getvalue(), "sketch.png")[:2]


class Rig:
    """What is on the table."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.session = Session()
        self.session.message.connect(self.said.append)
        self.bench = Bench(self.session)
        give_tools(self.bench)
        self.card = JobCard(self.session, self.bench)
        self.trays = Trays(self.session, self.bench)
        doc, images = small()
        self.session.begin(Work(doc, images))
        self.card.resize(352, 800)
        self.card.show()
        self.lay()

    def lay(self) -> None:
        """Wait until the layout is that of the document, and all that shows it has been told."""
        assert pump(self.is_laid), self.said

    def is_laid(self) -> bool:
        """Whether the layout is that of the document, and charts and pictures have been told."""
        return self.session.layout_is_current and not self.session._calm.isActive()

    def change(self, **changes: object) -> None:
        """Change every field and lay again."""
        doc = self.session.doc
        fields = tuple(f.with_choices(**changes) for f in doc.fields)
        self.session.apply("change", replace(doc, fields=fields))
        self.lay()

    def laid_codes(self, field_id: str) -> set[str]:
        """Return the materials laid in a field."""
        laid = self.session.layout.by_id(field_id)
        return {self.session.laid_doc.materials[k].code for k in set(laid.stock[laid.stock >= 0])}


@contextmanager
def rig() -> Iterator[Rig]:
    """Give a rig, and end its background work."""
    QApplication.instance() or QApplication([])
    r = Rig()
    try:
        yield r
    finally:
        r.card.end()
        r.bench.close_work()
        r.session.close()
        r.card.close()


def press(leaf: QWidget, words: str) -> None:
    """Click the button of these words."""
    found = [b for b in leaf.findChildren(QPushButton) if b.text() == words and b.isEnabled()]
    assert found, f"no button '{words}'"
    QTest.mouseClick(found[0], Qt.MouseButton.LeftButton)
