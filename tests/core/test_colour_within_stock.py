"""Matching within what is in hand, checked against linear programmes and skimage's CIEDE2000."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from match_rig import (
    PITCH,
    STOCK,
    commission,
    field,
    grid,
    most_served,
    off,
    painted,
    plain,
    programme,
    random_sketch,
    soft_palette,
    two_fields,
    usable,
    used_of,
)

from core.colour.fieldmatch import match_field, match_layout
from core.commission import Swap
from core.figures import counts
from core.pieces import Layout


@settings(max_examples=25, deadline=None)
@given(data=st.data())
def test_within_stock_never_takes_more_than_is_in_hand_and_costs_the_least(data):
    seed = data.draw(st.integers(0, 10_000))
    m = data.draw(st.integers(2, 7))
    room = data.draw(st.lists(st.integers(0, 90), min_size=m, max_size=m))
    waste = data.draw(st.sampled_from([0.0, 0.1, 0.25]))
    weight = data.draw(st.sampled_from([0.5, 1.0, 2.0]))
    codes = [f"M{k}" for k in range(m)]
    palettes = [
        tuple(data.draw(st.lists(st.sampled_from(codes), max_size=m, unique=True)))
        for _ in range(2)
    ]
    doc, pieces, colours = two_fields(seed, room, m, palettes, waste=waste, lightness_weight=weight)
    laid = match_layout(doc, pieces, colours, [None, None])
    stock = np.concatenate([one.stock for one in laid])
    wanted = np.concatenate([one.wanted_lab for one in laid])
    in_hand = np.array([usable(x) for x in doc.materials])
    assert (np.bincount(stock[stock >= 0], minlength=m) <= in_hand).all()
    for count in counts(doc, Layout(laid)):
        assert count.take <= count.material.pieces

    free = np.array([[c in (palettes[k] or codes) for c in codes] for k in (0, 1)])
    free = np.repeat(free, 60, axis=0)
    cost = np.where(free, off(wanted, [x.lab for x in doc.materials], weight), np.inf)
    served = stock >= 0
    assert free[np.flatnonzero(served), stock[served]].all()
    assert served.sum() == most_served(free, in_hand)
    least = programme(cost, in_hand)
    assert (least is not None) == served.all()
    if least is not None:
        assert cost[np.arange(120), stock].sum() <= 1.02 * least + 1e-6


def test_within_stock_with_plenty_is_the_nearest():
    doc, pieces, colours = two_fields(7, 10_000, 12, ((), ()))
    within = match_layout(doc, pieces, colours, [None, None])
    free = match_layout(replace(doc, within_stock=False), pieces, colours, [None, None])
    for one, other in zip(within, free, strict=True):
        np.testing.assert_array_equal(one.stock, other.stock)


def test_no_piece_goes_without_where_a_row_of_changes_would_serve_it():
    """One piece of each of seven; the last to ask needs all others to move on, black to white."""
    lab = np.column_stack([np.tile([5.0, 95.0], 4)[:7] + np.arange(7) / 9, np.zeros((7, 2))])
    materials = plain(lab, 1)
    fields = [
        field(
            1, 1, name=f"f{k}", wanted_lab=tuple(map(float, lab[k])), palette=(f"M{k}", f"M{k + 1}")
        )
        for k in range(6)
    ]
    fields.append(field(1, 1, name="f9", wanted_lab=tuple(map(float, lab[0])), palette=("M0",)))
    doc = commission(*fields, materials=materials, within_stock=True)
    laid = match_layout(doc, [grid(1, 1)] * 7, None, [None] * 7)
    assert sorted(int(one.stock[0]) for one in laid) == list(range(7))


def test_what_other_fields_take_is_left_off_the_shelf():
    """A shaded field takes from the same shelf first."""
    shaded = field(10, 10, match="shade", blend=("M0", "M1"))
    near = field(10, 10, name="f2", wanted_lab=(30.0, 0.0, 0.0))
    materials = plain([(30, 0, 0), (60, 0, 0), (90, 0, 0)], (90, 90, 90))
    doc = commission(shaded, near, materials=materials, within_stock=True)
    one, two = match_layout(doc, [grid(10, 10)] * 2, None, [None, None])
    used = np.bincount(np.concatenate([one.stock, two.stock]), minlength=3)
    assert (used <= 90).all() and used.sum() == 200
    assert (two.stock == 0).sum() == 90 - (one.stock == 0).sum()


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 1000),
    pieces_in_hand=st.lists(st.integers(0, 80), min_size=6, max_size=6),
    ways=st.lists(
        st.sampled_from(["nearest", "few", "mix", "shade", "locked", "plain"]),
        min_size=1,
        max_size=4,
    ),
    bare=st.booleans(),
)
def test_no_way_of_matching_takes_more_than_is_in_hand(seed, pieces_in_hand, ways, bare):
    given_ = {
        "nearest": {},
        "few": {"at_most": 2},
        "mix": {"match": "mix", "blend": ("M0", "M1", "M2")},
        "shade": {"match": "shade", "blend": ("M3", "M4"), "palette": ("M3", "M4", "M5")},
        "locked": {"locked": ("M0", "M4"), "shift_lab": (8.0, 0.0, 4.0)},
        "plain": {"palette": ("M2", "M3")},
    }
    fields = [field(8, 5, name=f"f{k}", **given_[way]) for k, way in enumerate(ways)]
    sketch, colours = painted(random_sketch(8, 5, seed))
    materials = plain(soft_palette(seed, 6), pieces_in_hand)
    doc = commission(*fields, materials=materials, sketch=sketch, within_stock=True)
    if bare:
        colours = None
    laid = match_layout(doc, [grid(8, 5)] * len(ways), colours, [None] * len(ways))
    loose = replace(doc, within_stock=False)
    free = match_layout(loose, [grid(8, 5)] * len(ways), colours, [None] * len(ways))
    used = np.bincount(np.concatenate([x.stock[x.stock >= 0] for x in laid]), minlength=6)
    assert (used <= pieces_in_hand).all()
    for way, one, other in zip(ways, laid, free, strict=True):
        codes = {f"M{k}" for k in one.stock if k >= 0}
        if way == "few":
            assert set(one.stock) - {-1} <= set(other.stock)
        if way in ("shade", "plain"):
            assert codes <= set(given_[way]["palette"])
        # nothing is left bare that something on the shelf could still have filled
        if (one.stock[other.stock >= 0] < 0).any():
            may = set(given_[way].get("palette", [f"M{k}" for k in range(6)]))
            if way == "few":
                may = {f"M{k}" for k in other.stock}
            assert all(used[int(c[1])] == pieces_in_hand[int(c[1])] for c in may)


def test_within_stock_keeps_locked_pieces_as_far_as_there_are():
    rgb = np.random.default_rng(8).integers(90, 150, (8, 10, 3))
    sketch, colours = painted(rgb)
    doc = commission(field(10, 8), sketch=sketch)
    before = match_field(doc, doc.fields[0], grid(10, 8), colours).stock
    values, many = np.unique(before, return_counts=True)
    kept, n = int(values[many.argmax()]), int(many.max())
    assert n > 8
    for in_hand in (n, n - 5):
        materials = tuple(
            replace(m, pieces=in_hand, waste=0.0, length_mm=10.0, width_mm=10.0) if k == kept else m
            for k, m in enumerate(STOCK)
        )
        f = doc.fields[0].with_choices(shift_lab=(25.0, 5.0, 5.0), locked=(STOCK[kept].code,))
        bound = replace(doc, fields=(f,), materials=materials, within_stock=True)
        (laid,) = match_layout(bound, [grid(10, 8)], colours, [None])
        assert (laid.stock[before == kept] == kept).sum() == (laid.stock == kept).sum() == in_hand
        assert (laid.stock >= 0).all()


def test_what_a_mixture_is_short_of_is_replaced_by_the_nearest_colour():
    f = field(20, 20, match="mix", blend=("M0", "M1"), wanted_lab=(60.0, 0.0, 0.0))
    lab = [(40.0, 0, 0), (80.0, 0, 0), (42.0, 0, 0), (70.0, 0, 0)]
    free = commission(f, materials=plain(lab), grout_lab=(60.0, 0.0, 0.0))
    many = np.bincount(match_field(free, f, grid(20, 20), None).stock, minlength=4)
    short = replace(free, materials=plain(lab, (many[0] - 30, 999, 20, 999)), within_stock=True)
    (laid,) = match_layout(short, [grid(20, 20)], None, [None])
    assert np.bincount(laid.stock, minlength=4).tolist() == [many[0] - 30, many[1], 20, 10]


def test_an_accent_that_runs_out_goes_on_in_other_lots_of_its_material():
    """Gold in two lots of another shade: those come before what is nearest to the wanted colour."""
    f = field(20, 20, accent="M1", accent_share=0.2, wanted_lab=(30.0, 0.0, 0.0), palette=("M0",))
    lab = [(30.0, 0, 0), (80.0, 5, 60), (74.0, 6, 50), (70.0, 7, 45), (32.0, 0, 0)]
    of = (None, None, "M1", "M1", None)
    materials = tuple(
        replace(m, lot=k, lot_of=of[k]) if of[k] else m
        for k, m in enumerate(plain(lab, (999, 30, 20, 999, 999)))
    )
    free = commission(f, materials=materials)
    many = int((match_layout(free, [grid(20, 20)], None, [None])[0].stock == 1).sum())
    assert many > 50
    (laid,) = match_layout(replace(free, within_stock=True), [grid(20, 20)], None, [None])
    used = np.bincount(laid.stock, minlength=5).tolist()
    assert used == [400 - many, 30, 20, many - 50, 0]


# swaps and the hand within the stock


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_nothing_goes_beyond_what_is_in_hand_but_by_hand(data):
    seed = data.draw(st.integers(0, 1000))
    room = np.array(data.draw(st.lists(st.integers(0, 70), min_size=6, max_size=6)))
    which, codes = st.sampled_from([f"M{k}" for k in range(6)]), [f"M{k}" for k in range(6)]
    scope = st.sampled_from([{}, {"field_id": "f0"}, {"motif": "reeds"}, {"field_id": "f2"}])
    swaps = [
        Swap(a, b, **where)
        for a, b, where in data.draw(st.lists(st.tuples(which, which, scope), max_size=4))
        if a != b
    ]
    fields = (
        field(8, 5, name="f0", accent="M5", accent_share=0.2),
        field(8, 5, name="f1", motif="reeds", match="mix", blend=("M0", "M1", "M2")),
        field(8, 5, name="f2", motif="reeds", locked=("M3",), shift_lab=(5.0, 2.0, 0.0)),
    )
    by_hand = []
    for _ in fields:
        codes_here = np.full(40, "", object)
        for k in data.draw(st.lists(st.integers(0, 39), max_size=12)):
            codes_here[k] = data.draw(which)
        by_hand.append(codes_here)
    sketch, colours = painted(random_sketch(8, 5, seed))
    materials = plain(soft_palette(seed, 6), room)
    doc = commission(
        *fields, materials=materials, sketch=sketch, swaps=tuple(swaps), within_stock=True
    )
    laid = match_layout(doc, [grid(8, 5)] * 3, colours, by_hand)
    chosen = np.zeros(6, int)
    for one, hand in zip(laid, by_hand, strict=True):
        for k in np.flatnonzero(hand != ""):
            assert codes[one.stock[k]] == hand[k]  # a person's word
            chosen[int(hand[k][1])] += 1
    used = used_of(laid, 6)
    assert (used <= np.maximum(room, chosen)).all()

    def becomes(f, code):
        for s in swaps:
            if s.old == code and s.field_id in (None, f.id) and s.motif in (None, f.motif):
                code = s.new
        return code

    told = Layout(laid).unswapped
    assert all(used[int(code[1])] >= room[int(code[1])] for code in told)
    free = match_layout(
        replace(doc, within_stock=False, swaps=()), [grid(8, 5)] * 3, colours, [None] * 3
    )
    for f, one, before, hand in zip(fields, laid, free, by_hand, strict=True):
        for k in np.flatnonzero(hand == ""):
            was, now = codes[before.stock[k]], codes[one.stock[k]] if one.stock[k] >= 0 else ""
            short = becomes(f, was)
            if now != short:  # then there was no more of it
                assert used[int(short[1])] >= room[int(short[1])]
            # nor does a piece lie where a swap has one for it, unless it was swapped to that
            if now and becomes(f, now) != now and now not in {becomes(f, c) for c in codes}:
                assert used[int(becomes(f, now)[1])] >= room[int(becomes(f, now)[1])]
                assert told


def swap_case(in_hand, **given):
    """Two fields that want M0 and one that wants M1: M0 is swapped for M1 in the heron."""
    lab = [(60.0, 0.0, 0.0), (40.0, 20.0, 10.0), (58.0, 4.0, 0.0)]
    fields = (
        field(20, 10, motif="heron", wanted_lab=lab[0]),
        field(20, 5, at=(0.0, 200.0), name="f2", motif="heron", wanted_lab=lab[0]),
        field(20, 5, at=(0.0, 400.0), name="f3", wanted_lab=lab[1]),
    )
    pieces = [grid(20, 10), grid(20, 5, (0.0, 200.0)), grid(20, 5, (0.0, 400.0))]
    swaps = (Swap("M0", "M1", motif="heron"),)
    doc = commission(*fields, materials=plain(lab, in_hand), swaps=swaps, within_stock=True)
    return replace(doc, **given), pieces


def test_a_swap_takes_as_many_as_there_are_evenly_spread_and_says_the_rest():
    doc, pieces = swap_case((500, 90, 500))
    laid = match_layout(doc, pieces, None, [None] * 3)
    swapped = [one.stock == 1 for one in laid]
    # a third of the heron's 300 pieces less ten, alike in both fields; before the far field's match
    assert sum(s.sum() for s in swapped) == 90 and swapped[2].sum() == 0
    assert abs(swapped[0].sum() - 60) <= 2 and abs(swapped[1].sum() - 30) <= 2
    assert Layout(laid).unswapped == {"M1": 210}
    assert {k for one in laid for k in one.stock[one.stock != 1]} == {0, 2}
    shown = np.lib.stride_tricks.sliding_window_view(swapped[0].reshape(10, 20), (5, 5))
    many = shown.sum(axis=(2, 3))
    assert many.min() >= 4 and many.max() <= 11  # 7.5 of 25 everywhere
    # what was not swapped lies as before the swap
    assert (laid[0].stock[~swapped[0]] == 0).all()


def test_what_is_laid_by_hand_counts_before_a_swap():
    doc, pieces = swap_case((500, 90, 500))
    hand = np.full(100, "", object)
    hand[:40] = "M1"
    laid = match_layout(doc, pieces, None, [None, None, hand])
    assert (laid[2].stock[:40] == 1).all() and (laid[2].stock[40:] != 1).all()
    assert sum((one.stock == 1).sum() for one in laid[:2]) == 50
    assert Layout(laid).unswapped == {"M1": 250}
    hand[:] = "M1"  # more than there are: a person's word stands, and nothing is left to swap
    laid = match_layout(doc, pieces, None, [None, None, hand])
    assert (laid[2].stock == 1).all() and used_of(laid, 3)[1] == 100
    assert Layout(laid).unswapped == {"M1": 300}


def test_a_swap_within_plenty_is_the_swap_and_says_nothing():
    doc, pieces = swap_case((500, 400, 500))
    within = match_layout(doc, pieces, None, [None] * 3)
    free = match_layout(replace(doc, within_stock=False), pieces, None, [None] * 3)
    for one, other in zip(within, free, strict=True):
        np.testing.assert_array_equal(one.stock, other.stock)
    assert Layout(within).unswapped == {}


def test_a_stand_in_serves_pieces_that_the_shelf_could_not_have_served():
    """M0 is short: without the swap most of the heron would have gone to its next nearest."""
    doc, pieces = swap_case((20, 400, 500))
    laid = match_layout(doc, pieces, None, [None] * 3)
    assert used_of(laid, 3).tolist() == [0, 400, 0]


@pytest.mark.parametrize("seed", range(4))
def test_beside_swaps_all_others_are_matched_at_the_least_total(seed):
    doc, pieces, colours = two_fields(seed, 999, 5, ((), ()))
    before = match_layout(doc, pieces, colours, [None, None])
    rare, few, _, many, most = np.argsort(used_of(before, 5)).tolist()
    swaps = (Swap(f"M{most}", f"M{rare}", field_id="f1"), Swap(f"M{many}", f"M{few}"))
    room = np.full(5, 55)
    room[[rare, few]] = 8
    materials = tuple(replace(m, pieces=int(n)) for m, n in zip(doc.materials, room, strict=True))
    doc = replace(doc, swaps=swaps, materials=materials)
    laid = match_layout(doc, pieces, colours, [None, None])
    asked = match_layout(replace(doc, within_stock=False), pieces, colours, [None, None])
    stock, want, was = (np.concatenate([x.stock for x in y]) for y in (laid, asked, before))
    wanted = np.concatenate([one.wanted_lab for one in laid])
    got = (stock == want) & (want != was)
    taken = np.bincount(stock[got], minlength=5)
    assert taken[[rare, few]].tolist() == [8, 8] and taken.sum() == 16  # both ask for more
    cost = off(wanted[~got], [m.lab for m in doc.materials])
    least = programme(cost, room - taken)
    assert least is not None
    assert cost[np.arange(len(cost)), stock[~got]].sum() <= 1.02 * least + 1e-6
    # in vain: those asked for at first, and those that lie after all where a swap holds
    first = np.arange(120) < 60
    vain = {
        rare: (want == rare) & (was != rare) | first & (stock == most),
        few: (want == few) & (was != few) | (stock == many),
    }
    assert Layout(laid).unswapped == {
        f"M{k}": int((v & ~got).sum()) for k, v in sorted(vain.items())
    }


@pytest.mark.parametrize("seed", range(2))
def test_a_layout_does_not_hang_on_what_was_laid_before(seed):
    """Swaps, shifts and counts in hand, there and back, end where a fresh start does."""
    columns, rows = 45, 40  # more than are matched from nothing
    rgb = np.random.default_rng(seed).integers(40, 220, (2 * rows, columns, 3))
    sketch, colours = painted(rgb)
    fields = (
        field(columns, rows, motif="reeds"),
        field(columns, rows, at=(0.0, rows * PITCH), name="f2", accent="M5", accent_share=0.1),
    )
    pieces = [grid(columns, rows), grid(columns, rows, (0.0, rows * PITCH))]
    materials = plain(soft_palette(seed, 9), [500, 300, 900, 40, 700, 200, 800, 0, 600])
    doc = commission(*fields, materials=materials, sketch=sketch, within_stock=True)
    darker = tuple(f.with_choices(shift_lab=(-6.0, 0.0, 0.0)) for f in fields)
    hand = np.full(columns * rows, "", object)
    hand[7] = "M3"
    steps = [
        doc,
        replace(doc, swaps=(Swap("M4", "M0"),)),
        replace(doc, swaps=(Swap("M4", "M0"), Swap("M6", "M2", motif="reeds"))),
        replace(doc, fields=darker),
        replace(doc, within_stock=False),
        replace(doc, materials=plain(soft_palette(seed, 9), 900)),
        replace(doc, materials=plain(soft_palette(seed + 9, 9), 900)),
        replace(doc, lightness_weight=0.5),
    ]
    for step in (*steps, *reversed(steps)):
        for by_hand in (None, hand):
            known = match_layout(step, pieces, colours, [by_hand, None])
            anew = [replace(p) for p in pieces]  # of which nothing is known
            fresh = match_layout(step, anew, painted(rgb)[1], [by_hand, None])
            for one, other in zip(known, fresh, strict=True):
                np.testing.assert_array_equal(one.stock, other.stock)
                np.testing.assert_array_equal(one.delta_e, other.delta_e)
                np.testing.assert_array_equal(one.wanted_lab, other.wanted_lab)
                assert one.unswapped == other.unswapped


def test_within_stock_accents_are_laid_as_far_as_there_are():
    lab = [(60.0, 0.0, 0.0), (62.0, 1.0, 0.0), (75.0, 5.0, 60.0)]
    gold, in_hand = 2, (150, 400, 12)
    materials = plain(lab, in_hand)
    some = (
        field(16, 15, wanted_lab=lab[0], accent="M2", accent_share=0.1),
        field(10, 10, (200.0, 0.0), "f2", wanted_lab=lab[0], accent="M2", accent_share=0.05),
    )
    pieces = [grid(16, 15), grid(10, 10, (200.0, 0.0))]
    doc = commission(*some, materials=materials, within_stock=True)
    laid = match_layout(doc, pieces, None, [None, None])
    used = sum(np.bincount(f.stock, minlength=3) for f in laid)
    assert (used <= in_hand).all() and used[gold] == 12
    assert used.sum() == 340 and all((f.stock >= 0).all() for f in laid)
    free = match_layout(replace(doc, within_stock=False), pieces, None, [None, None])
    assert sum((f.stock == gold).sum() for f in free) == 24 + 5
