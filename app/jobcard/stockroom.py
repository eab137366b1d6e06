"""The studio's stock: its materials and lots, lists brought in, and what this commission takes."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QInputDialog,
    QLineEdit,
    QMessageBox,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app import fileasking
from app.jobcard.example import Example
from app.jobcard.lotform import LotForm, lot_as_material, lot_off
from app.jobcard.materialform import MaterialForm
from app.jobcard.promises import Promises
from app.jobcard.share import Share, off_where_only_read
from app.jobcard.stocklist import TakeList
from app.jobcard.tables import SWATCH, Table
from app.session import Session
from app.widgets import button, row, swatch_icon, text
from core.errors import EmblemaError
from core.material import MOST_PIECES, Lot, Material
from core.stock import StockStore, use_stock
from core.stock.cgats import UnknownScale, read_cgats, with_measured
from core.stock.lists import write_stock_csv

SHELF = ("Code", "Description", "Kind", "In hand", "Free", "Price", "Size, mm", "Colour")
LOTS = ("Lot", "Bought on", "Bought", "In hand", "Set aside", "Used", "Lost", "Colour", "Note")
LEDGER = ("When", "Code", "Lot", "What", "In hand", "Set aside", "Commission", "Note")
NUMBERS = ("Lot", "Bought", "In hand", "Free", "Price", "Set aside", "Used", "Lost")
SHOWN = 1000  # materials, and movements, that are shown at once
NAMED = 8  # names that are said one by one
LOOK_MS = 1000  # another window's changes are looked for so often


class Stockroom(QDialog):
    """The stock, this commission's share of it, and the ledger."""

    def __init__(
        self, session: Session, parent: QWidget | None = None, path: Path | None = None
    ) -> None:
        super().__init__(parent)
        self.session = session
        self.store = StockStore(path)
        self.setWindowTitle("The studio's stock")
        self.resize(1080, 680)
        self.find = _find("Find a code, a word, a supplier", self._show_shelf)
        self.example = Example(self)
        self.shelf = Table(SHELF, 1, NUMBERS)
        self.shelf.itemSelectionChanged.connect(self._show_lots)
        self.shelf.cellDoubleClicked.connect(lambda *_: self._unless_only_read(self.edit))
        self.more = text("", "hint")
        self.lots = Table(LOTS, 8, NUMBERS)
        self.lots.cellDoubleClicked.connect(lambda *_: self._unless_only_read(self.edit_lot))
        self.lots.setMaximumHeight(150)
        self.find_moves = _find("Find a code, a commission, a note", self._show_ledger)
        self.ledger = Table(LEDGER, 7, NUMBERS)
        self.share = Share(self)
        self.promises = Promises(self)
        self.told = text("", "hint")
        tabs = QTabWidget()
        tabs.addTab(self._shelf_page(), "Shelf")
        tabs.addTab(self.share, "This commission")
        tabs.addTab(self._ledger_page(), "Ledger")
        box = QVBoxLayout(self)
        if self.store.only_read:
            box.addWidget(text(self.store.why_only_read, "warn"))
        box.addWidget(tabs, 1)
        foot = QHBoxLayout()
        foot.addWidget(self.told, 1)
        foot.addWidget(button("Close", self.accept))
        box.addLayout(foot)
        self._look = QTimer(self, interval=LOOK_MS)
        self._look.timeout.connect(self._look_again)
        self.finished.connect(lambda _: self._end())
        try:
            self._state = self.store.state()
            self.refresh()
        except BaseException:
            self.store.close()
            raise
        self._look.start()

    def _end(self) -> None:
        self._look.stop()
        self.store.close()

    def _look_again(self) -> None:
        """Show what another window has changed meanwhile."""
        if self.store.state() != self._state:
            self._state = self.store.state()
            self.try_to(lambda: None, self.told.text())

    def _shelf_page(self) -> QWidget:
        page = QWidget()
        box = QVBoxLayout(page)
        box.addWidget(self.example)
        box.addWidget(self.find)
        box.addWidget(self.shelf, 1)
        box.addWidget(self.more)
        box.addWidget(text("Lots of the chosen material, in the order of their use", "head"))
        box.addWidget(self.lots)
        change = partial(off_where_only_read, self.store)
        box.addWidget(
            row(
                change(button("Add a material ...", self.add)),
                change(button("Change ...", self.edit)),
                change(button("Remove", self.remove)),
                change(button("Add a lot ...", self.add_lot)),
                change(button("Change the lot ...", self.edit_lot)),
                change(button("Count a lot ...", self.count_lot)),
                change(button("Write off ...", self.lose)),
            )
        )
        box.addWidget(
            row(
                change(button("Take a list (CSV) ...", self.choose_list)),
                change(button("Take measurements (CGATS) ...", self.choose_measured)),
                button("Write the list ...", self.choose_export),
                button("Use in this commission", self.use, "main"),
            )
        )
        return page

    def _ledger_page(self) -> QWidget:
        page = QWidget()
        box = QVBoxLayout(page)
        box.addWidget(self.find_moves)
        box.addWidget(self.ledger, 1)
        box.addWidget(self.promises)
        return page

    def _unless_only_read(self, do: Callable[[], object]) -> None:
        if self.store.only_read:
            self.say(self.store.why_only_read)
        else:
            do()

    # showing

    def refresh(self) -> None:
        """Show the stock as it stands."""
        self.example.refresh()
        self._show_shelf()
        self.share.refresh()
        self.promises.refresh()
        self._show_ledger()

    def _show_ledger(self) -> None:
        word = self.find_moves.text().strip().lower()
        moves = [
            (
                _here(m.at),
                m.code,
                str(m.lot),
                m.kind,
                f"{m.in_hand:+,}" if m.in_hand else "",
                f"{m.set_aside:+,}" if m.set_aside else "",
                m.title,
                m.note,
            )
            for m in reversed(self.store.movements())
            if word in f"{m.code} {m.kind} {m.title} {m.note}".lower()
        ]
        self.ledger.fill(moves[:SHOWN])

    def _show_shelf(self) -> None:
        now = self.code()
        free = self.store.available()
        word = self.find.text().strip().lower()
        found = [
            m
            for m in self.store.materials()
            if word in f"{m.code} {m.description} {m.kind} {m.supplier}".lower()
        ]
        self.materials = found[:SHOWN]
        more = len(found) - len(self.materials)
        self.more.setText(f"{more:,} more are stocked: find them by a word above.")
        self.more.setVisible(more > 0)
        rows = [
            (
                m.code,
                m.description,
                f"{m.kind}, {m.finish}",
                f"{m.pieces:,}",
                f"{free[m.code]:,}",
                f"{m.price:,} a {m.price_unit.replace('m2', 'm²')}",
                f"{m.length_mm:g} x {m.width_mm:g} x {m.thickness_mm:g}",
                f"{m.lab[0]:.1f}  {m.lab[1]:+.1f}  {m.lab[2]:+.1f}  "
                + ("an example" if m.example else m.obtained),
            )
            for m in self.materials
        ]
        self.shelf.fill(rows, [_swatch(m) for m in self.materials])
        codes = [m.code for m in self.materials]
        if now in codes:
            self.shelf.selectRow(codes.index(now))
        else:
            self.shelf.clearSelection()  # never another material in the chosen one's row
        self._show_lots()

    def _show_lots(self) -> None:
        code, now = self.code(), self.lot()
        lots = self.store.lots(code) if code else ()
        self.lot_ids = [lot.id for lot in lots]
        rows = []
        for lot in lots:
            lost = f"{lot.lost:,}" + (f" ({lot.share_lost:.1%})" if lot.lost else "")
            many = (lot.bought, lot.in_hand, lot.set_aside, lot.used)
            words = (*(f"{n:,}" for n in many), lost.replace("%", " %"))
            rows.append((str(lot.id), lot.bought_on, *words, self._colour(lot), lot.note))
        seen = [lot_as_material(self._material(), lot.lab) for lot in lots]
        self.lots.fill(rows, [_swatch(m) for m in seen], LOTS.index("Colour"))
        if rows:
            self.lots.selectRow(self.lot_ids.index(now) if now in self.lot_ids else len(rows) - 1)

    def _material(self) -> Material:
        code = self.code()
        return next(m for m in self.materials if m.code == code)

    def _colour(self, lot: Lot) -> str:
        if lot.lab is None:
            return "the material's"
        light, a, b = lot.lab
        return f"{light:.1f}  {a:+.1f}  {b:+.1f}, {lot_off(self._material(), lot.lab):.1f} off"

    def code(self) -> str:
        """Return the code chosen on the shelf, or nothing."""
        row = self.shelf.chosen()
        return "" if row is None else self.materials[row].code

    def lot(self) -> int | None:
        """Return the lot chosen."""
        row = self.lots.chosen()
        return None if row is None else self.lot_ids[row]

    def say(self, words: str) -> None:
        """Say what became of something."""
        self.told.setText(words)

    def try_to(self, do: Callable[[], object], said: str = "") -> bool:
        """Change the stock; what is refused is said and changes nothing."""
        try:
            do()
            self.refresh()
        except EmblemaError as e:
            self.say(str(e))
            return False
        self.say(said)
        return True

    # the shelf

    def add(self) -> None:
        """Ask for a new material."""
        form = MaterialForm(Material("", "", "smalti", (60.0, 0.0, 0.0)), self)
        form.kept.connect(lambda m: self._keep(form, lambda: self.store.add_material(m)))
        form.open()

    def edit(self) -> None:
        """Ask for the chosen material's particulars."""
        code = self.code()
        if not code:
            self.say("Choose a material first.")
            return
        seen = self._material()
        form = MaterialForm(seen, self)
        form.kept.connect(
            lambda m: self._keep(form, lambda: self.store.change_material(code, m, seen=seen))
        )
        form.open()

    def _keep(self, form: MaterialForm | LotForm, do: Callable[[], object]) -> bool:
        """Do what a form asks for and close it; what is refused is told in the form."""
        done = self.try_to(do)
        if done:
            form.accept()
        else:
            form.told.setText(self.told.text())
        return done

    def remove(self) -> None:
        """Take the chosen material out of the stock, if that is truly meant."""
        code = self.code()
        if not code:
            self.say("Choose a material first.")
            return
        pieces = self._material().pieces
        words = f"Take {code} out of the stock?"
        if pieces:
            words += f" Its {pieces:,} pieces in hand are struck off; the ledger keeps them."
        if QMessageBox.question(self, "Remove", words) == QMessageBox.StandardButton.Yes:
            self.try_to(lambda: self.store.remove_material(code), f"{code} is no longer stocked.")

    def ask(self, title: str, words: str, now: int = 0) -> int | None:
        """Ask for a number of pieces."""
        n, sure = QInputDialog.getInt(self, title, words, now, 0, MOST_PIECES)
        return n if sure else None

    def add_lot(self) -> None:
        """Ask for a purchase."""
        code = self.code()
        if not code:
            self.say("Choose a material first.")
            return
        form = LotForm(self._material(), Lot(0, code), self)

        def keep(lot: Lot) -> None:
            new: list[int] = []

            def do() -> None:
                new.append(self.store.add_lot(code, lot.bought, lot.bought_on, lot.lab, lot.note))

            if self._keep(form, do):
                self.lots.selectRow(self.lot_ids.index(new[0]))
                self.say(f"Lot {new[0]} of {code}: {lot.bought:,} pieces.")

        form.kept.connect(keep)
        form.open()

    def _chosen_lot(self) -> Lot | None:
        """Return the lot chosen as it is now; where there is none, that is said."""
        lots: tuple[Lot, ...] = ()

        def do() -> None:
            nonlocal lots
            lots = self.store.lots(self.code()) if self.code() else ()

        number = self.lot()
        if not self.try_to(do):
            return None
        lot = next((v for v in lots if v.id == number), None)
        if lot is None:
            self.say("Choose a lot first.")
        return lot

    def edit_lot(self) -> None:
        """Ask for the chosen lot's date, its own colour and its note."""
        lot = self._chosen_lot()
        if lot is None:
            return
        form = LotForm(self._material(), lot, self)

        def keep(new: Lot) -> None:
            self._keep(
                form,
                lambda: self.store.change_lot(
                    new.id, lab=new.lab, note=new.note, bought_on=new.bought_on
                ),
            )

        form.kept.connect(keep)
        form.open()

    def count_lot(self) -> None:
        """Enter a count."""
        lot = self._chosen_lot()
        if lot is None:
            return
        n = self.ask("Count", f"Pieces found of {lot.code}, lot {lot.id}:", lot.in_hand)
        if n is not None:
            self.try_to(lambda: self.store.count_lot(lot.id, n))

    def lose(self) -> None:
        """Write pieces off."""
        lot = self._chosen_lot()
        if lot is None:
            return
        n = self.ask("Write off", f"Pieces of {lot.code}, lot {lot.id}, broken or unfit:")
        if n:
            self.try_to(lambda: self.store.lose(lot.id, n))

    # files

    def choose_list(self) -> None:
        """Ask for a stock list."""
        path = fileasking.which_file(self, "A stock list", "Lists (*.csv *.txt *.tsv)", "lists")
        if path:
            self.take_list(path)

    def take_list(self, path: str) -> TakeList | None:
        """Look into a stock list and show what it would bring."""
        try:
            stocked = {m.code: m for m in self.store.materials()}
            dialog = TakeList(path, stocked, self)
        except EmblemaError as e:
            self.say(str(e))
            return None
        dialog.taken.connect(self._taken)
        dialog.open()
        return dialog

    def _taken(self, read: Callable[[Mapping[str, Material]], Iterable[Material]]) -> None:
        added = changed = 0

        def do() -> None:
            nonlocal added, changed
            added, changed = self.store.take_list(read)

        if self.try_to(do):
            self.say(f"{added} materials added, {changed} changed.")

    def choose_measured(self) -> None:
        """Ask for measurements."""
        path = fileasking.which_file(self, "Measured colours", "CGATS (*.txt *.cgats)", "lists")
        if path:
            self.take_measured(path)

    def take_measured(self, path: str, white: int | None = None) -> None:
        """Give materials their measured colours, by code; what the file does not say is asked."""
        try:
            read = read_cgats(path, white=white)
        except UnknownScale as e:
            self._ask_scale(path, e)
            return
        except EmblemaError as e:
            self.say(str(e))
            return
        said = ""

        def do() -> None:
            nonlocal said
            unknown: tuple[str, ...] = ()

            def measured(stocked: Mapping[str, Material]) -> tuple[Material, ...]:
                nonlocal unknown
                found, unknown = with_measured(stocked.values(), read.samples)
                return found

            _, changed = self.store.take_list(measured)
            said = " ".join((f"{changed} materials measured.", *read.notes))
            if unknown:
                more = f" and {len(unknown) - NAMED:,} more" if len(unknown) > NAMED else ""
                said += f" No material is called {', '.join(unknown[:NAMED])}{more}."

        if self.try_to(do):
            self.say(said)

    def _ask_scale(self, path: str, unsaid: UnknownScale) -> None:
        """Ask whether measurements are shares or per cent, and take them so."""
        box = QMessageBox(QMessageBox.Icon.Question, "Shares or per cent", str(unsaid), parent=self)
        box.setInformativeText("The instrument's manual says which; a wrong answer spoils colours.")
        for words, white in (("Shares, white is 1", 1), ("Per cent, white is 100", 100)):
            b = box.addButton(words, QMessageBox.ButtonRole.AcceptRole)
            b.clicked.connect(lambda _, w=white: self.take_measured(path, w))
        box.addButton("Leave it", QMessageBox.ButtonRole.RejectRole)
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.open()

    def choose_export(self) -> None:
        """Ask where to write the list."""
        path = fileasking.where_to(self, "Write the list", "stock.csv", "CSV (*.csv)", "lists")
        if path:
            self.try_to(lambda: write_stock_csv(path, self.store.materials()), f"Written to {path}")

    def use(self) -> None:
        """Bring the studio's materials into the commission."""
        said: tuple[str, ...] = ()

        def do() -> None:
            nonlocal said
            doc, said = use_stock(self.session.doc, self.store)
            self.session.apply("Use the studio's stock", doc)

        if self.try_to(do):
            self.say(" ".join(("The commission now matches from this stock.", *said)))


def _find(words: str, changed: Callable[[], object]) -> QLineEdit:
    line = QLineEdit()
    line.setPlaceholderText(words)
    line.setClearButtonEnabled(True)
    line.textChanged.connect(lambda _: changed())
    return line


def _swatch(m: Material) -> QIcon:
    return swatch_icon(m, SWATCH.width(), SWATCH.height())


def _here(at: str) -> str:
    """Return a movement's time as the clock in the studio has it."""
    return f"{datetime.datetime.fromisoformat(at).astimezone():%Y-%m-%d %H:%M}"
