"""Rounds looked at: one by itself, or two side by side and under a slider, with what changed."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QPointF, QRectF, Qt, QTimer
from PySide6.QtGui import (
    QCloseEvent,
    QColor,
    QImage,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QSlider,
    QTableWidget,
    QTableWidgetItem,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app import fileasking, theme
from app.canvas.pieces import PieceTable
from app.canvas.render import View, Want, render
from app.canvas.sight import LEAST, MOST
from app.jobs import Worker
from app.session import Session
from app.widgets import button, label, row
from core.kept_rounds.compare import State, compare
from core.kept_rounds.pages import Table, compare_pages, tables_of

EDGE_PX = 14
GAP_PX = 4
CLOSE = "* { font-size: 12px; } QTableView::item { padding: 1px 2px; }"
SETTLE_MS = 40  # the view rests so long before its pictures are drawn anew
STEPS = 1000  # of the slider from edge to edge
SIDE = 452  # pixels that the tables take
ROOM = (1240, 690)


@dataclass(frozen=True)
class Shown:
    """A state with its pieces ready to be drawn."""

    state: State
    table: PieceTable


class Views(QWidget):
    """One work, or two under one view: beside or above one another, or parted by a slider.

    Drag to move, turn the wheel to zoom; both follow.
    """

    def __init__(self) -> None:
        super().__init__()
        self.shown: tuple[Shown, ...] = ()
        self.wiped: float | None = None  # share of the width that shows the first; None beside
        self.px_per_mm, self.left, self.top = 1.0, 0.0, 0.0
        self._whole = True
        self._have: tuple[View, tuple[QImage, ...]] | None = None
        self._from: QPointF | None = None
        self._job = 0
        self._worker = Worker(self)
        self._worker.done.connect(self._drawn)
        self._settle = QTimer(self, singleShot=True, interval=SETTLE_MS)
        self._settle.timeout.connect(self._draw)
        self.setMinimumSize(300, 220)
        self.setCursor(Qt.CursorShape.OpenHandCursor)

    def show_works(self, shown: tuple[Shown, ...]) -> None:
        """Show one work or two, whole."""
        self.shown, self._have = shown, None
        self.fit()

    def wipe(self, share: float | None) -> None:
        """Part the two by a slider that stands at a share of the width; None: side by side."""
        turned = (self.wiped is None) != (share is None)
        self.wiped = share
        if turned and self._whole:
            self.fit()
        elif turned:
            self._changed()
        self.update()

    @property
    def panes(self) -> list[QRectF]:
        """Where each work is seen, pixels of the widget: however both are largest."""
        n, w, h = max(1, len(self.shown)), float(self.width()), float(self.height())
        if self.wiped is not None or n == 1:
            return [QRectF(0, 0, w, h)] * n
        wide, high = self._size
        beside = [QRectF(k * (w + GAP_PX) / n, 0, (w - GAP_PX) / n, h) for k in range(n)]
        above = [QRectF(0, k * (h + GAP_PX) / n, w, (h - GAP_PX) / n) for k in range(n)]
        return max((beside, above), key=lambda some: _fitting(some[0], wide, high))

    @property
    def _size(self) -> tuple[float, float]:
        """The size of the larger work, mm."""
        docs = [s.state.doc for s in self.shown]
        return max(d.width_mm for d in docs), max(d.height_mm for d in docs)

    def fit(self) -> None:
        """Show the whole of both."""
        self._whole = True
        if not self.shown:
            return
        (wide, high), pane = self._size, self.panes[0]
        self.px_per_mm = max(LEAST, _fitting(pane, wide, high))
        self.left = wide / 2 - pane.width() / 2 / self.px_per_mm
        self.top = high / 2 - pane.height() / 2 / self.px_per_mm
        self._changed()

    def zoom(self, by: float, about: QPointF) -> None:
        """Zoom about a pixel of a pane."""
        x, y = self.view.to_mm(about.x(), about.y())
        self.px_per_mm = min(max(self.px_per_mm * by, LEAST), MOST)
        self.left, self.top = x - about.x() / self.px_per_mm, y - about.y() / self.px_per_mm
        self._whole = False
        self._changed()

    @property
    def view(self) -> View:
        """The stretch of the work that each pane shows."""
        pane = self.panes[0]
        size = round(pane.width()), round(pane.height())
        return View(self.left, self.top, self.px_per_mm, *size)

    def settled(self) -> bool:
        """Whether the newest pictures are there."""
        return not self._settle.isActive() and self._worker.idle and self._have is not None

    def _changed(self) -> None:
        self.update()
        self._settle.start()

    def _draw(self) -> None:
        view, shown, ratio = self.view, self.shown, self.devicePixelRatioF()

        def work(progress: object, stop: Callable[[], bool]) -> tuple[View, tuple[QImage, ...]]:
            return view, tuple(render(_want(view, s, ratio), stop)[1] for s in shown)

        self._job = self._worker.ask(work)

    def _drawn(self, number: int, result: tuple[View, tuple[QImage, ...]]) -> None:
        if number == self._job:
            self._have = result
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        p = QPainter(self)
        p.fillRect(self.rect(), QColor(theme.BENCH))
        if self._have is None:
            p.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "Laying it out ...")
            p.end()
            return
        view, images = self._have
        by = self.px_per_mm / view.px_per_mm
        corner = self.view.to_px(view.left, view.top)
        at = self.width() * (self.wiped or 0.0)
        for k, (pane, image) in enumerate(zip(self.panes, images, strict=False)):
            room = QRectF(pane)
            if self.wiped is not None and len(images) > 1:
                room = QRectF(0, 0, at, self.height()) if k == 0 else room
                room = QRectF(at, 0, self.width() - at, self.height()) if k == 1 else room
            p.setClipRect(room)
            x, y = pane.x() + corner[0], pane.y() + corner[1]
            p.drawImage(QRectF(x, y, view.width * by, view.height * by), image)
        p.setClipping(False)
        self._name(p)
        if self.wiped is not None and len(images) > 1:
            p.setPen(QPen(QColor("white"), 5))
            p.drawLine(QPointF(at, 0), QPointF(at, self.height()))
            p.setPen(QPen(QColor(theme.VERDIGRIS), 2.4))
            p.drawLine(QPointF(at, 0), QPointF(at, self.height()))
        p.end()

    def _name(self, p: QPainter) -> None:
        """Write which is which in a corner of each."""
        for k, (pane, s) in enumerate(zip(self.panes, self.shown, strict=False)):
            at = pane.topLeft() + QPointF(0, 34)
            if self.wiped is not None and k == 1:
                wide = p.fontMetrics().horizontalAdvance(s.state.name) + 34
                at = QPointF(pane.right() - wide, at.y())
            label(p, at, s.state.name)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._from = event.position()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._from is not None:
            by = event.position() - self._from
            self._from = event.position()
            self.left -= by.x() / self.px_per_mm
            self.top -= by.y() / self.px_per_mm
            self._whole = False
            self._changed()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._from = None

    def wheelEvent(self, event: QWheelEvent) -> None:
        at = event.position()
        pane = next((p for p in self.panes if p.contains(at)), self.panes[0])
        self.zoom(1.0015 ** event.angleDelta().y(), at - pane.topLeft())

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if self._whole:
            self.fit()
        else:
            self._changed()

    def end(self) -> None:
        """End the drawing."""
        self._settle.stop()
        self._worker.close()


def _fitting(pane: QRectF, wide: float, high: float) -> float:
    """Return the scale at which a work of a size in mm fits in a pane, pixels a mm."""
    return min((pane.width() - 2 * EDGE_PX) / wide, (pane.height() - 2 * EDGE_PX) / high)


class CompareWindow(QDialog):
    """Shows what `make` lays out, aside: one state, or two with what differs between them."""

    def __init__(
        self, parent: QWidget, session: Session, make: Callable[[], tuple[State, ...]]
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Rounds")
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.session = session
        self.states: tuple[State, ...] = ()
        self._gone = False
        self.views = Views()
        self.slider = QSlider(Qt.Orientation.Horizontal)
        self.slider.setRange(0, STEPS)
        self.slider.setValue(STEPS // 2)
        self.slider.setMinimumHeight(36)
        self.slider.setAccessibleName("Wipes from the earlier round to the later")
        self.slider.setToolTip("Left of it the earlier, right of it the later")
        self.slider.valueChanged.connect(lambda _: self._wipe())
        self.beside = button("Both at once", lambda: self._wipe(False))
        self.under = button("Slider", lambda: self._wipe(True))
        for b in (self.beside, self.under):
            b.setCheckable(True)
        self.tabs = QTabWidget()
        self.tabs.setFixedWidth(SIDE)
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.pdf = button("Write as PDF ...", self._ask_pdf)
        self._lay_out()
        self._wipe(False)
        self.resize(*ROOM)
        session.errands.run(lambda: _ready(make()), self._show, self._over)

    def _lay_out(self) -> None:
        left = QVBoxLayout()
        left.addWidget(self.views, 1)
        left.addWidget(self.slider)
        self.foot = row(
            self.beside,
            self.under,
            button("Whole", self.views.fit),
            self.pdf,
            button("Close", self.close),
        )
        left.addWidget(self.foot)
        right = QVBoxLayout()
        right.addWidget(self.words)
        right.addWidget(self.tabs, 1)
        box = QHBoxLayout(self)
        box.addLayout(left, 1)
        box.addLayout(right)

    def _show(self, shown: tuple[Shown, ...]) -> None:
        if self._gone:
            return
        self.states = tuple(s.state for s in shown)
        two = len(shown) == 2
        for b in (self.beside, self.under, self.pdf):
            b.setVisible(two)
        self.words.setText(_said(self.states))
        self.views.show_works(shown)
        self._wipe()
        if two:
            a, b = self.states
            for table in tables_of(compare(a, b), a, b):
                self.tabs.addTab(_filled(table), table.title)
        else:
            sums = self.states[0].sums
            table = Table("Figures", ("", ""), (0.5, 0.5), [(s.name, s.shown) for s in sums])
            self.tabs.addTab(_filled(table), table.title)

    def _over(self) -> None:
        if not self.states and not self._gone:
            self.words.setText("It could not be laid out.")

    def _wipe(self, on: bool | None = None) -> None:
        """Put the slider to use, or away; left out, it is moved."""
        on = self.under.isChecked() if on is None else on
        self.under.setChecked(on)
        self.beside.setChecked(not on)
        self.slider.setVisible(on and len(self.states) == 2)
        self.views.wipe(self.slider.value() / STEPS if on else None)

    def _ask_pdf(self) -> None:
        path = fileasking.where_to(self, "Write", "rounds.pdf", "*.pdf", "papers")
        if path:
            self.write(path)

    def write(self, path: str) -> None:
        """Write the comparison as PDF."""
        from app.painting import write_pdf

        a, b = self.states
        self.session.write(path, lambda: write_pdf(path, compare_pages(a, b), b.doc.title))

    def closeEvent(self, event: QCloseEvent) -> None:
        """End the drawing."""
        self.end()
        super().closeEvent(event)

    def done(self, result: int) -> None:
        """End the drawing, by whichever way the window is closed."""
        self.end()
        super().done(result)

    def end(self) -> None:
        """End the drawing; what comes later is not shown."""
        if not self._gone:
            self._gone = True
            self.views.end()


def _ready(states: tuple[State, ...]) -> tuple[Shown, ...]:
    return tuple(Shown(s, PieceTable(s.doc, s.layout)) for s in states)


def _want(view: View, s: Shown, ratio: float) -> Want:
    none: frozenset[str] = frozenset()
    layers = (False, True, False, False)
    return Want(view, s.state.doc, s.table, None, *layers, none, "plain", None, 1.0, ratio)


def _said(states: tuple[State, ...]) -> str:
    said = [f"{s.name}: {' '.join(s.words.split())}" for s in states if s.words]
    return "\n".join(w if len(w) < 240 else f"{w[:237]}..." for w in said)


def _filled(table: Table) -> QTableWidget:
    """Return a table of words."""
    t = QTableWidget(len(table.rows), len(table.heads))
    t.setHorizontalHeaderLabels([h.split(",")[0] for h in table.heads])
    t.verticalHeader().setVisible(False)
    t.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    t.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
    t.setShowGrid(False)
    t.setWordWrap(True)
    for k, words in enumerate(table.rows):
        for j, word in enumerate(words):
            item = QTableWidgetItem(word)
            item.setToolTip(word)
            t.setItem(k, j, item)
    head = t.horizontalHeader()
    head.setMinimumSectionSize(40)
    head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    head.setSectionResizeMode(min(1, len(table.heads) - 1), QHeaderView.ResizeMode.Stretch)
    t.setStyleSheet(CLOSE)
    t.verticalHeader().setMinimumSectionSize(30)
    t.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    return t
