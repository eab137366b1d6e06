"""The quote as a document for the client: pages of A4, in the studio's own words where it has any.

A client sees what is to be had and what it costs: materials, work, overhead and margin stand in
one sum. What each line is made of is the studio's, on the Figures leaf.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

import numpy as np

from core.agreed import mark_of, piece_marks
from core.commission import Commission
from core.drawing import Item, Page, Paths, Picture, Rgb, Text
from core.export import whole_frame
from core.figures import Figures, Line, Quote, figures, tax_line
from core.figures.money import dec, money, paid
from core.figures.options import Option, options
from core.figures.panel import hung
from core.lettering import LEAST_MM, fitted, wrapped
from core.look.render import picture
from core.material import Material
from core.paper.sizes import PAPERS as SIZES
from core.pieces import Layout
from core.terms import Quoted

Box = tuple[float, float, float, float]

INK: Rgb = (43, 44, 46)
GREY: Rgb = (105, 104, 101)
PALE: Rgb = (205, 199, 188)
GREEN: Rgb = (31, 122, 114)
MARGIN_MM: Final = 20.0
FOOT_MM: Final = 6.0
PICTURES_MM: Final = range(96, 36, -4)  # how high it may be, as all fits best
ROW_MM: Final = 8.2  # of the price, from line to line
SUMS_MM: Final = 15.0
PX_A_MM: Final = 6.0  # about 150 dots an inch
BODY: Final = 3.5
SMALL: Final = 2.9
LINE: Final = 1.42  # of the size, from line to line

OPENING: Final = "We offer you this work, laid by hand as you see it here."
CONDITIONS: Final = (
    "Glass and stone differ from batch to batch: colours are those of the samples that you see "
    "before work begins, not of this print.\n"
    "What is changed after the work is begun is priced before it is done.\n"
    "Wall, weight, water and electricity: local codes and a licensed tradesperson decide."
)
PANEL_CARE: Final = "A licensed person judges the wall and chooses its anchors for this weight."
MOSAIC: Final = ("materials", "grout", "adhesive", "goods", "work")
# Lines of the client's, in their order.
CLIENT: Final = ("mosaic", "panel", "drawing", "revisions", "transport", "fixing", "rounding")


def quote_pages(
    doc: Commission, layout: Layout, on: date, stock: Sequence[Material] = ()
) -> list[Page]:
    """Return the quote's pages, written on a day.

    Parameters
    ----------
    stock : sequence of Material
        What options may take beside the commission's own materials.
    """
    each = options(doc, layout, stock)
    f = each[0].figures
    assert f is not None
    ways = [_written(doc, layout, each, on, high) for high in PICTURES_MM]
    page = min(ways, key=lambda way: (way.count, way.parted))  # of alike ones the first
    page.draw(doc, layout)
    mark = mark_of(piece_marks(doc, layout))
    return page.pages(f"{_titled(doc)}   {doc.title}   mark {mark}")


def _written(
    doc: Commission, layout: Layout, each: Sequence[Option], on: date, high_mm: float
) -> _Column:
    """Write all of it, the picture at most so high and not drawn yet."""
    f = each[0].figures
    assert f is not None
    page = _Column(*reversed(SIZES["A4"]))
    _head(page, doc, on)
    _work(page, doc, layout, f, high_mm)
    begun = page.count
    _price(page, doc, f)
    page.parted = page.count - begun
    if len(each) > 1:
        _beside(page, doc, each)
    _payments(page, doc, f.price)
    _words(page, doc, on)
    _accepted(page)
    return page


def quoted_of(doc: Commission, layout: Layout, on: date) -> Quoted:
    """Return what is noted of a quote that is given on a day."""
    mark = mark_of(piece_marks(doc, layout))
    total = figures(doc, layout).quote
    return Quoted(on.isoformat(), doc.terms.number, total, doc.currency, mark)


def client_lines(doc: Commission, f: Figures) -> tuple[Line, ...]:
    """Return the price as the client reads it: a few lines, which make what is before tax.

    Overhead and margin are in the mosaic's sum, the panel's share of them in the panel's.
    """
    price = f.price
    cost = price.amount(*MOSAIC)
    overhead = money(cost * dec(doc.terms.overhead))
    mosaic = cost + overhead + money((cost + overhead) * dec(doc.rates.margin))
    rest = price.amount(*MOSAIC, "board", "hangers", "overhead", "margin") - mosaic
    panel = rest + price.amount("mounting")
    out = [Line("mosaic", "The mosaic", mosaic, ((_mosaic(f), ""),))]
    if doc.terms.mount == "panel":
        out.append(Line("panel", "Removable panel", panel, ((_panel(doc, f), ""),)))
    out += [replace(x, parts=()) for x in price.lines if x.key in CLIENT]
    return tuple(replace(x, words=_rounds(doc)) if x.key == "revisions" else x for x in out)


def _rounds(doc: Commission) -> str:
    n = doc.terms.revisions
    return "A round of changes" if n == 1 else f"{n} rounds of changes"


def _mosaic(f: Figures) -> str:
    kinds = [c.material.kind for c in f.counts if not c.bare]
    kinds = list(dict.fromkeys("vitreous glass" if k == "vitreous" else k for k in kinds))
    of = f" of {_list(kinds)}" if kinds else ""
    return (
        f"{f.pieces:,} tesserae{of} on {f.area_m2:.2f} m², cut and laid by hand; with adhesive, "
        "grout, and what cutting loses."
    )


def _panel(doc: Commission, f: Figures) -> str:
    made = hung(doc.terms.panel, f.area_m2, f.total_kg)
    board = doc.terms.panel.board or "Board"
    return (
        f"{board[0].upper()}{board[1:]}, {made.hangers} hangers rated "
        f"{doc.terms.panel.hanger_kg:g} kg each; {made.total_kg:.1f} kg in all. "
        f"Yours to take along. {PANEL_CARE}"
    )


def _list(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _titled(doc: Commission) -> str:
    return f"Quotation {doc.terms.number}".rstrip()


def _day(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


class _Column:
    """Pages that are written from top to bottom, mm."""

    def __init__(self, width_mm: float, height_mm: float) -> None:
        self.width, self.height = width_mm, height_mm
        self.left, self.right = MARGIN_MM, width_mm - MARGIN_MM
        self.y = MARGIN_MM
        self._pages: list[list[Item]] = [[]]
        self.parted = 0  # over how many pages more than one the price stands
        self._shown: tuple[int, int, Box] | None = None

    @property
    def count(self) -> int:
        """How many pages there are so far."""
        return len(self._pages)

    def show(self, box_mm: Box, wide: float, high: float) -> None:
        """Leave room for the picture of a part of the work, drawn in the end."""
        self._shown = self.count - 1, len(self._pages[-1]), box_mm
        blank = np.zeros((1, 1, 3), np.uint8)
        self.put(Picture(self.left, self.y, wide, high, blank))

    def draw(self, doc: Commission, layout: Layout) -> None:
        """Draw the picture that room was left for."""
        if self._shown is None:
            return
        page, k, box = self._shown
        there = self._pages[page][k]
        assert isinstance(there, Picture)
        px_per_mm = there.width_mm / (box[2] - box[0]) * PX_A_MM
        pixels = picture(doc, layout, px_per_mm, box_mm=box)
        self._pages[page][k] = replace(there, pixels=pixels)

    @property
    def low(self) -> float:
        """Where a page's words end."""
        return self.height - MARGIN_MM - FOOT_MM

    @property
    def wide(self) -> float:
        """Between the margins."""
        return self.right - self.left

    def room(self, high: float) -> None:
        """Begin a new page where so much is not left on this one."""
        if self.y + high > self.low and self._pages[-1]:
            self._pages.append([])
            self.y = MARGIN_MM

    def put(self, *items: Item) -> None:
        """Draw on the page."""
        self._pages[-1] += items

    def text(
        self,
        words: str,
        size: float = BODY,
        x: float | None = None,
        anchor: str = "start",
        colour: Rgb = INK,
        bold: bool = False,
        room: float | None = None,
    ) -> None:
        """Write words at this height, smaller where there is not so much room."""
        if room is not None:
            words, size = fitted(words, size, room, LEAST_MM, bold)
        at = self.left if x is None else x
        self.put(Text(at, self.y, words, size, anchor, colour=colour, bold=bold))

    def lines(
        self,
        words: str,
        size: float = BODY,
        wide: float | None = None,
        colour: Rgb = INK,
        x: float | None = None,
    ) -> None:
        """Write words in as many lines as they take; a line's end begins another."""
        room = self.wide if wide is None else wide
        for part in words.splitlines():
            for line in wrapped(part, size, room) or [""]:
                self.room(LINE * size)
                self.text(line, size, x, colour=colour)
                self.y += LINE * size

    def rule(self, colour: Rgb = PALE, pen: float = 0.25, x: float | None = None) -> None:
        """Draw a line across."""
        a = self.left if x is None else x
        self.put(_stroke(a, self.right, self.y, colour, pen))

    def heading(self, words: str, keep: float) -> None:
        """Write a heading that stays with so much of what follows, mm."""
        self.y += 6.0
        self.room(8.0 + keep)
        self.text(words, 4.4, colour=GREEN, bold=True)
        self.y += 7.0

    def pages(self, foot: str) -> list[Page]:
        """Return them, each with its foot."""
        out = []
        for k, items in enumerate(self._pages, 1):
            number = Text(self.right, self.height - MARGIN_MM + 4, f"{k} of {len(self._pages)}",
                          SMALL, "end", colour=GREY)  # fmt: skip
            words, size = fitted(foot, SMALL, self.wide - 25, LEAST_MM)
            told = Text(self.left, self.height - MARGIN_MM + 4, words, size, colour=GREY)
            name = f"Quote, page {k}"
            out.append(Page(self.width, self.height, name, (*items, told, number)))
        return out


def _stroke(x0: float, x1: float, y: float, colour: Rgb, pen: float) -> Paths:
    return Paths.of([np.array([(x0, y), (x1, y)])], closed=False, pen=colour, pen_mm=pen)


def _head(page: _Column, doc: Commission, on: date) -> None:
    terms, half = doc.terms, page.wide / 2 - 4
    page.y += 3
    if doc.studio:
        page.text(doc.studio, 6.4, bold=True, room=half)
    page.text("Quotation", 6.4, page.right, "end", GREEN, bold=True)
    page.y += 7.5
    top = page.y
    for line in wrapped(doc.address, SMALL, half) if doc.address else []:
        page.text(line, SMALL, colour=GREY)
        page.y += LINE * SMALL
    low, page.y = page.y, top
    until = f"holds until {_day(on + timedelta(terms.valid_days))}" if terms.valid_days else ""
    for line in (f"No. {terms.number}" if terms.number else "", _day(on), until):
        if line:
            page.text(line, SMALL, page.right, "end", GREY)
            page.y += LINE * SMALL
    page.y = max(low, page.y) + 2
    page.rule(GREEN, 0.5)
    page.y += 8
    if terms.client:
        page.text("for", SMALL, colour=GREY)
        page.y += LINE * SMALL + 0.6
        page.text(terms.client, 4.0, bold=True, room=page.wide)
        page.y += LINE * 4.0
        page.lines(terms.client_address, colour=GREY)
        page.y += 4


def _work(page: _Column, doc: Commission, layout: Layout, f: Figures, high_mm: float) -> None:
    page.y += 2
    page.text(doc.title or "A mosaic", 8.0, bold=True, room=page.wide)
    page.y += 8.5
    page.lines(doc.terms.opening or OPENING, 3.7)
    page.y += 2.5
    x0, y0, x1, y1 = whole_frame(doc, layout)
    by = min(page.wide / (x1 - x0), high_mm / (y1 - y0))
    w, h = (x1 - x0) * by, (y1 - y0) * by
    page.room(h + 20)
    page.show((x0, y0, x1, y1), w, h)
    page.y += h + 6
    facts = (
        ("size", f"{doc.width_mm:,.0f} × {doc.height_mm:,.0f} mm"),
        ("area", f"{f.area_m2:.2f} m²"),
        ("tesserae", f"{f.pieces:,}"),
        ("materials", f"{sum(not c.bare for c in f.counts)}"),
        ("weight", f"{f.total_kg:.1f} kg, {f.kg_m2:.1f} kg/m²"),
    )
    for x, (words, value) in zip((0.0, 0.26, 0.40, 0.56, 0.72), facts, strict=True):
        at = page.left + x * page.wide
        page.text(words, SMALL, at, colour=GREY)
        page.put(Text(at, page.y + 4.6, value, BODY, colour=INK, bold=True))
    page.y += 9


def _price(page: _Column, doc: Commission, f: Figures) -> None:
    cur = doc.currency
    lines = client_lines(doc, f)
    page.heading("The price", 30)
    for line in lines:
        told = [w for words, _ in line.parts for w in wrapped(words, SMALL, page.wide - 48)]
        page.room(ROW_MM + LINE * SMALL * len(told))
        page.text(line.words, 3.7, room=page.wide - 48)
        page.text(paid(line.amount, cur), 3.7, page.right, "end")
        page.y += ROW_MM / 2 + (0.8 if told else 0)
        for words in told:
            page.text(words, SMALL, colour=GREY)
            page.y += LINE * SMALL
        page.rule()
        page.y += ROW_MM / 2
    page.room(SUMS_MM + 12 * bool(doc.rates.tax))
    if doc.rates.tax:
        tax = tax_line(doc, f.price)
        for words, amount in (("Before tax", f.price.net), (tax.words, tax.amount)):
            page.text(words, 3.7, colour=GREY)
            page.text(paid(amount, cur), 3.7, page.right, "end", GREY)
            page.y += 6.0
    page.y += 0.5
    page.rule(INK, 0.6)
    page.y += 6.5
    page.text("Together", 5.4, bold=True)
    page.text(paid(f.quote, cur), 6.2, page.right, "end", bold=True)
    page.y += 7.0
    for words in _not_in(f):
        page.lines(words, SMALL, colour=GREY)


def _not_in(f: Figures) -> list[str]:
    """Return what this price leaves out, since nothing is known of it."""
    out = []
    if f.unpriced:
        out.append(f"Not in this price, since it is sold by the sheet: {', '.join(f.unpriced)}.")
    if f.unmatched:
        out.append(f"Not in this price: {f.unmatched:,} pieces whose material is not chosen yet.")
    return out


def _beside(page: _Column, doc: Commission, each: Sequence[Option]) -> None:
    """Set the options side by side, line by line."""
    had = [o for o in each if o.figures is not None]
    if len(had) > 1:
        rows = side_by_side(doc, had)
        page.heading("Side by side", 16 + 6.0 * len(rows))
        first = 46.0
        wide = min((page.wide - first) / len(had), 42.0)
        ends = [page.right - wide * (len(had) - 1 - k) for k in range(len(had))]
        heads = [wrapped(o.words, SMALL, wide - 3, bold=True) for o in had]
        high = max(map(len, heads))
        for k in range(high):
            for at, lines in zip(ends, heads, strict=True):
                if k < len(lines):
                    page.text(lines[k], SMALL, at, "end", GREEN, bold=True)
            page.y += LINE * SMALL
        page.y += 0.4
        page.rule()
        page.y += 4.4
        for words, values, strong in rows:
            page.text(words, 3.3, bold=strong, room=first)
            for at, value in zip(ends, values, strict=True):
                page.text(value, 3.3, at, "end", bold=strong, room=wide - 2)
            page.y += 6.0
        page.y -= 1.0
    else:
        page.heading("Other ways", 8)
    for o in each[1:]:
        if o.note or o.fault:
            page.lines(f"{o.words}: {o.note or o.fault}", SMALL, colour=GREY)


Row = tuple[str, list[str], bool]


def side_by_side(doc: Commission, had: Sequence[Option]) -> list[Row]:
    """Return the table of the options: words, a figure for each, and whether it is a sum."""
    found = [o.figures for o in had if o.figures is not None]
    mounts = [o.key if o.key in ("fixed", "panel") else doc.terms.mount for o in had]
    docs = [replace(doc, terms=replace(doc.terms, mount=m)) for m in mounts]
    lines = [{x.key: x for x in client_lines(d, f)} for d, f in zip(docs, found, strict=True)]
    rows: list[Row] = []
    for key in CLIENT:
        words = next((x[key].words for x in lines if key in x), None)
        if words is not None:
            rows.append((words, [f"{x[key].amount:,.2f}" if key in x else "–" for x in lines],
                         False))  # fmt: skip
    if doc.rates.tax:
        rows.append(("Tax", [f"{f.price.tax:,.2f}" for f in found], False))
    together = f"Together, {doc.currency}" if doc.currency else "Together"
    rows.append((together, [f"{f.quote:,.2f}" for f in found], True))
    kg = [
        hung(doc.terms.panel, f.area_m2, f.total_kg).total_kg if m == "panel" else f.total_kg
        for m, f in zip(mounts, found, strict=True)
    ]
    rows.append(("Weight", [f"{x:.1f} kg" for x in kg], False))
    return rows


def _payments(page: _Column, doc: Commission, price: Quote) -> None:
    due: Sequence[tuple[str, Decimal]] = price.payments
    if not due:
        return
    page.heading("Payments", 6.0 * len(due))
    for stage, (words, amount) in zip(doc.terms.stages, due, strict=True):
        page.room(6.0)
        page.text(words, BODY, room=page.wide - 70)
        page.text(f"{100 * stage.share:.4g} %", BODY, page.right - 42, "end", GREY)
        page.text(paid(amount, doc.currency), BODY, page.right, "end")
        page.y += 6.0
    page.y -= 1.5


def _words(page: _Column, doc: Commission, on: date) -> None:
    terms = doc.terms
    if terms.included:
        page.heading("Included", 8)
        page.lines(terms.included)
    page.heading("Conditions", 8)
    page.lines(terms.conditions or CONDITIONS)
    if terms.valid_days:
        page.lines(f"This quotation holds until {_day(on + timedelta(terms.valid_days))}.")
    if doc.days.promised:
        promised = date.fromisoformat(doc.days.promised)
        page.lines(f"The work is promised for {_day(promised)}.")


def _accepted(page: _Column) -> None:
    page.y += 6
    page.room(20)
    page.text("Accepted", 4.4, colour=GREEN, bold=True)
    page.y += 15
    half = page.wide / 2
    for x, words in ((0.0, "Place and day"), (half + 4, "Signature")):
        page.put(_stroke(page.left + x, page.left + x + half - 4, page.y, GREY, 0.25))
        page.put(Text(page.left + x, page.y + 3.6, words, SMALL, colour=GREY))
    page.y += 6
