"""Tables to look through: one row a thing, numbers to the right under their headings."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

SWATCH = QSize(34, 20)
ROW = 34
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class Table(QTableWidget):
    """Rows that are chosen whole.

    Parameters
    ----------
    heads : sequence of str
    wide : int
        The column that takes the room that is left.
    numbers : sequence of str
        Headings of the columns that hold numbers.
    """

    def __init__(self, heads: Sequence[str], wide: int, numbers: Sequence[str] = ()) -> None:
        super().__init__(0, len(heads))
        self._sides = [RIGHT if h in numbers else LEFT for h in heads]
        for j, (words, side) in enumerate(zip(heads, self._sides, strict=True)):
            item = QTableWidgetItem(words)
            item.setTextAlignment(side)
            self.setHorizontalHeaderItem(j, item)
        self.verticalHeader().setVisible(False)
        self.verticalHeader().setDefaultSectionSize(ROW)
        self.setIconSize(SWATCH)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setShowGrid(False)
        head = self.horizontalHeader()
        head.setHighlightSections(False)
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(wide, QHeaderView.ResizeMode.Stretch)

    def fill(
        self,
        rows: Sequence[Sequence[str]],
        icons: Sequence[QIcon] = (),
        icon_column: int = 0,
    ) -> None:
        """Show these rows in place of those before."""
        # Columns that fit their contents would be measured anew for every cell.
        head = self.horizontalHeader()
        modes = [head.sectionResizeMode(j) for j in range(self.columnCount())]
        head.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.blockSignals(True)
        self.setRowCount(len(rows))
        for k, cells in enumerate(rows):
            for j, words in enumerate(cells):
                item = QTableWidgetItem(words)
                item.setTextAlignment(self._sides[j])
                if icons and j == icon_column:
                    item.setIcon(icons[k])
                self.setItem(k, j, item)
        self.blockSignals(False)
        for j, mode in enumerate(modes):
            head.setSectionResizeMode(j, mode)

    def chosen(self) -> int | None:
        """Return the row chosen."""
        rows = self.selectionModel().selectedRows()
        return rows[0].row() if rows else None
