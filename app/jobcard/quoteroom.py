"""The room for a quote: its terms at the left, what they come to at the right, the document."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import (
    QDialog,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import fileasking
from app.jobcard.brief import Notes
from app.jobcard.tables import Table
from app.painting import write_pdf
from app.preview import Preview
from app.session import SETTLE_MS, Session
from app.widgets import Choice, Number, Switch, button, row, text
from core.commission import Commission
from core.drawing import Page
from core.errors import EmblemaError
from core.figures.options import WORDS, Option, options
from core.figures.panel import BOARDS
from core.material import Material
from core.pieces import Layout
from core.quotepage import CONDITIONS, OPENING, quote_pages, quoted_of, side_by_side
from core.stock import StockStore
from core.terms import OPTIONS, ROUND_TO, Panel, Quoted, Stage, Terms

ROOM = (1080, 690)
FORM = 372
# attribute, words, most, step, what it is
FEES = (
    ("drawing", "Drawing", 10.0, "Design, full-size drawing, samples"),
    ("revision", "A round of changes", 10.0, ""),
    ("transport", "Transport", 10.0, ""),
    ("fixing", "Fixing in place", 10.0, "Where it is fixed in place"),
    ("mounting", "Mounting on the panel", 10.0, "Where it is on a removable panel"),
)
_PAYMENT = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*%?\s+(\S.*)")
MOST_FEE = 10_000_000


def payments_of(words: str) -> tuple[Stage, ...]:
    """Return payments from one line each, such as "40 % on order".

    Raises
    ------
    EmblemaError
        A line names no share.
    """
    out = []
    for line in filter(str.strip, words.splitlines()):
        found = _PAYMENT.fullmatch(line.rstrip())
        if found is None:
            raise EmblemaError(f"'{line.strip()}' is no payment; write it as: 40 % on order")
        share = round(float(found[1].replace(",", ".")) / 100, 6)
        out.append(Stage(found[2], share))
    return tuple(out)


class QuoteRoom(QDialog):
    """All that a quote is made of besides the work itself."""

    def __init__(self, parent: QWidget, session: Session) -> None:
        super().__init__(parent)
        self.session = session
        self.setWindowTitle("Quote")
        self._stock: tuple[Material, ...] | None = None
        self._asked = 0
        self._soon = QTimer(self, singleShot=True, interval=SETTLE_MS)
        self._soon.timeout.connect(self._reckon)
        self.numbers: dict[str, Number] = {}
        self.lines: dict[str, QLineEdit] = {}
        self.notes: dict[str, Notes] = {}
        self._form = QVBoxLayout()
        self._form.setContentsMargins(0, 0, 10, 0)
        self._form.setSpacing(10)
        self._make_form()
        self._form.addStretch(1)
        inner = QWidget()
        inner.setLayout(self._form)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inner)
        scroll.setFixedWidth(FORM)
        box = QHBoxLayout(self)
        box.setContentsMargins(18, 16, 18, 16)
        box.setSpacing(18)
        box.addWidget(scroll)
        box.addLayout(self._make_sums(), 1)
        self.resize(*ROOM)
        session.changed.connect(self.refresh)
        session.laid.connect(self.refresh)
        session.message.connect(self.said.setText)
        self.refresh()

    # the form

    def _make_form(self) -> None:
        self._card("For whom", self._line("number", "Number of the quote"),
                   self._line("client", "The client"),
                   self._note("client_address", "The client's address", 60))  # fmt: skip
        self._card(
            "Fees",
            *(self._fee(name, words, step, tip) for name, words, step, tip in FEES[:2]),
            self._number("revisions", "Rounds reckoned", "", 0, 1000, 0, 1),
            *(self._fee(name, words, step, tip) for name, words, step, tip in FEES[2:]),
            self._number("overhead", "Overhead", "%", 0, 1000, 1, 1,
                         "On materials and work; margin and tax are on the Brief leaf", 0.01),
        )  # fmt: skip
        self.mount = Choice("", [(k, WORDS[k]) for k in ("fixed", "panel")],
                            lambda v: self._change(mount=v))  # fmt: skip
        boards = [(name, f"{name} ({kg:g} kg/m²)") for name, kg in BOARDS]
        self.board = Choice("", boards, self._board)
        panel = [
            self.board,
            self._panel("board_kg_m2", "The board weighs", "kg/m²", 200, 1, 0.5),
            self._panel("board_m2", "A m² of it costs", "", MOST_FEE, 2, 5),
            self._panel("hanger_kg", "A hanger is rated", "kg", 10_000, 1, 5),
            self._panel("hanger", "A hanger costs", "", MOST_FEE, 2, 1),
            self._panel("safety", "Times the weight", "x", 20, 1, 0.5),
        ]
        hint = "What hangers carry is rated by their maker; three times the weight is common " \
               "practice. A licensed person judges the wall."  # fmt: skip
        self._card("Mounted", self.mount, *panel, text(hint, "hint"))
        steps = [(f"{x:f}", "the cent" if x < 1 else f"{x:f}") for x in ROUND_TO]
        self.round_to = Choice("Rounded to", steps, lambda v: self._change(round_to=Decimal(v)))
        self.payments = Notes(self._payments)
        self.payments.setPlaceholderText("40 % on order\n60 % when it is in place")
        self.payments.setFixedHeight(74)
        self._card(
            "Price and payments",
            self.round_to,
            self._number("valid_days", "Holds for", "days", 0, 3650, 0, 5),
            text("A payment a line; none: all of it at the end.", "hint"),
            self.payments,
        )
        self.beside = {k: Switch(WORDS[k], lambda on, k=k: self._beside(k, on)) for k in OPTIONS}
        hint = "The same work, priced otherwise; nothing of it is altered. Glass is the nearest " \
               "in the studio's stock."  # fmt: skip
        self._card("Side by side with", *self.beside.values(), text(hint, "hint"))
        self._card(
            "In your own words",
            self._note("opening", OPENING, 60),
            self._note("included", "What is included", 60),
            self._note("conditions", CONDITIONS, 110),
        )

    def _card(self, head: str, *widgets: QWidget) -> None:
        card = QFrame()
        card.setProperty("role", "card")
        box = QVBoxLayout(card)
        box.setContentsMargins(12, 10, 12, 12)
        box.setSpacing(8)
        box.addWidget(text(head, "head"))
        for w in widgets:
            box.addWidget(w)
        self._form.addWidget(card)

    def _line(self, name: str, words: str) -> QLineEdit:
        line = self.lines[name] = QLineEdit()
        line.setPlaceholderText(words)
        line.editingFinished.connect(lambda: self._change(**{name: line.text().strip()}))
        return line

    def _note(self, name: str, words: str, high: int) -> Notes:
        note = self.notes[name] = Notes(lambda: self._change(**{name: note.toPlainText().strip()}))
        note.setPlaceholderText(words)
        note.setFixedHeight(high)
        return note

    def _number(
        self, name: str, words: str, unit: str, low: float, most: float, decimals: int,
        step: float, tip: str = "", by: float = 1.0,
    ) -> Number:  # fmt: skip
        def changed(value: float) -> None:
            self._change(**{name: int(value) if decimals == 0 else round(value * by, 6)})

        number = self.numbers[name] = Number(words, unit, low, most, changed, decimals, step, tip)
        return number

    def _fee(self, name: str, words: str, step: float, tip: str) -> Number:
        def changed(value: float) -> None:
            self._change(**{name: Decimal(f"{value:.2f}")})

        number = self.numbers[name] = Number(words, "", 0, MOST_FEE, changed, 2, step, tip)
        return number

    def _panel(
        self, name: str, words: str, unit: str, most: float, decimals: int, step: float
    ) -> Number:
        money = isinstance(getattr(Panel(), name), Decimal)
        low = {"hanger_kg": 0.1, "safety": 1.0}.get(name, 0.0)

        def changed(value: float) -> None:
            new: Any = Decimal(f"{value:.2f}") if money else value
            self._change(panel=replace(self.terms.panel, **{name: new}))

        number = self.numbers[name] = Number(words, unit, low, most, changed, decimals, step)
        return number

    # the sums

    def _make_sums(self) -> QVBoxLayout:
        self.head = text("", "title")
        self.table = Table(("",), 0)
        self._held = QVBoxLayout()
        self._held.addWidget(self.table)
        self.notes_beside = text("", "hint")
        self.said = text("", "hint")
        box = QVBoxLayout()
        box.setSpacing(10)
        box.addWidget(self.head)
        box.addLayout(self._held, 1)
        box.addWidget(self.notes_beside)
        box.addWidget(self.said)
        box.addWidget(
            row(
                button("Look at it ...", self.look),
                button("Write as PDF ...", self.choose, "main"),
                button("Close", self.close),
            )
        )
        return box

    @property
    def terms(self) -> Terms:
        """The commission's."""
        return self.session.doc.terms

    def _change(self, **changes: Any) -> None:
        terms = replace(self.terms, **changes)
        doc = replace(self.session.doc, terms=terms)
        if not self.session.try_apply("Change the quote", doc):
            self.refresh()

    def _board(self, name: str) -> None:
        panel = replace(self.terms.panel, board=name, board_kg_m2=dict(BOARDS)[name])
        self._change(panel=panel)

    def _beside(self, key: str, on: bool) -> None:
        asked = {*self.terms.options, key} if on else {*self.terms.options} - {key}
        self._change(options=tuple(k for k in OPTIONS if k in asked))

    def _payments(self) -> None:
        try:
            self._change(stages=payments_of(self.payments.toPlainText()))
        except EmblemaError as e:
            self.session.message.emit(str(e))

    def refresh(self) -> None:
        """Show the terms and what they come to."""
        terms = self.terms
        for name, line in self.lines.items():
            if not line.hasFocus():
                line.setText(getattr(terms, name))
        for name, note in self.notes.items():
            if not note.hasFocus() and note.toPlainText() != getattr(terms, name):
                note.setPlainText(getattr(terms, name))
        for name, number in self.numbers.items():
            at = terms if hasattr(terms, name) else terms.panel
            number.show_value(float(getattr(at, name)) * (100 if name == "overhead" else 1))
        self.mount.show_value(terms.mount)
        self.board.show_value(terms.panel.board)
        self.round_to.show_value(f"{terms.round_to:f}")
        for key, switch in self.beside.items():
            switch.show_value(key in terms.options)
            switch.setEnabled(key != terms.mount)
        if not self.payments.hasFocus():
            lines = (f"{100 * s.share:.6g} % {s.words}" for s in terms.stages)
            self.payments.setPlainText("\n".join(lines))
        if self.isVisible():
            self._soon.start()

    def showEvent(self, event: QShowEvent) -> None:
        """What was not shown while nobody looked is shown now."""
        super().showEvent(event)
        self.refresh()

    def end(self) -> None:
        """Reckon no more."""
        self._soon.stop()
        self.close()

    def _reckon(self) -> None:
        """Price the options aside: in a large work that takes a while."""
        work = self._work()
        self._asked += 1
        if work is None:
            self.head.setText("Nothing is laid yet")
            self.table.setRowCount(0)
            return
        asked, stock = self._asked, self._offered()

        def then(each: tuple[Option, ...]) -> None:
            if asked == self._asked:
                self._show_sums(work[0], each)

        self.session.errands.run(lambda: options(*work, stock), then)

    def _show_sums(self, doc: Commission, each: tuple[Option, ...]) -> None:
        had = [o for o in each if o.figures is not None]
        rows = side_by_side(doc, had)
        self.head.setText(f"{doc.title or 'This work'}: {rows[-2][1][0]} {doc.currency}".rstrip())
        self._columns([o.words for o in had])
        self.table.fill([(words, *values) for words, values, _ in rows])
        for k, (_, _, strong) in enumerate(rows):
            for j in range(self.table.columnCount()):
                item = self.table.item(k, j)
                font = item.font()
                font.setBold(strong)
                item.setFont(font)
        self.notes_beside.setText("\n".join(_said(o) for o in each if o.note or o.fault))

    def _columns(self, heads: list[str]) -> None:
        """Give the table a column for each option."""
        shown = [self.table.horizontalHeaderItem(j) for j in range(1, self.table.columnCount())]
        if [item.text() for item in shown if item is not None] == heads:
            return
        new = Table(("", *heads), 0, heads)
        new.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        new.horizontalHeader().setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self._held.addWidget(new)
        self.table.setParent(None)
        self.table.deleteLater()
        self.table = new

    def _offered(self) -> tuple[Material, ...]:
        """Return the studio's stock, read once while the room is open."""
        if self._stock is None:
            self._stock = ()
            try:
                with StockStore() as store:
                    self._stock = store.offered()
            except EmblemaError as e:
                self.session.message.emit(str(e))
        return self._stock

    # the document

    def _work(self) -> tuple[Commission, Layout] | None:
        doc, layout = self.session.laid_doc, self.session.layout
        if doc is None or layout is None or not len(layout):
            return None
        # terms are no part of the layout and need not wait for it
        now = self.session.doc
        return replace(doc, terms=now.terms, rates=now.rates, days=now.days), layout

    def pages(self) -> Callable[[], list[Page]] | None:
        """Return what makes the quote's pages as it stands today; None where nothing is laid."""
        work = self._work()
        if work is None:
            self.session.message.emit("Nothing is laid yet.")
            return None
        stock = self._offered()
        return lambda: quote_pages(*work, date.today(), stock)

    def look(self) -> None:
        """Show the quote as it will be printed."""
        make = self.pages()
        if make is not None:
            self.shown = Preview(self, self.session, "Quote", make)
            self.shown.show()

    def choose(self) -> None:
        """Ask where, and write."""
        if self._work() is not None:
            path = fileasking.where_to(
                self, "Write the quote", "quote.pdf", "*.pdf", "papers", self.session.path
            )
            if path:
                self.write(path)

    def write(self, path: str) -> None:
        """Write the quote as PDF."""
        work, make = self._work(), self.pages()
        if work is None or make is None:
            return
        today = date.today()

        def do() -> Quoted:
            write_pdf(path, make(), work[0].title)
            return quoted_of(*work, today)

        self.session.write(path, do, self.session.note_quote)


def _said(option: Option) -> str:
    return f"{option.words}: {option.note or option.fault}"
