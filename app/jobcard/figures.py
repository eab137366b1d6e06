"""Figures: counts by material, weight, cost and hours."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
)

from app.jobcard.base import Leaf
from app.theme import RUST
from app.widgets import button, row, swatch_icon, text
from core.export import write_geojson, write_png, write_svg, write_tesserae_csv
from core.figures import Count, figures, write_counts_csv

TIGHT = (
    "* { font-size: 12px; } QHeaderView::section { padding: 5px 1px; }"
    " QTableView::item { padding: 0 1px; }"
)
HEADS = ("Code", "Pieces", "kg", "In hand", "Short")


class FiguresLeaf(Leaf):
    """What the layout needs, weighs and costs."""

    name = "Figures"
    purpose = "Counted from the pieces as they are laid."

    def build(self) -> None:
        self._shown: object = None
        self._rows: tuple[Count, ...] = ()
        self.sum = text("", "figure")
        self.more = text("", "hint")
        self.group("Altogether", self.sum, self.more)
        self.table = QTableWidget(0, len(HEADS))
        self.table.setHorizontalHeaderLabels(HEADS)
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setShowGrid(False)
        self.table.setMinimumHeight(300)
        head = self.table.horizontalHeader()
        head.setMinimumSectionSize(30)
        self.table.setStyleSheet(TIGHT)
        self.table.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.table.setIconSize(QSize(20, 14))
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(len(HEADS) - 1, QHeaderView.ResizeMode.Stretch)
        self.group("By material", self.table)
        self.weight = text("")
        self.walls = text("", "hint")
        self.group(
            "Weight on the wall",
            self.weight,
            self.walls,
            text(
                "The weakest layer of the wall governs. Have it judged before setting; local "
                "codes and a licensed tradesperson decide.",
                "hint",
            ),
        )
        self.quote = text("")
        self.group("Quote", self.quote)
        self.group(
            "Write",
            row(
                button("Counts ...", lambda: self._ask("counts.csv", write_counts_csv)),
                button("Tesserae ...", lambda: self._ask("tesserae.csv", write_tesserae_csv)),
            ),
            row(
                button("Picture ...", lambda: self._ask("layout.png", write_png)),
                button("Drawing ...", lambda: self._ask("layout.svg", write_svg)),
            ),
            button("Pieces as GeoJSON ...", lambda: self._ask("layout.geojson", write_geojson)),
        )

    def _ask(self, name: str, write: Callable[..., None]) -> None:
        path, _ = QFileDialog.getSaveFileName(self, "Write", name, f"*{Path(name).suffix}")
        if path:
            self.write(path, write)

    def write(self, path: str, write: Callable[..., None]) -> None:
        """Write something of the layout as it stands."""
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        self.session.write(path, lambda: write(path, doc, layout))

    def refresh(self) -> None:
        layout, doc = self.session.layout, self.session.laid_doc
        if layout is not None and layout is self._shown:
            return
        self._shown = layout
        if layout is None or doc is None:
            self.sum.setText("Nothing laid yet")
            for words in (self.more, self.weight, self.walls, self.quote):
                words.setText("")
            self._show_rows(())
            return
        f = figures(doc, layout)
        money = f" {doc.currency}" if doc.currency else ""
        self.sum.setText(f"{f.pieces:,} tesserae")
        unmatched = f", {f.unmatched:,} without a material" if f.unmatched else ""
        self.more.setText(
            f"{f.area_m2:.3f} m², {len(f.counts)} materials{unmatched}. "
            f"About {f.hours:.0f} hours of laying."
        )
        self._show_rows(f.counts)
        self.weight.setText(
            f"{f.kg_m2:.1f} kg/m², {f.total_kg:.2f} kg in all: pieces {f.pieces_kg:.2f}, "
            f"grout {f.grout_kg:.2f}, adhesive {f.adhesive_kg:.2f}"
        )
        good = ", ".join(f"{n} ({limit:g})" for n, limit, ok in f.walls if ok) or "none of these"
        bad = ", ".join(f"{n} ({limit:g})" for n, limit, ok in f.walls if not ok)
        self.walls.setText(
            f"Within the limit, kg/m², of {good}."
            + (f" Too heavy for {bad}." if bad else "")
            + " (BS 5385-1:2018)"
        )
        lines = [
            f"Materials, with waste   {f.materials_cost:,}{money}",
            f"Grout   {f.grout_cost:,}{money}",
            f"Adhesive   {f.adhesive_cost:,}{money}",
            f"Work, {f.hours:.1f} h   {f.work_cost:,}{money}",
            f"Together   {f.quote:,}{money}",
        ]
        if f.unpriced:
            lines.append(f"Sold by the sheet, not reckoned: {', '.join(f.unpriced)}")
        self.quote.setText("\n".join(lines))

    def _show_rows(self, rows: tuple[Count, ...]) -> None:
        """Show the counts, making anew only the rows that are no longer true."""
        before, self._rows = list(self._rows), rows
        laid = {c.material.code for c in rows}
        for k in reversed(range(len(before))):
            if before[k].material.code not in laid:
                self.table.removeRow(k)
                del before[k]
        for k, c in enumerate(rows):
            if k == len(before) or before[k].material.code != c.material.code:
                self.table.insertRow(k)
                before.insert(k, c)
            elif before[k] == c:
                continue
            cells = (
                c.material.code,
                f"{c.pieces:,}",
                f"{c.weight_kg:.2f}",
                f"{c.material.pieces:,}",
                f"{c.short:,}" if c.short else "",
            )
            for j, words in enumerate(cells):
                item = QTableWidgetItem(words)
                if j == 0:
                    item.setIcon(swatch_icon(c.material, 20, 14))
                    item.setToolTip(
                        f"{c.material.description}\n{c.area_mm2 / 100:,.1f} cm² laid\n"
                        f"to take, with waste: {c.take:,} pieces, {c.take_kg:.2f} kg"
                    )
                else:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                if c.short:
                    item.setForeground(QColor(RUST))
                self.table.setItem(k, j, item)
        self.table.setRowCount(len(rows))
