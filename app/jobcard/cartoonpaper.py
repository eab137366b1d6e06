"""What the cartoon is printed on and how: paper, side, what stands on the pieces, the page map, and
the correction of this computer's printer.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt
from PySide6.QtGui import QBrush, QColor, QHelpEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QToolTip, QVBoxLayout, QWidget

from app import theme
from app.session import Session
from app.widgets import Choice, Number, Switch, fit, text
from core.cartoon import CODES, NUMBERS, division_of
from core.commission import Commission
from core.errors import EmblemaError
from core.paper.division import Division, Tile
from core.paper.printer import TRUE, Correction, keep_correction, kept_correction
from core.paper.sizes import ANSI_IN, ISO_MM, ROLL_MM, WHOLE
from core.pieces import Layout

ROLL = "roll"
USUAL_ROLL_MM = 914.0
WIDE = 280  # of what stands in a leaf's group
LEAST_PX = 8  # of a page's name on the map

PAPERS = [
    *((k, f"{k}, {w} x {h} mm") for k, (w, h) in ISO_MM.items()),
    *((k, f"{k}, {w:g} x {h:g} in") for k, (w, h) in ANSI_IN.items()),
    (ROLL, "a roll"),
    (WHOLE, "one page, the finished size"),
]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a person chose for a print of the cartoon."""

    paper: str
    mirrored: bool
    codes: str
    correction: Correction

    @property
    def given(self) -> tuple[str, bool, str, Correction]:
        """As `core.cartoon.cartoon_pages` takes it."""
        return self.paper, self.mirrored, self.codes, self.correction

    def division(self, doc: Commission, layout: Layout | None) -> Division:
        """Return how the cartoon is divided over its pages."""
        return division_of(doc, layout, self.paper, self.mirrored, self.correction)


class PageMap(QWidget):
    """How the cartoon divides over its pages; places without a page are hatched."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.division: Division | None = None
        self._tiles: list[Tile] = []
        self._bare: list[Tile] = []

    def show_division(self, division: Division) -> None:
        """Show how a cartoon divides, as high as the leaf has room for."""
        self.division = division
        self._tiles, self._bare = (
            [division.on_map(t) for t in of] for of in (division.tiles, division.bare)
        )
        wide, high = division.work_mm
        self.setFixedHeight(int(min(300, max(40, WIDE * high / wide))) + 8)
        self.update()

    def _placed(self) -> tuple[float, float]:
        """Return pixels a mm, and where the work begins from the left."""
        doc = self.session.doc
        by = min((self.width() - 8) / doc.width_mm, (self.height() - 8) / doc.height_mm)
        return by, (self.width() - doc.width_mm * by) / 2

    def paintEvent(self, event: QPaintEvent) -> None:
        """Paint the map."""
        doc, division = self.session.doc, self.division
        if division is None:
            return
        p = QPainter(self)
        p.setRenderHint(QPainter.RenderHint.Antialiasing)
        flip = doc.width_mm if division.mirrored else 0.0
        by, left = self._placed()
        p.translate(left, 4)
        p.fillRect(QRectF(0, 0, doc.width_mm * by, doc.height_mm * by), QColor("white"))
        p.setPen(QPen(QColor(theme.DAY["STONE"]), 0.8))
        for f in doc.fields:
            for part in f.outline:
                for ring in part:
                    for a, b in zip(ring, (*ring[1:], ring[0]), strict=True):
                        ax, bx = abs(flip - a[0]) * by, abs(flip - b[0]) * by
                        p.drawLine(QPointF(ax, a[1] * by), QPointF(bx, b[1] * by))
        hatch = QBrush(QColor(theme.DAY["STONE"]), Qt.BrushStyle.BDiagPattern)
        for t in self._bare:
            p.fillRect(_box(t, by), hatch)
        p.setBrush(Qt.BrushStyle.NoBrush)
        for t in self._tiles:
            p.setPen(QPen(QColor(theme.DAY["VERDIGRIS"]), 1.2))
            p.drawRect(_box(t, by))
        if len(self._tiles) > 1:
            self._label(p, by)
        p.end()

    def _label(self, p: QPainter, by: float) -> None:
        """Write each page's name in its place, where they can be read; a pointer names the rest."""
        tiles = self._tiles
        box = _box(tiles[0], by)
        font = p.font()
        font.setPixelSize(max(1, min(13, int(box.height()) - 2)))
        fit(font, max((t.name for t in tiles), key=len), int(box.width()) - 4)
        p.setFont(font)
        p.setPen(QColor(theme.DAY["INK"]))
        longest = max(p.fontMetrics().horizontalAdvance(t.name) for t in tiles)
        if font.pixelSize() >= LEAST_PX and longest <= box.width():
            for t in tiles:
                p.drawText(_box(t, by), Qt.AlignmentFlag.AlignCenter, t.name)

    def named(self, x_px: float, y_px: float) -> str:
        """Return what is at a place of the map, "" where there is nothing."""
        by, left = self._placed()
        x, y = (x_px - left) / by, (y_px - 4) / by
        for t in self._tiles:
            if t.x0 <= x <= t.x1 and t.y0 <= y <= t.y1:
                return f"page {t.name}"
        for t in self._bare:
            if t.x0 <= x <= t.x1 and t.y0 <= y <= t.y1:
                return "no page: nothing is drawn here"
        return ""

    def event(self, event: QEvent) -> bool:
        """Name the page under the pointer."""
        if isinstance(event, QHelpEvent):
            at = event.pos()
            QToolTip.showText(event.globalPos(), self.named(at.x(), at.y()), self)
            return True
        return super().event(event)


def _box(t: Tile, by: float) -> QRectF:
    return QRectF(t.x0 * by, t.y0 * by, (t.x1 - t.x0) * by, (t.y1 - t.y0) * by)


class CartoonPaper(QWidget):
    """The choices for a print of the cartoon, and the map of its pages."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.printer = PrinterCorrection(session, self.refresh)
        self.paper = Choice("Paper", PAPERS, lambda _: self.refresh())
        self.roll = Number("Roll's width", "mm", *ROLL_MM, lambda _: self.refresh(), 0, 1.0)
        self.roll.show_value(USUAL_ROLL_MM)
        self.codes = Choice(
            "On the pieces",
            [(NUMBERS, "numbers of the key"), (CODES, "the studio's codes")],
            lambda _: self.refresh(),
        )
        self.codes.setToolTip("A piece with no room for its code carries its number")
        self.mirrored = Switch(
            "Mirrored, as laid face down",
            lambda on: self.refresh(),
            "For work laid upside down; words stay readable",
        )
        self.map = PageMap(session)
        self.pages = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (self.paper, self.roll, self.codes, self.mirrored, self.map, self.pages):
            box.addWidget(w)
        # what the division shown is of: outlines, flow lines and size, the layout, the choices
        self._of: tuple[tuple[object, ...], Layout | None, Wanted] | None = None

    def wanted(self) -> Wanted:
        """Return what is chosen."""
        paper = self.paper.value
        return Wanted(
            f"roll:{self.roll.value:g}" if paper == ROLL else paper,
            self.mirrored.isChecked(),
            self.codes.value,
            self.printer.correction,
        )

    def refresh(self) -> None:
        """Show the pages of the work as it stands."""
        self.roll.setVisible(self.paper.value == ROLL)
        doc, wanted = self.session.doc, self.wanted()
        layout = self.session.layout if self.session.layout_is_current else None
        drawn = doc.fields, doc.flow_lines, doc.width_mm, doc.height_mm
        was = self._of
        if was and was[0] == drawn and was[1] is layout and was[2] == wanted:
            return
        self._of = drawn, layout, wanted
        division = wanted.division(doc, layout)
        self.map.show_division(division)
        self.pages.setText(_told(division))


def _told(division: Division) -> str:
    """Return in words what the cartoon takes."""
    n, bare = len(division.tiles), len(division.bare)
    way = f" {division.paper.way}" if division.paper.way else ""
    area = f"{division.area_mm2 / 1e6:.2f} m² of paper"
    words = f"{n} page{'' if n == 1 else 's'}{way} and the key page, {area}."
    if bare:
        places = "1 place is" if bare == 1 else f"{bare} places are"
        words += f" {places} left out: nothing is drawn there."
    return words


class PrinterCorrection(QWidget):
    """What the check bars of an uncorrected print measure, kept for this computer."""

    def __init__(self, session: Session, changed: Callable[[], object]) -> None:
        super().__init__()
        self.session, self._changed = session, changed
        # wider than what is taken, so that what is too far off is refused in words
        self.across = Number("Bar across", "mm", 1, 999, lambda _: self._read(), 2, 0.1)
        self.up = Number("Bar up", "mm", 1, 999, lambda _: self._read(), 2, 0.1)
        self.words = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        box.addWidget(
            text(
                "If the check bars of a print are not 100 mm, set what they measure, and the next "
                "print is true. Measure on a print that was made with both at 100 here.",
                "hint",
            )
        )
        for w in (self.across, self.up, self.words):
            box.addWidget(w)
        try:
            self.correction = kept_correction()
        except EmblemaError as e:
            self.correction = TRUE
            self._show(str(e))
        else:
            self._show()

    def _read(self) -> None:
        """Take over what was read and keep it, or say why not."""
        try:
            self.correction = Correction(self.across.value, self.up.value)
            keep_correction(self.correction)
        except EmblemaError as e:  # what cannot be kept serves until the window closes
            self.session.message.emit(str(e))
        self._show()
        self._changed()

    def _show(self, fault: str = "") -> None:
        c = self.correction
        self.across.show_value(c.across_mm)
        self.up.show_value(c.up_mm)
        if c.in_use:
            across, up = (_larger(by) for by in c.scale)
            fault = (
                f"In use for every cartoon of this computer, PDFs too: drawn {across} across, "
                f"{up} up. The foot of each page says so."
            )
        self.words.setText(fault)
        self.words.setVisible(bool(fault))


def _larger(by: float) -> str:
    share = 100 * abs(by - 1)
    return "true" if by == 1 else f"{share:.2f} % {'larger' if by > 1 else 'smaller'}"
