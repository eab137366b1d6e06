"""Seams moves pieces from sheet to sheet; others draw what seams are to follow or to spare."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPen, QPolygonF

from app.canvas.seams import Seams
from app.tools.base import Place, Tool
from app.tools.drawing import CurveTool
from app.tools.piecework import PieceTool
from app.widgets import headed_menu, label
from core.commission import Sheeting
from core.errors import EmblemaError
from core.pieces import Layout
from core.sheets.made import joint_with

FINEST_PX = 6.0  # from one point to the next of a ring that is dragged
ARROWS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0),
    Qt.Key.Key_Down: (0.0, 1.0),
}
SLANT = 2.5  # how far aside a piece may lie, over how far ahead, that an arrow comes to
EDGE = 60  # pixels: nearer to the edge of what is seen the view follows
NEVER = "never cut"
STRENGTHS = (
    ("spared_little", "a little"),
    ("spared", "much"),
    ("spared_never", NEVER),
)
STEPS = ("1", "2", "3")  # the keys for them
Ways = np.ndarray


class SeamsTool(PieceTool):
    """Moves pieces over a seam: to the chosen sheet, or to the one that they touch most."""

    name = "Seams"
    hint = (
        "Click a piece at a seam: it goes to the chosen sheet, or to the sheet it touches most. "
        "Drag over several. A click away from the seams chooses a sheet. By keys: arrows walk the "
        "pieces at its seams, Enter moves one, Escape leaves."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)  # type: ignore[arg-type]
        self._begun: Layout | None = None
        self._swept: dict[int, None] = {}  # in the order that the hand came to them
        self._last: Place | None = None
        self._hover: Place | None = None
        self.aimed: int | None = None  # the piece that the keys have come to

    @property
    def seams(self) -> Seams:
        """The sheets on the bench."""
        return self.bench.seams

    def put_down(self) -> None:
        self._swept, self._last, self._hover, self.aimed = {}, None, None, None

    def key(self, event: QKeyEvent) -> bool:
        if event.key() in ARROWS:
            self._walk(np.array(ARROWS[Qt.Key(event.key())]))
            return True
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._aim() is not None:
            self._move_aimed()
            return True
        if event.key() == Qt.Key.Key_Escape and self._last is None and self.aimed is None:
            self.seams.choose(None)
        return super().key(event)

    # --- by keys

    def _aim(self) -> int | None:
        """Return the piece that the keys have come to, if it still lies at a seam."""
        if self.aimed is not None and self.aimed not in self.seams.at_seams():
            self.aimed = None
        return self.aimed

    def _walk(self, way: Ways) -> None:
        """Come to the next piece at the seams of the chosen sheet, the first one at its top.

        With none chosen, the sheet in the middle of what is seen is.
        """
        if self.seams.chosen is None:
            view = self.bench.view
            by = view.px_per_mm
            middle = view.left + view.width / by / 2, view.top + view.height / by / 2
            self.seams.choose(self.seams.nearest(*middle))
        some = self.seams.at_seams()
        if not len(some):
            raise EmblemaError("This sheet has no seam: there is no other beside it.")
        at = self.seams.graph().centre_mm[some]
        if self._aim() is None:
            self.aimed = int(some[np.lexsort((at[:, 0], at[:, 1]))[0]])
        else:
            off = at - self.seams.graph().centre_mm[self.aimed]
            along, across = off @ way, np.abs(off @ way[::-1])
            ahead = np.flatnonzero((along > 1e-6) & (across <= SLANT * along))
            if len(ahead):
                self.aimed = int(some[ahead[np.argmin(along[ahead] + across[ahead])]])
        self._tell_aimed()

    def _tell_aimed(self) -> None:
        """Show where the keys have come to, and say what Enter would do."""
        if self.aimed is None:
            return
        x, y = self.seams.graph().centre_mm[self.aimed].tolist()
        px = self.bench.to_px(x, y)
        if not self.bench.rect().adjusted(EDGE, EDGE, -EDGE, -EDGE).contains(px.toPoint()):
            self.bench.show_place(x, y)
        on, going = int(self.seams.on()[self.aimed]), self.going([self.aimed])
        where = f"on sheet {on}" if on else "on no sheet"
        then = f"; Enter moves it to sheet {going[1]}" if going is not None else ""
        self.session.message.emit(f"Piece {where}{then}.")

    def _move_aimed(self) -> None:
        """Move the piece that the keys have come to; they stay with it."""
        assert self.aimed is not None
        going = self.going([self.aimed])
        if going is None:
            raise EmblemaError("That piece touches no other sheet.")
        self.seams.move(*going)

    def _sweep(self, a: Place, b: Place) -> None:
        """Take in the pieces on the way from one place to another."""
        table = self.bench.table
        if table is not None:
            way = shapely.LineString((a, b)) if a != b else shapely.Point(a)
            found = table.tree.query(way, predicate="dwithin", distance=self.reach_mm(2))
            if a == b:
                found = found[shapely.distance(table.polygons[found], way).argsort()][:1]
            self._swept |= dict.fromkeys(sorted(found.tolist()))

    def press(self, event: QMouseEvent) -> None:
        if not self.session.doc.sheets:
            raise EmblemaError("The work is not divided into sheets yet.")
        self._begun = self.layout()
        self._last, self._swept = self.at(event), {}
        self._sweep(self._last, self._last)

    def move(self, event: QMouseEvent) -> None:
        self._hover = self.at(event)
        if self._last is not None:
            self._sweep(self._last, self._hover)
            self._last = self._hover

    def release(self, event: QMouseEvent) -> None:
        swept, last = list(self._swept), self._last
        self._swept, self._last = {}, None
        if last is None or not swept:
            return
        self.held(self._begun)
        going = self.going(swept)
        if going is not None:
            self.seams.move(*going)
            return
        here = int(self.seams.on()[swept[0]])
        if not here:
            raise EmblemaError("That piece touches no sheet; choose first on which it is to be.")
        self.seams.choose(here)

    def going(self, pieces: list[int]) -> tuple[list[int], int] | None:
        """Return which pieces go to which sheet; None where they lie at no seam.

        What is not on the chosen sheet goes to it; else, what lies on it goes to its neighbour.
        """
        on, graph = self.seams.on(), self.seams.graph()
        first = int(on[pieces[0]])
        home = self.seams.chosen or first
        others = [k for k in pieces if on[k] != home]
        if home and others:
            alone = len(pieces) == 1 and first and home not in joint_with(graph, on, others)
            return None if alone else (others, home)
        mine = [k for k in pieces if on[k] == home]
        touched = {k: mm for k, mm in joint_with(graph, on, mine).items() if k != home}
        return (mine, max(touched, key=lambda k: (touched[k], -k))) if touched else None

    def menu(self, at: Place, where: QPoint) -> None:
        number = self.seams.at(*at)
        if number is None:
            return
        self.seams.choose(number)
        seams = self.seams
        menu = headed_menu(self.bench, f"Sheet {number}")
        for one in seams.sheets.each if seams.sheets is not None and seams.current else ():
            for b in one.beside if one.number == number else ():
                menu.addAction(
                    f"Join with sheet {b.number}, {b.side}",
                    lambda n=b.number: self.bench.guarded(lambda: seams.join(number, n)),
                )
        menu.addAction("Part in two", lambda: self.bench.guarded(lambda: seams.part(number)))
        pinned = any(s.number == number and s.pinned for s in self.session.doc.sheets)
        menu.addAction(
            "Take the pin out" if pinned else "Pin: it stays when the work is divided again",
            lambda: self.bench.guarded(lambda: seams.pin(number, not pinned)),
        )
        menu.popup(where)

    def paint(self, p: QPainter) -> None:
        table = self.bench.table
        aimed = [] if self.aimed is None else [self.aimed]
        swept = list(self._swept) or aimed
        if table is None or not swept or max(swept) + 1 >= len(table.starts):
            return
        p.setPen(QPen(QColor("white"), 2.0))
        p.setBrush(QColor(168, 68, 42, 170))
        for row in swept:
            corners = table.points[table.starts[row] : table.starts[row + 1]].tolist()
            p.drawPolygon(QPolygonF([self.bench.to_px(x, y) for x, y in corners]))
        try:
            going = self.going(swept)
        except EmblemaError:
            return
        if going is not None:
            last = corners[0] if self._last is None else self._last
            label(p, self.bench.to_px(*last), f"to sheet {going[1]}")


class SheetingTool(CurveTool):
    """Draws what the next division is to heed."""

    least = 2
    step = ""

    def put(self, points: tuple[Place, ...]) -> Sheeting:
        """Return the document's wishes with what was drawn."""
        raise NotImplementedError

    def finish(self) -> None:
        points, self.points = self.points, []
        if len(points) < self.least:
            return
        doc = self.session.doc
        self.session.apply(self.step, replace(doc, sheeting=self.put(tuple(points))))
        self.session.message.emit(f"{self.step}: it counts when the work is next divided.")

    def paint(self, p: QPainter) -> None:
        points = [*self.points]
        if self._hover is not None and points and math.dist(self._hover, points[-1]) > 1e-6:
            points.append(self._hover)
        if len(points) > 1:
            self._paint_curve(p, points)
        self._paint_nodes(p, self.points)


class DrawSeamTool(SheetingTool):
    """A line that a seam must follow: the corner of a room, a movement joint."""

    name = "Draw a seam"
    step = "Draw a seam"
    hint = "Click along the line that a seam must follow; double-click or Enter ends it."

    def put(self, points: tuple[Place, ...]) -> Sheeting:
        sheeting = self.session.doc.sheeting
        return replace(sheeting, seams=(*sheeting.seams, points))


class SpareTool(SheetingTool):
    """A ring that seams go round, the more it is spared: a face, a hand, a name."""

    name = "Spare a place"
    step = "Spare a place"
    least = 3
    hint = (
        "Drag round the place that seams are to spare, or click round it and press Enter. Keys 1, "
        "2, 3: a little, much, never cut."
    )

    def __init__(self, bench: object) -> None:
        super().__init__(bench)
        self.told: Callable[[], object] = lambda: None  # hears of another strength
        self.strength = "spared"  # of what is drawn next, the name in `Sheeting`
        self._pressed: int | None = None  # how many points there were when the button went down

    def put_down(self) -> None:
        super().put_down()
        self._pressed = None

    def key(self, event: QKeyEvent) -> bool:
        if event.text() in STEPS:
            self.strength, words = STRENGTHS[STEPS.index(event.text())]
            self.session.message.emit(f"Spared {words}." if words != NEVER else "Never cut.")
            self.told()
            return True
        return super().key(event)

    def press(self, event: QMouseEvent) -> None:
        super().press(event)
        self._pressed = len(self.points)

    def move(self, event: QMouseEvent) -> None:
        super().move(event)
        at = self._hover
        if self._pressed is None or at is None or not self.points:
            return
        if math.dist(at, self.points[-1]) > self.reach_mm(FINEST_PX):
            self.points.append(at)

    def release(self, event: QMouseEvent) -> None:
        pressed, self._pressed = self._pressed, None
        if pressed is not None and len(self.points) - pressed >= self.least:
            self.finish()

    def put(self, points: tuple[Place, ...]) -> Sheeting:
        ring = shapely.make_valid(shapely.Polygon(points).simplify(self.reach_mm(1.5)))
        parts = [g for g in shapely.get_parts(ring) if g.geom_type == "Polygon"]
        if not parts or max(g.area for g in parts) < self.reach_mm() ** 2:
            raise EmblemaError("Draw a ring with room in it.")
        whole = max(parts, key=lambda g: g.area)
        sheeting = self.session.doc.sheeting
        drawn = tuple((float(x), float(y)) for x, y in whole.exterior.coords[:-1])
        return replace(sheeting, **{self.strength: (*getattr(sheeting, self.strength), drawn)})


class RubOutTool(Tool):
    """Takes away a seam that was drawn, or a place that was spared."""

    name = "Rub out"
    hint = "Click a drawn seam, or within a spared place, to take it away."
    cursor = Qt.CursorShape.PointingHandCursor

    def press(self, event: QMouseEvent) -> None:
        doc, here = self.session.doc, shapely.Point(self.at(event))
        s = doc.sheeting
        for k, line in enumerate(s.seams):
            if shapely.LineString(line).distance(here) < self.reach_mm():
                left = replace(s, seams=s.seams[:k] + s.seams[k + 1 :])
                self.session.apply("Rub a drawn seam out", replace(doc, sheeting=left))
                return
        for strength, _ in STRENGTHS:
            rings = getattr(s, strength)
            for k, ring in enumerate(rings):
                if shapely.Polygon(ring).distance(here) < self.reach_mm():
                    left = replace(s, **{strength: rings[:k] + rings[k + 1 :]})
                    self.session.apply("Rub a spared place out", replace(doc, sheeting=left))
                    return
        raise EmblemaError("There is no drawn seam or spared place here.")


SHEET_TOOLS: tuple[type[Tool], ...] = (SeamsTool, DrawSeamTool, SpareTool, RubOutTool)
