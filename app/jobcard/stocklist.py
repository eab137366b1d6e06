"""A stock list before it is taken: which column means what, what it brings, what is refused."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QDialog, QGridLayout, QLabel, QListWidget, QVBoxLayout, QWidget

from app.jobcard.tables import SWATCH, Table
from app.widgets import Choice, button, row, swatch_icon, text
from core.errors import EmblemaError
from core.material import Material
from core.stock.lists import COLUMNS, SCREEN_COLOUR, Refused, look_into, take

HEADS = ("Code", "Description", "Kind", "L* a* b*", "Size, mm", "In hand", "Price", "")
SHOWN = 60  # lines of the list that are shown
WORDS = {
    "code": "Code",
    "description": "Description",
    "kind": "Kind",
    "finish": "Finish",
    "L": "L*",
    "a": "a*",
    "b": "b*",
    SCREEN_COLOUR: "Screen colour, #rrggbb",
    "length_mm": "Length, mm",
    "width_mm": "Width, mm",
    "thickness_mm": "Thickness, mm",
    "density_kg_m3": "Density, kg/m³",
    "price": "Price",
    "price_unit": "Sold by the",
    "pieces": "Pieces in hand",
    "waste": "Lost in cutting",
    "illuminant": "Light",
    "observer": "Observer, degrees",
    "obtained": "How the colour was obtained",
    "grade": "Grade",
    "supplier": "Supplier",
    "supplier_no": "Supplier's number",
    "broken": "Sorted out: broken",
    "off_colour": "Sorted out: off colour",
    "wrong_size": "Sorted out: wrong size",
    "pieces_a_kg": "Pieces to the kilo",
    "pack": "A pack holds",
    "pack_unit": "Unit of a pack",
    "absorption": "Water absorption, %",
    "slip_ptv": "Pendulum value, wet",
    "frost_cycles": "Cycles of frost",
}
NOTHING = "-1"
DEEP = 8  # columns of the list, one beneath the other


class TakeList(QDialog):
    """The columns of a list, guessed and to be corrected.

    `stocked` is what there is already, by code: of that a list changes only what it says. `taken`
    carries how the list is read (see `StockStore.take_list`).
    """

    taken = Signal(object)

    def __init__(
        self, path: str, stocked: Mapping[str, Material], parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.stocked = stocked
        self.found = look_into(path)
        self.materials: tuple[Material, ...] = ()
        self.refused: tuple[Refused, ...] = ()
        self.setWindowTitle(f"Take {self.found.name}")
        self.resize(1180, 690)
        heads = [(NOTHING, "not in the list")]
        heads += [(str(k), h or f"column {k + 1}") for k, h in enumerate(self.found.headings)]
        grid = QGridLayout()
        grid.setHorizontalSpacing(14)
        self.columns: dict[str, Choice] = {}
        for k, ours in enumerate((*COLUMNS[:7], SCREEN_COLOUR, *COLUMNS[7:])):
            choice = Choice("", heads, lambda _: self.look())
            choice.show_value(str(self.found.columns.get(ours, NOTHING)))
            self.columns[ours] = choice
            grid.addWidget(QLabel(WORDS[ours]), k % DEEP, 2 * (k // DEEP))
            grid.addWidget(choice, k % DEEP, 2 * (k // DEEP) + 1)
        self.decimal = Choice(
            "Decimal sign", ((".", "point"), (",", "comma")), lambda _: self.look()
        )
        self.decimal.show_value(self.found.decimal)
        self.table = Table(HEADS, 1, ("In hand", "Price"))
        self.faults = QListWidget()
        self.faults.setWordWrap(True)
        self.faults.setMaximumHeight(150)
        self.faults.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.words = text("")
        self.take_it = button("Take", self._take, "main")
        box = QVBoxLayout(self)
        box.addWidget(text("Which column is what", "head"))
        box.addLayout(grid)
        box.addWidget(self.decimal)
        box.addWidget(self.words)
        box.addWidget(self.table, 1)
        box.addWidget(self.faults)
        box.addWidget(row(button("Leave it", self.reject), self.take_it))
        self.look()

    def look(self) -> None:
        """Show what the list brings with the columns as chosen."""
        self.faults.clear()
        try:
            self.materials, self.refused = self._read(self.stocked)
        except EmblemaError as e:
            self.materials, self.refused = (), ()
            self.words.setText(str(e))
        else:
            new = sum(m.code not in self.stocked for m in self.materials)
            self.words.setText(
                f"Can be taken: {new:,} new, {len(self.materials) - new:,} that are stocked. "
                f"Refused lines: {len(self.refused):,}."
            )
        for line, why in self.refused:
            self.faults.addItem(f"Line {line}: {why}")
        self.faults.setVisible(bool(self.refused))
        self.take_it.setEnabled(bool(self.materials))
        self.take_it.setText(f"Take {len(self.materials)}")
        shown = self.materials[:SHOWN]
        self.table.fill(
            [
                (
                    m.code,
                    m.description,
                    f"{m.kind}, {m.finish}",
                    "  ".join(f"{v:.1f}" for v in m.lab),
                    f"{m.length_mm:g} x {m.width_mm:g} x {m.thickness_mm:g}",
                    f"{m.pieces:,}",
                    f"{m.price:,} a {m.price_unit.replace('m2', 'm²')}",
                    "" if m.code in self.stocked else "new",
                )
                for m in shown
            ],
            [swatch_icon(m, SWATCH.width(), SWATCH.height()) for m in shown],
        )

    def _read(
        self, stocked: Mapping[str, Material]
    ) -> tuple[tuple[Material, ...], tuple[Refused, ...]]:
        columns = {ours: int(c.value) for ours, c in self.columns.items() if c.value != NOTHING}
        return take(self.found, columns, self.decimal.value, stocked)

    def _take(self) -> None:
        self.taken.emit(lambda stocked: self._read(stocked)[0])
        self.accept()
