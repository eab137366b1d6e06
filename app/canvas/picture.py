"""The picture of the work that lies under all that is light enough to be drawn each time.

It is drawn off the interface thread, somewhat beyond the view. Until the newest is there the one
before is shown, moved and scaled; a few pieces of other colours are painted over it at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtCore import QObject, QPointF, QRectF, QTimer, Signal
from PySide6.QtGui import QImage, QPainter

from app.canvas.look import looked, paint_aside
from app.canvas.pieces import PieceTable
from app.canvas.render import render, repaint
from app.canvas.sight import Sight
from app.canvas.view import View, Want
from app.jobs import Worker

SPARE = 0.35  # of the view is drawn beyond each side, so that a small move needs no drawing
ANEW_MS = 60  # after pieces were painted over it, the picture is drawn anew
STILL_MS = 350  # after the work last moved, it is painted in its materials
NEAR = 0.06  # of the view is painted so beyond each side


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
        self._work = self._came = 0  # the newest job asked for, and that whose picture is shown
        self._worker = Worker(self)
        self._worker.done.connect(self._on_picture)
        self._anew = QTimer(self, singleShot=True, interval=ANEW_MS)
        self._anew.timeout.connect(self.draw)
        self._still = QTimer(self, singleShot=True, interval=STILL_MS)
        self._still.timeout.connect(self._paint_aside)
        self._aside = 0  # the job that paints in materials, while it runs
        self._relit = False  # the light moved meanwhile

    def _wider(self, share: float) -> View:
        """Return the view with a share of it more on each side."""
        v = self._sight.view
        wide, high = round(v.width * share), round(v.height * share)
        return View(
            v.left - wide / v.px_per_mm,
            v.top - high / v.px_per_mm,
            v.px_per_mm,
            v.width + 2 * wide,
            v.height + 2 * high,
        )

    def draw(self) -> None:
        """Ask for a new picture of the view; the old one is shown until it comes."""
        want = self._want(self._wider(SPARE))
        self._behind = False
        self._aside = 0
        self._work = self._worker.ask(lambda progress, stop: (*render(want, stop), want.table))
        self.wait()
        self.changed.emit()

    def cover(self) -> None:
        """Draw anew if the view has moved beyond the picture."""
        if not self._covers():
            self.draw()
        else:
            self.wait()

    def wait(self) -> None:
        """Something moves under the hand: paint the materials once it is still."""
        halted = self._aside != 0
        if halted:
            self._worker.stop()
            self._aside = 0
        if halted or not looked(self._want(self._sight.view)):
            self._still.start()

    def relight(self) -> None:
        """The light moves: show it as soon as may be, if less evenly."""
        self._relit = True
        if not self._aside:
            self._paint_aside(draft=True)

    def _paint_aside(self, draft: bool = False) -> None:
        """Paint the view in its materials, then draw it with them."""
        if not draft and not self._worker.idle:
            self._still.start()
            return
        self._relit = False
        near, all_of_it = self._want(self._wider(NEAR)), self._want(self._wider(SPARE))

        def work(progress: object, stop: Callable[[], bool]) -> object:
            paint_aside(near, stop, draft)
            return (*render(all_of_it, stop), all_of_it.table)

        self._work = self._aside = self._worker.ask(work)

    def hold(self) -> None:
        """Stop drawing what is about to change; a picture of before only keeps figures waiting."""
        if self._anew.isActive() or not self._worker.idle:
            self._anew.stop()
            self._still.stop()
            self._worker.stop()
            self._aside = 0
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
        timers = self._anew.isActive() or self._still.isActive()
        waits = self._behind or timers or not self._worker.idle or self._came != self._work
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
        self._still.stop()
        self._worker.close()

    def _on_picture(self, number: int, result: tuple[View, QImage, PieceTable | None]) -> None:
        if number != self._work:
            return
        self._have, self._shows = result[:2], result[2]
        self._came, self._aside = number, 0
        self.changed.emit()
        if self._relit:
            self._paint_aside(draft=True)
        elif not looked(self._want(self._sight.view)):
            self._still.start()

    def _covers(self) -> bool:
        if self._have is None:
            return False
        have, view = self._have[0], self._sight.view
        if have.px_per_mm != view.px_per_mm:
            return False
        x, y = have.to_mm(have.width, have.height)
        x1, y1 = view.to_mm(view.width, view.height)
        return have.left <= view.left and have.top <= view.top and x >= x1 and y >= y1
