"""Figures against handbook tables and by hand: grout, weight, cost, what to take, walls."""

from __future__ import annotations

import csv
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from figures_rig import wall

from core.commission import Commission
from core.figures import (
    CAUTIONS,
    COLUMNS,
    WALLS,
    counts,
    figures,
    grout_kg_m2,
    needed_instead,
    write_counts_csv,
)
from core.pieces import Layout

INCH = 25.4


# Rows of a published grout coverage chart (density 1.6 kg/dm3, joint 1/16 in): side and depth.
@pytest.mark.parametrize(
    ("side_in", "depth_in", "kg_m2"), [(1, 1 / 4, 1.162), (2, 1 / 4, 0.603), (12, 3 / 8, 0.157)]
)
def test_grout_chart(side_in: float, depth_in: float, kg_m2: float) -> None:
    side, depth, joint = side_in * INCH, depth_in * INCH, INCH / 16
    assert grout_kg_m2(side, side, depth, joint, 1.6) == pytest.approx(kg_m2, rel=0.01)


def test_the_short_trade_form_runs_high_on_small_tesserae() -> None:
    """(L + W) / (L W) t j rho runs 31 % high at 10 x 10 mm with 2 mm joints."""
    short = (10 + 10) / (10 * 10) * 4 * 2 * 1.6
    assert short / grout_kg_m2(10, 10, 4, 2, 1.6) == pytest.approx(1.31, abs=0.005)


def test_grout_of_a_laid_grid_is_the_handbooks() -> None:
    doc, layout = wall()
    f = figures(doc, layout)
    assert f.area_m2 == pytest.approx(0.0072)
    assert f.grout_kg / f.area_m2 == pytest.approx(grout_kg_m2(10, 10, 4, 2, 1.6), rel=1e-9)


def test_weight_by_hand() -> None:
    """50 pieces of 10 x 10 x 4 mm glass of 2500 kg/m3 (EN 572) weigh 50 g; bed 5 kg/m2."""
    doc, layout = wall()
    f = figures(doc, layout)
    assert f.pieces == 50 and f.unmatched == 0
    assert f.pieces_kg == pytest.approx(0.050)
    assert f.adhesive_kg == pytest.approx(0.0072 * 5.0)
    assert f.kg_m2 == pytest.approx((0.050 + f.grout_kg + f.adhesive_kg) / 0.0072)


def test_vitreous_glass_weighs_about_seven_kg_a_m2() -> None:
    """Vitreous glass with its joints: about 7 kg/m2 of glass (makers' tables, from memory)."""
    doc, layout = wall()
    f = figures(doc, layout)
    assert 6.0 < f.pieces_kg / f.area_m2 < 8.0


def test_hours_and_quote() -> None:
    doc, layout = wall()
    f = figures(doc, layout)
    assert f.hours == pytest.approx(50 * 40 * 0.7 / 3600)
    grout = Decimal(4) * Decimal(repr(f.grout_kg * 1.12))
    assert f.grout_cost == grout.quantize(Decimal("0.01"))
    assert f.work_cost == Decimal("11.67")
    assert f.quote == f.materials_cost + f.grout_cost + f.adhesive_cost + f.work_cost
    assert isinstance(f.quote, Decimal)


def test_what_to_take_allows_for_loss_and_says_what_is_short() -> None:
    (c,) = counts(*wall())
    assert (c.pieces, c.take, c.short) == (50, 63, 23)  # 50 / 0.8 = 62.5; 40 in hand
    assert c.take_kg == pytest.approx(0.063) and c.used_kg == pytest.approx(0.0625)
    assert c.cost == Decimal("1.25")


def test_a_price_by_the_sheet_is_said_to_be_missing() -> None:
    f = figures(*wall(stock=1))
    assert f.unpriced == ("S",) and f.counts[0].cost is None and f.materials_cost == 0


def test_bought_pieces_that_give_several() -> None:
    (c,) = counts(*wall(stock=2))  # marble of 40 x 21 mm, sawn with 2 mm of kerf: 3 x 2
    assert (c.take, c.cost) == (9, Decimal("4.50"))  # 50 / 6


def test_pebbles_are_counted_one_by_one_however_small_they_are_drawn() -> None:
    """Fifty stones of 40 x 21 mm cut into squares of 10 are 9; laid as found they are 50."""
    doc, layout = wall(stock=2)
    assert counts(doc, layout)[0].take == 9
    found = replace(doc.fields[0], laying=replace(doc.fields[0].laying, pieces="rounds"))
    assert counts(replace(doc, fields=(found,)), layout)[0].take == 50
    assert needed_instead(replace(doc, fields=(found,)), layout, "P")["G"] >= 50


def test_pieces_larger_than_what_is_stocked_are_counted_and_covered() -> None:
    """Tesserae of 16 mm laid in smalti cut 15 x 10 mm: each is two such pieces long, two wide."""
    doc, layout = wall()
    small = replace(doc.materials[0], length_mm=8.0, width_mm=6.0, waste=0.0, pieces=60)
    (c,) = counts(replace(doc, materials=(small, *doc.materials[1:])), layout)
    assert (c.pieces, c.too_large, c.take, c.short) == (50, 50, 200, 140)
    (fits,) = counts(doc, layout)
    assert fits.too_large == 0


def test_every_piece_is_in_a_row() -> None:
    doc, layout = wall()
    (laid,) = layout.fields
    stock = np.arange(50) % 5 - 1
    rows = counts(doc, Layout((replace(laid, stock=stock),)))
    assert [c.pieces for c in rows] == [10] * 5 and sum(c.pieces for c in rows) == len(layout)
    assert [c.bare for c in rows] == [False] * 4 + [True]
    assert (rows[-1].material.code, rows[-1].take, rows[-1].cost) == ("", 0, Decimal(0))
    f = figures(doc, Layout((replace(laid, stock=stock),)))
    assert f.unmatched == 10 and f.unpriced == ("S",)


def test_a_figure_is_the_sum_of_its_parts() -> None:
    doc, layout = wall()
    one, two = doc.fields[0], replace(doc.fields[0].with_choices(opus="palladianum"), id="f2")
    both = Layout((layout.fields[0], replace(layout.fields[0], field_id="f2")))
    rates = replace(doc.rates, margin=0.2, tax=0.1)
    f = figures(replace(doc, fields=(one, two), rates=rates), both)
    assert [(w.opus, w.pieces, w.effort) for w in f.work] == [
        ("regulatum", 50, 0.7),
        ("palladianum", 50, 1.5),
    ]
    assert f.hours == pytest.approx(50 * 40 * (0.7 + 1.5) / 3600)
    assert f.margin == (f.cost * Decimal("0.2")).quantize(Decimal("0.01"))
    assert f.tax == ((f.cost + f.margin) * Decimal("0.1")).quantize(Decimal("0.01"))
    assert f.quote == f.cost + f.margin + f.tax


def test_price_by_area() -> None:
    (c,) = counts(*wall(stock=3))
    assert c.cost == Decimal("0.50")  # 50 pieces of 1 cm2


def test_walls_are_those_of_the_standard() -> None:
    """BS 5385-1:2018, most a background carries with bed and grout, kg/m2."""
    assert dict(WALLS) == {
        "plaster": 20.0,
        "plasterboard": 32.0,
        "gypsum fibreboard": 40.0,
        "glass-reinforced cement board": 50.0,
        "foam-cored board": 60.0,
    }
    doc, layout = wall()
    deep = replace(doc.materials[0], thickness_mm=9.0)
    heavy = replace(doc, materials=(deep, *doc.materials[1:]))
    light, over = figures(doc, layout), figures(heavy, layout)
    assert [ok for _, _, ok in light.walls] == [True] * 5
    assert 20 < over.kg_m2 < 32
    assert [ok for _, _, ok in over.walls] == [False, True, True, True, True]


def test_unmatched_pieces_are_counted_apart() -> None:
    doc, layout = wall(stock=-1)
    f = figures(doc, layout)
    assert f.unmatched == 50 and [(c.bare, c.pieces) for c in f.counts] == [(True, 50)]


def test_nothing_laid() -> None:
    f = figures(Commission("Empty", 100.0, 100.0), Layout(()))
    assert (f.pieces, f.kg_m2, f.quote) == (0, 0.0, Decimal("0.00"))


def test_counts_csv(tmp_path: Path) -> None:
    write_counts_csv(tmp_path / "c.csv", *wall())
    with (tmp_path / "c.csv").open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert tuple(row) == COLUMNS
    assert (row["code"], row["pieces"], row["short"], row["cost"], row["currency"]) == (
        *("G", "50", "23", "1.25", "EUR"),
    )
    assert float(row["area_mm2"]) == 5000.0
    assert row["order"] == "G"


def test_a_code_cannot_be_run_by_a_spreadsheet(tmp_path: Path) -> None:
    doc, layout = wall()
    odd = replace(doc.materials[0], code="-A1", description="=1+1")
    write_counts_csv(tmp_path / "c.csv", replace(doc, materials=(odd, *doc.materials[1:])), layout)
    with (tmp_path / "c.csv").open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["code"], row["description"], row["order"]) == ("'-A1", "'=1+1", "'-A1")


def test_more_of_a_lot_is_ordered_as_its_material(tmp_path: Path) -> None:
    doc, layout = wall()
    lot = replace(doc.materials[0], code="G lot 12", lot=12, lot_of="G")
    doc = replace(doc, materials=(lot, *doc.materials[1:]))
    (c,) = counts(doc, layout)
    assert (c.material.code, c.short, c.order) == ("G lot 12", 23, "G")
    write_counts_csv(tmp_path / "c.csv", doc, layout)
    with (tmp_path / "c.csv").open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert (row["code"], row["short"], row["order"]) == ("G lot 12", "23", "G")
    (enough,) = counts(
        replace(doc, materials=(replace(lot, pieces=63), *doc.materials[1:])), layout
    )
    assert (enough.short, enough.order) == (0, "")


def test_cautions_name_dust_eyes_cement_epoxy_weight_and_local_codes() -> None:
    words = " ".join(CAUTIONS)
    for part in ("29 CFR 1926.1153", "Z87.1", "cement", "epoxy", "Weight", "local codes"):
        assert part in words
