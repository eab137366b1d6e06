"""A session and a bench on the table, or the whole window, worked with a real mouse and keys."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from jobcard_rig import pump, small, square
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QTimer, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QFileDialog,
    QLineEdit,
    QMessageBox,
    QPushButton,
)
from shapely import Polygon

from app.canvas import Bench
from app.session import Session
from app.tools import give_tools
from app.window import Window
from core import archive
from core.archive import Work
from core.commission import Commission, field_of
from core.stock.lists import starter_stock

LEFT = Qt.MouseButton.LeftButton
NONE = Qt.KeyboardModifier.NoModifier
Place = tuple[float, float]


def panel(wide: float = 100.0, high: float = 80.0, tessera: float = 10.0) -> Commission:
    """Return a commission of one field in plain courses; about 60 pieces as it stands."""
    field = field_of(
        "f1",
        "Ground",
        square(0, 0, wide, high),
        tessera_mm=tessera,
        wanted_lab=(50.0, 0.0, 0.0),
        variation=0.0,
        follow_border=False,
        joint_mm=2.0,
    )
    return Commission("Panel", wide, high, fields=(field,), materials=starter_stock())


class Table:
    """A session and its bench."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self._held_at = QPoint()
        self.session = Session()
        self.session.message.connect(self.said.append)
        self.bench = Bench(self.session)
        self.bench.resize(640, 520)
        give_tools(self.bench)
        self.bench.show()

    def begin(self, doc: Commission, images: dict[str, bytes] | None = None) -> None:
        """Put a commission on the bench, nothing done to it yet."""
        self.said.clear()
        self.session.begin(Work(doc, images or {}))
        self.bench.take("Hand")
        self.lay()

    def lay(self) -> None:
        """Wait until the layout is that of the document."""
        assert pump(lambda: self.session.layout_is_current), self.said

    def px(self, at: Place) -> QPoint:
        """Return the pixel nearest a place on the work."""
        return self.bench.to_px(*at).toPoint()

    def mm(self, at: Place) -> Place:
        """Return the place on the work that the mouse can truly reach."""
        return self.bench.to_mm(QPointF(self.px(at)))

    def click(self, *places: Place) -> None:
        """Click places on the work."""
        for at in places:
            QTest.mouseClick(self.bench, LEFT, NONE, self.px(at))

    def double(self, at: Place) -> None:
        """Double-click a place on the work: the first click comes alone, as from a hand."""
        self.click(at)
        QTest.mouseDClick(self.bench, LEFT, NONE, self.px(at))

    def hold(self, a: Place, b: Place, keys: Qt.KeyboardModifier = NONE, steps: int = 6) -> None:
        """Press at one place and move to another, the button still down."""
        begin, end = self.px(a), self.px(b)  # before the view moves under the hand
        QTest.mousePress(self.bench, LEFT, keys, begin)
        for k in range(1, steps + 1):
            self._held_at = begin + (end - begin) * (k / steps)
            QTest.mouseMove(self.bench, self._held_at)

    def let_go(self, keys: Qt.KeyboardModifier = NONE) -> None:
        """Release the button where it is held."""
        QTest.mouseRelease(self.bench, LEFT, keys, self._held_at)

    def drag(self, a: Place, b: Place, keys: Qt.KeyboardModifier = NONE) -> None:
        """Drag from one place on the work to another."""
        self.hold(a, b, keys)
        self.let_go(keys)

    def key(self, key: Qt.Key) -> None:
        """Press a key over the bench."""
        QTest.keyClick(self.bench, key)

    def centre(self, index: int) -> Place:
        """Return the middle of a piece of the first field."""
        assert self.session.layout is not None
        x, y = self.session.layout.fields[0].pieces.centre_mm[index]
        return float(x), float(y)

    def piece_at(self, at: Place) -> Polygon:
        """Return the piece that the bench finds at a place."""
        table = self.bench.table
        assert table is not None
        row = table.at(*at)
        assert row is not None, "there is no piece here"
        return table.polygons[row]

    def close(self) -> None:
        """End the background work."""
        self.bench.close_work()
        self.session.close()
        self.bench.close()


@contextmanager
def table() -> Iterator[Table]:
    """Give a table, and end its background work."""
    t = Table()
    try:
        yield t
    finally:
        t.close()


def make() -> Window:
    w = Window()
    w.resize(1300, 800)
    w.show()
    w.activateWindow()
    pump(w.isActiveWindow, 2)
    return w


def quiet(w: Window) -> None:
    """Take the message away; the bench has all the room again."""
    w.say("")
    seen(w)


def laid(w: Window) -> None:
    assert pump(lambda: w.session.layout_is_current, 120), w.status.text()
    assert pump(lambda: w.session._worker.idle)
    seen(w)


def seen(w: Window):
    """Return what the bench shows, once its newest picture is there."""
    QApplication.processEvents()
    assert pump(w.bench.settled)
    QApplication.processEvents()
    return w.bench.grab().toImage()


def reopened(w: Window, folder: Path, leaf: str) -> Window:
    """Open two fields over a sketch at a leaf, and wait until all is laid and drawn."""
    file = folder / "threshold.emblema"
    archive.save(file, *small())
    assert w.open(file)
    w.card.turn_to(leaf)
    w.bench.take("Hand")
    laid(w)
    quiet(w)
    return w


# --- dialogs answered, files dropped


def answer(kind: type, do) -> list[str]:
    """Answer the next dialog of a kind as a person would; what it said is returned."""
    said: list[str] = []
    tries = [200]

    def look() -> None:
        top = QApplication.activeModalWidget()
        if isinstance(top, kind):
            said.append(top.text() if isinstance(top, QMessageBox) else top.windowTitle())
            do(top)
        elif tries[0] > 0:
            tries[0] -= 1
            QTimer.singleShot(10, look)

    QTimer.singleShot(0, look)
    return said


def choose(path):
    """Return how a path is chosen in a file dialog."""

    def do(dialog: QFileDialog) -> None:
        dialog.findChild(QLineEdit, "fileNameEdit").setText(str(path))
        dialog.accept()

    return do


def hit(words: str):
    """Return how a button with these words is pressed."""

    def do(dialog: QDialog) -> None:
        (found,) = [b for b in dialog.findChildren(QPushButton) if b.text() == words]
        QTest.mouseClick(found, LEFT)

    return do


def drop_file(w: Window, path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path))])
    copy = Qt.DropAction.CopyAction
    enter = QDragEnterEvent(QPoint(20, 20), copy, data, LEFT, NONE)
    QApplication.sendEvent(w, enter)
    assert enter.isAccepted()
    QApplication.sendEvent(w, QDropEvent(QPointF(20, 20), copy, data, LEFT, NONE))
