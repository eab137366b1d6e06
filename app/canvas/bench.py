"""The bench widget: shows the work, moves and zooms, and hands the mouse to the tool in hand."""

from __future__ import annotations

from collections.abc import Callable

import shapely
from PySide6.QtCore import QEvent, QPointF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QContextMenuEvent,
    QDragEnterEvent,
    QDragMoveEvent,
    QDropEvent,
    QFocusEvent,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QNativeGestureEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from app import theme
from app.canvas.dropped import MATERIAL, drop_menu
from app.canvas.front import paint_key, paint_rulers, paint_welcome
from app.canvas.openings import Openings
from app.canvas.picture import Picture
from app.canvas.pieces import PieceTable
from app.canvas.render import sketch_image
from app.canvas.seams import Seams
from app.canvas.sight import Sight
from app.canvas.sun import Sun
from app.canvas.view import View, Want
from app.session import Session
from app.tools.base import Tool
from core.commission import Commission, Field
from core.errors import EmblemaError
from core.geometry import polygon_of
from core.look.light import STANDARD, Light

ARROWS = {  # how far an arrow moves the work, in the bench's width and height
    Qt.Key.Key_Left: (0.1, 0.0),
    Qt.Key.Key_Right: (-0.1, 0.0),
    Qt.Key.Key_Up: (0.0, 0.1),
    Qt.Key.Key_Down: (0.0, -0.1),
}


class Bench(QWidget):
    """The main canvas."""

    hovered = Signal(str)
    tool_changed = Signal(str)
    lit_changed = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.layers = {
            "sketch": True,
            "outlines": True,
            "flow": True,
            "tesserae": True,
            "look": False,
        }
        self.colours = "plain"
        self.lit: str | None = None
        self.sketch_opacity = 1.0
        self.light_from = STANDARD
        self.sun = Sun(self)
        self.sun.moved.connect(self.set_light)
        self.sun.hide()
        self.seams = Seams(session, self)
        self.seams.changed.connect(self.update)
        self.openings = Openings(session, self)
        self.openings.changed.connect(self.update)
        self.overlays: list[Callable[[QPainter, Bench], None]] = [
            self.openings.paint,
            self.seams.paint,
        ]
        self.table: PieceTable | None = None
        self._aside: tuple[Commission, PieceTable] | None = None
        self.tool: Tool | None = None
        self.tools: dict[str, Tool] = {}
        self._sight = Sight(self)
        self._picture = Picture(self._sight, self._want, self)
        self._picture.changed.connect(self.update)
        self._sketch: tuple[str, QImage] | None = None
        self._shapes: dict[str, tuple[object, shapely.MultiPolygon]] = {}
        self._pan: QPointF | None = None
        self._space = False
        self._keyed = False  # whether the keys came here by keys
        self.setAccessibleName("Bench")
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAcceptDrops(True)
        self.setMinimumSize(320, 240)
        session.changed.connect(self._on_changed)
        session.laid.connect(self._on_laid)
        session.calm.connect(self._picture.catch_up)
        session.selection_changed.connect(self.redraw)
        session.opened.connect(self._on_opened)

    # --- the view

    @property
    def view(self) -> View:
        """What is seen now, rulers beneath included."""
        return self._sight.view

    def to_px(self, x: float, y: float) -> QPointF:
        """Return the widget's pixel of a place on the work, mm."""
        return self._sight.to_px(x, y)

    def to_mm(self, at: QPointF) -> tuple[float, float]:
        """Return the place on the work, mm, of a pixel of the widget."""
        return self._sight.to_mm(at)

    @property
    def px_per_mm(self) -> float:
        """The scale."""
        return self._sight.px_per_mm

    def fit(self) -> None:
        """Show the whole work."""
        self._sight.fit(self.session.doc)
        self.redraw()

    def zoom(self, by: float, about: QPointF | None = None) -> None:
        """Zoom about a pixel, the middle where left out."""
        self._sight.zoom(by, about)
        self.redraw()

    def show_place(self, x: float, y: float, px_per_mm: float | None = None) -> None:
        """Bring a place on the work to the middle."""
        self._sight.centre(x, y, px_per_mm)
        self.redraw()

    def pan(self, by: QPointF) -> None:
        """Move the view by pixels."""
        self._sight.pan(by)
        self.update()
        self._picture.cover()

    # --- what is drawn in the background

    def redraw(self) -> None:
        """Ask for a new picture of the view; the old one is shown until it comes."""
        self._picture.draw()

    def show_aside(self, work: tuple[Commission, PieceTable] | None) -> None:
        """Show another state of the work for a while, as it was before; None for what stands."""
        self._aside = work
        self.redraw()

    def _want(self, view: View) -> Want:
        doc, table = self._aside or (self.session.doc, self.table)
        return Want(
            view,
            doc,
            table,
            self._sketch_image(),
            self.layers["sketch"],
            self.layers["tesserae"],
            self.layers["outlines"],
            self.layers["flow"],
            frozenset(self.session.selection),
            self.colours,
            self.lit,
            self.sketch_opacity,
            self.devicePixelRatioF(),
            self.light_from if self.layers["look"] else None,
        )

    def settled(self) -> bool:
        """Whether the picture shown is the newest asked for."""
        return self._picture.settled()

    def _sketch_image(self) -> QImage | None:
        sketch = self.session.doc.sketch
        if sketch is None or sketch.image not in self.session.images:
            return None
        if self._sketch is None or self._sketch[0] != sketch.image:
            try:
                image = sketch_image(self.session.images[sketch.image], "sketch")
            except EmblemaError as e:
                self.session.message.emit(str(e))
                image = QImage()
            self._sketch = (sketch.image, image)
        return self._sketch[1]

    def _on_changed(self) -> None:
        if self.session.recolours:  # there is nothing to see until it is matched
            self._picture.hold()
            return
        if self._sight.whole:
            self.fit()
        self.redraw()

    def _on_opened(self) -> None:
        self.table = self._aside = None
        self._picture.forget()
        self._sight.whole = True

    def _on_laid(self) -> None:
        assert self.session.layout is not None and self.session.laid_doc is not None
        self.table = PieceTable(self.session.laid_doc, self.session.layout, self.table)
        self._picture.follow()

    def set_layer(self, name: str, on: bool) -> None:
        """Show or hide the sketch, outlines, flow, tesserae or, when still, their material look."""
        self.layers[name] = on
        self.sun.setVisible(self.layers["look"])
        self.redraw()

    def set_colours(self, view: str) -> None:
        """Colour the pieces as they are ("plain"), by "difference", or by a colour vision."""
        self.colours = view
        self.redraw()

    def set_light(self, light: Light) -> None:
        """Let the light come from elsewhere."""
        self.light_from = light
        self._picture.relight()

    def light(self, code: str | None) -> None:
        """Let the pieces of one material stand out."""
        self.lit = code
        self.redraw()
        self.lit_changed.emit()

    # --- finding

    def shape_of(self, f: Field) -> shapely.MultiPolygon:
        """Return a field's shape, kept while its outline stays."""
        kept = self._shapes.get(f.id)
        if kept is None or kept[0] is not f.outline:
            kept = self._shapes[f.id] = (f.outline, polygon_of(f.outline))
        return kept[1]

    def field_at(self, x: float, y: float) -> Field | None:
        """Return the field at a place on the work."""
        point = shapely.Point(x, y)
        for f in reversed(self.session.doc.fields):
            if self.shape_of(f).contains(point):
                return f
        return None

    def piece_at(self, x: float, y: float) -> tuple[str, int] | None:
        """Return the field and index of the piece at a place on the work."""
        row = self.table.at(x, y) if self.table is not None else None
        if row is None or self.table is None:
            return None
        return self.table.field_ids[int(self.table.field[row])], int(self.table.index[row])

    # --- painting

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the picture and all that is light enough to be drawn each time."""
        p = QPainter(self)
        p.fillRect(self.rect(), QColor(theme.BENCH))
        self._picture.paint(p)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        doc = self.session.doc
        self._paint_chosen(p, doc)
        for overlay in self.overlays:
            overlay(p, self)
        if self.tool is not None:
            self.tool.paint(p)
        paint_rulers(p, self._sight)
        if self.colours == "difference":
            paint_key(p, self.height())
        if not doc.fields and doc.sketch is None:
            paint_welcome(p, self.rect())
        if self._keyed and self.hasFocus():
            p.setPen(QPen(QColor(theme.VERDIGRIS), 4.0))
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.drawRect(self.rect())
        p.end()

    def outline_path(self, f: Field) -> list[QPolygonF]:
        """Return a field's rings in pixels."""
        return [
            QPolygonF([self.to_px(x, y) for x, y in (*ring, ring[0])])
            for part in f.outline
            for ring in part
        ]

    def _paint_chosen(self, p: QPainter, doc: Commission) -> None:
        chosen = set(self.session.selection)
        for f in doc.fields:
            if f.id in chosen:
                for colour, width in (("white", 5.0), (theme.DAY["VERDIGRIS"], 2.6)):
                    p.setPen(QPen(QColor(colour), width))
                    for ring in self.outline_path(f):
                        p.drawPolyline(ring)
        piece = self.session.selected_piece
        if piece is not None and self.table is not None:
            row = self.table.row(*piece)
            if row is not None:
                a, b = self.table.starts[row], self.table.starts[row + 1]
                corners = self.table.points[a:b].tolist()
                p.setPen(QPen(QColor(theme.DAY["RUST"]), 2.6))
                p.setBrush(Qt.BrushStyle.NoBrush)
                p.drawPolyline(QPolygonF([self.to_px(x, y) for x, y in corners]))

    # --- the mouse

    def take(self, name: str) -> None:
        """Take a tool in hand."""
        if self.tool is not None:
            self.tool.put_down()
        self.tool = self.tools[name]
        self.tool.pick_up()
        self.setCursor(self.tool.cursor)
        self.tool_changed.emit(name)
        self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin to move the view, or hand the press to the tool."""
        self.setFocus()
        middle = event.button() == Qt.MouseButton.MiddleButton
        if middle or (self._space and event.button() == Qt.MouseButton.LeftButton):
            self._pan = event.position()
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
        elif event.button() == Qt.MouseButton.LeftButton and self.tool is not None:
            self.guarded(lambda: self.tool.press(event))  # type: ignore[union-attr]
        self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Move the view, or let the tool follow; say what lies under the hand."""
        if self._pan is not None:
            self.pan(event.position() - self._pan)
            self._pan = event.position()
            return
        if event.buttons() != Qt.MouseButton.NoButton:
            self._picture.wait()
        if self.tool is not None:
            self.guarded(lambda: self.tool.move(event))  # type: ignore[union-attr]
        self._tell(*self.to_mm(event.position()))
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        """Nothing lies under the hand any more."""
        self.hovered.emit("")
        super().leaveEvent(event)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End what the press began."""
        if self._pan is not None:
            self._pan = None
            if self.tool is not None:
                self.setCursor(self.tool.cursor)
        elif event.button() == Qt.MouseButton.LeftButton and self.tool is not None:
            self.guarded(lambda: self.tool.release(event))  # type: ignore[union-attr]
        self.update()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """End a line or an outline."""
        if self.tool is not None and event.button() == Qt.MouseButton.LeftButton:
            self.guarded(lambda: self.tool.double(event))  # type: ignore[union-attr]
        self.update()

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        """Offer what the tool can do here."""
        if self.tool is not None:
            self.tool.menu(self.to_mm(QPointF(event.pos())), event.globalPos())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Give keys to the tool; space and the arrows move the view."""
        if event.key() == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space = True
            self.setCursor(Qt.CursorShape.OpenHandCursor)
        elif self.tool is not None and self.guarded(lambda: self.tool.key(event)):  # type: ignore[union-attr]
            pass
        elif event.key() in ARROWS:
            dx, dy = ARROWS[Qt.Key(event.key())]
            self.pan(QPointF(dx * self.width(), dy * self.height()))
        else:
            super().keyPressEvent(event)
        self.update()

    def focusInEvent(self, event: QFocusEvent) -> None:
        """Show a frame while keys came here by keys; a hand on the mouse knows where it is."""
        why = Qt.FocusReason
        if event.reason() in (why.TabFocusReason, why.BacktabFocusReason, why.MouseFocusReason):
            self._keyed = event.reason() != why.MouseFocusReason
        super().focusInEvent(event)
        self.update()

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        """Give the hand back to the tool."""
        if event.key() == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space = False
            if self.tool is not None:
                self.setCursor(self.tool.cursor)
        super().keyReleaseEvent(event)

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Two fingers move the view, a wheel zooms it."""
        pixels = event.pixelDelta()
        zooms = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        if not pixels.isNull() and not zooms:
            self.pan(QPointF(pixels))
        elif event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self.pan(QPointF(event.angleDelta()) / 2)
        else:
            self.zoom(1.0015 ** event.angleDelta().y(), event.position())

    def event(self, event: QEvent) -> bool:
        """Zoom by a pinch."""
        if isinstance(event, QNativeGestureEvent):
            if event.gestureType() == Qt.NativeGestureType.ZoomNativeGesture:
                self.zoom(1 + event.value(), event.position())
            return True
        return super().event(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the whole work in sight where it was."""
        super().resizeEvent(event)
        self.sun.stand(self.width(), self.height())
        if self._sight.whole:
            self.fit()
        else:
            self.redraw()

    def guarded(self, do: Callable[[], object]) -> object:
        """Do it; what a tool is refused is said, and nothing is lost."""
        try:
            return do()
        except EmblemaError as e:
            self.session.message.emit(str(e))
            return True

    def _tell(self, x: float, y: float) -> None:
        words = f"{x:.0f}, {y:.0f} mm"
        piece = self.piece_at(x, y)
        layout, doc = self.session.layout, self.session.laid_doc
        if piece is not None and layout is not None and doc is not None:
            laid = layout.by_id(piece[0])
            k = piece[1]
            name = next((f.name for f in doc.fields if f.id == piece[0]), "")
            words += f"   {name}"
            if laid.stock[k] >= 0:
                m = doc.materials[laid.stock[k]]
                words += f"   {m.code} {m.description}"
                if laid.delta_e[k] == laid.delta_e[k]:
                    words += f"   colour difference {laid.delta_e[k]:.1f}"
            words += f"   {laid.pieces.area_mm2[k]:.0f} mm²"
        else:
            f = self.field_at(x, y)
            words += f"   {f.name}" if f is not None else ""
        self.hovered.emit(words)

    # --- trays dropped here

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take materials."""
        if event.mimeData().hasFormat(MATERIAL):
            event.acceptProposedAction()

    def dragMoveEvent(self, event: QDragMoveEvent) -> None:
        """Take materials where there is something to lay them in."""
        if event.mimeData().hasFormat(MATERIAL):
            event.acceptProposedAction()
            self._tell(*self.to_mm(event.position()))

    def dropEvent(self, event: QDropEvent) -> None:
        """Ask where the material is to be laid, and lay it there."""
        code = bytes(event.mimeData().data(MATERIAL).data()).decode()
        x, y = self.to_mm(event.position())
        event.acceptProposedAction()
        menu = drop_menu(self, code, x, y)
        if menu is not None:
            menu.popup(self.mapToGlobal(event.position().toPoint()))

    def close_work(self) -> None:
        """End the background work."""
        self._picture.close()
        self.seams.close()
