"""The folded cards of the Figures leaf: what is lost, what it is set with, what to order, what
suits the place. Each is made when it is opened, and again when the layout has changed since.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.jobcard.base import clear
from app.jobcard.fold import Fold
from app.jobcard.unfold import Part, Unfold
from app.widgets import text
from core.commission import Commission
from core.figures import Figures, Tally, counts, orders, parts_of
from core.figures.money import paid
from core.figures.orderpage import amount_said
from core.figures.pages import kilo_said, limit_said, short_grout_said
from core.figures.sums import bed_said
from core.pieces import Layout
from core.suitability import LEVELS, Unsuited, unsuited

MOST_PARTS = 120  # of one line on the leaf; the lists that are written hold all
Line = tuple[str, str, list[Part]]


class Lines(QWidget):
    """Lines that open, one beneath the other, under words."""

    def __init__(self) -> None:
        super().__init__()
        self.told = text("", "hint")
        self.lines: list[Unfold] = []
        self._box = QVBoxLayout()
        self._box.setSpacing(2)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.addLayout(self._box)
        box.addWidget(self.told)

    def show_lines(self, lines: Iterable[Line], told: str = "") -> None:
        """Show these lines in place of those before; what was open stays open."""
        lines = list(lines)
        opened = {x.words.text() for x in self.lines if x.unfolded}
        if len(lines) < len(self.lines):
            clear(self._box)
            self.lines = []
        while len(self.lines) < len(lines):
            self.lines.append(Unfold())
            self._box.addWidget(self.lines[-1])
        for shown, (words, figure, parts) in zip(self.lines, lines, strict=True):
            more = len(parts) - MOST_PARTS
            if more > 0:
                parts = [*parts[:MOST_PARTS], (f"and {more:,} more in the lists", "")]
            shown.fill(words, figure, parts)
            if shown.unfolded != (words in opened):
                shown.unfold(words in opened)
        self.told.setText(told)
        self.told.setVisible(bool(told))


class Card(Fold):
    """A folded card of lines, with a word at its head; `make` says what is in it."""

    def __init__(
        self,
        head: str,
        make: Callable[[Commission, Layout], tuple[list[Line], str]],
        *widgets: QWidget,
    ) -> None:
        self.content = Lines()
        self._make = make
        self._work: tuple[Commission, Layout] | None = None
        self._stale = False
        super().__init__(head, self.content, *widgets, opened=self.bring_up_to_date)

    def work_changed(self, work: tuple[Commission, Layout] | None) -> None:
        """Know of another document or layout."""
        self._work, self._stale = work, True
        self.setVisible(work is not None)

    def bring_up_to_date(self) -> None:
        """Make what is shown anew, if the work has changed."""
        if self._stale and self._work is not None:
            self._stale = False
            self.content.show_lines(*self._make(*self._work))


def losses(doc: Commission, layout: Layout) -> tuple[list[Line], str]:
    """Return what is laid and lost, by material, field, motif and sheet."""
    parts = parts_of(doc, layout)
    lines = []
    for what, words in (
        ("material", "By material"),
        ("field", "By field"),
        ("motif", "By motif"),
        ("sheet", "By sheet"),
    ):
        if what == "sheet" and not doc.sheets:
            continue
        some = parts.tallies(what)
        rows: list[Part] = [_tally(t) for t in some]
        lines.append((words, f"{sum(t.buy_kg for t in some):.2f} kg", rows))
    weighed = [m for m in doc.materials if m.pieces_a_kg]
    if weighed:
        lines.append(("Pieces to the kilo", "", [(kilo_said(m), "") for m in weighed]))
    told = (
        "At the end of a line what is to be had: what is laid, offcuts (each piece against its "
        "blank), what breaks in cutting and what sorting puts aside."
    )
    return lines, told


def _tally(t: Tally) -> Part:
    lost = 1 - t.net_kg / t.buy_kg if t.buy_kg else 0.0
    laid = f"{t.pieces:,} on {t.net_mm2 / 100:,.0f} cm², {_weighs(t.net_kg)}"
    return f"{t.name}: {laid}, {100 * lost:.0f} % lost", _weighs(t.buy_kg)


def _weighs(kg: float) -> str:
    return f"{kg:,.2f} kg" if kg >= 1 else f"{1000 * kg:,.0f} g"


def setting_goods(doc: Commission, f: Figures) -> list[Line]:
    """Return grout, adhesive, paper and the like, each with what it is made of."""
    r = doc.rates
    grout: list[Part] = [
        ("joints, from the pieces as they lie", f"{f.joint_dm3:.3f} dm³"),
        (f"x {r.grout_kg_dm3:g} kg/dm³", f"{f.grout_kg:.2f} kg"),
        (f"and {100 * r.grout_surplus:.3g} % surplus", f"{f.grout_bought_kg:.2f} kg"),
    ]
    if f.grout_kg:
        grout.append((short_grout_said(f), ""))
    adhesive: list[Part] = [
        (f"{f.area_m2:.3f} m² x {bed_said(r)} x {r.adhesive_kg_m2_mm:.3g} kg/m² a mm",
         f"{f.adhesive_kg:.2f} kg"),
        (f"and {100 * r.goods.adhesive_surplus:.3g} % surplus", f"{f.adhesive_bought_kg:.2f} kg"),
    ]  # fmt: skip
    lines: list[Line] = [
        ("Grout to buy", f"{f.grout_bought_kg:.2f} kg", grout),
        ("Adhesive to buy", f"{f.adhesive_bought_kg:.2f} kg", adhesive),
    ]
    for g in f.goods:
        unit = g.unit.replace("m2", "m²")
        a_m2 = g.amount / f.area_m2 if f.area_m2 else 0.0
        parts: list[Part] = [(f"{f.area_m2:.3f} m² x {a_m2:.3g} {unit} a m²", "")]
        if g.cost:
            parts.append((f"at {g.price:,}", paid(g.cost, doc.currency)))
        lines.append((g.words, f"{g.amount:.2f} {unit}", parts))
    return lines


def to_order(doc: Commission, layout: Layout) -> tuple[list[Line], str]:
    """Return what is short, supplier by supplier."""
    lines = []
    for order in orders(doc, counts(doc, layout)):
        parts: list[Part] = [
            (f"{x.material.code} {x.material.description}: {amount_said(x)}, short {x.short:,}",
             "not reckoned" if x.cost is None else paid(x.cost, doc.currency))
            for x in order.lines
        ]  # fmt: skip
        figure = paid(order.cost, doc.currency) if order.cost else f"{order.kg:.1f} kg"
        lines.append((f"{order.named}, {len(order.lines)}", figure, parts))
    return lines, "" if lines else "Nothing is short: all is in hand."


def suits(doc: Commission, layout: Layout) -> tuple[list[Line], str]:
    """Return what does not suit the place, with reason, source and what to use instead."""
    place = doc.place
    if not (place.kind or place.cooker):
        return [], "Say on the Brief leaf where it goes."
    found = unsuited(doc, layout)
    lines: list[Line] = [
        (f"{LEVELS[u.level].capitalize()}: {u.named}: {u.finding}", "", _reasons(u)) for u in found
    ]
    return lines, "The last word is the makers'." if found else "Nothing known speaks against it."


def _reasons(u: Unsuited) -> list[Part]:
    return [(u.why, ""), (f"Instead: {u.instead}", ""), (f"Source: {u.source}", "")]


def wall_said(doc: Commission, f: Figures) -> str:
    """Return whether the wall carries it, the chosen one first."""
    good = ", ".join(f"{n} ({limit:g})" for n, limit, ok in f.walls if ok) or "none of these"
    bad = ", ".join(f"{n} ({limit:g})" for n, limit, ok in f.walls if not ok)
    return (
        f"{limit_said(doc, f)} Within the limit, kg/m², of {good}."
        + (f" Too heavy for {bad}." if bad else "")
        + " (BS 5385-1:2018)"
    )
