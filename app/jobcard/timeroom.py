"""The room for time: what is laid and how fast, the days that it takes, patches, the calendar."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from PySide6.QtCore import QDate
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHBoxLayout,
    QPushButton,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app import fileasking
from app.jobcard.brief import Notes
from app.jobcard.tables import ROW, Table
from app.session import Session
from app.widgets import Choice, Drop, Number, Switch, button, day_edit, row, text
from core.commission import Commission
from core.errors import EmblemaError
from core.figures.pace import by_group, measured_with, paces
from core.patches import Patch, patches
from core.pieces import Layout
from core.sheets.graph import joint_graph
from core.stock import StockStore
from core.terms import Days
from core.timeplan.calendar import Plan, plan_for
from core.timeplan.ical import write_ical
from core.timeplan.patchlist import write_patches_csv
from core.timeplan.said import free_days_of, free_days_said, promise_said, step_said
from core.timeplan.units import Unit, take_back, tick_off, units

ROOM = (1080, 690)
FORM = 330
WEEK = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WORK = ("Part", "Pieces", "Hours", "Took", "Laid on")
PACE = ("Laying", "Size", "Of", "Pieces", "Pace")
STEPS = ("What", "Days", "")
PATCHES = ("Patch", "Pieces", "Minutes", "Mix")
DAY_FORMAT = "yyyy-MM-dd"


class TimeRoom(QDialog):
    """Days at the left; work, pace, days and patches at the right."""

    def __init__(self, parent: QWidget, session: Session) -> None:
        super().__init__(parent)
        self.session = session
        self.setWindowTitle("Time and calendar")
        self.parts: tuple[Unit, ...] = ()
        self.plan: Plan | None = None
        self.patches: tuple[Patch, ...] = ()
        self.head = text("", "title")
        self.said = text("", "hint")
        self.tabs = QTabWidget()
        for name, page in (
            ("Work", self._make_work()),
            ("Pace", self._make_pace()),
            ("Days", self._make_steps()),
            ("Patches", self._make_patches()),
        ):
            self.tabs.addTab(page, name)
        right = QVBoxLayout()
        right.setSpacing(10)
        right.addWidget(self.head)
        right.addWidget(self.tabs, 1)
        right.addWidget(self.said)
        right.addWidget(
            row(
                button("Write the calendar ...", self.choose, "main", "As iCalendar (.ics)"),
                button("Close", self.close),
            )
        )
        box = QHBoxLayout(self)
        box.setContentsMargins(18, 16, 18, 16)
        box.setSpacing(18)
        box.addWidget(self._make_form())
        box.addLayout(right, 1)
        self.resize(*ROOM)
        session.changed.connect(self.refresh)
        session.laid.connect(self.refresh)
        session.message.connect(self.said.setText)

    def _make_form(self) -> QWidget:
        self.promised = Switch("A day is promised", self._promise)
        self.day = day_edit("")
        self.day.dateChanged.connect(lambda _: self._promise(self.promised.isChecked()))
        self.hours = Number("Hours a day", "h", 0.25, 24,
                            lambda v: self._change(hours_a_day=v), 2, 0.5)  # fmt: skip
        self.week = [QPushButton(d) for d in WEEK]
        for b in self.week:
            b.setCheckable(True)
            b.setMinimumHeight(36)
            b.setStyleSheet("padding: 4px 0;")
            b.clicked.connect(self._weekdays)
        self.free = Notes(self._free_days)
        self.free.setPlaceholderText("2026-12-24 to 2027-01-02\n2027-05-14")
        self.free.setFixedHeight(104)
        self.curing = Choice(
            "Adhesive",
            (("normal", "normal"), ("fast", "fast setting (F)")),
            lambda v: self._change(curing=v),
        )
        self.m2 = Number("Set in a day", "m²", 0.05, 1000,
                         lambda v: self._change(setting_m2_a_day=v), 2, 0.5)  # fmt: skip
        form = QWidget()
        form.setFixedWidth(FORM)
        box = QVBoxLayout(form)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(10)
        for w in (
            self.promised,
            self.day,
            self.hours,
            text("Days worked on", "head"),
            row(*self.week, gap=3),
            text("Days off, one or a stretch a line", "head"),
            self.free,
            text("On the wall", "head"),
            self.m2,
            self.curing,
            text(
                "Grout after a day, after 6 hours with fast setting adhesive (EN 12004, F); used "
                "a day later, under water after 7 days as a rule. The maker's sheet decides.",
                "hint",
            ),
        ):
            box.addWidget(w)
        box.addStretch(1)
        return form

    def _make_work(self) -> QWidget:
        self.work = Table(WORK, 0, WORK[1:4])
        self.work.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.work.itemSelectionChanged.connect(self._chosen)
        self.took = Number("Took together", "h", 0, 10_000, lambda _: None, 2, 0.5)
        self.on = day_edit("")
        self.on.setFixedWidth(140)
        self.tick = button("Tick off", self.tick_off, "main")
        self.untick = button("Take back", self.take_back)
        hint = "Choose sheets or fields that are laid; with Ctrl or Shift several."
        return _page(text(hint, "hint"), self.work,
                     row(self.took, "on", self.on, self.tick, self.untick))  # fmt: skip

    def _make_pace(self) -> QWidget:
        self.pace = Table(PACE, 4, PACE[3:4])
        self.measured = text("", "hint")
        keep = button("Keep for the studio", self.keep, tip="New commissions begin with this pace")
        return _page(self.pace, self.measured, keep)

    def _make_steps(self) -> QWidget:
        self.steps = Table(STEPS, 2)
        return _page(self.steps)

    def _make_patches(self) -> QWidget:
        self.of = Drop()
        self.mixed = Table(PATCHES, 3, PATCHES[:3])
        self.mixed_said = text("", "hint")
        ask = button("Divide into patches", self.divide)
        self.list = button("Write as list ...", self.choose_patches)
        line = row(self.of, ask, self.list)
        line.layout().setStretch(0, 1)
        return _page(line, self.mixed, self.mixed_said)

    # the document

    @property
    def days(self) -> Days:
        """The commission's."""
        return self.session.doc.days

    def _try(self, label: str, make: Callable[[], Commission]) -> None:
        try:
            done = self.session.try_apply(label, make())
        except EmblemaError as e:
            self.session.message.emit(str(e))
            done = False
        if not done:
            self.refresh()

    def _change(self, **changes: Any) -> None:
        days = replace(self.days, **changes)
        self._try("Change the days", lambda: replace(self.session.doc, days=days))

    def _promise(self, on: bool) -> None:
        self._change(promised=self.day.date().toString(DAY_FORMAT) if on else "")

    def _weekdays(self) -> None:
        self._change(free_weekdays=tuple(k for k in range(7) if not self.week[k].isChecked()))

    def _free_days(self) -> None:
        try:
            self._change(free_days=free_days_of(self.free.toPlainText()))
        except EmblemaError as e:
            self.session.message.emit(str(e))

    def _work(self) -> tuple[Commission, Layout] | None:
        laid, layout = self.session.laid_doc, self.session.layout
        if laid is None or layout is None or not len(layout):
            return None
        return laid_with_days(self.session), layout

    # what is shown

    def showEvent(self, event: QShowEvent) -> None:
        """What was not shown while nobody looked is shown now."""
        super().showEvent(event)
        self.refresh()

    def refresh(self) -> None:
        """Show the document as it stands, where anybody looks."""
        days = self.days
        self.promised.show_value(bool(days.promised))
        self.day.setEnabled(bool(days.promised))
        if days.promised:
            self.day.blockSignals(True)
            self.day.setDate(QDate.fromString(days.promised, DAY_FORMAT))
            self.day.blockSignals(False)
        self.hours.show_value(days.hours_a_day)
        self.m2.show_value(days.setting_m2_a_day)
        self.curing.show_value(days.curing)
        for k, b in enumerate(self.week):
            b.setChecked(k not in days.free_weekdays)
        if not self.free.hasFocus():
            self.free.setPlainText(free_days_said(days.free_days))
        if self.isVisible():
            self._show()

    def _show(self) -> None:
        work = self._work()
        self.parts = () if work is None else units(*work)
        try:
            self.plan = None if work is None else plan_for(*work, date.today())
            words = "Nothing is laid yet" if self.plan is None else promise_said(self.plan)
        except EmblemaError as e:
            self.plan, words = None, str(e)
        self.head.setText(words)
        self.work.fill([_work_row(u) for u in self.parts])
        self.steps.fill(
            [(s.words, step_said(s), s.note) for s in (self.plan.steps if self.plan else ())]
        )
        self.steps.resizeRowsToContents()
        for k in range(self.steps.rowCount()):  # a little room between notes of several lines
            self.steps.setRowHeight(k, max(ROW, self.steps.rowHeight(k) + 10))
        if work is not None:
            self._show_pace(*work)
        before = self.of.currentText()
        self.of.clear()
        self.of.addItem("The whole work")
        self.of.addItems([u.words for u in self.parts])
        self.of.setCurrentIndex(max(0, self.of.findText(before)))
        self._chosen()
        self._show_patches()

    def _show_pace(self, doc: Commission, layout: Layout) -> None:
        known = paces(doc)
        self.pace.fill(
            [
                (x.opus, x.size, x.kind, f"{x.pieces:,}", known.of((x.opus, x.size, x.kind)).words)
                for x in by_group(doc, layout)
            ]
        )
        self.measured.setText(
            f"{known.hours:.1f} hours measured so far, here and in earlier commissions. The more "
            "there are, the less the default counts. The price stays as it is: it goes by what "
            "was measured when the commission began."
            if known.hours
            else "Nothing is measured yet: tick off what is laid on the page Work. Fine pieces "
            "are below 7 mm, large ones from 14 mm on."
        )

    def chosen(self) -> list[Unit]:
        """Return the parts chosen."""
        rows = sorted({i.row() for i in self.work.selectedIndexes()})
        return [self.parts[k] for k in rows if k < len(self.parts) and self.parts[k].what]

    def _chosen(self) -> None:
        some = self.chosen()
        self.tick.setEnabled(bool(some))
        self.untick.setEnabled(any(u.done for u in some))
        if some:
            self.took.show_value(sum(u.done.hours if u.done else u.hours for u in some))

    # what is done

    def tick_off(self) -> None:
        """Write down that the parts chosen are laid, in so many hours."""
        some, day = self.chosen(), self.on.date().toString(DAY_FORMAT)
        hours = self.took.value
        self._try("Tick off", lambda: tick_off(self.session.doc, some, hours, day))

    def take_back(self) -> None:
        """Take back that the parts chosen are laid."""
        some = self.chosen()
        self._try("Take back", lambda: take_back(self.session.doc, some))

    def keep(self) -> None:
        """Keep what was measured for the studio; once for each commission."""
        doc = self.session.doc
        try:
            with StockStore() as store:
                s = store.studio()
                rates = replace(s.rates, measured=measured_with(s.rates.measured, doc))
                store.keep_studio(replace(s, rates=rates))
        except EmblemaError as e:
            self.session.message.emit(str(e))
        else:
            self.session.message.emit("New commissions begin with this pace.")

    def choose(self) -> None:
        """Ask where, and write the calendar."""
        if self.plan is not None:
            self._ask("calendar.ics", "*.ics", self.write)

    def write(self, path: str) -> None:
        """Write the calendar as iCalendar."""
        doc, plan = self.session.doc, self.plan
        if plan is not None:
            self.session.write(path, lambda: write_ical(path, doc, plan))

    def divide(self) -> None:
        """Divide the part chosen into patches, aside."""
        work, k = self._work(), self.of.currentIndex()
        if work is None:
            return
        which = None if k < 1 else self.parts[k - 1].which
        self.mixed_said.setText("Finding the patches ...")

        def find() -> tuple[Patch, ...]:
            graph = joint_graph(*work)
            return patches(work[0], graph if which is None else graph.only(which))

        self.session.errands.run(find, self._divided)

    def _divided(self, found: Sequence[Patch]) -> None:
        self.patches = tuple(found)
        self._show_patches()

    def _show_patches(self) -> None:
        minutes = self.session.doc.rates.putty_minutes
        self.mixed.fill(
            [
                (str(k), f"{p.pieces:,}", f"{p.seconds / 60:.0f}", f"{1000 * p.kg:.0f} g")
                for k, p in enumerate(self.patches, 1)
            ]
        )
        self.list.setEnabled(bool(self.patches))
        whole = sum(p.kg for p in self.patches)
        self.mixed_said.setText(
            f"{len(self.patches)} mixes, {whole:.2f} kg in all, each laid within {minutes:g} "
            "minutes and ending along joints, mostly where a course ends."
            if self.patches
            else f"What can be laid before putty or adhesive sets, {minutes:g} minutes as the "
            "Brief leaf says, and how much to mix for it."
        )

    def choose_patches(self) -> None:
        """Ask where, and write the patches."""
        self._ask("patches.csv", "*.csv", self.write_patches)

    def _ask(self, name: str, kind: str, write: Callable[[str], None]) -> None:
        path = fileasking.where_to(self, "Write", name, kind, "papers", self.session.path)
        if path:
            write(path)

    def write_patches(self, path: str) -> None:
        """Write the patches as a list."""
        found = self.patches
        self.session.write(path, lambda: write_patches_csv(Path(path), found))


def laid_with_days(session: Session) -> Commission:
    """Return what is laid with the days, sheets and work done of this moment: no layout hangs on
    them.
    """
    laid, now = session.laid_doc, session.doc
    assert laid is not None
    return replace(laid, days=now.days, done=now.done, sheets=now.sheets, rates=now.rates)


def _work_row(u: Unit) -> tuple[str, ...]:
    took, on = (f"{u.done.hours:.1f} h", u.done.on) if u.done else ("", "")
    if u.changed:
        on += f" ({u.changed:+,} pieces since)"
    return u.words, f"{u.pieces:,}", f"{u.hours:.1f} h", took, on


def _page(*widgets: QWidget) -> QWidget:
    page = QWidget()
    box = QVBoxLayout(page)
    box.setContentsMargins(10, 12, 10, 10)
    box.setSpacing(8)
    for w in widgets:
        box.addWidget(w, 1 if isinstance(w, Table) else 0)
    return page
