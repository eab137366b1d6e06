"""Grout, adhesive, paper and the like: published charts on laid grids, and by hand."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from grids import grid

from core.commission import Commission, Rates
from core.drawing import Text
from core.figures import figures, short_grout_kg_m2
from core.figures.pages import figures_pages, kilo_said, limit_said
from core.figures.sums import COLUMNS, sums
from core.goods import Goods
from core.material import Material
from core.pieces import Layout
from core.place import SUBSTRATES, WALLS, Place

INCH = 25.4
GLASS = Material("G", "glass", "vitreous", (50.0, 0.0, 0.0))


# Rows of a published grout coverage chart (density 1.6 kg/dm3, joint 1/16 in): side and depth.
@pytest.mark.parametrize(
    ("side_in", "depth_in", "kg_m2"), [(1, 1 / 4, 1.162), (2, 1 / 4, 0.603), (12, 3 / 8, 0.157)]
)
def test_grout_of_a_laid_grid_is_the_charts(side_in: float, depth_in: float, kg_m2: float) -> None:
    m = replace(GLASS, thickness_mm=depth_in * INCH)
    f = figures(*grid(m, (side_in * INCH, side_in * INCH), INCH / 16))
    assert f.grout_kg / f.area_m2 == pytest.approx(kg_m2, rel=0.01)


def test_the_short_form_stands_beside_it_with_its_error() -> None:
    """31 % high at 10 x 10 mm with joints of 2 mm; under 3 % at a foot square with 1/16 in."""
    f = figures(*grid(GLASS))
    assert f.short_grout_kg / f.grout_kg == pytest.approx(1.31, abs=0.005)
    assert f.short_grout_kg / f.area_m2 == pytest.approx(short_grout_kg_m2(10, 10, 4, 2, 1.6))
    large = figures(*grid(GLASS, (12 * INCH, 12 * INCH), INCH / 16))
    assert 1 < large.short_grout_kg / large.grout_kg < 1.03


def test_a_square_notch_leaves_half_its_depth() -> None:
    """Ridges as wide as the gaps between: a trowel of 6 mm leaves 3 mm, about 5 kg/m2 (solid bed
    of 3 mm, common practice).
    """
    doc, layout = grid(GLASS)
    combed = replace(doc, rates=Rates(bed_mm=9.0, goods=Goods(notch_mm=6.0)))
    f = figures(combed, layout)
    assert f.bed_mm == 3.0
    assert f.adhesive_kg / f.area_m2 == pytest.approx(5.0)
    assert f.adhesive_bought_kg == f.adhesive_kg
    assert figures(replace(doc, rates=Rates(bed_mm=9.0)), layout).bed_mm == 9.0


def test_goods_by_hand_with_what_they_cost() -> None:
    doc, layout = grid(GLASS, columns=100, rows=100)  # 1.44 m2
    goods = Goods(
        paper_m2=1.1, paste_kg_m2=0.0, film_m2=0.0, putty_kg_m2=2.0, mesh_m2=1.05,
        paper=Decimal("2.00"), putty=Decimal("9.50"), adhesive_surplus=0.1,
    )  # fmt: skip
    rates = Rates(adhesive_kg=Decimal(1), goods=goods)
    f = figures(replace(doc, rates=rates), layout)
    assert [(g.words, g.unit) for g in f.goods] == [
        *(("Facing paper", "m2"), ("Mesh", "m2"), ("Putty", "kg"))
    ]
    assert [g.amount for g in f.goods] == pytest.approx([1.584, 1.512, 2.88])
    assert [g.cost for g in f.goods] == [Decimal("3.17"), Decimal("0.00"), Decimal("27.36")]
    assert f.goods_cost == Decimal("30.53")
    assert f.adhesive_cost == Decimal("7.92")  # 7.2 kg and a tenth
    bare = figures(replace(doc, rates=replace(rates, goods=replace(goods, putty_kg_m2=0))), layout)
    assert f.total_kg - bare.total_kg == pytest.approx(2.88)  # putty stays on the wall, paper not
    assert f.kg_m2 - bare.kg_m2 == pytest.approx(2.0)
    assert f.cost == bare.cost + Decimal("27.36")


def test_goods_that_have_no_price_cost_what_it_cost_before() -> None:
    doc, layout = grid(GLASS)
    rates = Rates(hour=Decimal(30), grout_kg=Decimal(4), adhesive_kg=Decimal(2))
    f = figures(replace(doc, rates=rates), layout)
    assert f.goods and f.cost == f.materials_cost + f.grout_cost + f.adhesive_cost + f.work_cost


@pytest.mark.parametrize("substrate", SUBSTRATES)
def test_the_substrate_is_held_against_its_published_limit(substrate: str) -> None:
    doc, layout = grid(replace(GLASS, thickness_mm=12.0))
    doc = replace(doc, place=Place("dry wall", substrate=substrate))
    f = figures(doc, layout)
    words = limit_said(doc, f)
    limit = dict(WALLS).get(substrate)
    assert substrate in words
    if limit is None:
        assert "no limit is published" in words
    else:
        assert f"{limit:g} kg/m²" in words
        assert ("more than" in words) == (f.kg_m2 > limit)


def test_the_rows_of_sums_are_the_figures() -> None:
    doc, layout = grid(GLASS)
    doc = replace(doc, place=Place("pool", substrate="plaster"), currency="EUR")
    f = figures(doc, layout)
    rows = {r[0]: r for r in sums(doc, f)}
    assert len(COLUMNS) == 4 and all(len(r) == 4 for r in rows.values())
    assert float(rows["weight a m2"][1]) == pytest.approx(f.kg_m2, abs=1e-5)
    assert rows["limit of plaster"][1:3] == ["20.00000", "kg/m2"]
    assert rows["cost"][1:3] == [str(f.cost), "EUR"]


def words_of(doc: Commission, layout: Layout) -> str:
    pages = figures_pages(doc, layout)
    for page in pages:
        for item in page.items:
            if isinstance(item, Text):
                assert 0 <= item.x_mm <= page.width_mm and 0 < item.y_mm < page.height_mm
    return " ".join(i.words for p in pages for i in p.items if isinstance(i, Text))


def test_pages_say_when_weighed_and_reckoned_disagree() -> None:
    doc, layout = grid(replace(GLASS, pieces_a_kg=2000.0))
    assert "2,000 1,000 × 2.00" in words_of(doc, layout)
    assert kilo_said(doc.materials[0]).startswith("G: 2,000 as weighed, 1,000 by size and density")
    agreed, layout = grid(replace(GLASS, pieces_a_kg=1050.0))
    assert "weigh again" not in words_of(agreed, layout)


def test_words_without_end_stay_on_the_page() -> None:
    endless = "a" * 9000 + " wordy " * 500
    m = replace(GLASS, description=endless, supplier=endless, code="C" * 60)
    doc, layout = grid(m)
    doc = replace(doc, title="T" * 200, place=Place("pool"))
    assert "..." in words_of(doc, layout)


def test_nothing_laid_has_pages_too() -> None:
    assert "Altogether" in words_of(Commission("Empty", 100.0, 100.0), Layout(()))
