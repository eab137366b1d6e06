"""The quote: every line with what it is made of, adding up to the cent.

Materials, grout, adhesive and work are what the layout takes; overhead is a share of them, margin
a share of both. Fees are prices already. The price before tax is rounded as the studio chose, and
that step is a line of its own, so that lines make the price, and price and tax the total.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING, Final

from core.commission import Commission
from core.figures.hours import Work
from core.figures.money import dec, money, paid, parted, rounded
from core.figures.panel import hung

if TYPE_CHECKING:
    from core.figures.whole import Figures

Part = tuple[str, str]  # words, and the figure at the end of the line
NOTHING: Final = Decimal("0.00")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of a quote, by its key, in words, and what it is made of."""

    key: str
    words: str
    amount: Decimal
    parts: tuple[Part, ...] = ()


@dataclass(frozen=True, slots=True)
class Quote:
    """A price: lines that make `net`, and the tax on it.

    `payments` are what falls due when: in words, and how much; they make the total.
    """

    lines: tuple[Line, ...]
    tax: Decimal
    payments: tuple[tuple[str, Decimal], ...] = ()

    @property
    def net(self) -> Decimal:
        """Before tax."""
        return sum((line.amount for line in self.lines), NOTHING)

    @property
    def total(self) -> Decimal:
        """With tax."""
        return self.net + self.tax

    def amount(self, *keys: str) -> Decimal:
        """Return what lines come to together; nothing where they are not asked for."""
        return sum((line.amount for line in self.lines if line.key in keys), NOTHING)


NOT_PRICED: Final = Quote((), NOTHING)


def quote_of(doc: Commission, f: Figures) -> Quote:
    """Return the price of a layout by the commission's rates and terms.

    Parameters
    ----------
    f : Figures
        The layout's, their `price` not looked at.
    """
    terms, rates, cur = doc.terms, doc.rates, doc.currency
    lines = [
        Line("materials", "Materials, with loss", f.materials_cost, _materials(f, cur)),
        Line("grout", "Grout", f.grout_cost, _grout(doc, f)),
        Line("adhesive", "Adhesive", f.adhesive_cost,
             _adhesive(doc, f)),
        *_goods(f, cur),
        Line("work", f"Work, {f.hours:.1f} h", f.work_cost,
             (*work_parts(f.work), (f"{f.hours:.2f} h at {rates.hour:,}", paid(f.work_cost, cur)))),
    ]  # fmt: skip
    lines += _panel(doc, f) if terms.mount == "panel" else []
    cost = sum((x.amount for x in lines), NOTHING)
    overhead = money(cost * dec(terms.overhead))
    if overhead:
        lines.append(_share("overhead", "Overhead", overhead, terms.overhead, cost, cur))
    margin = money((cost + overhead) * dec(rates.margin))
    if margin:
        lines.append(_share("margin", "Margin", margin, rates.margin, cost + overhead, cur))
    lines += _fees(doc)
    exact = sum((x.amount for x in lines), NOTHING)
    net = rounded(exact, terms.round_to)
    if net != exact:
        what = (f"{paid(exact, cur)} to a whole number of {terms.round_to:f}", paid(net, cur))
        lines.append(Line("rounding", "Rounded", net - exact, (what,)))
    tax = money(net * dec(rates.tax))
    stages = terms.stages
    due = parted(net + tax, [s.share for s in stages])
    return Quote(tuple(lines), tax, tuple(zip((s.words for s in stages), due, strict=True)))


def tax_line(doc: Commission, quote: Quote) -> Line:
    """Return the tax, as a line."""
    share, cur = doc.rates.tax, doc.currency
    return _share("tax", f"Tax, {_percent(share)}", quote.tax, share, quote.net, cur)


def work_parts(work: Sequence[Work]) -> tuple[Part, ...]:
    """Return the hours, laying by laying."""
    parts = []
    for w in work:
        words = f"{w.opus}{', ' * bool(w.what)}{w.what}: {w.pieces:,} x {w.seconds:g} s"
        words += f" x {w.effort:g}" if w.effort != 1 else ""
        words += f" x {w.pace:.2f} by your own pace" if w.what else ""
        parts.append((words, f"{w.hours:.1f} h"))
    if any(w.effort != 1 for w in work):
        parts.append(("x: its effort, against a piece laid in courses", ""))
    return tuple(parts)


def _percent(x: float) -> str:
    return f"{100 * x:.3g} %"


def _share(key: str, words: str, amount: Decimal, share: float, of: Decimal, currency: str) -> Line:
    part = (f"{_percent(share)} of {paid(of, currency)}", paid(amount, currency))
    return Line(key, words, amount, (part,))


def _materials(f: Figures, currency: str) -> tuple[Part, ...]:
    parts = []
    for c in f.counts:
        m = c.material
        if c.bare:
            parts.append((f"{c.pieces:,} pieces without a material", "not reckoned"))
        elif c.cost is None:
            parts.append((f"{m.code}: sold by the sheet", "not reckoned"))
        else:
            amount = {
                "kg": f"{c.used_kg:.2f} kg",
                "m2": f"{c.used_mm2 / 1e6:.3f} m²",
                "sheet": f"{c.take / (m.pack_pieces or 1):.2f} sheets",
            }.get(m.price_unit, f"{c.take:,}")
            parts.append((f"{m.code}: {amount} at {m.price:,}", paid(c.cost, currency)))
    return tuple(parts)


def _grout(doc: Commission, f: Figures) -> tuple[Part, ...]:
    surplus = _percent(doc.rates.grout_surplus)
    bought = f"{f.grout_bought_kg:.2f} kg"
    return (
        (f"in the joints {f.grout_kg:.2f} kg, and {surplus} surplus", bought),
        (f"{bought} at {doc.rates.grout_kg:,}", paid(f.grout_cost, doc.currency)),
    )


def _adhesive(doc: Commission, f: Figures) -> tuple[Part, ...]:
    surplus, bought = doc.rates.goods.adhesive_surplus, f"{f.adhesive_bought_kg:.2f} kg"
    cost = (f"{bought} at {doc.rates.adhesive_kg:,}", paid(f.adhesive_cost, doc.currency))
    if not surplus:
        return (cost,)
    return ((f"in the bed {f.adhesive_kg:.2f} kg, and {_percent(surplus)} surplus", bought), cost)


def _goods(f: Figures, currency: str) -> list[Line]:
    """Return paper, paste, film and the like in one line, where any has a price."""
    parts = tuple(
        (f"{g.words}: {g.amount:.2f} {g.unit} at {g.price:,}", paid(g.cost, currency))
        for g in f.goods
        if g.cost
    )
    return [Line("goods", "Setting goods", f.goods_cost, parts)] if parts else []


def _panel(doc: Commission, f: Figures) -> list[Line]:
    """Return the board, by the square metre of the whole work, and its hangers."""
    panel, cur = doc.terms.panel, doc.currency
    whole_m2 = doc.width_mm * doc.height_mm / 1e6
    made = hung(panel, f.area_m2, f.total_kg)
    board = money(panel.board_m2 * dec(whole_m2))
    hangers = money(panel.hanger * made.hangers)
    return [
        Line(
            "board",
            f"Panel: {panel.board}" if panel.board else "Panel",
            board,
            (
                (f"weighs {f.area_m2:.3f} m² x {panel.board_kg_m2:g} kg/m²",
                 f"{made.board_kg:.1f} kg"),
                ("with pieces, grout and adhesive", f"{made.total_kg:.1f} kg"),
                (f"{whole_m2:.3f} m² at {panel.board_m2:,}", paid(board, cur)),
            ),
        ),
        Line(
            "hangers",
            f"Hangers, {made.hangers}",
            hangers,
            (
                (f"{made.total_kg:.1f} kg x {panel.safety:g} for safety, on hangers rated "
                 f"{panel.hanger_kg:g} kg each, two at least", f"{made.hangers}"),
                (f"{made.hangers} at {panel.hanger:,}", paid(hangers, cur)),
            ),
        ),
    ]  # fmt: skip


def _fees(doc: Commission) -> list[Line]:
    """Return the fees that are asked for."""
    terms, cur = doc.terms, doc.currency
    panel = terms.mount == "panel"
    revisions = money(terms.revision * terms.revisions)
    told = f"{terms.revisions} rounds at {terms.revision:,}"
    once = "the fee agreed, once"
    fees = (
        ("drawing", "Drawing", money(terms.drawing), once),
        ("revisions", "Rounds of changes", revisions, told),
        ("mounting", "Mounting on the panel", money(terms.mounting) if panel else NOTHING, once),
        ("transport", "Transport", money(terms.transport), once),
        ("fixing", "Fixing in place", NOTHING if panel else money(terms.fixing), once),
    )
    return [
        Line(key, words, amount, ((made, paid(amount, cur)),))
        for key, words, amount, made in fees
        if amount
    ]
