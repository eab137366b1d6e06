"""Matching by what pieces can be cut from, and within blanks that give one or several."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from match_rig import PITCH, commission, field, grid, painted, plain, random_sketch

from core.colour.fieldmatch import match_field, match_layout
from core.commission import Rates, Swap
from core.figures import counts
from core.lookagain import look_again
from core.material import Material
from core.pieces import Layout, Pieces
from core.quantities import blank_of, fitting

RATES = Rates()
GREY = (60.0, 0.0, 0.0)


def of_sizes(*sides: float) -> Pieces:
    """Squares of these sides, side by side."""
    x = np.concatenate([[0.0], np.cumsum(np.array(sides) + 1)])[:-1]
    polygons = shapely.box(x, 0.0, x + np.array(sides), np.array(sides))
    n = len(sides)
    return Pieces(polygons, np.zeros(n, np.int64), np.arange(n), np.zeros(n))


def stocked(code: str, side: float, lab=GREY, **given) -> Material:
    return Material(code, code, "smalti", lab, length_mm=side, width_mm=side, waste=0.0, **given)


def codes(doc, laid) -> list[str]:
    return ["" if k < 0 else doc.materials[k].code for k in laid.stock]


SMALL, LARGE = stocked("S", 10.0, pieces=500), stocked("L", 20.0, (40.0, 0.0, 0.0), pieces=500)


def test_a_piece_is_never_matched_to_what_it_cannot_be_cut_from() -> None:
    f = field(4, 1, wanted_lab=GREY)
    doc = commission(f, materials=(SMALL, LARGE))
    laid = match_field(doc, f, of_sizes(9, 10.5, 11, 20, 21), None)
    assert codes(doc, laid) == ["S", "S", "L", "L", ""]
    found = look_again(doc, Layout((laid,)))
    (large,) = (x for x in found if x.rule == "too large")
    assert large.index == 4 and "21.0 x 21.0 mm" in large.sentence
    rows = counts(doc, Layout((laid,)))
    assert [(c.pieces, c.too_large, c.bare) for c in rows] == [
        (2, 0, False),
        (2, 0, False),
        (1, 0, True),
    ]


@pytest.mark.parametrize(
    "asked",
    [
        {"palette": ("S",)},
        {"palette": ("S", "T")},
        {"match": "mix", "blend": ("S", "T")},
        {"match": "shade", "blend": ("S", "T")},
        {"accent": "S", "accent_share": 1.0},
    ],
)
def test_what_a_person_asked_for_is_laid_and_found_too_large(asked) -> None:
    tone = stocked("T", 9.0, (50.0, 0.0, 0.0))
    f = field(4, 1, wanted_lab=GREY, **asked)
    doc = commission(f, materials=(SMALL, tone))
    laid = match_field(doc, f, of_sizes(16, 16, 16), None)
    assert set(codes(doc, laid)) <= {"S", "T"}
    found = look_again(doc, Layout((laid,)))
    assert sum(x.rule == "too large" for x in found) == 3
    rows = counts(doc, Layout((laid,)))
    assert sum(c.too_large for c in rows) == 3
    assert sum(c.take for c in rows) == 12  # each takes what covers it


def test_a_swap_and_a_dropped_tray_are_asked_for() -> None:
    f = field(4, 1, wanted_lab=(40.0, 0.0, 0.0))
    doc = commission(f, materials=(SMALL, LARGE), swaps=(Swap("L", "S"),))
    assert codes(doc, match_field(doc, f, of_sizes(16, 9), None)) == ["S", "S"]
    plain_doc = replace(doc, swaps=())
    hand = np.array(["S", ""], object)
    assert codes(doc, match_field(plain_doc, f, of_sizes(16, 9), None, hand)) == ["S", "L"]


def test_palladianum_of_16_mm_in_cut_smalti_is_short_and_says_how_many_are_too_large() -> None:
    """Before: taken for one stocked piece each, with nothing said."""
    sm72 = Material(
        "SM-72", "", "smalti", GREY, length_mm=15.0, width_mm=10.0, pieces=1400, waste=0.1
    )
    sides = np.random.default_rng(1).uniform(9, 20, 1193)
    f = field(4, 1, palette=("SM-72",), wanted_lab=GREY)
    doc = commission(f, materials=(sm72,))
    (c,) = counts(doc, Layout((match_field(doc, f, of_sizes(*sides), None),)))
    large = int((sides > 10.5).sum())
    assert (c.pieces, c.too_large) == (1193, large) and large > 700
    assert c.take * 150 * 0.9 >= float((sides**2).sum()) and c.short > 0


# by choice alone


@pytest.mark.parametrize("finish", ["metallic", "iridescent", "transparent"])
def test_gold_and_its_like_are_never_laid_by_colour_alone(finish) -> None:
    gold = replace(LARGE, code="G", lab=GREY, finish=finish)
    plainly = replace(LARGE, code="P", lab=(20.0, 0.0, 0.0))
    f = field(4, 1, wanted_lab=GREY)
    doc = commission(f, materials=(gold, plainly))
    pieces = of_sizes(9, 9, 9, 9)
    assert set(codes(doc, match_field(doc, f, pieces, None))) == {"P"}
    for chosen in (
        {"palette": ("G", "P")},
        {"accent": "G", "accent_share": 1.0},
        {"match": "shade", "blend": ("G", "P")},
        {"locked": ("G",)},
    ):
        g = f.with_choices(**chosen)
        assert "G" in codes(doc, match_field(replace(doc, fields=(g,)), g, pieces, None)), chosen
    swapped = replace(doc, swaps=(Swap("P", "G"),))
    assert set(codes(doc, match_field(swapped, f, pieces, None))) == {"G"}
    motif = replace(doc, fields=(replace(f, motif="sun"),), motif_palettes=(("sun", ("G",)),))
    assert set(codes(doc, match_field(motif, motif.fields[0], pieces, None))) == {"G"}


def test_shell_and_gold_glass_are_laid_by_choice_whatever_their_finish() -> None:
    assert [replace(SMALL, kind=k).by_choice for k in ("shell", "gold glass", "smalti")] == [
        True,
        True,
        False,
    ]


# within the stock


def test_four_to_a_tile_are_laid_where_the_counts_allow_four() -> None:
    """Before: one tessera a tile was laid, and three of four pieces stayed bare."""
    f = field(20, 20, wanted_lab=GREY)
    tile = stocked("T", 20.0, pieces=100)
    doc = commission(f, materials=(tile,), within_stock=True)
    (laid,) = match_layout(doc, [of_sizes(*np.full(400, 9.5))], None, [None])
    assert (laid.stock == 0).all()
    (c,) = counts(doc, Layout((laid,)))
    assert (c.take, c.short) == (100, 0)
    fewer = replace(doc, materials=(replace(tile, pieces=99),))
    (laid,) = match_layout(fewer, [of_sizes(*np.full(400, 9.5))], None, [None])
    assert (laid.stock < 0).sum() == 4


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_within_the_stock_nothing_stays_bare_while_there_is_enough(data) -> None:
    seed = data.draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    m = data.draw(st.integers(1, 5))
    sides = [data.draw(st.sampled_from([8.0, 10.0, 20.0, 25.0, 120.0])) for _ in range(m)]
    room = data.draw(st.lists(st.integers(0, 40), min_size=m, max_size=m))
    waste = data.draw(st.sampled_from([0.0, 0.1]))
    materials = tuple(
        replace(x, length_mm=s, width_mm=s, pieces=n if s < 50 else n // 20)
        for x, s, n in zip(
            plain(rng.uniform([20, -40, -40], [90, 40, 50], (m, 3)), waste=waste),
            sides,
            room,
            strict=True,
        )
    )
    sketch, colours = painted(random_sketch(10, 8, seed))
    palette = tuple(x.code for x in materials[: data.draw(st.integers(0, m))])
    fields = (field(10, 4, palette=palette), field(10, 4, at=(0.0, 4 * PITCH), name="f2"))
    doc = commission(*fields, materials=materials, sketch=sketch, within_stock=True)
    pieces = []
    for one in (grid(10, 4), grid(10, 4, (0.0, 4 * PITCH))):
        by = rng.uniform(0.5, 1.2, len(one))
        shapes = [shapely.affinity.scale(p, b, b) for p, b in zip(one.polygons, by, strict=True)]
        pieces.append(replace(one, polygons=np.array(shapes, object)))
    laid = match_layout(doc, pieces, colours, [None, None])
    rows = counts(doc, Layout(laid))
    assert sum(c.pieces for c in rows) == 80
    assert all(c.short == 0 for c in rows)
    stock = np.concatenate([x.stock for x in laid])
    box = np.concatenate([p.box_mm for p in pieces])
    area = np.concatenate([p.area_mm2 for p in pieces])
    fits = fitting(materials, RATES, box)
    named = np.repeat([bool(palette), False], 40)
    for k in np.flatnonzero(stock < 0):
        for j, x in enumerate(materials):
            if fits[k, j] and (not named[k] or x.code in palette):
                with_it = (stock == j) | (np.arange(80) == k)
                taken = blank_of(x, RATES).taken(box[with_it], float(area[with_it].sum()))
                assert taken > x.pieces
