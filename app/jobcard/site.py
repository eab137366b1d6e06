"""The wall and what opens in it: measured, typed or drawn, and left open in the fields."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from PySide6.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from app.canvas import Bench
from app.jobcard.tables import ROW, Table
from app.session import Session
from app.tools.opening import OpeningTool
from app.widgets import Choice, Number, Switch, button, column, row, text
from core.commission import Commission
from core.openings import (
    USUAL_MM,
    box_of,
    changed_opening,
    is_box,
    left_open,
    lies_on_fields,
    measured,
    odd,
)
from core.site import OPENINGS, Opening

KINDS = tuple((kind, kind) for kind in OPENINGS)
WALL_MM = (3000.0, 2400.0)  # of a wall whose size has yet to be measured
MEASURES = ("Width", "Height", "From the left edge", "Above the lower edge")
OF_WALL = ("Wall's width", "Wall's height", "Work from its left", "Work above its foot")
MOST_ROWS = 6


class OfSite(QWidget):
    """The wall's measures, and the list of openings with those of the chosen one."""

    def __init__(
        self,
        session: Session,
        bench: Bench,
        try_to: Callable[[str, Callable[[], Commission]], bool],
    ) -> None:
        super().__init__()
        self.session, self.bench, self.try_to = session, bench, try_to
        self.openings = bench.openings
        self.known = Switch(
            "The wall is measured", self._know, "Its size, and where the work hangs on it"
        )
        self.wall = tuple(
            Number(words, "mm", -100_000 if k > 1 else 1, 1_000_000, self._walled, 0, 10)
            for k, words in enumerate(OF_WALL)
        )
        self.list = Table(("Opening", "Size, mm", "Left", "Low"), 0, ("Left", "Low"))
        self.list.itemSelectionChanged.connect(self._picked)
        self.kind = Choice("Next", KINDS, self._kind)
        self.draw = button("Draw", self._take, tip=OpeningTool.hint)
        self.draw.setCheckable(True)
        self.type = button("By its measures", self._by_measures)
        self.type.setToolTip("Puts one of the usual size in; then type its measures below")
        self.leave = Switch(
            "Leave it open",
            self._leave_next,
            "Fields give up the ground of what is put in next: nothing is laid there",
        )
        self.leave.show_value(True)
        self.name = QLineEdit()
        self.name.setPlaceholderText("Name beside it")
        self.name.setAccessibleName("Name of the opening")
        self.name.editingFinished.connect(self._renamed)
        self.of_kind = Choice("Kind", KINDS, self._another_kind)
        self.measures = tuple(
            Number(words, "mm", -100_000 if k > 1 else 1, 1_000_000, self._measured, 0, 5)
            for k, words in enumerate(MEASURES)
        )
        self.open = button("Leave open", self._leave_open)
        self.away = button("Take away", self._away)
        self.edit = column(
            self.name, self.of_kind, *self.measures, row(self.open, self.away, gap=6)
        )
        self.about = column(*self.wall)
        self.told = text("", "warn")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        drawing = row(self.draw, self.type, gap=6)
        for w in (self.known, self.about, self.kind, self.leave, drawing, self.list, self.edit):
            box.addWidget(w)
        box.addWidget(self.told)
        self.openings.changed.connect(self.refresh)
        bench.tool_changed.connect(lambda name: self.draw.setChecked(name == OpeningTool.name))

    @property
    def tool(self) -> OpeningTool:
        """The tool that draws openings."""
        tool = self.bench.tools.setdefault(OpeningTool.name, OpeningTool(self.bench))
        assert isinstance(tool, OpeningTool)
        return tool

    @property
    def chosen(self) -> Opening | None:
        """The chosen opening."""
        k = self.openings.chosen
        return None if k is None else self.session.doc.openings[k]

    # --- the wall

    def _know(self, on: bool) -> None:
        doc = self.session.doc
        wide, high = (
            max(a, b) for a, b in zip(WALL_MM, (doc.width_mm, doc.height_mm), strict=True)
        )
        left, low = (doc.width_mm - wide) / 2, (doc.height_mm - high) / 2
        site = box_of(doc, wide, high, left, low) if on else ()
        self.try_to(
            "Measure the wall" if on else "Forget the wall", lambda: replace(doc, site=site)
        )

    def _walled(self, value: float) -> None:
        wide, high, left, low = (n.value for n in self.wall)
        doc = self.session.doc
        site = box_of(doc, wide, high, -left, -low)
        self.try_to("Measure the wall", lambda: replace(doc, site=site))

    # --- openings

    def _kind(self, kind: str) -> None:
        self.tool.kind = kind

    def _leave_next(self, on: bool) -> None:
        self.tool.leave_open = on

    def _take(self) -> None:
        self.tool.kind, self.tool.leave_open = self.kind.value, self.leave.isChecked()
        self.bench.take(OpeningTool.name if self.draw.isChecked() else "Hand")

    def _by_measures(self) -> None:
        doc, tool = self.session.doc, self.tool
        tool.kind, tool.leave_open = self.kind.value, self.leave.isChecked()
        wide, high = USUAL_MM[tool.kind]
        left, low = (doc.width_mm - wide) / 2, (doc.height_mm - high) / 2
        self.bench.guarded(lambda: tool.put(box_of(doc, wide, high, round(left), round(low))))

    def _change(self, label: str, opening: Opening) -> None:
        k = self.openings.chosen
        if k is not None and opening != self.session.doc.openings[k]:
            self.try_to(label, lambda: changed_opening(self.session.doc, k, opening)[0])

    def _renamed(self) -> None:
        if self.chosen is not None:
            self._change("Name an opening", replace(self.chosen, name=self.name.text().strip()))

    def _another_kind(self, kind: str) -> None:
        if self.chosen is not None:
            self._change("Change an opening", replace(self.chosen, kind=kind))

    def _measured(self, value: float) -> None:
        if self.chosen is not None:
            wide, high, left, low = (n.value for n in self.measures)
            ring = box_of(self.session.doc, wide, high, left, low)
            self._change("Move an opening", replace(self.chosen, outline=ring))

    def _leave_open(self) -> None:
        k = self.openings.chosen
        if k is not None:
            self.try_to("Leave an opening open", lambda: left_open(self.session.doc, k)[0])

    def _away(self) -> None:
        k = self.openings.chosen
        if k is not None:
            self.bench.guarded(lambda: self.tool.take_away(k))

    def _picked(self) -> None:
        k = self.list.chosen()
        if k is None:
            return
        self.openings.choose(k)
        x0, y0, x1, y1 = _bounds(self.session.doc.openings[k])
        a, b = self.bench.to_px(x0, y0), self.bench.to_px(x1, y1)
        if a.x() > self.bench.width() or a.y() > self.bench.height() or b.x() < 0 or b.y() < 0:
            self.bench.show_place((x0 + x1) / 2, (y0 + y1) / 2)

    # --- what is shown

    def refresh(self) -> None:
        """Show the wall and its openings as they stand."""
        doc = self.session.doc
        self.known.show_value(bool(doc.site))
        self.about.setVisible(bool(doc.site))
        if doc.site:
            wide, high, left, low = measured(doc, doc.site)
            for number, value in zip(self.wall, (wide, high, -left, -low), strict=True):
                number.show_value(value)
        self.list.setVisible(bool(doc.openings))
        rows = []
        for o in doc.openings:
            wide, high, left, low = measured(doc, o.outline)
            rows.append((o.name or o.kind, f"{wide:.0f} x {high:.0f}", f"{left:.0f}", f"{low:.0f}"))
        self.list.fill(rows)
        self.list.setFixedHeight(ROW * min(max(len(rows), 1), MOST_ROWS) + 38)
        self._show_chosen(doc)
        self.told.setText("\n".join(odd(doc)))
        self.told.setVisible(bool(self.told.text()))

    def _show_chosen(self, doc: Commission) -> None:
        k, chosen = self.openings.chosen, self.chosen
        self.list.blockSignals(True)
        if k is None:
            self.list.clearSelection()
        else:
            self.list.selectRow(k)
        self.list.blockSignals(False)
        self.edit.setVisible(chosen is not None)
        if chosen is None:
            return
        if not self.name.hasFocus():
            self.name.setText(chosen.name)
        self.of_kind.show_value(chosen.kind)
        for number, value in zip(self.measures, measured(doc, chosen.outline), strict=True):
            number.show_value(value)
            number.setEnabled(is_box(chosen.outline))
        closed = lies_on_fields(doc, chosen)
        self.open.setEnabled(closed)
        self.open.setText("Leave open" if closed else "It is open")


def _bounds(o: Opening) -> tuple[float, float, float, float]:
    x, y = zip(*o.outline, strict=True)
    return min(x), min(y), max(x), max(y)
