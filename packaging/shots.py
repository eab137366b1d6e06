"""Takes pictures of the window, leaf by leaf and tool by tool, and of every way of laying.

python packaging/shots.py OUT [COMMISSION]. The pictures of the manual are made by it.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "packaging")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QImage, QPainter
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app import theme
from app.canvas.dropped import drop_menu
from app.jobcard import LEAVES
from app.painting import paint_page
from app.tools.ornament import OrnamentTool
from app.window import Window
from core.quotepage import quote_pages
from core.resources import asset
from core.terms import Panel, Stage, Terms

Place = tuple[float, float]
PX_MM = 4  # of a page as a picture


def settle(app: QApplication, window: Window, seconds: float = 60.0) -> None:
    """Wait until everything is laid, looked at and drawn."""
    end = time.monotonic() + seconds
    calm = 0
    while time.monotonic() < end and calm < 12:
        app.processEvents()
        time.sleep(0.02)
        leaf = window.card.leaves["Look again"]
        looked = not leaf.isVisible() or leaf.settled()
        divided = window.card.leaves["Sheets"].dividing.settled()
        done = window.session.layout_is_current and window.bench.settled() and looked and divided
        calm = calm + 1 if done else 0


class Camera:
    """A window on a commission, and the hand that works in it."""

    def __init__(self, app: QApplication, out: Path, commission: str | Path) -> None:
        self.app, self.out = app, out
        self.window = Window()
        self.window.resize(1440, 900)
        self.window.show()
        self.window.open(commission)
        self.settle()
        self.window.switches["look"].setChecked(False)  # flat pieces are told apart more easily
        self.window.say("")

    def settle(self) -> None:
        settle(self.app, self.window)

    def shoot(self, name: str) -> None:
        """Write what is seen."""
        self.settle()
        self.window.grab().save(str(self.out / f"{name}.png"))

    def choose(self, *names: str) -> None:
        """Choose fields by name."""
        doc = self.window.session.doc
        self.window.session.select([f.id for f in doc.fields if f.name in names])

    def px(self, at: Place) -> QPoint:
        return self.window.bench.to_px(*at).toPoint()

    def click(self, places: Iterable[Place], hover: Place | None = None) -> None:
        """Click places on the work one after the other, then hover over another."""
        bench = self.window.bench
        for at in places:
            QTest.mouseMove(bench, self.px(at))
            QTest.mouseClick(bench, Qt.MouseButton.LeftButton, pos=self.px(at))
        if hover is not None:
            QTest.mouseMove(bench, self.px(hover))

    def drag(self, a: Place, b: Place) -> None:
        """Press at one place and go to another without letting go."""
        bench = self.window.bench
        QTest.mousePress(bench, Qt.MouseButton.LeftButton, pos=self.px(a))
        for k in range(1, 6):
            at = (a[0] + (b[0] - a[0]) * k / 5, a[1] + (b[1] - a[1]) * k / 5)
            QTest.mouseMove(bench, self.px(at))


def leaves(c: Camera) -> None:
    """Every leaf of the job card."""
    for leaf in LEAVES:
        c.window.card.turn_to(leaf.name)
        c.window.bench.set_layer("flow", True)
        c.choose(*(("Sky",) if leaf.name in ("Laying", "Colour", "Flow") else ()))
        if leaf.name == "Sheets":
            sheets(c)
        c.shoot(leaf.name.lower().replace(" ", "-"))
    c.choose()


def sheets(c: Camera) -> None:
    """The work divided, its second sheet chosen and the first pinned."""
    leaf = c.window.card.leaves["Sheets"]
    leaf.dividing.ask_divide()
    c.settle()
    c.window.bench.seams.pin(1, True)
    c.window.bench.seams.choose(2)
    c.window.bench.set_layer("flow", False)
    c.settle()
    c.window.say("")


def tools(c: Camera) -> None:
    """Hand tools at work."""
    w = c.window
    bench = w.bench
    w.card.turn_to("Fields")
    bench.take("Outline")
    c.click([(780, 60), (840, 40), (900, 60), (880, 110), (800, 120)], (770, 90))
    c.shoot("outline")
    bench.take("Ornament")
    ornament(c)
    bench.take("Hand")
    w.card.turn_to("Flow")
    c.choose("Sky")
    bench.take("Flow line")
    c.click([(560, 170), (680, 120), (800, 170)], (830, 200))
    c.shoot("flow-line")
    bench.take("Hand")
    c.choose()
    bench.set_layer("flow", False)
    bench.show_place(560, 250, 7.0)
    c.settle()
    bench.take("Nip")
    layout = w.session.layout
    assert layout is not None
    k = bench.piece_at(560, 262)
    if k is not None:
        x, y = layout.by_id(k[0]).pieces.centre_mm[k[1]]
        c.drag((x - 8, y - 7), (x + 8, y + 7))
    c.shoot("nip")
    bench.take("Hand")
    w.card.turn_to("Colour")
    bench.set_colours("difference")
    c.shoot("difference")
    bench.set_colours("plain")
    menu = drop_menu(bench, "SM-75", 560, 262)
    if menu is not None:
        menu.popup(bench.mapToGlobal(QPoint(600, 300)))
        c.app.processEvents()
        menu.grab().save(str(c.out / "swap.png"))
        menu.hide()
    bench.fit()
    bench.set_layer("flow", True)


def ornament(c: Camera) -> None:
    """A guilloche round the work, seen before it is placed."""
    tool, doc = c.window.bench.tool, c.window.session.doc
    assert isinstance(tool, OrnamentTool)
    tool.ask(kind="plait", tessera_mm=5.0, joint_mm=0.8)
    c.window.bench.set_layer("flow", False)
    c.drag((0, 0), (doc.width_mm, doc.height_mm))
    at = c.px((doc.width_mm, doc.height_mm))
    QTest.mouseRelease(c.window.bench, Qt.MouseButton.LeftButton, pos=at)
    c.shoot("ornament")
    c.window.bench.set_layer("flow", True)


def plain(c: Camera) -> None:
    """The work alone, as the client sees it."""
    layers = ("sketch", "outlines", "flow")
    for layer in layers:
        c.window.switches[layer].setChecked(False)
    c.window.card.turn_to("Figures")
    c.window.switches["look"].setChecked(True)
    c.shoot("work")
    c.window.bench.show_place(905, 190, 4.0)
    c.shoot("material-look")
    c.window.bench.fit()
    c.window.switches["look"].setChecked(False)
    for layer in layers:
        c.window.switches[layer].setChecked(True)


def rooms(c: Camera) -> None:
    """The rooms for the quote and for time, and the quote's first page."""
    s = c.window.session
    prices = replace(s.doc.rates, hour=Decimal(42), margin=0.12, tax=0.19)
    terms = Terms(
        number="2026-14",
        overhead=0.15,
        drawing=Decimal(450),
        revision=Decimal(120),
        revisions=2,
        mounting=Decimal(280),
        transport=Decimal(190),
        fixing=Decimal(640),
        round_to=Decimal(10),
        stages=(Stage("On order", 0.4), Stage("When all is laid", 0.4), Stage("In place", 0.2)),
        panel=Panel(board_m2=Decimal(95), hanger=Decimal("7.50")),
        options=("panel", "vitreous"),
    )
    doc = replace(s.doc, terms=terms, rates=prices, currency="EUR", studio="Your studio")
    s.apply("Price it", doc)
    c.window.card.turn_to("Figures")
    c.settle()
    leaf = c.window.card.leaves["Figures"]
    for part, name in ((leaf.quote, "quote-room"), (leaf.time, "time-room")):
        part.open()
        c.settle()
        end = time.monotonic() + 20
        while time.monotonic() < end and not s.errands.idle:
            c.app.processEvents()
        c.settle()
        part.room.grab().save(str(c.out / f"{name}.png"))
        part.room.close()
    assert s.layout is not None
    page = quote_pages(s.doc, s.layout, date.today())[0]
    seen = QImage(
        int(page.width_mm * PX_MM), int(page.height_mm * PX_MM), QImage.Format.Format_RGB32
    )
    seen.fill(QColor("white"))
    p = QPainter(seen)
    paint_page(p, page, PX_MM)
    p.end()
    seen.save(str(c.out / "quote.png"))


def main() -> None:
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    app = QApplication([])
    theme.dress(app)
    from layings import draw_layings

    draw_layings(out / "layings.png")
    c = Camera(app, out, sys.argv[2] if len(sys.argv) > 2 else asset("demo/heron.emblema"))
    leaves(c)
    plain(c)
    tools(c)
    rooms(c)
    c.window.end()


if __name__ == "__main__":
    main()
