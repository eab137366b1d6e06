"""The quote as the client reads it: it adds up, in the studio's own words, and fits its pages."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

from figures_rig import wall
from hypothesis import given, settings
from hypothesis import strategies as st

from core.drawing import Page, Picture, Text
from core.figures import figures
from core.figures.options import options
from core.lettering import wide_mm
from core.quotepage import client_lines, quote_pages, side_by_side
from core.terms import ROUND_TO, Days, Panel, Stage, Terms

DOC, LAYOUT = wall()
ON = date(2026, 11, 27)
TERMS = Terms(
    number="2026-14", client="A client", client_address="A street 1\nA town", overhead=0.15,
    drawing=Decimal(450), revision=Decimal(120), revisions=2, mounting=Decimal(280),
    transport=Decimal(190), fixing=Decimal(640), round_to=Decimal(10),
    stages=(Stage("On order", 0.4), Stage("In place", 0.6)), options=("panel",),
    panel=Panel(board_m2=Decimal(95), hanger=Decimal("7.50")),
)  # fmt: skip
FULL = replace(DOC, terms=TERMS, studio="Our studio", address="Quay 3, A town",
               rates=replace(DOC.rates, margin=0.12, tax=0.19))  # fmt: skip


def words(pages: list[Page]) -> list[str]:
    return [i.words for p in pages for i in p.items if isinstance(i, Text)]


def test_all_that_was_agreed_is_on_it() -> None:
    pages = quote_pages(FULL, LAYOUT, ON)
    said = " ".join(words(pages))
    for part in (
        "Our studio", "Quay 3, A town", "A client", "A street 1", "A town", "No. 2026-14",
        "27 November 2026", "holds until 27 December 2026", "Wall", "120 × 60 mm", "50",
        "Side by side", "On a removable panel", "On order", "40 %", "Accepted",
    ):  # fmt: skip
        assert part in said, part
    f = figures(FULL, LAYOUT)
    assert f"{f.quote:,.2f} EUR" in said and f"{f.price.tax:,.2f} EUR" in said
    assert any(isinstance(i, Picture) for i in pages[0].items)


def test_the_studios_own_words_stand_where_it_typed_them() -> None:
    plain = " ".join(words(quote_pages(FULL, LAYOUT, ON)))
    own = replace(TERMS, opening="As we spoke.", conditions="Ours alone.", included="A sample.")
    said = " ".join(words(quote_pages(replace(FULL, terms=own), LAYOUT, ON)))
    assert "We offer you this work" in plain and "We offer you this work" not in said
    assert all(w in said and w not in plain for w in ("As we spoke.", "Ours alone.", "A sample."))
    assert "batch to batch" in plain and "batch to batch" not in said


def test_margin_and_overhead_are_the_studios_own() -> None:
    said = " ".join(words(quote_pages(FULL, LAYOUT, ON))).lower()
    assert "margin" not in said and "overhead" not in said


def test_what_is_not_in_the_price_is_said() -> None:
    doc, sheet = wall(stock=1)
    assert "sold by the sheet: S." in " ".join(words(quote_pages(doc, sheet, ON)))
    doc, bare = wall(stock=-1)
    assert "50 pieces whose material is not chosen" in " ".join(words(quote_pages(doc, bare, ON)))


MONEY = st.decimals(0, 100_000, places=2)


@given(st.tuples(MONEY, MONEY, MONEY, MONEY), st.floats(0, 1), st.floats(0, 1),
       st.sampled_from(ROUND_TO), st.sampled_from(("fixed", "panel")))  # fmt: skip
def test_the_clients_lines_make_the_price(prices, overhead, margin, to, mount) -> None:
    hour, board, fixing, drawing = prices
    terms = replace(TERMS, overhead=overhead, round_to=to, mount=mount, fixing=fixing,
                    drawing=drawing, panel=Panel(board_m2=board, hanger=hour))  # fmt: skip
    doc = replace(FULL, terms=terms, rates=replace(FULL.rates, hour=hour, margin=margin))
    f = figures(doc, LAYOUT)
    lines = client_lines(doc, f)
    assert sum(x.amount for x in lines) == f.price.net
    other = replace(doc, terms=replace(terms, mount="fixed" if mount == "panel" else "panel"))
    assert client_lines(other, figures(other, LAYOUT))[0] == lines[0]  # the mosaic is the same


def test_columns_side_by_side_add_up() -> None:
    each = options(FULL, LAYOUT)
    rows = side_by_side(FULL, each)
    for k in range(len(each)):
        column = [v[k] for _, v, _ in rows]
        money = [Decimal(v.replace(",", "")) for v in column[:-2] if v != "–"]
        assert sum(money) == Decimal(column[-2].replace(",", ""))


@settings(max_examples=15)
@given(st.integers(0, 12), st.integers(0, 3000), st.integers(0, 150))
def test_nothing_runs_over_the_edge_however_much_is_written(n: int, long: int, name: int) -> None:
    stages = tuple(Stage(f"payment {k} when it is due", 1 / n) for k in range(n))
    terms = replace(TERMS, stages=stages, conditions="word " * (long // 5), client="N" * name,
                    client_address="line\n" * (name // 10))  # fmt: skip
    doc = replace(FULL, terms=terms, days=Days(promised="2027-03-31"), title="T" * name)
    for page in quote_pages(doc, LAYOUT, ON):
        for i in page.items:
            if isinstance(i, Text):
                wide = wide_mm(i.words, i.size_mm, i.bold)
                x0 = i.x_mm - (wide if i.anchor == "end" else 0)
                assert x0 >= 15 and x0 + wide <= page.width_mm - 15, i
                assert 10 <= i.y_mm <= page.height_mm - 10, i
    last = quote_pages(doc, LAYOUT, ON)[-1]
    assert any(isinstance(i, Text) and "Signature" in i.words for i in last.items)
