"""The quote adds up to the cent whatever it is made of, and every line says of what."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise

import pytest
from figures_rig import wall
from hypothesis import given
from hypothesis import strategies as st

from core.commission import Rates
from core.figures import figures
from core.figures.money import parted, rounded
from core.figures.panel import BOARDS, hung
from core.terms import ROUND_TO, Panel, Stage, Terms

DOC, LAYOUT = wall()
MONEY = st.decimals(0, 100_000, places=2)
SHARE = st.floats(0, 1)


@st.composite
def stages(draw: st.DrawFn) -> tuple[Stage, ...]:
    """Shares that make 1, as they were typed in whole per cent."""
    cuts = sorted(draw(st.lists(st.integers(0, 100), max_size=5)))
    edges = [0, *cuts, 100]
    return tuple(Stage(f"part {k}", (b - a) / 100) for k, (a, b) in enumerate(pairwise(edges)))


@given(
    fees=st.tuples(MONEY, MONEY, MONEY, MONEY, MONEY),
    shares=st.tuples(SHARE, SHARE, SHARE),
    to=st.sampled_from(ROUND_TO),
    stages=stages(),
    mount=st.sampled_from(("fixed", "panel")),
    prices=st.tuples(MONEY, MONEY, MONEY),
)
def test_lines_make_the_price_and_payments_the_total(fees, shares, to, stages, mount, prices):
    drawing, revision, mounting, transport, fixing = fees
    overhead, margin, tax = shares
    terms = Terms(
        overhead=overhead, drawing=drawing, revision=revision, revisions=3, mounting=mounting,
        transport=transport, fixing=fixing, round_to=to, stages=stages, mount=mount,
        panel=Panel(board_m2=prices[1], hanger=prices[2]),
    )  # fmt: skip
    rates = replace(DOC.rates, hour=prices[0], margin=margin, tax=tax)
    f = figures(replace(DOC, terms=terms, rates=rates), LAYOUT)
    price = f.price
    assert sum(x.amount for x in price.lines) == price.net
    assert price.net + price.tax == price.total == f.quote
    assert price.net % to == 0
    assert all(x.amount == x.amount.quantize(Decimal("0.01")) for x in price.lines)
    assert abs(price.amount("rounding")) <= to / 2
    exact = price.net * Decimal(repr(tax))
    assert abs(price.tax - exact) <= Decimal("0.005")
    assert sum(amount for _, amount in price.payments) == (price.total if stages else 0)
    assert all(amount >= 0 for _, amount in price.payments)


def test_a_quote_by_hand() -> None:
    """Work 11.67, materials 1.25, all else as told; every step reckoned with pencil and paper."""
    rates = Rates(hour=Decimal(30), margin=0.2, tax=0.19)
    terms = Terms(
        overhead=0.10, drawing=Decimal(400), revision=Decimal(75), revisions=2,
        transport=Decimal("90.50"), fixing=Decimal(250), mounting=Decimal(999), round_to=Decimal(5),
    )  # fmt: skip
    price = figures(replace(DOC, rates=rates, terms=terms), LAYOUT).price
    assert {x.key: str(x.amount) for x in price.lines} == {
        "materials": "1.25",
        "grout": "0.00",
        "adhesive": "0.00",
        "work": "11.67",
        "overhead": "1.29",  # 10 % of 12.92
        "margin": "2.84",  # 20 % of 14.21
        "drawing": "400.00",
        "revisions": "150.00",
        "transport": "90.50",
        "fixing": "250.00",
        "rounding": "2.45",  # 907.55 to 910
    }
    assert (price.net, price.tax, price.total) == (910, Decimal("172.90"), Decimal("1082.90"))


def test_every_line_of_more_than_one_step_opens() -> None:
    terms = Terms(overhead=0.1, revision=Decimal(75), revisions=2, mount="panel",
                  round_to=Decimal(50))  # fmt: skip
    price = figures(replace(DOC, terms=terms), LAYOUT).price
    assert all(x.parts for x in price.lines)
    for x in price.lines:
        if x.key not in ("rounding", "materials"):
            assert x.parts[-1][1].split()[0] in (f"{x.amount:,.2f}", f"{x.amount}"), x


def test_nothing_asked_for_is_priced_as_before() -> None:
    """Without terms the quote is cost, margin and tax, as every commission had it."""
    f = figures(DOC, LAYOUT)
    assert [x.key for x in f.price.lines] == ["materials", "grout", "adhesive", "work"]
    assert f.quote == f.cost


@pytest.mark.parametrize(
    ("x", "to", "whole"),
    [("12.345", "0.01", "12.35"), ("12.50", "1", "13"), ("12.50", "5", "15"),
     ("1224.99", "50", "1200"), ("1225", "50", "1250"), ("4.99", "10", "0")],
)  # fmt: skip
def test_rounded_to_the_nearest_halves_upwards(x: str, to: str, whole: str) -> None:
    assert rounded(Decimal(x), Decimal(to)) == Decimal(whole)


@given(st.decimals(0, 10_000_000, places=2), st.integers(1, 12))
def test_parts_of_a_sum_make_it_and_are_even(whole: Decimal, n: int) -> None:
    parts = parted(whole, [1 / n] * n)
    assert sum(parts) == whole
    assert max(parts) - min(parts) <= Decimal("0.02")


def test_hangers_by_rated_load_and_safety() -> None:
    """0.4 m2 at 12.3 kg/m2 and 10 kg of work are 14.92 kg: three times that on hangers of 20 kg."""
    made = hung(Panel(board_kg_m2=12.3, hanger_kg=20.0, safety=3.0), 0.4, 10.0)
    assert made.board_kg == pytest.approx(4.92) and made.total_kg == pytest.approx(14.92)
    assert made.hangers == 3
    assert hung(Panel(hanger_kg=1000.0), 0.4, 10.0).hangers == 2


@given(st.floats(0.01, 20), st.floats(0, 500), st.floats(0.5, 200), st.floats(1, 10))
def test_hangers_always_carry_it(m2: float, kg: float, rated: float, safety: float) -> None:
    panel = Panel(hanger_kg=rated, safety=safety)
    made = hung(panel, m2, kg)
    assert made.hangers * rated >= made.total_kg * safety - 1e-6
    assert made.hangers == 2 or (made.hangers - 1) * rated < made.total_kg * safety


def test_birch_plywood_weighs_what_its_sheets_do() -> None:
    """A maker's table: a sheet of 1220 x 2440 x 18 mm weighs 36.7 kg."""
    assert dict(BOARDS)["birch plywood, 18 mm"] == pytest.approx(36.7 / (1.22 * 2.44), rel=0.01)


def test_aluminium_boards_weigh_what_their_skins_and_cores_do() -> None:
    """Aluminium 2700 kg/m3, polyethylene 920: skins of 0.5 mm about 3 mm of it, and skins of 1 mm
    about 18 mm of honeycomb of 40 kg/m3 (makers' data, from memory) with 0.6 kg of glue.
    """
    boards = dict(BOARDS)
    assert boards["aluminium composite, 4 mm"] == pytest.approx(2.7 + 0.92 * 3, rel=0.02)
    honeycomb = 2 * 2.7 + 18 * 0.040 + 0.6
    assert boards["aluminium honeycomb, 20 mm"] == pytest.approx(honeycomb, rel=0.05)
