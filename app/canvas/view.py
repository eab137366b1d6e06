"""What is seen of the work, and what of it is to be shown."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtGui import QImage

from app.canvas.pieces import PieceTable
from core.commission import Commission
from core.look.light import Light


@dataclass(frozen=True)
class View:
    """A stretch of the work as it is seen: pixel (0, 0) lies at `left`, `top` mm."""

    left: float
    top: float
    px_per_mm: float
    width: int
    height: int

    def to_px(self, x: float, y: float) -> tuple[float, float]:
        """Return pixels of a place on the work."""
        return (x - self.left) * self.px_per_mm, (y - self.top) * self.px_per_mm

    def to_mm(self, x: float, y: float) -> tuple[float, float]:
        """Return the place on the work of a pixel."""
        return self.left + x / self.px_per_mm, self.top + y / self.px_per_mm


@dataclass(frozen=True)
class Want:
    """What the picture is to show."""

    view: View
    doc: Commission
    table: PieceTable | None
    sketch: QImage | None
    show_sketch: bool
    show_pieces: bool
    show_outlines: bool
    show_flow: bool
    chosen: frozenset[str]  # fields; the flow lines of others are faint
    colours: str
    lit: str | None  # a material's code: its pieces stand out
    sketch_opacity: float
    ratio: float
    light: Light | None = None  # pieces are shown as their materials look in it
