"""The studio's stock: its materials and lots, lists brought in, and what this commission takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QIcon
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QInputDialog,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.jobcard.lotform import LotForm, lot_as_material, lot_off
from app.jobcard.materialform import MaterialForm
from app.jobcard.stocklist import TakeList
from app.session import Session
from app.theme import RUST
from app.widgets import button, row, swatch_icon, text
from core.commission import new_commission_id
from core.errors import EmblemaError
from core.figures import Count, counts
from core.material import Key, Lab, Lot, Material, named
from core.stock import StockStore, use_stock
from core.stock.cgats import read_cgats, with_measured
from core.stock.lists import write_stock_csv

SHELF = ("Code", "Description", "Kind", "In hand", "Free", "Price", "Size, mm", "Colour")
LOTS = ("Lot", "Bought on", "In hand", "Set aside", "Lost", "Colour", "Note")
OURS = ("Material", "Laid", "To take", "Free", "Set aside", "Taken out", "Short")
LEDGER = ("When", "Code", "Lot", "What", "In hand", "Set aside", "Commission", "Note")


class Stockroom(QDialog):
    """The stock, this commission's share of it, and the ledger."""

    def __init__(
        self, session: Session, parent: QWidget | None = None, path: Path | None = None
    ) -> None:
        super().__init__(parent)
        self.session = session
        self.store = StockStore(path)
        self.setWindowTitle("The studio's stock")
        self.resize(980, 680)
        self.find = QLineEdit()
        self.find.setPlaceholderText("Find a code, a word, a supplier")
        self.find.setClearButtonEnabled(True)
        self.find.textChanged.connect(lambda _: self._show_shelf())
        self.shelf = _table(SHELF, 1)
        self.shelf.setIconSize(QSize(34, 20))
        self.shelf.itemSelectionChanged.connect(self._show_lots)
        self.shelf.cellDoubleClicked.connect(lambda *_: self.edit())
        self.lots = _table(LOTS, 6)
        self.lots.setIconSize(QSize(34, 20))
        self.lots.cellDoubleClicked.connect(lambda *_: self.edit_lot())
        self.lots.setMaximumHeight(150)
        self.ledger = _table(LEDGER, 7)
        self.ours = _table(OURS, 0)
        self.ours.setIconSize(QSize(34, 20))
        self.our_keys: list[Key] = []
        self.words = text("", "hint")
        self.apart = button(
            "It is a commission of its own",
            self.part,
            tip="Begun from a copy of the other: nothing is set aside for it yet",
        )
        self.told = text("", "hint")
        tabs = QTabWidget()
        tabs.addTab(self._shelf_page(), "Shelf")
        tabs.addTab(self._commission_page(), "This commission")
        tabs.addTab(self.ledger, "Ledger")
        box = QVBoxLayout(self)
        box.addWidget(tabs, 1)
        foot = QHBoxLayout()
        foot.addWidget(self.told, 1)
        foot.addWidget(button("Close", self.accept))
        box.addLayout(foot)
        self.finished.connect(lambda _: self.store.close())
        self.refresh()

    def _shelf_page(self) -> QWidget:
        page = QWidget()
        box = QVBoxLayout(page)
        box.addWidget(self.find)
        box.addWidget(self.shelf, 1)
        box.addWidget(text("Lots of the chosen material", "head"))
        box.addWidget(self.lots)
        box.addWidget(
            row(
                button("Add a material ...", self.add),
                button("Change ...", self.edit),
                button("Remove", self.remove),
                button("Add a lot ...", self.add_lot),
                button("A lot's colour ...", self.edit_lot),
                button("Count a lot ...", self.count_lot),
                button("Write off ...", self.lose),
            )
        )
        box.addWidget(
            row(
                button("Take a list (CSV) ...", self.choose_list),
                button("Take measurements (CGATS) ...", self.choose_measured),
                button("Write the list ...", self.choose_export),
                button("Use in this commission", self.use, "main"),
            )
        )
        return page

    def _commission_page(self) -> QWidget:
        page = QWidget()
        box = QVBoxLayout(page)
        box.addWidget(self.words)
        box.addWidget(self.apart)
        box.addWidget(self.ours, 1)
        box.addWidget(
            row(
                button("Set aside what it needs", self.set_aside, "main"),
                button("Give back", self.release, tip="Nothing stays set aside for it"),
                button("Take out, it is laid", self.take_out),
                button("Put back ...", self.put_back, tip="Pieces left over go back to their lots"),
            )
        )
        return page

    # showing

    def refresh(self) -> None:
        """Show the stock as it stands."""
        self._show_shelf()
        self._show_commission()
        moves = [
            (
                m.at.replace("T", " ")[:16],
                m.code,
                str(m.lot),
                m.kind,
                f"{m.in_hand:+,}" if m.in_hand else "",
                f"{m.set_aside:+,}" if m.set_aside else "",
                m.title,
                m.note,
            )
            for m in reversed(self.store.movements())
        ]
        _fill(self.ledger, moves)

    def _show_shelf(self) -> None:
        now = self.code()
        free = self.store.available()
        word = self.find.text().strip().lower()
        self.materials = [
            m
            for m in self.store.materials()
            if word in f"{m.code} {m.description} {m.kind} {m.supplier}".lower()
        ]
        rows = [
            (
                m.code,
                m.description,
                f"{m.kind}, {m.finish}",
                f"{m.pieces:,}",
                f"{free[m.code]:,}",
                f"{m.price:,} a {m.price_unit}",
                f"{m.length_mm:g} x {m.width_mm:g} x {m.thickness_mm:g}",
                f"{m.lab[0]:.1f}  {m.lab[1]:+.1f}  {m.lab[2]:+.1f}  {m.obtained}",
            )
            for m in self.materials
        ]
        _fill(self.shelf, rows, 0, [swatch_icon(m, 34, 20) for m in self.materials])
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
            counts_ = (f"{lot.in_hand:,}", f"{lot.set_aside:,}", f"{lot.lost:,}")
            rows.append((str(lot.id), lot.bought_on, *counts_, self._colour(lot), lot.note))
        seen = [lot_as_material(self._material(), lot.lab) for lot in lots]
        _fill(self.lots, rows, 5, [swatch_icon(m, 34, 20) for m in seen])
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

    def _counted(self) -> tuple[Count, ...]:
        layout, doc = self.session.layout, self.session.laid_doc
        return counts(doc, layout) if layout is not None and doc is not None else ()

    def _show_commission(self) -> None:
        doc = self.session.doc
        offered = {m.key: m for m in self.store.offered(doc.key)}
        aside, out = self.store.set_aside_for(doc.key), self.store.taken_for(doc.key)
        laid = {c.material.key: c for c in self._counted()}
        seen = {m.key: m for m in doc.materials}
        self.our_keys = list(dict.fromkeys((*laid, *aside, *out)))
        rows, swatches = [], []
        for key in self.our_keys:
            material = seen.get(key) or offered.get(key)
            count, free = laid.get(key), offered[key].pieces if key in offered else 0
            pieces, take = (count.pieces, count.take) if count else (0, 0)
            short = max(0, take - free - out.get(key, 0))
            cells = (pieces, take, free, aside.get(key, 0), out.get(key, 0))
            name = material.code if material else named(key)
            rows.append((name, *(f"{n:,}" for n in cells), f"{short:,}" if short else ""))
            swatches.append(swatch_icon(material, 34, 20) if material else QIcon())
        _fill(self.ours, rows, 0, swatches)
        for k in range(len(rows)):
            item = self.ours.item(k, OURS.index("Short"))
            if item is not None:
                item.setForeground(QColor(RUST))
        was = self.store.title(doc.key)
        renamed = was not in ("", doc.title)
        self.apart.setVisible(renamed)
        other = f" Its title was '{was}' then." if renamed else ""
        self.words.setText(
            f"'{doc.title}': {sum(aside.values()):,} pieces are set aside.{other} To take: bought "
            "pieces, with what sorting and cutting lose. Free: in hand and promised to no other "
            "commission. A lot with a colour of its own is taken by itself; more of it is ordered "
            "as its material."
        )

    def code(self) -> str:
        """Return the code chosen on the shelf, or nothing."""
        rows = self.shelf.selectionModel().selectedRows()
        return self.materials[rows[0].row()].code if rows else ""

    def lot(self) -> int | None:
        """Return the lot chosen."""
        rows = self.lots.selectionModel().selectedRows()
        return self.lot_ids[rows[0].row()] if rows else None

    def try_to(self, do: Callable[[], object], said: str = "") -> bool:
        """Change the stock; what is refused is said and changes nothing."""
        try:
            do()
        except EmblemaError as e:
            self.told.setText(str(e))
            return False
        self.told.setText(said)
        self.refresh()
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
            self.told.setText("Choose a material first.")
            return
        form = MaterialForm(self.store.material(code), self)
        form.kept.connect(lambda m: self._keep(form, lambda: self.store.change_material(code, m)))
        form.open()

    def _keep(self, form: MaterialForm | LotForm, do: Callable[[], object]) -> None:
        if self.try_to(do):
            form.accept()
        else:
            form.told.setText(self.told.text())

    def remove(self) -> None:
        """Take the chosen material out of the stock."""
        code = self.code()
        if code:
            self.try_to(lambda: self.store.remove_material(code), f"{code} is no longer stocked.")

    def _ask(self, title: str, words: str, most: int = 10_000_000) -> int | None:
        n, sure = QInputDialog.getInt(self, title, words, 0, 0, most)
        return n if sure else None

    def add_lot(self) -> None:
        """Ask for a purchase."""
        code = self.code()
        n = self._ask("A lot bought", f"Pieces of {code} bought today:") if code else None
        if n:
            self.try_to(lambda: self.store.add_lot(code, n))

    def edit_lot(self) -> None:
        """Ask for the chosen lot's own colour and its note."""
        number = self.lot()
        lots = self.store.lots(self.code()) if self.code() else ()
        lot = next((v for v in lots if v.id == number), None)
        if lot is None:
            self.told.setText("Choose a lot first.")
            return
        form = LotForm(self._material(), lot, self)

        def keep(lab: Lab | None, note: str) -> None:
            self._keep(form, lambda: self.store.change_lot(lot.id, lab=lab, note=note))

        form.kept.connect(keep)
        form.open()

    def count_lot(self) -> None:
        """Enter a count."""
        lot = self.lot()
        n = self._ask("Count", f"Pieces found of lot {lot}:") if lot is not None else None
        if lot is not None and n is not None:
            self.try_to(lambda: self.store.count_lot(lot, n))

    def lose(self) -> None:
        """Write pieces off."""
        lot = self.lot()
        n = self._ask("Write off", f"Pieces of lot {lot} broken or unfit:") if lot else None
        if lot is not None and n:
            self.try_to(lambda: self.store.lose(lot, n))

    # files

    def choose_list(self) -> None:
        """Ask for a stock list."""
        path, _ = QFileDialog.getOpenFileName(self, "A stock list", "", "Lists (*.csv *.txt *.tsv)")
        if path:
            self.take_list(path)

    def take_list(self, path: str) -> TakeList | None:
        """Look into a stock list and show what it would bring."""
        try:
            dialog = TakeList(path, self)
        except EmblemaError as e:
            self.told.setText(str(e))
            return None
        dialog.taken.connect(self._taken)
        dialog.open()
        return dialog

    def _taken(self, materials: object) -> None:
        added = changed = 0

        def do() -> None:
            nonlocal added, changed
            added, changed = self.store.take_list(materials)  # type: ignore[arg-type]

        if self.try_to(do):
            self.told.setText(f"{added} materials added, {changed} changed.")

    def choose_measured(self) -> None:
        """Ask for measurements."""
        path, _ = QFileDialog.getOpenFileName(self, "Measured colours", "", "CGATS (*.txt *.cgats)")
        if path:
            self.take_measured(path)

    def take_measured(self, path: str) -> None:
        """Give materials their measured colours, by code."""
        said = ""

        def do() -> None:
            nonlocal said
            changed, unknown = with_measured(self.store.materials(), read_cgats(path))
            self.store.take_list(changed)
            said = f"{len(changed)} materials measured."
            if unknown:
                said += f" No material is called {', '.join(unknown[:8])}."

        if self.try_to(do):
            self.told.setText(said)

    def choose_export(self) -> None:
        """Ask where to write the list."""
        path, _ = QFileDialog.getSaveFileName(self, "Write the list", "stock.csv", "CSV (*.csv)")
        if path:
            self.try_to(lambda: write_stock_csv(path, self.store.materials()), f"Written to {path}")

    # this commission

    def use(self) -> None:
        """Bring the studio's materials into the commission."""
        doc, said = use_stock(self.session.doc, self.store)
        self.session.apply("Use the studio's stock", doc)
        self.told.setText(" ".join(("The commission now matches from this stock.", *said)))
        self.refresh()

    def part(self) -> None:
        """Let the commission be another than the one it was begun from."""
        doc = replace(self.session.doc, id=new_commission_id())
        self.session.apply("A commission of its own", doc)
        self.told.setText("Nothing is set aside for it yet.")
        self.refresh()

    def set_aside(self) -> None:
        """Promise this commission what it needs, as far as there is."""
        doc = self.session.doc
        known = {m.key for m in self.store.offered()}
        needed = {c.material.key: c for c in self._counted()}
        wanted = {key: c.take for key, c in needed.items() if key in known}
        short = [f"{c.material.code} is not stocked" for k, c in needed.items() if k not in known]

        def do() -> None:
            for s in self.store.set_aside(doc.key, wanted, title=doc.title, partly=True):
                m = needed[s.key].material
                order = "" if m.lot is None else f", to order as {m.order_code}"
                short.append(f"{m.code}: {s.short:,} short{order}")

        if self.try_to(do):
            self.told.setText("; ".join(short) if short else "Everything it needs is set aside.")

    def release(self) -> None:
        """Give back what was set aside."""
        self.try_to(lambda: self.store.release(self.session.doc.key), "Given back.")

    def take_out(self) -> None:
        """Take what was set aside off the shelf."""
        short: list[str] = []

        def do() -> None:
            for s in self.store.take_out(self.session.doc.key):
                short.append(f"{named(s.key)}: {s.short:,} missing")

        if self.try_to(do):
            self.told.setText("; ".join(short) or "Taken off the shelf.")

    def put_back(self) -> None:
        """Put pieces left over back."""
        rows = self.ours.selectionModel().selectedRows()
        if not rows:
            self.told.setText("Choose a material in the table first.")
            return
        key = self.our_keys[rows[0].row()]
        n = self._ask("Put back", f"Pieces of {named(key)} left over:")
        if n:
            self.try_to(lambda: self.store.put_back(self.session.doc.key, {key: n}))


def _table(heads: tuple[str, ...], wide: int) -> QTableWidget:
    table = QTableWidget(0, len(heads))
    table.setHorizontalHeaderLabels(heads)
    table.verticalHeader().setVisible(False)
    table.verticalHeader().setDefaultSectionSize(34)
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setShowGrid(False)
    head = table.horizontalHeader()
    head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    head.setSectionResizeMode(wide, QHeaderView.ResizeMode.Stretch)
    return table


def _fill(
    table: QTableWidget,
    rows: list[tuple[str, ...]],
    icon_column: int = 0,
    icons: Sequence[QIcon] = (),
) -> None:
    # Columns that fit their contents would be measured anew for every cell.
    head = table.horizontalHeader()
    modes = [head.sectionResizeMode(j) for j in range(table.columnCount())]
    head.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
    table.blockSignals(True)
    table.setRowCount(len(rows))
    for k, cells in enumerate(rows):
        for j, words in enumerate(cells):
            item = QTableWidgetItem(words)
            if words.replace(",", "").lstrip("+-").isdigit():
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            if icons and j == icon_column:
                item.setIcon(icons[k])
            table.setItem(k, j, item)
    table.blockSignals(False)
    for j, mode in enumerate(modes):
        head.setSectionResizeMode(j, mode)
