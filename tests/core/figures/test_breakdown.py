"""What is laid and lost, by material, field, motif and sheet: by hand, and parts against wholes."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from pathlib import Path

import pytest
from grids import beside, grid
from hypothesis import given, settings
from hypothesis import strategies as st

from core.commission import Sheet
from core.figures import counts, kilo_off, parts_of, reckoned_a_kg
from core.figures.breakdown import BY, COLUMNS, write_quantities_csv
from core.material import Material

MARBLE = Material(
    "M", "marble", "marble", (90.0, 0.0, 0.0), length_mm=40.0, width_mm=21.0, thickness_mm=10.0,
    density_kg_m3=2700.0, waste=0.0,
)  # fmt: skip
PEBBLE = Material(
    "P", "pebbles", "stone", (50.0, 0.0, 0.0), length_mm=12.0, width_mm=10.0, waste=0.0,
    broken=0.1, off_colour=0.05, wrong_size=0.05, pieces_a_kg=250.0,
)  # fmt: skip


def test_a_piece_against_its_blank_by_hand() -> None:
    """Six squares of 10 mm from a blank of 840 mm2: of each 140 mm2 a square is 100."""
    (t,) = parts_of(*grid(MARBLE)).tallies("material")
    assert (t.name, t.pieces) == ("M", 50)
    assert t.net_mm2 == pytest.approx(5000)
    assert t.net_kg == pytest.approx(5000 * 10 * 2700 / 1e9)
    assert t.offcuts_kg == pytest.approx(50 * 40 * 10 * 2700 / 1e9)
    assert (t.cutting_kg, t.sorting_kg) == (0, 0)


def test_what_breaks_in_cutting_comes_on_top() -> None:
    (t,) = parts_of(*grid(replace(MARBLE, waste=0.2))).tallies("material")
    assert t.cutting_kg == pytest.approx(0.25 * (t.net_kg + t.offcuts_kg))


def test_how_many_kilos_of_pebbles_to_buy() -> None:
    """Of 100 pebbles 20 are sorted out, so 100 laid as found take 125: half a kilo at 250 a kg."""
    doc, layout = grid(PEBBLE, (11.0, 9.0), columns=10, rows=10)
    as_found = doc.fields[0].with_choices(pieces="rounds")
    doc = replace(doc, fields=(as_found,))
    (c,) = counts(doc, layout)
    assert (c.pieces, c.take, c.take_kg) == (100, 125, pytest.approx(0.5))
    (t,) = parts_of(doc, layout).tallies("material")
    assert t.buy_kg == pytest.approx(0.5)
    assert t.sorting_kg == pytest.approx(0.1)
    assert t.net_kg + t.offcuts_kg == pytest.approx(0.4)


def test_a_piece_drawn_larger_than_its_blank_loses_nothing_below_nought() -> None:
    tight = replace(MARBLE, length_mm=9.6, width_mm=9.6)
    (t,) = parts_of(*grid(tight)).tallies("material")
    assert t.offcuts_kg == 0 and t.buy_kg == pytest.approx(t.net_kg)


shares = st.floats(0, 0.3)


@settings(max_examples=40, deadline=None)
@given(waste=shares, broken=shares, off=shares, wrong=shares, side=st.floats(3, 30))
def test_whichever_way_it_is_parted_the_parts_are_the_whole(
    waste: float, broken: float, off: float, wrong: float, side: float
) -> None:
    first = replace(
        MARBLE, waste=waste, broken=broken, off_colour=off, wrong_size=wrong, length_mm=side
    )
    doc, layout = grid(first, (7.0, 5.0))
    more = replace(doc.fields[0], id="f2", name="Other", motif="")
    doc, layout = beside(replace(doc, materials=(first, PEBBLE)), layout, more, 1)
    middle = ((((0.0, 0.0), (40.0, 0.0), (40.0, 99.0), (0.0, 99.0)),),)
    doc = replace(doc, sheets=(Sheet(3, middle),))
    parts = parts_of(doc, layout)
    whole = parts.tallies("material")
    for what in BY:
        for name in ("pieces", "net_mm2", "net_kg", "offcuts_kg", "buy_kg"):
            some = sum(getattr(t, name) for t in parts.tallies(what))
            assert some == pytest.approx(sum(getattr(t, name) for t in whole))
            by_code = sum(getattr(t, name) for _, t in parts.by_code(what))
            assert by_code == pytest.approx(some)
    assert all(t.offcuts_kg >= 0 and t.sorting_kg >= 0 for t in whole)
    assert [t.name for t in parts.tallies("motif")] == ["wall", "no motif"]
    kept = (1 - waste) * (1 - broken - off - wrong)
    assert whole[0].buy_kg == pytest.approx((whole[0].net_kg + whole[0].offcuts_kg) / kept)


def test_what_is_to_be_had_is_what_counts_say_is_used_up() -> None:
    """Two ways to the same: piece by piece, and by the count that orders go by."""
    for m in (MARBLE, replace(MARBLE, waste=0.15, wrong_size=0.1), PEBBLE):
        doc, layout = grid(m, (9.0, 8.0), columns=20, rows=20)
        (t,), (c,) = parts_of(doc, layout).tallies("material"), counts(doc, layout)
        assert t.buy_kg == pytest.approx(c.used_kg)
        assert c.take_kg >= c.used_kg - 1e-12


def test_nothing_laid_has_no_parts() -> None:
    doc, layout = grid(MARBLE)
    bare = parts_of(doc, replace(layout, fields=()))
    assert all(bare.tallies(what) == () for what in BY)


def test_quantities_csv(tmp_path: Path) -> None:
    doc, layout = grid(MARBLE)
    more = replace(doc.fields[0], id="f2", name="=Other", motif="")
    doc, layout = beside(replace(doc, materials=(MARBLE, PEBBLE)), layout, more, -1)
    write_quantities_csv(tmp_path / "q.csv", doc, layout)
    with (tmp_path / "q.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert tuple(rows[0]) == COLUMNS
    assert {r["by"] for r in rows} == {"material", "field", "motif"}
    for what in ("material", "field", "motif"):
        assert sum(int(r["pieces"]) for r in rows if r["by"] == what) == len(layout)
    (other,) = [r for r in rows if r["name"] == "'=Other"]
    assert (other["code"], other["net_kg"]) == ("", "0.00000")


def test_thirty_five_smalti_go_to_a_hundred_grams() -> None:
    """Cut smalti of 15 x 10 x 7 mm and 2700 kg/m3: about 35 to 100 g (sellers' tables)."""
    smalti = Material("S", "smalti", "smalti", (40.0, 0.0, 0.0), length_mm=15.0, width_mm=10.0,
                      thickness_mm=7.0, density_kg_m3=2700.0)  # fmt: skip
    assert reckoned_a_kg(smalti) / 10 == pytest.approx(35, rel=0.02)
    assert abs(kilo_off(replace(smalti, pieces_a_kg=350.0))) < 0.01
    assert kilo_off(replace(smalti, pieces_a_kg=700.0)) == pytest.approx(1, abs=0.02)
    assert kilo_off(smalti) == 0


@pytest.mark.parametrize("joint", [2.0, 3.0])
def test_smalti_at_thirty_five_to_a_hundred_grams_weigh_what_is_published_a_m2(
    joint: float,
) -> None:
    """12 to 14.6 kg/m2 (sellers' tables), laid upright with joints of 2 to 3 mm."""
    smalti = Material("S", "smalti", "smalti", (40.0, 0.0, 0.0), length_mm=15.0, width_mm=10.0,
                      pieces_a_kg=350.0)  # fmt: skip
    doc, layout = grid(smalti, (15.0, 10.0), joint)
    (t,) = parts_of(doc, layout).tallies("material")
    assert 12.0 <= t.net_kg / (doc.width_mm * doc.height_mm / 1e6) <= 14.6


def test_a_roman_cube_of_ten_millimetres() -> None:
    """About 3 g each and 9,000 to the m2 (studies of pavements, from memory)."""
    cube = replace(MARBLE, length_mm=10.0, width_mm=10.0)
    doc, layout = grid(cube, joint_mm=0.5, columns=100, rows=100)
    (t,) = parts_of(doc, layout).tallies("material")
    assert 1000 * t.net_kg / t.pieces == pytest.approx(3, rel=0.1)
    a_m2 = t.pieces / (doc.width_mm * doc.height_mm / 1e6)
    assert math.isclose(a_m2, 9000, rel_tol=0.02)
