"""The trays: one for each stocked material that is laid, along the bottom of the window.

A tray is dropped on another to swap everywhere, or on the bench to swap there.
"""

from __future__ import annotations

from PySide6.QtCore import QMimeData, QPoint, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QDrag,
    QDragEnterEvent,
    QDropEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
)
from PySide6.QtWidgets import (
    QApplication,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import theme
from app.canvas import Bench
from app.canvas.dropped import MATERIAL
from app.session import Session
from app.widgets import describe, fit, paint_swatch
from core.errors import EmblemaError
from core.figures import Count, counts
from core.material import Material

WIDE, HIGH = 104, 84


class Tray(QWidget):
    """One material: its swatch, the studio's code, pieces laid and what they use of the stock."""

    dropped = Signal(str, str)
    chosen = Signal(str)

    def __init__(self, material: Material, count: Count | None, lit: bool) -> None:
        super().__init__()
        self.material, self.count, self.lit = material, count, lit
        self._over = False
        self._pressed: QPoint | None = None
        theme.fix(self, WIDE, HIGH)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setAcceptDrops(True)
        self.setCursor(Qt.CursorShape.OpenHandCursor)
        self._tell()

    def fill(self, material: Material, count: Count | None, lit: bool) -> None:
        """Show the material as it is now: its colour, its count, and whether it stands out."""
        if (material, count, lit) != (self.material, self.count, self.lit):
            self.material, self.count, self.lit = material, count, lit
            self._tell()
            self.update()

    def _tell(self) -> None:
        words, count = describe(self.material), self.count
        if count is not None:
            words += f"\n{count.pieces:,} laid, cut from {count.take:,} stocked, with waste"
            words += f"; {count.short:,} short" if count.short else ""
            if count.too_large:
                words += f"\n{count.too_large:,} are larger than what is stocked"
        self.setToolTip(words)
        self.setAccessibleName(f"Tray {self.material.code}")
        self.setAccessibleDescription(words)

    def sizeHint(self) -> QSize:
        """A tray is always as large."""
        return QSize(theme.px(WIDE), theme.px(HIGH))

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the tray."""
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.scale(self.width() / WIDE, self.height() / HIGH)
        bright = self.lit or self._over or self.hasFocus()
        p.setPen(QPen(QColor(theme.VERDIGRIS if bright else theme.SAND), 2.4 if bright else 1.0))
        p.setBrush(QColor(theme.VERDIGRIS_PALE if self._over else theme.CHALK))
        p.drawRoundedRect(QRectF(2, 2, WIDE - 4, HIGH - 4), 8, 8)
        paint_swatch(p, self.material, 9, 8, WIDE - 18, 26)
        left = Qt.AlignmentFlag.AlignLeft
        font = p.font()
        font.setPixelSize(13)
        font.setBold(True)
        fit(font, self.material.code, WIDE - 18)
        p.setFont(font)
        p.setPen(QColor(theme.INK))
        # of a lot its number matters, of any code both ends
        code = p.fontMetrics().elidedText(
            self.material.code, Qt.TextElideMode.ElideMiddle, WIDE - 18
        )
        p.drawText(QRectF(9, 35, WIDE - 18, 17), left, code)
        font.setBold(False)
        font.setPixelSize(11)
        p.setFont(font)
        p.setPen(QColor(theme.SLATE))
        laid = self.count.pieces if self.count else 0
        p.drawText(QRectF(9, 51, WIDE - 18, 15), left, f"{laid:,} laid" if laid else "not laid")
        short = self.count.short if self.count else 0
        p.setPen(QColor(theme.RUST if short else theme.SLATE))
        words = self._in_hand()
        fit(font, words, WIDE - 18)
        p.setFont(font)
        p.drawText(QRectF(9, 65, WIDE - 18, 15), left, words)
        p.end()

    def _in_hand(self) -> str:
        count, hand = self.count, self.material.pieces
        if count is None:
            return f"{hand:,} in hand"
        if count.short:
            return f"{count.short:,} short"
        return f"uses {count.take:,} of {hand:,}"

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin a click or a drag."""
        self._pressed = event.position().toPoint()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """A click lets this material's pieces stand out."""
        if self._pressed is not None:
            self.chosen.emit(self.material.code)
        self._pressed = None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Space and Enter do what a click does."""
        if event.key() in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.chosen.emit(self.material.code)
        else:
            super().keyPressEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Carry the tray away."""
        if self._pressed is None:
            return
        moved = (event.position().toPoint() - self._pressed).manhattanLength()
        if moved < QApplication.startDragDistance():
            return
        self._pressed = None
        drag = QDrag(self)
        data = QMimeData()
        data.setData(MATERIAL, self.material.code.encode())
        drag.setMimeData(data)
        picture = QPixmap(64, 40)
        picture.fill(Qt.GlobalColor.transparent)
        p = QPainter(picture)
        paint_swatch(p, self.material, 1, 1, 62, 38)
        p.end()
        drag.setPixmap(picture)
        drag.setHotSpot(QPoint(32, 20))
        drag.exec(Qt.DropAction.CopyAction)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take another material."""
        data = event.mimeData()
        if data.hasFormat(MATERIAL) and bytes(data.data(MATERIAL).data()).decode() != (
            self.material.code
        ):
            self._over = True
            event.acceptProposedAction()
            self.update()

    def dragLeaveEvent(self, event: object) -> None:
        """The other tray was carried on."""
        self._over = False
        self.update()

    def dropEvent(self, event: QDropEvent) -> None:
        """Lay the material dropped here in this one's place, everywhere."""
        self._over = False
        self.update()
        new = bytes(event.mimeData().data(MATERIAL).data()).decode()
        event.acceptProposedAction()
        self.dropped.emit(self.material.code, new)


class Trays(QFrame):
    """The strip of trays."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench = session, bench
        self.setProperty("role", "bar")
        theme.fix(self, high=HIGH + 24)
        self._all = False
        self._shown: tuple[object, ...] | None = None
        self._strip = QWidget()
        self._box = QHBoxLayout(self._strip)
        self._box.setContentsMargins(4, 2, 4, 2)
        self._box.setSpacing(6)
        self._box.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(self._strip)
        scroll.setWidgetResizable(True)
        scroll.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._more = QPushButton("All stock")
        self._more.setCheckable(True)
        theme.fix(self._more, 88, 40)
        self._more.setToolTip("Show every material of this commission, laid or not")
        self._more.toggled.connect(self._show_all)
        self._words = QLabel()
        self._words.setProperty("role", "hint")
        self._words.setAlignment(Qt.AlignmentFlag.AlignCenter)
        side = QVBoxLayout()
        side.addWidget(self._more)
        side.addWidget(self._words)
        box = QHBoxLayout(self)
        box.setContentsMargins(10, 4, 6, 4)
        box.addLayout(side)
        box.addWidget(scroll, 1)
        session.changed.connect(self.refresh)
        session.laid.connect(self.refresh)
        bench.lit_changed.connect(self._show_lit)
        self.trays: list[Tray] = []
        self._kept: dict[str, Tray] = {}  # by code
        self.refresh()

    def _show_all(self, on: bool) -> None:
        self._all = on
        self.refresh()

    def refresh(self) -> None:
        """Lay the trays out again: those in use, most pieces first, then the rest if wanted."""
        layout, doc = self.session.layout, self.session.laid_doc
        stand = (layout, self.session.doc.materials, self._all)
        if self._shown is not None and all(a is b for a, b in zip(stand, self._shown, strict=True)):
            return
        self._shown = stand
        every = counts(doc, layout) if layout is not None and doc is not None else ()
        table = tuple(c for c in every if not c.bare)
        by_code = {c.material.code: c for c in table}
        used = sorted(table, key=lambda c: -c.pieces)
        shown = [(c.material, c) for c in used]
        if self._all or not shown:
            shown += [(m, None) for m in self.session.doc.materials if m.code not in by_code]
        bare = sum(c.pieces for c in every if c.bare)
        self._words.setText(f"{len(used)} in use" + (f"\n{bare:,} bare" if bare else ""))
        self._words.setToolTip(f"{bare:,} pieces have no material" if bare else "")
        before, self.trays = self.trays, []
        for k, (m, c) in enumerate(shown):
            tray = self._tray(m, c)
            if self._box.indexOf(tray) != k:
                self._box.insertWidget(k, tray)
            tray.show()
            self.trays.append(tray)
        for gone in set(before).difference(self.trays):
            self._box.removeWidget(gone)
            gone.hide()

    def _tray(self, material: Material, count: Count | None) -> Tray:
        """Return the material's own tray.

        It is kept even while it is not shown: the hand may be carrying it.
        """
        lit = self.bench.lit == material.code
        tray = self._kept.get(material.code)
        if tray is None:
            tray = self._kept[material.code] = Tray(material, count, lit)
            tray.dropped.connect(self.swap)
            tray.chosen.connect(self._light)
        tray.fill(material, count, lit)
        return tray

    def swap(self, old: str, new: str) -> None:
        """Lay a material in another's place, everywhere."""
        try:
            self.session.swap(old, new)
        except EmblemaError as e:
            self.session.message.emit(str(e))

    def _light(self, code: str) -> None:
        self.bench.light(None if self.bench.lit == code else code)

    def _show_lit(self) -> None:
        for tray in self.trays:
            tray.fill(tray.material, tray.count, tray.material.code == self.bench.lit)
