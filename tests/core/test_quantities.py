"""What is cut from stocked pieces: by hand, against exact packing, and for any sizes."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from core.commission import Rates
from core.material import Material
from core.pieces import Pieces
from core.quantities import Blank, InHand, blank_of, fitting

RATES = Rates()
SMALL = Material("S", "cut smalti", "smalti", (50.0, 0.0, 0.0), length_mm=15.0, width_mm=10.0)
TILE = Material("T", "tile", "vitreous", (50.0, 0.0, 0.0), length_mm=20.0, width_mm=20.0)
PLATE = Material("P", "plate", "smalti", (50.0, 0.0, 0.0), length_mm=300.0, width_mm=200.0)
ROD = Material("R", "rod", "marble", (50.0, 0.0, 0.0), length_mm=200.0, width_mm=12.0)
STOCKED = (SMALL, TILE, PLATE, ROD)


def boxes(*sides: tuple[float, float]) -> np.ndarray:
    return np.array([sorted(s, reverse=True) for s in sides], float).reshape(-1, 2)


def alike(n: int, a: float, b: float) -> np.ndarray:
    return np.tile(boxes((a, b)), (n, 1))


# by hand


@pytest.mark.parametrize(
    ("material", "box", "each"),
    [
        (TILE, (9.5, 9.5), 4),  # quarters: 2 x 9 + .5 = 18.5 of 20
        (TILE, (10.0, 10.0), 4),  # nipped in quarters, each true to half a millimetre
        (TILE, (10.8, 9.0), 2),
        (TILE, (20.0, 20.0), 1),
        (TILE, (20.5, 20.5), 1),
        (TILE, (20.6, 5.0), 0),
        (SMALL, (8.0, 8.0), 1),
        (SMALL, (7.0, 10.0), 2),
        (SMALL, (10.0, 15.0), 1),  # either way round
        (ROD, (9.0, 9.0), 18),  # (194 + 2) // (8.5 + 2)
    ],
)
def test_how_many_are_cut_from_one(material, box, each) -> None:
    assert blank_of(material, RATES).each(boxes(box)).tolist() == [each]


def test_a_plate_loses_its_rough_edges_and_a_cut_piece_does_not() -> None:
    """Common practice: 3 mm at each edge of a plate; a piece that was cut has true edges."""
    assert (blank_of(PLATE, RATES).long_mm, blank_of(PLATE, RATES).short_mm) == (294.0, 194.0)
    assert (blank_of(ROD, RATES).long_mm, blank_of(ROD, RATES).short_mm) == (194.0, 12.0)
    assert (blank_of(TILE, RATES).long_mm, blank_of(TILE, RATES).short_mm) == (20.0, 20.0)


def test_a_plate_is_cut_from_edge_to_edge() -> None:
    """500 tesserae of 9 x 9 mm are 40,500 of 60,000 mm2, and fit on one plate."""
    plate = blank_of(replace(PLATE, waste=0.0), RATES)
    assert plate.taken(alike(500, 9, 9)) == 1
    # 32 x 21 = 672 by a grid of 8.5 + .5 mm
    assert plate.taken(alike(672, 9, 9)) == 1
    assert plate.taken(alike(673, 9, 9)) == 2


@pytest.mark.parametrize("long", [600.0, 2000.0, 1e5])
def test_one_small_piece_takes_a_blank_however_large_it_is(long) -> None:
    great = Blank(long, long, 0.5, long * long, 1)
    assert great.taken(alike(1, 1, 1)) == great.taken(boxes((1, 1), (2, 1))) == 1
    assert great.taken(np.empty((0, 2))) == 0


def test_pieces_of_many_sizes_share_a_plate() -> None:
    mixed = np.random.default_rng(1).uniform([8, 6], [14, 8], (300, 2))
    assert blank_of(PLATE, RATES).taken(mixed) == 1


def test_what_is_too_large_takes_what_covers_it() -> None:
    small = blank_of(replace(SMALL, waste=0.0), RATES)
    assert small.holds(boxes((16, 16), (15.5, 10.5))).tolist() == [False, True]
    assert small.taken(boxes((16, 16))) == 4  # 2 x 2
    assert small.taken(boxes((16, 9))) == 2
    assert small.taken(np.empty((0, 2))) == 0


def test_losses_are_of_the_tesserae_cut_and_not_of_whole_plates() -> None:
    tenth = blank_of(replace(SMALL, waste=0.1), RATES)
    assert tenth.taken(alike(90, 8, 8)) == 100 and tenth.taken(alike(91, 8, 8)) == 102
    assert blank_of(replace(PLATE, waste=0.1), RATES).taken(alike(600, 9, 9)) == 1
    assert blank_of(replace(TILE, waste=0.5), RATES).taken(alike(8, 9, 9)) == 4


def test_what_is_used_up_of_a_plate_is_its_share() -> None:
    plate, small = blank_of(PLATE, RATES), blank_of(SMALL, RATES)
    whole = replace(PLATE, waste=0.0)
    assert blank_of(whole, RATES).used(alike(336, 9, 9)) == pytest.approx(0.5)
    assert plate.used(alike(336, 9, 9)) == pytest.approx(0.5 / 0.9)
    assert small.used(alike(9, 8, 8)) == pytest.approx(10.0)  # what is left of each is no use


def test_the_box_about_a_piece_is_the_smallest_whichever_way_it_lies() -> None:
    turned = shapely.affinity.rotate(shapely.box(0, 0, 12, 7), 33)
    p = Pieces(np.array([turned, shapely.box(0, 0, 3, 9)]), *np.zeros((2, 2), int), np.zeros(2))
    assert p.box_mm.tolist() == [[12.0, 7.0], [9.0, 3.0]]
    assert Pieces.empty().box_mm.shape == (0, 2)


# for any pieces


sides = st.floats(2.0, 30.0)
some = st.lists(st.tuples(sides, sides), max_size=60).map(lambda s: boxes(*s))
stocked = st.builds(
    lambda long, short, kind: Material(
        "M", "m", kind, (50.0, 0.0, 0.0), length_mm=long, width_mm=short
    ),
    st.one_of(st.floats(8, 40), st.floats(50, 320)),
    st.one_of(st.floats(8, 40), st.floats(50, 320)),
    st.sampled_from(["smalti", "marble"]),
)


@settings(max_examples=200, deadline=None)
@given(m=stocked, one=some, two=some)
def test_more_pieces_never_take_fewer_and_larger_ones_never_fit_better(m, one, two) -> None:
    blank = blank_of(m, RATES)
    both = np.concatenate([one, two])
    assert blank.taken(one) <= blank.taken(both)
    assert (blank.holds(one) | ~blank.holds(one + 1)).all()
    assert (blank.each(one) >= blank.each(one + 1)).all()


@settings(max_examples=200, deadline=None)
@given(m=stocked, box=some)
def test_what_is_taken_covers_what_is_laid(m, box) -> None:
    blank = blank_of(m, RATES)
    area = float(box.prod(axis=1).sum())
    taken = blank.taken(box, area)
    assert taken * m.length_mm * m.width_mm >= area * (1 - 1e-5)
    assert taken >= math.ceil(len(box) / max(int(blank.each(box).max(initial=1)), 1))


def packed_shelf_by_shelf(blank: Blank, box: np.ndarray) -> int:
    """Blanks used by next fit on shelves of falling height (Coffman et al. 1980), laid out."""
    side = np.maximum(box - 0.5, box / 2) + blank.kerf_mm
    side = side[np.lexsort((-side[:, 0], -side[:, 1]))]
    wide, high = blank.long_mm + blank.kerf_mm + 1e-6, blank.short_mm + blank.kerf_mm + 1e-6
    blanks, used, x, shelf = 1, 0.0, 0.0, 0.0
    for a, b in side:
        if shelf == 0.0 or x + a > wide:
            if used + shelf + b > high:
                blanks, used, shelf = blanks + 1, 0.0, 0.0
            used, x, shelf = used + shelf, 0.0, b
        x += a
    return blanks


@settings(max_examples=200, deadline=None)
@given(box=st.lists(st.tuples(st.floats(4, 20), st.floats(4, 20)), min_size=1, max_size=200))
def test_the_bound_by_shelves_is_never_less_than_shelves_laid_out(box) -> None:
    blank, box = blank_of(PLATE, RATES), boxes(*box)
    assert blank._by_shelves(box) >= packed_shelf_by_shelf(blank, box)


@settings(max_examples=200, deadline=None)
@given(box=st.lists(st.tuples(st.floats(4, 60), st.floats(4, 12)), min_size=1, max_size=100))
def test_the_bound_by_strips_is_never_less_than_strips_laid_out(box) -> None:
    blank, box = blank_of(ROD, RATES), boxes(*box)
    box = box[blank.holds(box)]
    side = np.maximum(box - 0.5, box / 2) + blank.kerf_mm
    rods = 0
    for each in np.unique((blank.short_mm + blank.kerf_mm + 1e-6) // side[:, 1]):
        strips, x = 0, math.inf
        for a in side[(blank.short_mm + blank.kerf_mm + 1e-6) // side[:, 1] == each, 0]:
            if x + a > blank.long_mm + blank.kerf_mm:
                strips, x = strips + 1, 0.0
            x += a
        rods += math.ceil(strips / each)
    assert blank._by_strips(box) >= rods


@settings(max_examples=100, deadline=None)
@given(box=some, room=st.integers(0, 40), m=st.sampled_from(STOCKED))
def test_what_is_in_hand_is_enough_for_as_many_as_it_says_and_for_no_more(box, room, m) -> None:
    m = replace(m, pieces=room)
    in_hand = InHand([m], RATES, box, box.prod(axis=1))
    rows = np.arange(len(box))
    n = in_hand.could(0, rows)
    assert in_hand.taken(0, rows[:n]) <= room
    assert n == len(box) or in_hand.taken(0, rows[: n + 1]) > room
    in_hand.take(0, rows[:n])
    assert in_hand.left(0) == room - in_hand.taken(0)


@settings(max_examples=100, deadline=None)
@given(box=some, m=st.sampled_from(STOCKED), rng=st.randoms(use_true_random=False))
def test_what_is_laid_as_found_takes_a_stocked_piece_each(box, m, rng) -> None:
    blank = blank_of(replace(m, waste=0.0), RATES)
    whole = np.array([rng.random() < 0.5 for _ in box], bool)
    fit, spent = blank.holds(box), blank.spent(box, whole)
    as_found = int((whole & fit).sum())
    assert (blank.each(spent)[whole & fit] == 1).all() and (blank.holds(spent) == fit).all()
    assert blank.taken(spent[whole & fit]) == as_found
    assert blank.taken(spent) >= max(as_found, blank.taken(box))


def test_which_pieces_fit_which_materials() -> None:
    fits = fitting(STOCKED, RATES, boxes((16, 9), (12.4, 12.4), (40, 40)))
    assert fits.tolist() == [
        [False, True, True, True],
        [False, True, True, True],
        [False, False, True, False],
    ]
