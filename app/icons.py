"""The program's own icons, drawn in a square of 24 units."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import (
    QColor,
    QIcon,
    QPainter,
    QPainterPath,
    QPen,
    QPixmap,
    QPolygonF,
    QTransform,
)

from app import theme

Draw = Callable[[QPainter], None]
PALE = 0.35


def _path(*points: tuple[float, float]) -> QPolygonF:
    return QPolygonF([QPointF(x, y) for x, y in points])


def _curve(a: tuple[float, float], *through: tuple[float, float]) -> QPainterPath:
    path = QPainterPath(QPointF(*a))
    for k in range(0, len(through), 3):
        path.cubicTo(*(QPointF(*q) for q in through[k : k + 3]))
    return path


def _pen(p: QPainter, colour: str = "", width: float = 1.7) -> None:
    pen = QPen(QColor(colour or theme.INK), width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    p.setPen(pen)
    p.setBrush(Qt.BrushStyle.NoBrush)


def _tessera(p: QPainter, *points: tuple[float, float], fill: str = "") -> None:
    _pen(p)
    p.setBrush(QColor(fill or theme.VERDIGRIS_PALE))
    p.drawPolygon(_path(*points))


def _hand(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor(theme.CHALK))
    shape = QPainterPath()  # drawn larger: parts joined are made of straight lines
    shape.addRoundedRect(QRectF(66, 105, 126, 110), 45, 45)
    for x, top in ((66, 60), (98, 32), (130, 36), (162, 64)):
        finger = QPainterPath()
        finger.addRoundedRect(QRectF(x, top, 30, 110), 15, 15)
        shape = shape.united(finger)
    thumb = QPainterPath()
    thumb.addRoundedRect(QRectF(-16, -70, 32, 90), 16, 16)
    turn = QTransform().translate(76, 170).rotate(-48)
    p.drawPath(QTransform().scale(0.1, 0.1).map(shape.united(turn.map(thumb))))


def _outline(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor(theme.VERDIGRIS_PALE))
    p.drawPath(
        _curve(
            (4, 14),
            (3, 6),
            (10, 3),
            (15, 5),
            (21, 7),
            (22, 15),
            (17, 18),
            (12, 21),
            (5, 20),
            (4, 14),
        )
    )
    for x, y in ((4, 14), (15, 5), (17, 18)):
        p.setBrush(QColor(theme.PAPER))
        p.drawEllipse(QPointF(x, y), 2.1, 2.1)


def _ornament(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor(theme.VERDIGRIS_PALE))
    p.drawRect(QRectF(2.5, 2.5, 19, 19))
    p.setBrush(QColor(theme.CHALK))
    p.drawRect(QRectF(8, 8, 8, 8))
    _pen(p, theme.VERDIGRIS, 1.5)
    for k in range(4):
        p.save()
        p.translate(12, 12)
        p.rotate(90 * k)
        p.drawPolyline(_path((-7, -5.5), (-7, -8), (-2.5, -8), (-2.5, -5.5)))
        p.drawPolyline(_path((2.5, -5.5), (2.5, -8), (7, -8), (7, -5.5)))
        p.restore()


def _flow(p: QPainter) -> None:
    for k, colour in ((-5, theme.INK), (0, theme.VERDIGRIS), (5, theme.INK)):
        _pen(p, colour, 2.2 if k == 0 else 1.3)
        p.drawPath(_curve((2, 14 + k), (8, 4 + k), (14, 22 + k), (22, 9 + k)))


def _sizes(p: QPainter) -> None:
    for x, wide in ((1.5, 3.2), (6.2, 4.4), (12.1, 5.6)):
        _tessera(p, (x, 12 - wide), (x + wide, 12 - wide), (x + wide, 12), (x, 12))
    _pen(p, theme.RUST, 2.2)
    p.drawLine(QPointF(2, 17), QPointF(22, 17))
    _tessera(p, (19.1, 5), (23, 5), (23, 12), (19.1, 12))


def _measure(p: QPainter) -> None:
    _pen(p)
    p.save()
    p.translate(12, 12)
    p.rotate(-35)
    _pen(p, theme.DAY["INK"])
    p.setBrush(QColor("#f2e2c0"))
    p.drawRect(QRectF(-11, -4, 22, 8))
    for k in range(-3, 4):
        p.drawLine(QPointF(3 * k, -4), QPointF(3 * k, -0.6 if k % 2 else 1))
    p.restore()


def _lift(p: QPainter) -> None:
    _tessera(p, (6, 13), (18, 12), (18, 21), (6, 21))
    _pen(p, theme.RUST, 2)
    p.drawLine(QPointF(12, 10), QPointF(12, 3))
    p.drawPolyline(_path((9, 6), (12, 3), (15, 6)))


def _set(p: QPainter) -> None:
    _tessera(p, (6, 13), (18, 12), (18, 21), (6, 21))
    _pen(p, theme.VERDIGRIS, 2)
    p.drawLine(QPointF(12, 2), QPointF(12, 9))
    p.drawPolyline(_path((9, 6.4), (12, 9.4), (15, 6.4)))


def _nip(p: QPainter) -> None:
    _tessera(p, (3, 7), (10, 6.5), (8, 18), (3, 18))
    _tessera(p, (14, 6.5), (21, 6), (21, 18), (12, 18))
    _pen(p, theme.RUST, 2)
    p.drawLine(QPointF(13.4, 2.5), QPointF(9.4, 22))


def _join(p: QPainter) -> None:
    _tessera(p, (2, 8), (9, 7.5), (9, 18), (2, 18))
    _tessera(p, (15, 7.5), (22, 7), (22, 18), (15, 18))
    _pen(p, theme.VERDIGRIS, 2)
    p.drawLine(QPointF(7, 12.6), QPointF(17, 12.6))
    p.drawPolyline(_path((9.5, 10), (7, 12.6), (9.5, 15.2)))
    p.drawPolyline(_path((14.5, 10), (17, 12.6), (14.5, 15.2)))


def _shift(p: QPainter) -> None:
    _tessera(p, (8, 8.5), (16, 7.5), (16.5, 16), (8, 16.5))
    _pen(p, theme.VERDIGRIS, 1.8)
    for a, b, c, d in ((12, 5, 12, 1.5), (12, 19, 12, 22.5), (5, 12, 1.5, 12), (19, 12, 22.5, 12)):
        p.drawLine(QPointF(a, b), QPointF(c, d))


def _pin(p: QPainter) -> None:
    _tessera(p, (4, 12), (17, 11), (18, 21), (4, 21))
    _pen(p)
    p.drawLine(QPointF(12, 16), QPointF(17, 7))
    p.setBrush(QColor(theme.RUST))
    p.drawEllipse(QPointF(18, 5), 3.4, 3.4)


def _open(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor("#f2e2c0"))
    p.drawPolygon(_path((3, 19), (3, 6), (9, 6), (11, 8.5), (19, 8.5), (19, 11)))
    p.setBrush(QColor(theme.CHALK))
    p.drawPolygon(_path((3, 19), (6.5, 11), (22, 11), (18.5, 19)))


def _save(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor(theme.VERDIGRIS_PALE))
    p.drawPolygon(_path((4, 4), (17, 4), (20, 7), (20, 20), (4, 20)))
    p.setBrush(QColor(theme.PAPER))
    p.drawRect(QRectF(7.5, 12.5, 9, 7.5))
    p.drawRect(QRectF(8, 4, 7, 4.5))


def _back(p: QPainter) -> None:
    _pen(p, theme.INK, 2)
    p.drawPath(_curve((5, 9), (12, 4), (21, 9), (18, 18)))
    p.drawPolyline(_path((9.5, 4), (4.6, 9.2), (11, 12)))


def _again(p: QPainter) -> None:
    p.save()
    p.translate(24, 0)
    p.scale(-1, 1)
    _back(p)
    p.restore()


def _new(p: QPainter) -> None:
    _pen(p)
    p.setBrush(QColor(theme.PAPER))
    p.drawPolygon(_path((5, 3), (14, 3), (19, 8), (19, 21), (5, 21)))
    p.drawPolyline(_path((14, 3), (14, 8), (19, 8)))


def _fit(p: QPainter) -> None:
    _pen(p, theme.INK, 1.9)
    for x, y, a, b in ((4, 4, 1, 1), (20, 4, -1, 1), (4, 20, 1, -1), (20, 20, -1, -1)):
        p.drawPolyline(_path((x, y + 5 * b), (x, y), (x + 5 * a, y)))
    p.setBrush(QColor(theme.VERDIGRIS_PALE))
    p.drawRect(QRectF(8.5, 9, 7, 6))


DRAWN: dict[str, Draw] = {
    "Hand": _hand,
    "Outline": _outline,
    "Ornament": _ornament,
    "Flow line": _flow,
    "Size line": _sizes,
    "Measure": _measure,
    "Lift": _lift,
    "Set": _set,
    "Nip": _nip,
    "Join": _join,
    "Shift": _shift,
    "Pin": _pin,
    "New": _new,
    "Open": _open,
    "Save": _save,
    "Undo": _back,
    "Redo": _again,
    "Whole": _fit,
}


def icon(name: str, size: int = 26) -> QIcon:
    """Return one of the program's icons, sharp on fine screens too; pale where switched off."""
    out = QIcon()
    for ratio, mode in product((1, 2), (QIcon.Mode.Normal, QIcon.Mode.Disabled)):
        picture = QPixmap(size * ratio, size * ratio)
        picture.setDevicePixelRatio(ratio)
        picture.fill(Qt.GlobalColor.transparent)
        p = QPainter(picture)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.scale(size / 24, size / 24)
        p.setOpacity(1.0 if mode is QIcon.Mode.Normal else PALE)
        DRAWN[name](p)
        p.end()
        out.addPixmap(picture, mode)
    return out
