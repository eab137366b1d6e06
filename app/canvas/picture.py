"""The picture of the work that lies under all that is light enough to be drawn each time.

It is drawn off the interface thread, somewhat beyond the view. Until the newest is there the one
before is shown, moved and scaled; a few pieces of other colours are painted over it at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtCore import QObject, QPointF, QRectF, QTimer, Signal
from PySide6.QtGui import QImage, QPainter

from app.canvas.pieces import PieceTable
from app.canvas.render import View, Want, render, repaint
from app.canvas.sight import Sight
from app.jobs import Worker

SPARE = 0.35  # of the view is drawn beyond each side, so that a small move needs no drawing
ANEW_MS = 60  # after pieces were painted over it, the picture is drawn anew


class Picture(QObject):
    """The newest picture, and how it follows the work.

    Parameters
    ----------
    want : callable
        Given a view, says what the picture of it is to show.
    """

    changed = Signal()

    def __init__(self, sight: Sight, want: Callable[[View], Want], parent: QObject) -> None:
        super().__init__(parent)
        self._sight, self._want = sight, want
        self._have: tuple[View, QImage] | None = None
        self._shows: PieceTable | None = None  # the pieces that it shows
        self._behind = False  # it is to follow the pieces once there is calm
        self._work = 0
        self._worker = Worker(self)
        self._worker.done.connect(self._on_picture)
        self._anew = QTimer(self, singleShot=True, interval=ANEW_MS)
        self._anew.timeout.connect(self.draw)

    def draw(self) -> None:
        """Ask for a new picture of the view; the old one is shown until it comes."""
        v = self._sight.view
        wide, high = round(v.width * SPARE), round(v.height * SPARE)
        want = self._want(
            View(
                v.left - wide / v.px_per_mm,
                v.top - high / v.px_per_mm,
                v.px_per_mm,
                v.width + 2 * wide,
                v.height + 2 * high,
            )
        )
        self._behind = False
        self._work = self._worker.ask(lambda progress, stop: (*render(want, stop), want.table))
        self.changed.emit()

    def cover(self) -> None:
        """Draw anew if the view has moved beyond the picture."""
        if not self._covers():
            self.draw()

    def hold(self) -> None:
        """Stop drawing what is about to change; a picture of before only keeps figures waiting."""
        if self._anew.isActive() or not self._worker.idle:
            self._anew.stop()
            self._worker.stop()
            self._behind = True

    def follow(self) -> None:
        """The pieces are others: draw them once there is calm."""
        self._behind = True

    def catch_up(self) -> None:
        """Paint pieces of other colours over the picture where they are few, else draw it anew."""
        if not self._behind:
            return
        if self._shows is not None and self._have is not None:
            view, image = self._have
            want = replace(self._want(view), view=view)
            if repaint(image, want, self._shows):
                self._behind, self._shows = False, want.table
                self.changed.emit()
                self._anew.start()
                return
        self.draw()

    def forget(self) -> None:
        """The work is another."""
        self._have = self._shows = None

    def settled(self) -> bool:
        """Whether the picture shown is the newest asked for."""
        waits = self._behind or self._anew.isActive() or not self._worker.idle
        return not waits and self._covers()

    def paint(self, p: QPainter) -> None:
        """Paint it where it belongs in the view."""
        if self._have is None:
            return
        view, image = self._have
        by = self._sight.px_per_mm / view.px_per_mm
        corner = self._sight.to_px(view.left, view.top)
        if by == 1.0:
            p.drawImage(QPointF(round(corner.x()), round(corner.y())), image)
        else:
            size = QRectF(corner.x(), corner.y(), view.width * by, view.height * by)
            p.drawImage(size, image)

    def close(self) -> None:
        """End the drawing."""
        self._anew.stop()
        self._worker.close()

    def _on_picture(self, number: int, result: tuple[View, QImage, PieceTable | None]) -> None:
        if number == self._work:
            self._have, self._shows = result[:2], result[2]
            self.changed.emit()

    def _covers(self) -> bool:
        if self._have is None:
            return False
        have, view = self._have[0], self._sight.view
        if have.px_per_mm != view.px_per_mm:
            return False
        x, y = have.to_mm(have.width, have.height)
        x1, y1 = view.to_mm(view.width, view.height)
        return have.left <= view.left and have.top <= view.top and x >= x1 and y >= y1
