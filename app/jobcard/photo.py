"""A photograph to look at closely and mark: zoomed, moved, corners clicked, boxes dragged.

Whatever is marked is kept in the photograph's own pixels, so that it stays where it was marked at
any zoom. The picture is drawn from copies, each half as large as the one before, of which never
more than is seen is touched: a large photograph moves as quickly as a small one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from app import theme

Box = tuple[float, float, float, float]
CLOSEST = 16.0  # pixels of the screen to one of the photograph
STEP = 1.5
REACH = 12.0  # pixels of the screen within which a mark is taken hold of
CLICK = 6.0  # a press that goes less far than this is a click
SMALLEST = 256  # pixels of the smallest copy's longer side, about


class Photo(QWidget):
    """The photograph. All places that are told or kept are pixels of it.

    `clicked` tells of a click beside the corners, `dragged` of a box drawn, moved or pulled
    larger, `corner_moved` of a corner by its number; `corners` and `boxes` are what is marked.
    """

    clicked = Signal(float, float)
    dragged = Signal(float, float, float, float)
    corner_moved = Signal(int, float, float)

    def __init__(self) -> None:
        super().__init__()
        self.copies: tuple[QImage, ...] = ()
        self.corners: list[tuple[float, float]] = []
        self.boxes: list[Box] = []
        self._by: float | None = None  # None: the whole picture, whatever the widget's size
        self._middle = QPointF()
        self._drawn: Box | None = None  # the box under the hand
        self._space = False
        self._follow: Callable[[QPointF], object] | None = None
        self._end: Callable[[QPointF], object] | None = None
        self.setMinimumSize(420, 320)
        self.setFocusPolicy(Qt.FocusPolicy.WheelFocus)
        self.setMouseTracking(True)
        self._show_hand()

    # what is seen

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of the photograph; (0, 0) where there is none."""
        return (self.copies[0].width(), self.copies[0].height()) if self.copies else (0, 0)

    def show_copies(self, copies: tuple[QImage, ...]) -> None:
        """Show another photograph, whole; see `copies_of`."""
        self.copies, self.corners, self.boxes = copies, [], []
        self._drawn = self._follow = self._end = None
        self.whole()

    def whole(self) -> None:
        """See the whole picture."""
        self._by = None
        self.update()

    def zoom(self, by: float, at: QPointF | None = None) -> None:
        """See it so much larger, with a place of the widget (its middle) staying where it is."""
        if not self.copies:
            return
        centre = QRectF(self.rect()).center()
        at = centre if at is None else at
        now, whole = self._scale()[0], self._whole()
        new = min(max(now * by, whole), max(CLOSEST, whole))
        if new <= whole:
            self.whole()
            return
        x, y = self.to_photo(at)
        self._look_at(QPointF(x, y) - (at - centre) / new, new)

    def pan(self, by: QPointF) -> None:
        """Move the picture by so many pixels of the screen."""
        if self._by is not None:
            self._look_at(self._middle - by / self._by, self._by)

    def _look_at(self, middle: QPointF, by: float) -> None:
        w, h = self.size_px  # it is never moved out of sight
        x, y = min(max(middle.x(), 0.0), float(w)), min(max(middle.y(), 0.0), float(h))
        self._by, self._middle = by, QPointF(x, y)
        self.update()

    def _whole(self) -> float:
        w, h = self.size_px
        return min(self.width() / w, self.height() / h)

    def _scale(self) -> tuple[float, float, float]:
        """Return the scale, and where the photograph's upper left corner is."""
        if not self.copies:
            return 1.0, 0.0, 0.0
        w, h = self.size_px
        by, middle = (self._whole(), QPointF(w / 2, h / 2))
        if self._by is not None and self._by > by:
            by, middle = self._by, self._middle
        return by, self.width() / 2 - middle.x() * by, self.height() / 2 - middle.y() * by

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
        if not self.copies:
            p.setPen(QColor("white"))
            p.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "Open a photograph")
            p.end()
            return
        self._paint_picture(p)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        boxes = [*self.boxes, *((self._drawn,) if self._drawn is not None else ())]
        for colour, width in (("white", 4.0), (theme.RUST, 2.0)):
            p.setPen(QPen(QColor(colour), width))
            for box in boxes:
                p.drawRect(self._on_widget(box))
        points = [self.to_widget(*c) for c in self.corners]
        for colour, width in (("white", 4.0), (theme.VERDIGRIS, 2.0)):
            p.setPen(QPen(QColor(colour), width))
            for point in points:
                p.drawEllipse(point, 8, 8)
            if len(points) == 4:
                p.drawPolygon(points)
        p.end()

    def _paint_picture(self, p: QPainter) -> None:
        by = self._scale()[0]
        w, h = self.size_px
        # the smallest copy that is not coarser than the screen
        copy = next((c for c in reversed(self.copies) if c.width() >= by * w), self.copies[0])
        x0, y0 = self.to_photo(QPointF(0, 0))
        x1, y1 = self.to_photo(QPointF(self.width(), self.height()))
        seen = QRectF(QPointF(x0, y0), QPointF(x1, y1)) & QRectF(0, 0, w, h)
        across, down = copy.width() / w, copy.height() / h
        source = QRectF(
            seen.x() * across, seen.y() * down, seen.width() * across, seen.height() * down
        )
        # pixels that are seen one by one are left as they are
        p.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, by < 3)
        p.drawImage(self._on_widget(seen.getCoords()), copy, source)

    def _on_widget(self, box: Box) -> QRectF:
        return QRectF(self.to_widget(*box[:2]), self.to_widget(*box[2:]))

    # the hand

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of the picture, of a mark, or begin a box."""
        if not self.copies or self._follow is not None:
            return
        at, left = event.position(), event.button() == Qt.MouseButton.LeftButton
        if event.button() == Qt.MouseButton.MiddleButton or (left and self._space):
            self._hold_picture(at)
        elif left:
            self._hold_mark(at)
        self._show_hand(at)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Let what is held follow the hand."""
        if self._follow is not None:
            self._follow(event.position())
            self.update()
        self._show_hand(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Tell of what was marked."""
        end, self._follow, self._end = self._end, None, None
        if end is not None:
            end(event.position())
        self._show_hand(event.position())
        self.update()

    def _hold_picture(self, start: QPointF) -> None:
        last = start

        def follow(at: QPointF) -> None:
            nonlocal last
            self.pan(at - last)
            last = at

        self._follow, self._end = follow, follow

    def _hold_mark(self, start: QPointF) -> None:
        k = self._corner_at(start)
        if k is not None:
            self._hold_corner(k, start)
            return
        for box in self.boxes:
            x0, y0, x1, y1 = box
            for near, far in (((x0, y0), (x1, y1)), ((x1, y0), (x0, y1)),
                              ((x0, y1), (x1, y0)), ((x1, y1), (x0, y0))):  # fmt: skip
                if _near(start, self.to_widget(*near)):
                    self._hold_box(start, far, box)
                    return
            if self._on_widget(box).contains(start):
                self._hold_box(start, None, box)
                return
        self._hold_box(start, self._within(start), None)

    def _hold_corner(self, k: int, start: QPointF) -> None:
        off = start - self.to_widget(*self.corners[k])

        def follow(at: QPointF) -> None:
            self.corners[k] = self._within(at - off)

        def end(at: QPointF) -> None:
            if not _near(at, start, CLICK):
                follow(at)
                self.corner_moved.emit(k, *self.corners[k])

        self._follow, self._end = follow, end

    def _hold_box(self, start: QPointF, fixed: tuple[float, float] | None, old: Box | None) -> None:
        """Draw a box from a corner that stays, or (None) move the old one as it is."""
        boxes = list(self.boxes)

        def follow(at: QPointF) -> None:
            if _near(at, start, CLICK) and self._drawn is None:
                return
            if old is not None:
                self.boxes = [b for b in boxes if b != old]
            if fixed is not None:
                x, y = self._within(at)
                xs, ys = sorted((x, fixed[0])), sorted((y, fixed[1]))
                self._drawn = (xs[0], ys[0], xs[1], ys[1])
            elif old is not None:
                self._drawn = self._moved(old, (at - start) / self._scale()[0])

        def end(at: QPointF) -> None:
            follow(at)
            drawn, self._drawn, self.boxes = self._drawn, None, boxes
            if drawn is not None:
                self.dragged.emit(*drawn)
            else:
                self.clicked.emit(*self.to_photo(at))

        self._follow, self._end = follow, end

    def _moved(self, box: Box, by: QPointF) -> Box:
        x0, y0, x1, y1 = box
        w, h = self.size_px
        dx, dy = min(max(by.x(), -x0), w - x1), min(max(by.y(), -y0), h - y1)
        return x0 + dx, y0 + dy, x1 + dx, y1 + dy

    def _within(self, at: QPointF) -> tuple[float, float]:
        """Return the pixel under a place, the nearest one where that is beside the photograph."""
        (x, y), (w, h) = self.to_photo(at), self.size_px
        return min(max(x, 0.0), w - 1.0), min(max(y, 0.0), h - 1.0)

    def _corner_at(self, at: QPointF) -> int | None:
        return next((k for k, c in enumerate(self.corners) if _near(at, self.to_widget(*c))), None)

    def _show_hand(self, at: QPointF | None = None) -> None:
        shape = Qt.CursorShape.CrossCursor
        if self._space:
            shape = Qt.CursorShape.OpenHandCursor
        elif at is not None and self._corner_at(at) is not None:
            shape = Qt.CursorShape.PointingHandCursor
        elif at is not None and any(self._on_widget(b).contains(at) for b in self.boxes):
            shape = Qt.CursorShape.SizeAllCursor
        self.setCursor(shape)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Two fingers move the picture, a wheel zooms it about the pointer."""
        zooms = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        if not event.pixelDelta().isNull() and not zooms:
            self.pan(QPointF(event.pixelDelta()))
        else:
            self.zoom(1.0015 ** event.angleDelta().y(), event.position())
        event.accept()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Held down, space moves the picture."""
        if event.key() != Qt.Key.Key_Space:
            super().keyPressEvent(event)
        elif not event.isAutoRepeat():
            self._space = True
            self._show_hand()

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        """Give the hand back to marking."""
        if event.key() != Qt.Key.Key_Space:
            super().keyReleaseEvent(event)
        elif not event.isAutoRepeat():
            self._space = False
            self._show_hand()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """A space let go elsewhere is not told here."""
        self._space = False
        super().focusOutEvent(event)


def copies_of(pixels: NDArray[np.uint8]) -> tuple[QImage, ...]:
    """Return a picture (height, width, 3) as images to draw from, each half the one before."""
    h, w = pixels.shape[:2]
    pixels = np.ascontiguousarray(pixels)
    image = QImage(pixels.data, w, h, 3 * w, QImage.Format.Format_RGB888)
    copies = [image.convertToFormat(QImage.Format.Format_RGB32)]
    while max(copies[-1].width(), copies[-1].height()) >= 2 * SMALLEST:
        last = copies[-1]
        copies.append(
            last.scaled(
                max(1, last.width() // 2),
                max(1, last.height() // 2),
                Qt.AspectRatioMode.IgnoreAspectRatio,
                Qt.TransformationMode.SmoothTransformation,
            )
        )
    return tuple(copies)


def _near(a: QPointF, b: QPointF, reach: float = REACH) -> bool:
    return (a - b).manhattanLength() < reach
