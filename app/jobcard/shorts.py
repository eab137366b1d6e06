"""Materials of which the studio has too few, and what could be laid in their place."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from app import theme
from app.jobcard.base import clear
from app.session import Session
from app.widgets import Drop, button, swatch_icon, text
from core.colour.matching import StandIn, stand_ins
from core.commission import Commission, add_swap
from core.figures import Count, counts, needed_instead

OFFERED = 4


class Shorts(QWidget):
    """A short material, and its nearest stand-ins with difference and price."""

    def __init__(
        self, session: Session, try_to: Callable[[str, Callable[[], Commission]], bool]
    ) -> None:
        super().__init__()
        self.session, self.try_to = session, try_to
        self.short: dict[str, Count] = {}
        self._shown: object = None
        self.which = Drop()
        self.which.setIconSize(QSize(28, 18))
        self.which.currentIndexChanged.connect(lambda _: self._offer())
        self.words = text("", "hint")
        self._offers = QWidget()
        self._grid = QGridLayout(self._offers)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setColumnStretch(0, 1)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        for w in (self.words, self.which, self._offers):
            box.addWidget(w)

    def refresh(self) -> None:
        """Show what is short in the layout as it stands."""
        layout, doc = self.session.layout, self.session.laid_doc
        table = counts(doc, layout) if layout is not None and doc is not None else ()
        short = {c.material.code: c for c in table if c.short}
        bare = sum(c.pieces for c in table if c.bare)
        shown = (short, bare, self.session.doc.materials, self.session.doc.currency)
        if shown == self._shown:
            return
        self.short, self._shown = short, shown
        now = self.which.currentData()
        self.which.blockSignals(True)
        self.which.clear()
        for c in sorted(self.short.values(), key=lambda c: -c.short):
            m = c.material
            words = f"{m.code}: {c.short:,} short" + (f", order {c.order}" if m.lot else "")
            self.which.addItem(swatch_icon(m, 28, 18), words, m.code)
        self.which.setCurrentIndex(max(0, self.which.findData(now)) if self.short else -1)
        self.which.blockSignals(False)
        self.which.setVisible(bool(self.short))
        self._offers.setVisible(bool(self.short))
        n = len(self.short)
        words = (
            "Everything laid is in hand."
            if not n
            else f"{n} material{'s' if n > 1 else ''} must be bought, or take a stand-in:"
        )
        if bare:
            words = f"{bare:,} pieces are left without a material. {words}"
        self.words.setText(words)
        self._offer()

    def offers(self) -> tuple[StandIn, ...]:
        """Return the nearest stand-ins for the material shown."""
        count = self.short.get(str(self.which.currentData()))
        layout, doc = self.session.layout, self.session.laid_doc
        if count is None or layout is None or doc is None:
            return ()
        needed = needed_instead(doc, layout, count.material.code)
        found = stand_ins(count.material, doc.materials, needed)
        return found[:OFFERED]

    def _offer(self) -> None:
        clear(self._grid)
        old = str(self.which.currentData())
        currency = self.session.doc.currency
        for k, s in enumerate(self.offers()):
            price = "price not comparable"
            if s.price_change_m2 is not None:
                change = round(s.price_change_m2)
                price = f"{abs(change):,} {currency}".strip()
                price += f" {'more' if change > 0 else 'less'} a\u00a0m²"
                price = price if change else "as dear"
            stock = f"{s.material.pieces:,} in hand" + ("" if s.enough else ", too few")
            words = text(
                f"<b>{escape(s.material.code)}</b> {escape(s.material.said)}<br>"
                f"difference {s.delta_e:.1f}<br>{escape(price)}<br>"
                + (stock if s.enough else f"<span style='color:{theme.RUST}'>{stock}</span>")
            )
            use = button(
                "Lay it",
                lambda new=s.material.code: self.lay(old, new),
                tip=f"Lay {s.material.code} wherever {old} is laid",
            )
            use.setIcon(swatch_icon(s.material, 28, 18))
            self._grid.addWidget(words, k, 0)
            self._grid.addWidget(use, k, 1)

    def lay(self, old: str, new: str) -> None:
        """Lay a stand-in wherever the short material is laid."""
        self.try_to(f"Lay {new} for {old}", lambda: add_swap(self.session.doc, old, new))
