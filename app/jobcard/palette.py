"""Materials to choose from: a grid of swatches to allow or keep, and a box that names one."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QHelpEvent, QMouseEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QToolTip, QWidget

from app import theme
from app.widgets import Drop, describe, paint_swatch, swatch_icon
from core.material import Material

WIDE, HIGH = 58, 56


class PaletteGrid(QWidget):
    """Swatches with their codes. An allowed one is ticked, a kept one has a knob, the rest fade."""

    tapped = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.materials: tuple[Material, ...] = ()
        self.allowed: frozenset[str] = frozenset()
        self.kept: frozenset[str] = frozenset()
        self.pieces: Mapping[str, int] = {}
        self._hover = -1
        self.setMouseTracking(True)
        policy = QSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def fill(
        self,
        materials: Sequence[Material],
        allowed: Collection[str],
        kept: Collection[str],
        pieces: Mapping[str, int],
    ) -> None:
        """Show these materials; `pieces` are laid of them."""
        self.pieces = pieces
        now = (tuple(materials), frozenset(allowed), frozenset(kept))
        if now == (self.materials, self.allowed, self.kept):
            return
        self.materials, self.allowed, self.kept = now
        self.updateGeometry()
        self.setFixedHeight(self.heightForWidth(max(self.width(), 4 * WIDE)))
        self.update()

    @property
    def columns(self) -> int:
        """How many stand side by side."""
        return max(1, self.width() // WIDE)

    def heightForWidth(self, width: int) -> int:
        """As many rows as it takes."""
        columns = max(1, width // WIDE)
        return max(1, -(-len(self.materials) // columns)) * HIGH

    def resizeEvent(self, event: object) -> None:
        """Keep as many rows as the new width takes."""
        high = self.heightForWidth(self.width())
        if high != self.height():
            self.setFixedHeight(high)

    def sizeHint(self) -> QSize:
        """Five columns."""
        return QSize(5 * WIDE, self.heightForWidth(5 * WIDE))

    def cell(self, k: int) -> QRectF:
        """Return where a swatch lies."""
        n = self.columns
        wide = self.width() / n
        return QRectF((k % n) * wide, (k // n) * HIGH, wide, HIGH)

    def index_at(self, at: QPointF) -> int:
        """Return which swatch lies at a place, -1 for none."""
        for k in range(len(self.materials)):
            if self.cell(k).contains(at):
                return k
        return -1

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the swatches."""
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        font = p.font()
        font.setPixelSize(11)
        p.setFont(font)
        for k, m in enumerate(self.materials):
            box = self.cell(k).adjusted(2, 2, -2, -2)
            on = m.code in self.allowed
            if k == self._hover or (on and m.code in self.kept):
                p.setPen(QPen(QColor(theme.VERDIGRIS), 1.4))
                p.setBrush(QColor(theme.VERDIGRIS_PALE))
                p.drawRoundedRect(box, 5, 5)
            p.setOpacity(1.0 if on else 0.35)
            paint_swatch(p, m, box.x() + 4, box.y() + 4, box.width() - 8, 29)
            p.setOpacity(1.0)
            if on:
                self._tick(p, QPointF(box.right() - 10, box.y() + 27))
            if m.code in self.kept:
                p.setPen(QPen(QColor(theme.INK), 1))
                p.setBrush(QColor(theme.RUST))
                p.drawEllipse(QPointF(box.x() + 11, box.y() + 11), 5, 5)
            p.setPen(QColor(theme.INK if on else theme.SLATE))
            # of a lot its number matters: it lies beside its material
            elide = Qt.TextElideMode.ElideRight if m.lot is None else Qt.TextElideMode.ElideLeft
            code = p.fontMetrics().elidedText(m.code, elide, int(box.width() - 4))
            p.drawText(
                QRectF(box.x() + 2, box.y() + 34, box.width() - 4, 16),
                Qt.AlignmentFlag.AlignCenter,
                code,
            )
        p.end()

    def _tick(self, p: QPainter, at: QPointF) -> None:
        p.setPen(Qt.PenStyle.NoPen)
        p.setBrush(QColor(theme.CHALK))
        p.drawEllipse(at, 7, 7)
        p.setPen(QPen(QColor(theme.VERDIGRIS), 2))
        p.drawLine(at + QPointF(-3, 0), at + QPointF(-1, 3))
        p.drawLine(at + QPointF(-1, 3), at + QPointF(4, -3))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Tell which swatch was tapped."""
        k = self.index_at(event.position())
        if k >= 0 and event.button() == Qt.MouseButton.LeftButton:
            self.tapped.emit(self.materials[k].code)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Mark the swatch under the hand."""
        k = self.index_at(event.position())
        if k != self._hover:
            self._hover = k
            self.update()

    def leaveEvent(self, event: QEvent) -> None:
        """The hand left."""
        self._hover = -1
        self.update()

    def event(self, event: QEvent) -> bool:
        """Describe the swatch under the hand."""
        if isinstance(event, QHelpEvent) and event.type() == QEvent.Type.ToolTip:
            k = self.index_at(QPointF(event.pos()))
            if k >= 0:
                m = self.materials[k]
                laid = self.pieces.get(m.code, 0)
                words = describe(m) + (f"\n{laid:,} laid here" if laid else "")
                QToolTip.showText(event.globalPos(), words, self)
            else:
                QToolTip.hideText()
            return True
        return super().event(event)


class MaterialBox(QWidget):
    """A named choice of one material, or of none."""

    def __init__(
        self, name: str, none: str, changed: Callable[[str], object], name_px: int = 0
    ) -> None:
        super().__init__()
        self.box = Drop()
        self.box.setAccessibleName(name)
        self.box.setIconSize(QSize(28, 18))
        self.box.view().setMinimumWidth(260)
        self._none = none
        self._shown: tuple[Material, ...] | None = None
        self.box.currentIndexChanged.connect(lambda k: changed(self.box.itemData(k) or ""))
        box = QHBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        if name:
            label = QLabel(name)
            label.setMinimumWidth(name_px)
            box.addWidget(label)
        box.addWidget(self.box, 1)

    def fill(self, materials: Sequence[Material], code: str) -> None:
        """Show the materials to choose from and the one chosen, without telling anyone."""
        self.box.blockSignals(True)
        if self._shown != tuple(materials):
            self._shown = tuple(materials)
            self.box.clear()
            self.box.addItem(self._none, "")
            for m in materials:
                self.box.addItem(swatch_icon(m, 28, 18), f"{m.code}  {m.said}", m.code)
        self.box.setCurrentIndex(max(0, self.box.findData(code)))
        self.box.blockSignals(False)

    @property
    def value(self) -> str:
        """The code chosen, empty for none."""
        return str(self.box.currentData() or "")
