"""The bench widget: shows the work, moves and zooms, and hands the mouse to the tool in hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import shapely
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, QTimer, Signal
from PySide6.QtGui import (
    QColor,
    QContextMenuEvent,
    QDragEnterEvent,
    QDragMoveEvent,
    QDropEvent,
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
from PySide6.QtWidgets import QMenu, QWidget

from app import theme
from app.canvas.pieces import SCALE, STEPS, PieceTable
from app.canvas.render import View, Want, render, repaint, sketch_image
from app.jobs import Worker
from app.session import Session
from app.tools.base import Tool
from app.widgets import headed_menu
from core.commission import Commission, Field
from core.errors import EmblemaError
from core.geometry import polygon_of

MATERIAL = "application/x-emblema-material"
RULER = 22
SPARE = 0.35  # of the view is drawn beyond each side, so that a small move needs no drawing
ANEW_MS = 60  # after pieces were painted over it, the picture is drawn anew
LEAST, MOST = 0.02, 60.0  # pixels a mm


class Bench(QWidget):
    """The main canvas."""

    hovered = Signal(str)
    tool_changed = Signal(str)
    lit_changed = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.layers = {"sketch": True, "outlines": True, "flow": True, "tesserae": True}
        self.colours = "plain"
        self.lit: str | None = None
        self.sketch_opacity = 1.0
        self.overlays: list[Callable[[QPainter, Bench], None]] = []
        self.table: PieceTable | None = None
        self.tool: Tool | None = None
        self.tools: dict[str, Tool] = {}
        self._px_per_mm, self._left, self._top = 1.0, 0.0, 0.0
        self._fitted = True
        self._picture: tuple[View, QImage] | None = None
        self._pictured: PieceTable | None = None  # the pieces that the picture shows
        self._behind = False  # the picture is to follow the pieces once there is calm
        self._sketch: tuple[str, QImage] | None = None
        self._shapes: dict[str, tuple[object, shapely.MultiPolygon]] = {}
        self._pan: QPointF | None = None
        self._space = False
        self._work = 0
        self._painter = Worker(self)
        self._painter.done.connect(self._on_picture)
        self._anew = QTimer(self, singleShot=True, interval=ANEW_MS)
        self._anew.timeout.connect(self.redraw)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAcceptDrops(True)
        self.setMinimumSize(320, 240)
        session.changed.connect(self._on_changed)
        session.laid.connect(self._on_laid)
        session.calm.connect(self._catch_up)
        session.selection_changed.connect(self.redraw)
        session.opened.connect(self._on_opened)

    # --- the view

    @property
    def view(self) -> View:
        """What is seen now, rulers beneath included."""
        return View(self._left, self._top, self._px_per_mm, self.width(), self.height())

    def to_px(self, x: float, y: float) -> QPointF:
        """Return the widget's pixel of a place on the work, mm."""
        return QPointF((x - self._left) * self._px_per_mm, (y - self._top) * self._px_per_mm)

    def to_mm(self, at: QPointF) -> tuple[float, float]:
        """Return the place on the work, mm, of a pixel of the widget."""
        return self._left + at.x() / self._px_per_mm, self._top + at.y() / self._px_per_mm

    @property
    def px_per_mm(self) -> float:
        """The scale."""
        return self._px_per_mm

    def fit(self) -> None:
        """Show the whole work."""
        doc = self.session.doc
        room_w, room_h = self.width() - RULER - 40, self.height() - RULER - 40
        self._px_per_mm = max(LEAST, min(room_w / doc.width_mm, room_h / doc.height_mm))
        self._left = doc.width_mm / 2 - (self.width() + RULER) / 2 / self._px_per_mm
        self._top = doc.height_mm / 2 - (self.height() + RULER) / 2 / self._px_per_mm
        self._fitted = True
        self.redraw()

    def zoom(self, by: float, about: QPointF | None = None) -> None:
        """Zoom about a pixel, the middle where left out."""
        about = about or QPointF(self.width() / 2, self.height() / 2)
        x, y = self.to_mm(about)
        self._px_per_mm = min(MOST, max(LEAST, self._px_per_mm * by))
        self._left = x - about.x() / self._px_per_mm
        self._top = y - about.y() / self._px_per_mm
        self._fitted = False
        self.redraw()

    def show_place(self, x: float, y: float, px_per_mm: float | None = None) -> None:
        """Bring a place on the work to the middle."""
        if px_per_mm is not None:
            self._px_per_mm = min(MOST, max(LEAST, px_per_mm))
        self._left = x - self.width() / 2 / self._px_per_mm
        self._top = y - self.height() / 2 / self._px_per_mm
        self._fitted = False
        self.redraw()

    def _move(self, by: QPointF) -> None:
        self._left -= by.x() / self._px_per_mm
        self._top -= by.y() / self._px_per_mm
        self._fitted = False
        self.update()
        have = self._picture
        if have is None or not _covers(have[0], self.view):
            self.redraw()

    # --- what is drawn in the background

    def redraw(self) -> None:
        """Ask for a new picture of the view; the old one is shown until it comes."""
        want = self._want()
        self._behind = False
        self._work = self._painter.ask(lambda progress, stop: (*render(want, stop), want.table))
        self.update()

    def _want(self) -> Want:
        v = self.view
        wide, high = round(v.width * SPARE), round(v.height * SPARE)
        view = View(
            v.left - wide / v.px_per_mm,
            v.top - high / v.px_per_mm,
            v.px_per_mm,
            v.width + 2 * wide,
            v.height + 2 * high,
        )
        return Want(
            view,
            self.session.doc,
            self.table,
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
        )

    def _on_picture(self, number: int, result: tuple[View, QImage, PieceTable | None]) -> None:
        if number == self._work:
            self._picture, self._pictured = result[:2], result[2]
            self.update()

    def settled(self) -> bool:
        """Whether the picture shown is the newest asked for."""
        have = self._picture
        waits = self._behind or self._anew.isActive() or not self._painter.idle
        return have is not None and not waits and _covers(have[0], self.view)

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
            if self._anew.isActive() or not self._painter.idle:
                # a picture of the colours before would only keep the figures waiting
                self._anew.stop()
                self._painter.stop()
                self._behind = True
            return
        if self._fitted:
            self.fit()
        self.redraw()

    def _on_opened(self) -> None:
        self.table = self._pictured = None
        self._picture = None
        self._fitted = True

    def _on_laid(self) -> None:
        assert self.session.layout is not None and self.session.laid_doc is not None
        self.table = PieceTable(self.session.laid_doc, self.session.layout, self.table)
        self._behind = True

    def _catch_up(self) -> None:
        """Paint pieces of other colours over the picture where they are few, else draw it anew."""
        if not self._behind:
            return
        if self._pictured is not None and self._picture is not None:
            view, image = self._picture
            if repaint(image, replace(self._want(), view=view), self._pictured):
                self._behind, self._pictured = False, self.table
                self.update()
                self._anew.start()
                return
        self.redraw()

    def set_layer(self, name: str, on: bool) -> None:
        """Show or hide the sketch, the outlines, the flow or the tesserae."""
        self.layers[name] = on
        self.redraw()

    def set_colours(self, view: str) -> None:
        """Colour the pieces as they are ("plain"), by "difference", or by a colour vision."""
        self.colours = view
        self.redraw()

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
        if self._picture is not None:
            view, image = self._picture
            by = self._px_per_mm / view.px_per_mm
            corner = self.to_px(view.left, view.top)
            if by == 1.0:
                p.drawImage(QPointF(round(corner.x()), round(corner.y())), image)
            else:
                size = QRectF(corner.x(), corner.y(), view.width * by, view.height * by)
                p.drawImage(size, image)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        doc = self.session.doc
        self._paint_chosen(p, doc)
        for overlay in self.overlays:
            overlay(p, self)
        if self.tool is not None:
            self.tool.paint(p)
        self._paint_rulers(p)
        if self.colours == "difference":
            self._paint_scale(p)
        if not doc.fields and doc.sketch is None:
            self._paint_welcome(p)
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
                for colour, width in ((QColor("white"), 5.0), (QColor(theme.VERDIGRIS), 2.6)):
                    p.setPen(QPen(colour, width))
                    for ring in self.outline_path(f):
                        p.drawPolyline(ring)
        piece = self.session.selected_piece
        if piece is not None and self.table is not None:
            row = self.table.row(*piece)
            if row is not None:
                a, b = self.table.starts[row], self.table.starts[row + 1]
                corners = self.table.points[a:b].tolist()
                p.setPen(QPen(QColor(theme.RUST), 2.6))
                p.setBrush(Qt.BrushStyle.NoBrush)
                p.drawPolyline(QPolygonF([self.to_px(x, y) for x, y in corners]))

    def _paint_rulers(self, p: QPainter) -> None:
        p.setRenderHint(QPainter.RenderHint.Antialiasing, False)
        w, h = self.width(), self.height()
        p.fillRect(0, 0, w, RULER, QColor(theme.CHALK))
        p.fillRect(0, 0, RULER, h, QColor(theme.CHALK))
        font = p.font()
        font.setPixelSize(10)
        p.setFont(font)
        step = _nice(60 / self._px_per_mm)
        p.setPen(QColor(theme.SLATE))
        x = math.floor(self._left / step) * step
        while (px := self.to_px(x, 0).x()) < w:
            if px > RULER:
                p.drawLine(int(px), RULER - 6, int(px), RULER)
                if px + 3 + p.fontMetrics().horizontalAdvance(f"{x:g}") < w:
                    p.drawText(QPointF(px + 3, 12), f"{x:g}")
            x += step
        y = math.floor(self._top / step) * step
        while (py := self.to_px(0, y).y()) < h:
            if py > RULER:
                p.drawLine(RULER - 6, int(py), RULER, int(py))
                if py + 3 + p.fontMetrics().horizontalAdvance(f"{y:g}") < h:
                    p.save()
                    p.translate(12, py + 3)
                    p.rotate(90)
                    p.drawText(QPointF(0, 3), f"{y:g}")
                    p.restore()
            y += step
        p.fillRect(0, 0, RULER, RULER, QColor(theme.SAND))
        p.drawText(QRectF(0, 0, RULER, RULER), Qt.AlignmentFlag.AlignCenter, "mm")

    def _paint_scale(self, p: QPainter) -> None:
        """Paint the key of the map of colour differences."""
        x, y = RULER + 14, self.height() - 64
        p.setPen(QPen(QColor(theme.STONE)))
        p.setBrush(QColor(251, 250, 246, 235))
        p.drawRoundedRect(QRectF(x, y, 316, 50), 8, 8)
        for k, (step, rgb) in enumerate(zip(STEPS, SCALE, strict=True)):
            p.setBrush(QColor(*(int(v) for v in rgb)))
            p.drawRect(QRectF(x + 12 + 58 * k, y + 8, 58, 14))
            p.setPen(QColor(theme.INK))
            p.drawText(QPointF(x + 12 + 58 * k, y + 40), f"{step:g}")
            p.setPen(QPen(QColor(theme.STONE)))

    def _paint_welcome(self, p: QPainter) -> None:
        p.setPen(QColor(theme.SLATE))
        font = p.font()
        font.setPixelSize(16)
        p.setFont(font)
        words = (
            "Drop the client's sketch here, or bring it in on the Sketch leaf.\n"
            "Then draw fields with Outline, or trace them from the sketch."
        )
        p.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, words)

    # --- the mouse

    def take(self, name: str) -> None:
        """Take a tool in hand."""
        if self.tool is not None:
            self.tool.put_down()
        self.tool = self.tools[name]
        self.tool.pick_up()
        self.setCursor(self.tool.cursor)
        self.tool_changed.emit(name)
        self.session.message.emit(self.tool.hint)
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
            self._move(event.position() - self._pan)
            self._pan = event.position()
            return
        if self.tool is not None:
            self.guarded(lambda: self.tool.move(event))  # type: ignore[union-attr]
        self._tell(*self.to_mm(event.position()))
        self.update()

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
        """Give keys to the tool; space moves the view."""
        if event.key() == Qt.Key.Key_Space and not event.isAutoRepeat():
            self._space = True
            self.setCursor(Qt.CursorShape.OpenHandCursor)
        elif self.tool is None or not self.guarded(lambda: self.tool.key(event)):  # type: ignore[union-attr]
            super().keyPressEvent(event)
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
            self._move(QPointF(pixels))
        elif event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self._move(QPointF(event.angleDelta()) / 2)
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
        if self._fitted:
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
        menu = self.drop_menu(code, x, y)
        if menu is not None:
            menu.popup(self.mapToGlobal(event.position().toPoint()))

    def drop_menu(self, code: str, x: float, y: float) -> QMenu | None:
        """Return the choices for a material dropped at a place on the work.

        They mean the piece, field and materials that the menu was opened for, whatever is laid
        meanwhile; what is no longer there is said.
        """
        field, piece = self.field_at(x, y), self.piece_at(x, y)
        layout, laid_doc = self.session.layout, self.session.laid_doc
        if field is None or piece is None or layout is None or laid_doc is None:
            self.session.message.emit("Drop the tray on a laid piece.")
            return None
        row = layout.by_id(piece[0])
        if row.stock[piece[1]] < 0:
            self.session.message.emit("Nothing is matched here yet: give the field a palette.")
            return None
        old = laid_doc.materials[row.stock[piece[1]]].code
        outline: shapely.Polygon = row.pieces.polygons[piece[1]]
        menu = headed_menu(self, f"Lay {code} for {old}")

        def offer(words: str, do: Callable[[], None]) -> None:
            menu.addAction(words, lambda: self.guarded(do))

        offer("This piece", lambda: self._lay_piece(piece[0], (x, y), outline, code))
        offer(f"This field: {field.name}", lambda: self.session.swap(old, code, field_id=field.id))
        if field.motif:
            offer(
                f"This motif: {field.motif}",
                lambda: self.session.swap(old, code, motif=field.motif),
            )
        offer("Everywhere", lambda: self.session.swap(old, code))
        return menu

    def _lay_piece(
        self, field_id: str, at: tuple[float, float], outline: shapely.Polygon, code: str
    ) -> None:
        """Lay the piece of this outline in a material, if it still lies at its place."""
        from core.handwork import lay_in

        layout, piece = self.session.layout, self.piece_at(*at)
        if layout is None or not self.session.layout_is_current:
            raise EmblemaError("The work is being laid; drop the tray again in a moment.")
        if (
            piece is None
            or piece[0] != field_id
            or layout.by_id(field_id).pieces.polygons[piece[1]] != outline
        ):
            raise EmblemaError("That piece is no longer there; drop the tray again.")
        doc = lay_in(self.session.doc, layout, *piece, code)
        self.session.apply(f"Lay one piece in {code}", doc)

    def close_work(self) -> None:
        """End the background painting."""
        self._anew.stop()
        self._painter.close()


def _covers(have: View, view: View) -> bool:
    if have.px_per_mm != view.px_per_mm:
        return False
    x, y = have.to_mm(have.width, have.height)
    x1, y1 = view.to_mm(view.width, view.height)
    return have.left <= view.left and have.top <= view.top and x >= x1 and y >= y1


def _nice(least: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at least so much."""
    power = 10 ** math.floor(math.log10(max(least, 1e-9)))
    return next(k * power for k in (1, 2, 5, 10) if k * power >= least)
