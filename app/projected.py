"""The cartoon on a second screen, for a projector: true to size by four corners, lit by turns.

Each corner of the work, or of one sheet, is dragged onto the point that was measured for it on the
wall or the bench; what lies between then falls where it belongs, however the projector stands.
"""

from __future__ import annotations

import json
from contextlib import suppress

import numpy as np
import shapely
from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QBrush,
    QColor,
    QFont,
    QGuiApplication,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPixmap,
    QPolygonF,
    QResizeEvent,
    QTransform,
)
from PySide6.QtWidgets import QWidget

from app.session import Session
from core.colour.convert import bytes_from_lab
from core.colour.shown import shown_lab
from core.errors import EmblemaError
from core.files import data_folder, write_text
from core.lit import BY, Lit, lit_by_turns

Box = tuple[float, float, float, float]

CORNERS = ("upper left", "upper right", "lower right", "lower left")
GRAB_PX = 32.0  # from a corner at which it is taken hold of
STEP_PX, LEAP_PX = 1.0, 10.0  # an arrow key, alone and with Shift
MOST_PX = 4.0  # screens beyond the edge that a corner may lie
FAINT, STRONG = QColor(110, 110, 110), QColor(255, 255, 255)
_FILE = "projector.json"
_NEXT = (Qt.Key.Key_Right, Qt.Key.Key_Space, Qt.Key.Key_PageDown)
_BACK = (Qt.Key.Key_Left, Qt.Key.Key_Backspace, Qt.Key.Key_PageUp)
_ARROWS = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, -1),
    Qt.Key.Key_Down: (0, 1),
}
HELP = (
    "1 to 4: take a corner, then drag it or use the arrow keys (Shift: faster), Enter: done\n"
    "A all, M material, C course, S sheet; next and back: click, or the right and left arrow\n"
    "L lines, H this help, Esc close"
)


class Projected(QWidget):
    """A black screen with the work on it."""

    closed = Signal()

    def __init__(self, session: Session, box: Box, name: str = "the work") -> None:
        super().__init__(None, Qt.WindowType.Window)
        self.setWindowTitle("Projected cartoon")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.session, self.box, self.of = session, box, name
        self.by, self.turn = "all", 0
        self.lines = self.help = True
        self.picked: int | None = None
        self.shares = _kept_corners()  # of the screen's width and height, (4, 2)
        self._turns: tuple[Lit, ...] = ()
        self._picture: QPixmap | None = None
        session.laid.connect(self._read)
        self._read()

    def show_on_second(self) -> None:
        """Fill the second screen, or the only one."""
        screens = QGuiApplication.screens()
        screen = screens[1] if len(screens) > 1 else screens[0]
        self.setScreen(screen)
        self.setGeometry(screen.geometry())
        self.showFullScreen()
        self.activateWindow()

    # what is shown

    def _read(self) -> None:
        """Take the layout as it stands."""
        doc, layout = self.session.laid_doc, self.session.layout
        self._turns, self._shapes, self._colours = (), np.empty(0, object), np.empty((0, 3))
        if doc is not None and layout is not None and len(layout):
            self._shapes = layout.polygons
            self._colours = bytes_from_lab(
                np.concatenate([shown_lab(doc, f) for f in layout.fields])
            )
            self._turns = lit_by_turns(doc, layout, self.by)
        self._all = _path(self._shapes)
        self.turn = min(self.turn, max(len(self._turns) - 1, 0))
        self._again()

    @property
    def lit(self) -> Lit | None:
        """What is lit."""
        return self._turns[self.turn] if self._turns else None

    def light(self, by: str) -> None:
        """Light all, or materials, courses or sheets by turns."""
        self.by, self.turn = by, 0
        self._read()

    def go(self, steps: int) -> None:
        """Light the next, or the one before, round and round."""
        if self._turns:
            self.turn = (self.turn + steps) % len(self._turns)
            self._again()

    def _again(self) -> None:
        self._picture = None
        self.update()

    # corners

    def corners(self) -> list[QPointF]:
        """Return where the four corners lie on the screen, from the upper left one clockwise."""
        w, h = max(self.width(), 1), max(self.height(), 1)
        if self.shares is not None:
            return [QPointF(x * w, y * h) for x, y in self.shares]
        x0, y0, x1, y1 = self.box
        by = 0.8 * min(w / (x1 - x0), h / (y1 - y0))
        left, top = (w - by * (x1 - x0)) / 2, (h - by * (y1 - y0)) / 2
        r = QRectF(left, top, by * (x1 - x0), by * (y1 - y0))
        return [r.topLeft(), r.topRight(), r.bottomRight(), r.bottomLeft()]

    def move_corner(self, k: int, to: QPointF) -> None:
        """Put a corner elsewhere, unless the four would cross."""
        w, h = max(self.width(), 1), max(self.height(), 1)
        now = self.corners()
        now[k] = QPointF(
            min(max(to.x(), -MOST_PX * w), (1 + MOST_PX) * w),
            min(max(to.y(), -MOST_PX * h), (1 + MOST_PX) * h),
        )
        if not _convex(now):
            return
        self.shares = [(p.x() / w, p.y() / h) for p in now]
        self._again()

    def onto_screen(self) -> QTransform | None:
        """Return the way from mm of the work to the screen."""
        x0, y0, x1, y1 = self.box
        work = QPolygonF([QPointF(x0, y0), QPointF(x1, y0), QPointF(x1, y1), QPointF(x0, y1)])
        found = QTransform()
        if not QTransform.quadToQuad(work, QPolygonF(self.corners()), found):
            return None
        return found

    # events

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Corners by 1 to 4 and the arrows, turns by the arrows, the rest by letters."""
        key, text = Qt.Key(event.key()), event.text().lower()
        if self.picked is not None and key in _ARROWS:
            shift = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            step = LEAP_PX if shift else STEP_PX
            x, y = _ARROWS[key]
            at = self.corners()[self.picked]
            self.move_corner(self.picked, at + QPointF(x * step, y * step))
        elif text in "1234" and text:
            self.picked = int(text) - 1
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.picked = None
        elif key == Qt.Key.Key_Escape:
            self.close()
        elif key in _NEXT:
            self.go(1)
        elif key in _BACK:
            self.go(-1)
        elif text and text in "amcs":
            self.light(BY["amcs".index(text)])
        elif text == "l":
            self.lines = not self.lines
            self._again()
        elif text == "h":
            self.help = not self.help
        else:
            super().keyPressEvent(event)
            return
        self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Take hold of a corner, or go on."""
        far = [(p - event.position()).manhattanLength() for p in self.corners()]
        near = int(np.argmin(far))
        held = self.picked is not None or self.help
        if held and far[near] <= GRAB_PX:
            self.picked = near
        elif self.picked is None:
            self.go(1 if event.button() == Qt.MouseButton.LeftButton else -1)
        self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Drag the corner that is held."""
        if self.picked is not None and event.buttons() & Qt.MouseButton.LeftButton:
            self.move_corner(self.picked, event.position())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Draw anew for another size."""
        super().resizeEvent(event)
        self._again()

    def closeEvent(self, event: object) -> None:
        """Keep the corners for the next time."""
        self.session.laid.disconnect(self._read)
        if self.shares is not None:
            with suppress(EmblemaError, OSError):
                write_text(data_folder() / _FILE, json.dumps({"corners": self.shares}))
        self.closed.emit()

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the work, then the corners and words over it."""
        if self._picture is None:
            self._picture = self._drawn()
        p = QPainter(self)
        p.drawPixmap(0, 0, self._picture)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        font = QFont(p.font())
        font.setPointSize(15)
        p.setFont(font)
        if self.picked is not None or self.help:
            self._paint_corners(p)
        p.setPen(STRONG)
        room = QRectF(self.rect()).adjusted(30, 20, -30, -20)
        foot = int(Qt.AlignmentFlag.AlignBottom | Qt.AlignmentFlag.AlignHCenter)
        lit = self.lit
        if lit is None:
            words = {"sheet": "It is not divided into sheets yet."}.get(
                self.by, "Nothing is laid yet."
            )
        else:
            place = f"   {self.turn + 1} of {len(self._turns)}" if len(self._turns) > 1 else ""
            words = lit.words + place
        p.drawText(room, foot, words)
        if self.help:
            font.setPointSize(12)
            p.setFont(font)
            p.drawText(room.adjusted(0, 0, 0, -34), foot, HELP)
        p.end()

    def _drawn(self) -> QPixmap:
        picture = QPixmap(self.size())
        picture.fill(QColor(0, 0, 0))
        way = self.onto_screen()
        if way is None:
            return picture
        p = QPainter(picture)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        p.setTransform(way)
        if self.lines:
            p.strokePath(self._all, _pen(FAINT, 1.0))
        lit = self.lit
        if lit is not None:
            shapes, colours = self._shapes[lit.which], self._colours[lit.which]
            kinds, of = np.unique(colours, axis=0, return_inverse=True)
            for k, rgb in enumerate(kinds.tolist()):
                mine = _path(shapes[of.ravel() == k])
                p.fillPath(mine, QBrush(QColor(*(int(v) for v in rgb))))
                if self.by != "all":
                    p.strokePath(mine, _pen(STRONG, 1.4))
        p.end()
        return picture

    def _paint_corners(self, p: QPainter) -> None:
        for k, at in enumerate(self.corners()):
            on = k == self.picked
            p.setPen(QPen(QColor(255, 210, 60) if on else STRONG, 3.0 if on else 1.6))
            p.setBrush(Qt.BrushStyle.NoBrush)
            p.drawEllipse(at, 16, 16)
            p.drawLine(at - QPointF(22, 0), at + QPointF(22, 0))
            p.drawLine(at - QPointF(0, 22), at + QPointF(0, 22))
            left = k in (0, 3)
            words = f"{k + 1}  {CORNERS[k]} of {self.of}"
            room = QRectF(at.x() + 26, at.y() - 44 if k < 2 else at.y() + 20, 300, 24)
            side = Qt.AlignmentFlag.AlignLeft
            if not left:
                room.moveRight(at.x() - 26)
                side = Qt.AlignmentFlag.AlignRight
            p.drawText(room, int(side), words)


def _pen(colour: QColor, px: float) -> QPen:
    pen = QPen(colour, px)
    pen.setCosmetic(True)
    return pen


def _path(shapes: np.ndarray) -> QPainterPath:
    path = QPainterPath()
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(shapes), return_index=True)
    for ring in np.split(xy, np.flatnonzero(np.diff(owner)) + 1) if len(xy) else ():
        path.addPolygon(QPolygonF([QPointF(x, y) for x, y in ring.tolist()]))
    return path


def _convex(corners: list[QPointF]) -> bool:
    """Return whether four corners turn one way round, so that nothing is folded over."""
    for k in range(4):
        a, b, c = (corners[(k + n) % 4] for n in range(3))
        one, two = b - a, c - b
        if one.x() * two.y() - one.y() * two.x() <= 1.0:
            return False
    return True


def _kept_corners() -> list[tuple[float, float]] | None:
    """Return the corners of the last time, where they were kept and are four."""
    try:
        given = json.loads((data_folder() / _FILE).read_text())["corners"]
        found = [(float(x), float(y)) for x, y in given]
    except (EmblemaError, OSError, ValueError, KeyError, TypeError):
        return None
    sound = len(found) == 4 and all(abs(v) <= 1 + MOST_PX for p in found for v in p)
    if not sound or not _convex([QPointF(1000 * x, 1000 * y) for x, y in found]):
        return None
    return found
