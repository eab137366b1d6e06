"""Draws what is heavy of the bench off the interface thread: sketch, tesserae, outlines, flow."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import NDArray
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QPainter, QPen, QPolygonF, QTransform

from app import theme
from app.canvas import look
from app.canvas.pieces import PieceTable
from app.canvas.view import View, Want
from app.widgets import label
from core.colour.convert import swatch_rgb
from core.commission import Sketch
from core.errors import Stopped
from core.flow import curve_of

MOST_AT_ONCE = 2500  # pieces that are repainted on the interface thread
FLOW, SIZE = "#1a5c8c", "#8a4b12"  # lines that lead, and those that give a size alone
ASK_STOP = 200  # pieces between looks at whether the picture is still wanted


def render(want: Want, stop: Callable[[], bool]) -> tuple[View, QImage]:
    """Return the picture of a view."""
    v = want.view
    image = QImage(
        round(v.width * want.ratio), round(v.height * want.ratio), QImage.Format.Format_RGB32
    )
    image.fill(QColor(theme.BENCH))
    p = QPainter(image)
    try:
        p.scale(want.ratio, want.ratio)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        x0, y0 = v.to_px(0, 0)
        work = QRectF(x0, y0, want.doc.width_mm * v.px_per_mm, want.doc.height_mm * v.px_per_mm)
        p.fillRect(work.adjusted(3, 4, 5, 6), QColor(0, 0, 0, 38))
        pieces = want.show_pieces and want.table is not None and len(want.table)
        grout, _ = swatch_rgb(want.doc.grout_lab)
        p.fillRect(work, QColor(*grout) if pieces else QColor("white"))
        if want.show_sketch and want.sketch is not None and want.doc.sketch is not None:
            p.setClipRect(work)
            p.setOpacity(want.sketch_opacity)
            p.setTransform(sketch_transform(want.doc.sketch, v, want.ratio))
            p.drawImage(0, 0, want.sketch)
            p.resetTransform()
            p.scale(want.ratio, want.ratio)
            p.setOpacity(1.0)
            p.setClipping(False)
        if pieces:
            assert want.table is not None
            # joints are grout, whatever the sketch shows there
            for path in look.laid_paths(want, want.table):
                p.fillPath(path, QColor(*grout))
            _pieces(p, want, want.table, stop, _seen(want, want.table))
            look.show(p, want)
        if stop():
            raise Stopped
        if want.show_outlines:
            _outlines(p, want)
        if want.show_flow:
            _flow(p, want)
    finally:
        p.end()
    image.setDevicePixelRatio(want.ratio)
    return v, image


def _line(v: View, points: Iterable[Sequence[float]]) -> QPolygonF:
    return QPolygonF([QPointF(*v.to_px(x, y)) for x, y in points])


def _outlines(p: QPainter, want: Want) -> None:
    rings = [
        _line(want.view, (*ring, ring[0]))
        for f in want.doc.fields
        for part in f.outline
        for ring in part
    ]
    for colour, width in ((QColor(255, 255, 255, 150), 2.6), (QColor(60, 58, 54, 210), 1.1)):
        p.setPen(QPen(colour, width))
        for ring in rings:
            p.drawPolyline(ring)


def _flow(p: QPainter, want: Want) -> None:
    for line in want.doc.flow_lines:
        mine = line.field_id is None or not want.chosen or line.field_id in want.chosen
        path = _line(want.view, curve_of(line).coords)
        p.setPen(QPen(QColor(255, 255, 255, 170 if mine else 60), 4.0))
        p.drawPolyline(path)
        colour = QColor(FLOW if line.leads else SIZE)
        colour.setAlpha(230 if mine else 90)
        dashes = Qt.PenStyle.SolidLine if line.leads else Qt.PenStyle.DashLine
        p.setPen(QPen(colour, 2.0, dashes))
        p.drawPolyline(path)
        if line.tessera_mm is not None and mine:
            label(p, path[path.count() // 2], f"{line.tessera_mm:g} mm")


def sketch_transform(sketch: Sketch, v: View, ratio: float = 1.0) -> QTransform:
    """Return the way from the sketch's pixels to those of a view."""
    t = QTransform()
    t.scale(ratio, ratio)
    t.translate(*v.to_px(*sketch.origin_mm))
    t.rotateRadians(sketch.turn_rad)
    t.scale(sketch.mm_per_px * v.px_per_mm, sketch.mm_per_px * v.px_per_mm)
    return t


def repaint(image: QImage, want: Want, before: PieceTable) -> bool:
    """Paint pieces whose colour changed over an older picture of this view, if they are few.

    So that a swap is seen at once; the picture drawn anew takes its place soon after.
    """
    table = want.table
    if table is None or table.tree is not before.tree or not want.show_pieces:
        return False
    changed = np.flatnonzero((table.rgb(want.colours) != before.rgb(want.colours)).any(1))
    rows = np.intersect1d(changed, _seen(want, table))
    if len(rows) > MOST_AT_ONCE or want.lit is not None:
        return False
    p = QPainter(image)
    p.setRenderHint(QPainter.RenderHint.Antialiasing)
    _pieces(p, want, table, lambda: False, rows)
    p.end()
    return True


def _seen(want: Want, table: PieceTable) -> NDArray[np.int64]:
    v = want.view
    return table.within(v.left, v.top, *v.to_mm(v.width, v.height))


def _pieces(
    p: QPainter,
    want: Want,
    table: PieceTable,
    stop: Callable[[], bool],
    rows: NDArray[np.int64],
) -> None:
    v = want.view
    rgb = table.rgb(want.colours)
    faint = None
    if want.lit is not None:
        codes = [m.code for m in table.doc.materials]
        mine = codes.index(want.lit) if want.lit in codes else -2
        faint = table.stock != mine
    points = (table.points - (v.left, v.top)) * v.px_per_mm
    p.setPen(Qt.PenStyle.NoPen)
    last: tuple[int, ...] | None = None
    for n, k in enumerate(rows.tolist()):
        if n % ASK_STOP == 0 and stop():
            raise Stopped
        r, g, b = rgb[k].tolist()
        colour = (r, g, b, 60 if faint is not None and faint[k] else 255)
        if colour != last:
            p.setBrush(QColor(*colour))
            last = colour
        corners = points[table.starts[k] : table.starts[k + 1] - 1]
        p.drawPolygon(QPolygonF([QPointF(x, y) for x, y in corners.tolist()]))


def sketch_image(data: bytes, name: str) -> QImage:
    """Return the sketch as Qt draws it."""
    from core.pictures import read_image

    pixels = np.ascontiguousarray(read_image(data, name))
    h, w = pixels.shape[:2]
    return QImage(pixels.data, w, h, 3 * w, QImage.Format.Format_RGB888).copy()
