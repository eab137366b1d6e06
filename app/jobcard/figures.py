"""Figures: counts by material, weight, cost and hours, each with what it is made of."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
)

from app import fileasking, theme
from app.figurefiles import write_figures, write_orders
from app.jobcard.base import Leaf
from app.jobcard.fold import Fold
from app.jobcard.proofwindow import ProofWindow
from app.jobcard.quantities import Card, Lines, losses, setting_goods, suits, to_order, wall_said
from app.jobcard.quoting import QuotePart
from app.jobcard.reckoned import weight_lines, work_line
from app.jobcard.timing import TimeFold
from app.jobcard.unfold import Unfold
from app.widgets import Choice, Number, button, row, swatch_icon, text
from core.commission import Commission
from core.cutting import WIDEST_CUT_MM, write_dxf
from core.export import write_geojson, write_png, write_svg, write_tesserae_csv
from core.figures import Count, Figures, figures, write_counts_csv
from core.figures.money import paid
from core.figures.pages import covers
from core.look.light import STANDARD
from core.pieces import Layout
from core.quantities import kept_of
from core.suitability import unsuited

TIGHT = (
    "* { font-size: 12px; } QHeaderView::section { padding: 5px 1px; }"
    " QTableView::item { padding: 0 1px; }"
)
SHOWN_AS = (("real", "materials as they look"), ("flat", "flat colours"))
HEADS = ("Code", "Laid", "Take", "In hand", "Short")
TIPS = (
    "",
    "Tesserae",
    "Stocked pieces that they are cut from, with what sorting and cutting lose",
    "Stocked pieces in hand",
    "Stocked pieces to order",
)


class FiguresLeaf(Leaf):
    """What the layout needs, weighs and costs."""

    name = "Figures"
    purpose = "Counted from the pieces as they are laid."

    def build(self) -> None:
        self._shown: tuple[object, object] = None, None
        self._rows: tuple[Count, ...] = ()
        self.sum = text("", "figure")
        self.more = text("", "hint")
        self.hours = Unfold()
        self.group("Altogether", self.sum, self.more, self.hours)
        self.table = QTableWidget(0, len(HEADS))
        self.table.setHorizontalHeaderLabels(HEADS)
        for k, tip in enumerate(TIPS):
            item = self.table.horizontalHeaderItem(k)
            if item is not None:
                item.setToolTip(tip)
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setShowGrid(False)
        self.table.setMinimumHeight(240)
        head = self.table.horizontalHeader()
        head.setMinimumSectionSize(30)
        self.table.setStyleSheet(TIGHT)
        self.table.setTextElideMode(Qt.TextElideMode.ElideNone)
        self.table.setIconSize(QSize(20, 14))
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(len(HEADS) - 1, QHeaderView.ResizeMode.Stretch)
        self.materials = Fold("By material", self.table)
        self.order = Card(
            "To order", to_order, button("Write the orders ...", self.choose_orders, "main")
        )
        self.suits = Card("Suits the place", suits)
        self.weights = [Unfold(strong=k == 0) for k in range(4)]
        self.walls = text("", "hint")
        self.weight = Fold(
            "Weight on the wall",
            *self.weights,
            self.walls,
            text(
                "The weakest layer of the wall governs. Have it judged before setting; local "
                "codes and a licensed tradesperson decide.",
                "hint",
            ),
        )
        self.goods = Lines()
        self.setting = Fold("Grout, adhesive, paper", self.goods)
        self.losses = Card("Cut and sorted", losses)
        self.quote = QuotePart(self.session)
        self.price = Fold("Quote", self.quote)
        self.time = TimeFold(self.session)
        self.folds = (
            *(self.materials, self.order, self.suits, self.weight, self.price),
            *(self.time, self.setting, self.losses),
        )
        folds = QVBoxLayout()
        folds.setSpacing(4)
        for fold in self.folds:
            folds.addWidget(fold)
        self.column.addLayout(folds)
        self.group(
            "",
            button("Proof for the client ...", self.prove, "main"),
            text("The work as it will look, in its place; the client keeps and signs it.", "hint"),
        )
        self.fineness = Number(
            "Fineness of the picture",
            "px a mm",
            *(0.0, 40.0, lambda _: None, 1, 1.0),
            "Pixels to a mm of the work; 4 are about 100 dots an inch",
        )
        self.fineness.spin.setSpecialValueText("as fits")
        self.shown_as = Choice("Picture shows", SHOWN_AS, lambda _: None)
        self.cut = Number("Width of the cut", "mm", 0.0, WIDEST_CUT_MM, lambda _: None, 2, 0.1)
        self.cut.show_value(1.0)
        self.group(
            "Write",
            button("All figures into a folder ...", self.choose_figures, "main"),
            row(
                button("Counts ...", lambda: self._ask("counts.csv", write_counts_csv)),
                button("Tesserae ...", lambda: self._ask("tesserae.csv", write_tesserae_csv)),
            ),
            row(
                button("Picture ...", self._ask_picture),
                button("Drawing ...", lambda: self._ask("layout.svg", write_svg)),
            ),
            button("Pieces as GeoJSON ...", lambda: self._ask("layout.geojson", write_geojson)),
            self.shown_as,
            self.fineness,
            self.cut,
            button("Paths for a cutting machine ...", self._ask_cutting),
            text(
                "Of the chosen fields, or of all laid in sectile. Paths lie half a cut outside "
                "each piece; a machine cuts by its own maker's rules of safety.",
                "hint",
            ),
        )

    def choose_figures(self) -> None:
        """Ask where, and write all figures."""
        self._ask_folder("A folder for the figures", write_figures)

    def choose_orders(self) -> None:
        """Ask where, and write an order for each supplier."""
        self._ask_folder("A folder for the orders", write_orders)

    def _ask_folder(self, words: str, write: Callable[..., object]) -> None:
        if self.session.layout is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        folder = fileasking.which_folder(self, words, "papers", self.session.path)
        if folder:
            self.write(folder, write)

    def prove(self) -> None:
        """Open the proof for the client."""
        self.proof = ProofWindow(self.session, self)
        self.proof.show()

    def _ask_picture(self) -> None:
        fine = self.fineness.value or None
        light = STANDARD if self.shown_as.value == "real" else None
        self._ask(
            "layout.png",
            lambda path, doc, layout: write_png(path, doc, layout, fine, light=light),
        )

    def _ask_cutting(self) -> None:
        cut, chosen = self.cut.value, self.session.selection
        self._ask(
            "pieces.dxf",
            lambda path, doc, layout: write_dxf(path, doc, layout, cut, chosen),
        )

    def _ask(self, name: str, write: Callable[..., None]) -> None:
        kind, beside = f"*{Path(name).suffix}", self.session.path
        path = fileasking.where_to(self, "Write", name, kind, "papers", beside)
        if path:
            self.write(path, write)

    def write(self, path: str, write: Callable[..., object]) -> None:
        """Write something of the layout as it stands."""
        doc, layout = self.session.laid_doc, self.session.layout
        if layout is None:
            self.session.message.emit("Nothing is laid yet.")
            return
        self.session.write(path, lambda: write(path, doc, layout))

    def refresh(self) -> None:
        layout, doc = self.session.layout, self.session.laid_doc
        if layout is not None and layout is self._shown[0] and doc is self._shown[1]:
            return
        self._shown = layout, doc
        laid = layout is not None and doc is not None
        self.hours.setVisible(laid)
        for fold in self.folds:
            fold.setVisible(laid)
        for card in (self.order, self.suits, self.losses):
            card.work_changed(None if layout is None or doc is None else (doc, layout))
        if layout is None or doc is None:
            self.sum.setText("Nothing laid yet")
            self.more.setText("")
            self.quote.show_price(None, None)
            self._show_rows(())
            return
        f = figures(doc, layout)
        self.sum.setText(f"{f.pieces:,} tesserae")
        large = sum(c.too_large for c in f.counts)
        said = [f"{f.area_m2:.3f} m², {sum(not c.bare for c in f.counts)} materials."]
        if f.unmatched:
            said.append(f"{f.unmatched:,} have no material.")
        if large:
            said.append(f"{large:,} are larger than what their material is stocked as.")
        self.more.setText(" ".join(said))
        self.hours.fill(*work_line(f))
        self._show_rows(f.counts)
        for line, what in zip(self.weights, weight_lines(doc, f), strict=True):
            line.fill(*what)
        self.walls.setText(wall_said(doc, f))
        self.goods.show_lines(setting_goods(doc, f))
        self.quote.show_price(doc, f)
        self._show_heads(doc, layout, f)

    def end(self) -> None:
        self.quote.end()

    def draw(self) -> None:
        """Make anew what is open."""
        for card in (self.order, self.suits, self.losses):
            if card.unfolded:
                card.bring_up_to_date()

    def _show_heads(self, doc: Commission, layout: Layout, f: Figures) -> None:
        """Show at the head of each fold what is asked most."""
        short = sum(bool(c.short) for c in f.counts)
        self.order.say(f"{short} materials" if short else "nothing", bool(short))
        found = unsuited(doc, layout)
        no = sum(u.level == "no" for u in found)
        asked = bool(doc.place.kind or doc.place.cooker)
        words = f"{no} no, {len(found) - no} with care" if found else "yes"
        self.suits.say(words if asked else "which place?", bool(no))
        limit = doc.place.limit_kg_m2
        self.weight.say(f"{f.kg_m2:.1f} kg/m²", limit is not None and f.kg_m2 > limit)
        self.materials.say(f"{sum(not c.bare for c in f.counts)}")
        self.setting.say(f"{f.grout_bought_kg + f.adhesive_bought_kg:.1f} kg")
        self.price.say(paid(f.quote, doc.currency))

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
                c.material.code or "none",
                f"{c.pieces:,}",
                f"{c.take:,}" if not c.bare else "",
                f"{c.material.pieces:,}" if not c.bare else "",
                f"{c.short:,}" if c.short else "",
            )
            for j, words in enumerate(cells):
                item = QTableWidgetItem(words)
                if j == 0:
                    if not c.bare:
                        item.setIcon(swatch_icon(c.material, 20, 14))
                    item.setToolTip(_in_words(c))
                else:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
                if c.short or c.too_large or c.bare:
                    item.setForeground(QColor(theme.RUST))
                self.table.setItem(k, j, item)
        self.table.setRowCount(len(rows))


def _in_words(c: Count) -> str:
    m = c.material
    words = f"{m.description}\n{c.pieces:,} pieces, {c.area_mm2 / 100:,.1f} cm² laid"
    if c.bare:
        return words
    words += f"\ncut from {c.take:,} of {m.length_mm:g} x {m.width_mm:g} mm, {c.take_kg:.2f} kg, "
    words += f"of which sorting and cutting lose {100 * (1 - kept_of(m)):.0f} %"
    words += f"\nthe stock covers {covers(c)} of that"
    if c.too_large:
        words += f"\n{c.too_large:,} are larger than that: they cannot be cut from it"
    return words
