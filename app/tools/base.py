"""What every hand tool is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QKeyEvent, QMouseEvent, QPainter

if TYPE_CHECKING:
    from app.canvas.bench import Bench

Place = tuple[float, float]


class Tool:
    """A tool in hand. Places are mm on the work; an edit is made once, when the hand lets go."""

    name = ""
    key_letter = ""
    hint = ""
    cursor = Qt.CursorShape.ArrowCursor

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.session = bench.session

    def pick_up(self) -> None:
        """Begin to be the tool in hand."""

    def put_down(self) -> None:
        """Stop being the tool in hand; what was begun is given up."""

    def press(self, event: QMouseEvent) -> None:
        """The left button went down."""

    def move(self, event: QMouseEvent) -> None:
        """The mouse moved, pressed or not."""

    def release(self, event: QMouseEvent) -> None:
        """The left button went up."""

    def double(self, event: QMouseEvent) -> None:
        """A double click."""

    def key(self, event: QKeyEvent) -> bool:
        """Return whether the key was for this tool."""
        return False

    def menu(self, at: Place, where: QPoint) -> None:
        """The other button: what can be done here."""

    def paint(self, p: QPainter) -> None:
        """Paint over the bench."""

    def at(self, event: QMouseEvent) -> Place:
        """Return the place under the mouse."""
        return self.bench.to_mm(event.position())

    def reach_mm(self, px: float = 9.0) -> float:
        """Return what a few pixels are on the work."""
        return px / self.bench.px_per_mm
