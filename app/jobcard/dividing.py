"""Dividing the work into sheets: their limits, the list of them, and edits of the chosen one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QHideEvent, QIcon, QPainter, QPixmap, QShowEvent
from PySide6.QtWidgets import QMenu, QProgressBar, QPushButton, QVBoxLayout, QWidget

from app import theme
from app.canvas import Bench
from app.jobcard.tables import ROW, Table
from app.jobs import Progress, Worker
from app.session import Session
from app.tools.seams import SHEET_TOOLS, STRENGTHS, SpareTool
from app.widgets import Choice, Number, button, column, row, text
from core.commission import Commission, Sheeting
from core.openings import gone_round
from core.pieces import Layout
from core.sheets.graph import JointGraph, joint_graph
from core.sheets.made import OnSheet, Sheets, cut_within, divided
from core.sheets.marks import SHEETS
from core.sheets.sides import WAYS

LAID = (
    ("direct", "face up, then papered"),
    ("mirrored", "face down, on the paper"),
    ("turned", "face up, papered, turned over"),
)
TOOL_WORDS = {
    "Seams": "Move pieces",
    "Draw a seam": "Draw a seam",
    "Spare a place": "Spare a place",
    "Rub out": "Rub out",
}
PIN = QSize(12, 12)
NARROW = "QTableWidget::item { padding: 0 3px; } QHeaderView::section { padding: 5px 3px; }"
MOST_ROWS = 7  # of the list are seen at once
Divided = tuple[Commission, Layout, Commission, JointGraph]  # asked of, and what came of it


class Dividing(QWidget):
    """Divide, and the sheets one by one; `limits` are what they may be, a group by itself."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__()
        self.session, self.bench, self.seams = session, bench, bench.seams
        self._worker = Worker(self)
        self._worker.done.connect(self._done)
        self._worker.failed.connect(self._failed)
        self._worker.stopped.connect(lambda _: self._failed(0, "Stopped; the sheets stay."))
        self._worker.progress.connect(self._progress)
        self._listed: tuple[OnSheet, ...] = ()
        self.numbers = {
            "width_mm": self._number("Largest width", "mm", 20, 5000, 10, "width_mm", 0),
            "height_mm": self._number("Largest height", "mm", 20, 5000, 10, "height_mm", 0),
            "weight_kg": self._number("Heaviest", "kg", 0.05, 100, 0.5, "weight_kg", 2),
            "level_mm": self._number("Level line", "mm", -100_000, 100_000, 10, "level_mm", 0),
        }
        self.numbers["width_mm"].setToolTip("Sheets may lie either way round")
        self.numbers["weight_kg"].setToolTip("Of the pieces, without paper and paste")
        self.numbers["level_mm"].setToolTip(
            "Above the work's lower edge: sheets are set from here upwards, then below it"
        )
        self.laid = Choice(
            "Laid", LAID, lambda v: self._change("Change how sheets are laid", laid=v)
        )
        self.explained = text("", "hint")
        self.divide = button("Divide into sheets", self.ask_divide, "main")
        self.bar = QProgressBar()
        self.bar.setRange(0, 100)
        self.dividing = row(self.bar, button("Stop", self._stop))
        self.dividing.hide()
        self.told = text("", "hint")
        self.wrong = text("", "warn")
        self.list = Table(("No.", "Set", "Size, mm", "kg", "Pieces"), 2, ("Set", "kg", "Pieces"))
        self.list.setWordWrap(False)
        self.list.setIconSize(PIN)
        self.list.setStyleSheet(NARROW)
        self.list.itemSelectionChanged.connect(self._picked)
        self.join = button("Join with ...", self._offer_join)
        self.part = button("Part in two", lambda: self._do(self.seams.part))
        self.pin = button(
            "Pin", lambda: self._do(lambda n: self.seams.pin(n, self.pin.isChecked()))
        )
        self.pin.setCheckable(True)
        self.pin.setToolTip("A pinned sheet stays as it is when the work is divided again")
        self.drawn = text("", "hint")
        self.strength = Choice("Spared", STRENGTHS, self._spare_so)
        self.strength.show_value("spared")
        self.tools = {name: self._tool_button(name) for name in TOOL_WORDS}
        self.edits = column(
            self.list, row(self.join, self.part, self.pin, gap=6), self.tools["Seams"]
        )
        self.limits = column(
            *self.numbers.values(),
            self.laid,
            self.explained,
            row(self.tools["Draw a seam"], self.tools["Spare a place"], gap=6),
            self.strength,
            row(self.drawn, self.tools["Rub out"]),
        )
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (self.divide, self.dividing, self.told, self.wrong, self.edits):
            box.addWidget(w)
        self.seams.changed.connect(self.refresh)
        bench.tool_changed.connect(self._tool_taken)

    def _number(
        self, words: str, unit: str, low: float, high: float, step: float, name: str, decimals: int
    ) -> Number:
        def change(value: float) -> None:
            self._change(f"Change the sheets' {words.lower()}", **{name: value})

        return Number(words, unit, low, high, change, decimals, step)

    def _tool_button(self, name: str) -> QPushButton:
        b = button(TOOL_WORDS[name], lambda: self._take(name))
        b.setCheckable(True)
        b.setToolTip(next(t.hint for t in SHEET_TOOLS if t.name == name))
        return b

    # --- tools and edits

    def _take(self, name: str) -> None:
        """Take a tool in hand, or put it away."""
        for kind in SHEET_TOOLS:
            self.bench.tools.setdefault(kind.name, kind(self.bench))
        spare = self.bench.tools["Spare a place"]
        assert isinstance(spare, SpareTool)
        spare.told = lambda: self.strength.show_value(spare.strength)
        spare.strength = self.strength.value
        self.bench.take(name if self.tools[name].isChecked() else "Hand")
        self.bench.setFocus()  # so that its keys work at once

    def _spare_so(self, strength: str) -> None:
        tool = self.bench.tools.get("Spare a place")
        if isinstance(tool, SpareTool):
            tool.strength = strength

    def _tool_taken(self, name: str) -> None:
        for n, b in self.tools.items():
            b.setChecked(n == name)

    def _change(self, label: str, **changes: Any) -> None:
        doc = self.session.doc
        self.session.try_apply(label, replace(doc, sheeting=replace(doc.sheeting, **changes)))
        self.refresh()

    def _lay(self, way: str) -> None:
        self._change("Change how sheets are laid", laid=way)

    def _pin(self) -> None:
        self._do(lambda number: self.seams.pin(number, self.pin.isChecked()))

    def _do(self, edit: Callable[[int], object]) -> None:
        """Alter the chosen sheet; what is refused is said."""
        number = self.seams.chosen
        if number is not None:
            self.bench.guarded(lambda: edit(number))
        self.refresh()

    def _offer_join(self) -> None:
        menu = QMenu(self)
        for b in self.beside():
            menu.addAction(
                f"Sheet {b[0]}, {b[1]}",
                lambda n=b[0]: self._do(lambda number: self.seams.join(number, n)),
            )
        menu.popup(self.join.mapToGlobal(self.join.rect().bottomLeft()))

    def beside(self) -> list[tuple[int, str]]:
        """Return the chosen sheet's neighbours, and on which side each lies."""
        return [
            (b.number, b.side)
            for s in self._listed
            if s.number == self.seams.chosen
            for b in s.beside
        ]

    # --- dividing

    def ask_divide(self) -> None:
        """Divide the work as it stands, aside; asks before sheets that stand are given up."""
        s = self.session
        if s.layout is None or not s.layout_is_current:
            s.message.emit("The work is being laid; divide it when that is done.")
            return
        doc, layout = s.doc, s.layout
        free = [sheet for sheet in doc.sheets if not sheet.pinned]
        if free and not s.ask(_question(doc, len(free))):
            return

        def work(progress: Progress, stop: Callable[[], bool]) -> Divided:
            progress(0.05, "Looking at the joints ...")
            graph = joint_graph(doc, layout, stop)

            def tell(share: float) -> None:
                progress(0.3 + 0.6 * share, "Laying the seams ...")

            return doc, layout, divided(doc, layout, stop, graph, tell), graph

        self._show_dividing(True)
        self._worker.ask(work)

    def _stop(self) -> None:
        self.bar.setFormat("Stopping ...")
        self._worker.stop()

    def _done(self, number: int, result: Divided) -> None:
        self._show_dividing(False)
        asked, layout, doc, graph = result
        s = self.session
        if s.doc is not asked or s.layout is not layout:
            s.message.emit("The work changed meanwhile, so nothing was divided; divide it again.")
            return
        self.seams.know(layout, graph)
        if s.try_apply("Divide into sheets", doc):
            s.message.emit(f"Divided into {_sheets(len(doc.sheets))}.")

    def _failed(self, number: int, words: str) -> None:
        self._show_dividing(False)
        self.session.message.emit(words)

    def _progress(self, number: int, share: float, what: str) -> None:
        self.bar.setValue(round(100 * share))
        self.bar.setFormat(what)

    def _show_dividing(self, on: bool) -> None:
        self.bar.setValue(0)
        self.dividing.setVisible(on)
        self.divide.setVisible(not on)

    # --- what is shown

    def refresh(self) -> None:
        """Show the limits, the sheets and the chosen one as they stand."""
        doc = self.session.doc
        for name, number in self.numbers.items():
            number.show_value(getattr(doc.sheeting, name))
        self.laid.show_value(doc.sheeting.laid)
        self.explained.setText(WAYS[doc.sheeting.laid].words)
        self.divide.setText("Divide again" if doc.sheets else "Divide into sheets")
        seams = len(doc.sheeting.seams)
        spared = sum(len(getattr(doc.sheeting, strength)) for strength, _ in STRENGTHS)
        drawn = [_many(n, words) for n, words in ((seams, "seam"), (spared, "spared place")) if n]
        self.drawn.setText(f"Drawn: {' and '.join(drawn)}." if drawn else "")
        self.drawn.parentWidget().setVisible(bool(drawn))
        self.edits.setVisible(bool(doc.sheets))
        self._tell(doc)
        self._list()
        self._show_chosen()

    def _tell(self, doc: Commission) -> None:
        known = self.seams.sheets if self.seams.current else None
        if not doc.sheets:
            self.told.setText("Seams run along joints, wander, and spare what is fine.")
            self.wrong.setText("")
        elif known is None:
            self.told.setText(f"{_sheets(len(doc.sheets))}; looking what is on them ...")
        else:
            heaviest = max((s.kg for s in known.each), default=0.0)
            self.told.setText(
                f"{_sheets(len(doc.sheets))}, {_many(len(known.sheet) - known.loose, 'piece')}; "
                f"the heaviest weighs {heaviest:.2f} kg."
            )
            self.wrong.setText("\n".join(_wrong(doc, known)))
        self.wrong.setVisible(bool(self.wrong.text()))

    def _list(self) -> None:
        """Show the sheets' figures, the ones before until the newest are known."""
        known = self.seams.sheets
        each = known.each if known is not None and self.session.doc.sheets else ()
        if each is self._listed or (each and not self.seams.current):
            return
        self._listed = each
        at = self.list.verticalScrollBar().value()
        self.list.fill([_row(s) for s in each], [_pin_icon(s.pinned) for s in each])
        self.list.verticalScrollBar().setValue(at)
        sheeting = self.session.doc.sheeting
        for k, s in enumerate(each):
            for cell, over in ((2, _too_large(s, sheeting)), (3, s.kg > sheeting.weight_kg)):
                if over:
                    self.list.item(k, cell).setForeground(QColor(theme.RUST))
                    self.list.item(k, cell).setToolTip("Over its limit")
        self.list.setFixedHeight(ROW * min(max(len(each), 2), MOST_ROWS) + 38)

    def _show_chosen(self) -> None:
        chosen = self.seams.chosen
        rows = [k for k, s in enumerate(self._listed) if s.number == chosen]
        self.list.blockSignals(True)
        if not rows:
            self.list.clearSelection()
        elif self.list.chosen() != rows[0]:
            self.list.selectRow(rows[0])
        self.list.blockSignals(False)
        for b in (self.join, self.part, self.pin):
            b.setEnabled(chosen is not None)
        self.pin.setChecked(any(s.number == chosen and s.pinned for s in self.session.doc.sheets))

    def _picked(self) -> None:
        k = self.list.chosen()
        if k is None or k >= len(self._listed):
            return
        sheet = self._listed[k]
        self.seams.choose(sheet.number)
        x0, y0, x1, y1 = sheet.box_mm
        a, b = self.bench.to_px(x0, y0), self.bench.to_px(x1, y1)
        if a.x() > self.bench.width() or a.y() > self.bench.height() or b.x() < 0 or b.y() < 0:
            self.bench.show_place((x0 + x1) / 2, (y0 + y1) / 2)

    def showEvent(self, event: QShowEvent) -> None:
        """The seams come with the leaf."""
        super().showEvent(event)
        self.seams.show(True)

    def hideEvent(self, event: QHideEvent) -> None:
        """And go with it, as do its tools."""
        super().hideEvent(event)
        if event.spontaneous():  # the window was only put aside
            return
        self.seams.show(False)
        if self.bench.tool is not None and self.bench.tool.name in TOOL_WORDS:
            self.bench.take("Hand")

    def settled(self) -> bool:
        """Whether nothing is being divided or looked through."""
        return self._worker.idle and self.dividing.isHidden() and self.seams.settled()

    def end(self) -> None:
        """End the background work."""
        self._worker.close()


def _row(s: OnSheet) -> tuple[str, ...]:
    w, h = s.size_mm
    return str(s.number), str(s.order), f"{w:.0f} x {h:.0f}", f"{s.kg:.2f}", f"{len(s.which):,}"


def _pin_icon(pinned: bool) -> QIcon:
    """Return the mark of a pinned sheet, as on the bench; nothing for one that is free."""
    if not pinned:
        return QIcon()
    picture = QPixmap(2 * PIN)
    picture.fill(Qt.GlobalColor.transparent)
    p = QPainter(picture)
    p.setRenderHint(QPainter.RenderHint.Antialiasing)
    p.setPen(Qt.PenStyle.NoPen)
    p.setBrush(QColor(theme.RUST))
    p.drawEllipse(3, 3, 18, 18)
    p.end()
    return QIcon(picture)


def _too_large(s: OnSheet, limit: Sheeting) -> bool:
    (a, b), (c, d) = sorted(s.size_mm), sorted((limit.width_mm, limit.height_mm))
    return a > c or b > d


def _wrong(doc: Commission, known: Sheets) -> list[str]:
    """Return what is to be told of the sheets as they stand."""
    limit, each, loose = doc.sheeting, known.each, known.loose
    said = []
    if loose:
        verb = "is" if loose == 1 else "are"
        said.append(
            f"{_many(loose, 'piece')} {verb} on no sheet: divide again, or take Move pieces and "
            "click them."
        )
    large = [s.number for s in each if _too_large(s, limit)]
    heavy = [s.number for s in each if s.kg > limit.weight_kg]
    for numbers, words in (
        (large, f"larger than {limit.width_mm:g} x {limit.height_mm:g} mm"),
        (heavy, f"heavier than {limit.weight_kg:g} kg"),
        (sorted({s.number for s in doc.sheets} - {s.number for s in each}), "without a piece"),
    ):
        if numbers:
            named = ", ".join(map(str, numbers[:6])) + (" ..." if len(numbers) > 6 else "")
            said.append(f"{'Sheet' if len(numbers) == 1 else 'Sheets'} {named}: {words}.")
    for s in each:
        for o in gone_round(doc, s.outline):
            said.append(f"Sheet {s.number} goes all round {o.name or o.kind}: part it in two.")
    if limit.spared_never and len(cut_within(known, limit.spared_never)):
        said.append(
            "A seam runs through a place that is never to be cut: it is too large for a sheet, or "
            "was spared since. Divide again, or let sheets be larger."
        )
    return said


def _question(doc: Commission, free: int) -> str:
    """Return what to ask before sheets that are not pinned are made anew."""
    held = len(doc.sheets) - free
    words = (
        f"'Divide again' would make {_sheets(free)} anew, with other seams and numbers. What is "
        "printed or written on their paper would no longer hold."
    )
    prints = [f"{p.what} on {p.on}" for p in doc.printed if p.paper == SHEETS]
    words += f" Printed of them: {'; '.join(prints[-3:])}." if prints else ""
    return words + (f" {_sheets(held)} pinned: kept as before." if held else "")


def _sheets(n: int) -> str:
    return _many(n, "sheet")


def _many(n: int, what: str) -> str:
    return f"{n:,} {what}{'' if n == 1 else 's'}"
