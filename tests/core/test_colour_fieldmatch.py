"""Matching whole fields, checked against brute force, linear programmes and skimage's CIEDE2000."""

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from match_rig import (
    PITCH,
    STOCK,
    TESSERA,
    commission,
    field,
    grid,
    off,
    painted,
    plain,
    random_sketch,
    soft_palette,
)
from skimage.color import deltaE_ciede2000

from core.colour.convert import lab_from_linear, lab_from_srgb, lab_under_d65, linear_from_lab
from core.colour.fieldmatch import blended_difference, match_field, match_layout, palette_of
from core.commission import Swap
from core.material import Material
from core.pieces import Pieces

LARGE_ENOUGH = [k for k, m in enumerate(STOCK) if min(m.length_mm, m.width_mm) >= 10]

# nearest


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    weight=st.sampled_from([0.25, 0.5, 1.0, 2.0, 4.0]),
    shift=st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20)),
    some=st.sets(st.sampled_from(LARGE_ENOUGH), min_size=1),
)
def test_nearest_is_the_nearest_by_brute_force(seed, weight, shift, some):
    rgb = random_sketch(9, 5, seed)
    sketch, colours = painted(rgb)
    palette = tuple(STOCK[k].code for k in sorted(some))
    doc = commission(
        field(9, 5, shift_lab=shift, palette=palette), sketch=sketch, lightness_weight=weight
    )
    laid = match_field(doc, doc.fields[0], grid(9, 5), colours)

    wanted = lab_from_srgb(rgb.reshape(-1, 3) / 255) + np.array(shift)
    wanted[:, 0] = wanted[:, 0].clip(0, 100)
    np.testing.assert_allclose(laid.wanted_lab, wanted, atol=0.006)  # kept to a hundredth
    wanted = laid.wanted_lab
    table = off(wanted, [STOCK[k].lab for k in sorted(some)], weight)
    place = {k: j for j, k in enumerate(sorted(some))}
    assert set(laid.stock.tolist()) <= some
    taken = table[np.arange(45), [place[k] for k in laid.stock.tolist()]]
    np.testing.assert_allclose(taken, table.min(axis=1), atol=1e-4)
    # what is reported is the plain difference, whatever the weight
    stocked = np.array([STOCK[k].lab for k in laid.stock])
    np.testing.assert_allclose(laid.delta_e, deltaE_ciede2000(wanted, stocked), atol=1e-4)


def test_a_wanted_colour_stands_before_the_sketch():
    sketch, colours = painted(random_sketch(6, 4, 1))
    doc = commission(
        field(6, 4, wanted_lab=(97.0, 5.0, 5.0), shift_lab=(9.0, 1.0, -2.0)), sketch=sketch
    )
    laid = match_field(doc, doc.fields[0], grid(6, 4), colours)
    wanted = np.tile([100.0, 6.0, 3.0], (24, 1))  # never lighter than white
    np.testing.assert_allclose(laid.wanted_lab, wanted)
    assert set(laid.stock) == {int(off(wanted[:1], [m.lab for m in STOCK]).argmin())}
    again = match_field(doc, doc.fields[0], grid(6, 4), None)
    np.testing.assert_array_equal(again.stock, laid.stock)


def test_a_material_measured_under_another_light_is_seen_under_daylight():
    seen = np.array(lab_under_d65((60.0, 20.0, 25.0), "A", 2))
    warm = Material("W", "w", "smalti", (60.0, 20.0, 25.0), illuminant="A")
    other = Material("O", "o", "smalti", (60.0, 20.0, 25.0))
    doc = commission(
        field(3, 1, wanted_lab=(60.0, 20.0, 25.0)),
        field(3, 1, name="f2", wanted_lab=tuple(map(float, seen))),
        materials=(warm, other),
    )
    stock = [match_field(doc, f, grid(3, 1), None) for f in doc.fields]
    table = off([(60.0, 20.0, 25.0), seen], [seen, other.lab])
    assert [set(s.stock) for s in stock] == [{int(k)} for k in table.argmin(axis=1)] == [{1}, {0}]
    np.testing.assert_allclose(stock[1].delta_e, 0, atol=0.01)


def test_without_sketch_or_wanted_colour_the_palette_decides():
    doc = commission(field(4, 3, palette=("SM-09", "SM-01")), field(4, 3, name="f2"))
    first, bare = match_layout(doc, [grid(4, 3)] * 2, None, [None, None])
    assert {STOCK[k].code for k in first.stock} == {"SM-09"}
    assert set(bare.stock) == {-1}
    assert np.isnan(first.delta_e).all() and np.isnan(bare.delta_e).all()


def test_a_palette_of_codes_that_are_not_there_lays_nothing():
    sketch, colours = painted(random_sketch(3, 3, 2))
    doc = commission(field(3, 3, palette=("gone",)), sketch=sketch)
    laid = match_field(doc, doc.fields[0], grid(3, 3), colours)
    assert set(laid.stock) == {-1} and np.isfinite(laid.wanted_lab).all()


def test_a_field_without_pieces():
    for match in ("nearest", "mix", "shade"):
        doc = commission(
            field(1, 1, match=match, blend=("SM-01", "SM-09"), wanted_lab=(50.0, 0.0, 0.0)),
            within_stock=True,
        )
        (laid,) = match_layout(doc, [Pieces.empty()], None, [None])
        assert len(laid.stock) == len(laid.delta_e) == 0


# palettes


def test_motif_palettes_serve_fields_without_one_and_no_others():
    own, of_motif = ("SM-01", "SM-02"), ("SM-08", "SM-09")
    fields = (
        field(5, 4, motif="heron"),
        field(5, 4, name="f2", motif="heron", palette=own),
        field(5, 4, name="f3", motif="reeds"),
        field(5, 4, name="f4"),
    )
    sketch, colours = painted(np.tile(np.linspace(0, 255, 20).reshape(4, 5, 1), 3))
    doc = commission(*fields, sketch=sketch, motif_palettes=(("heron", of_motif),))
    every = tuple(m.code for m in STOCK if not m.by_choice)
    assert [palette_of(doc, f) for f in fields] == [of_motif, own, every, every]
    laid = match_layout(doc, [grid(5, 4)] * 4, colours, [None] * 4)
    codes = [{STOCK[k].code for k in one.stock} for one in laid]
    assert codes[0] == set(of_motif) and codes[1] == set(own)
    assert codes[2] == codes[3] and len(codes[2]) > 5


# few colours


@pytest.mark.parametrize("at_most", [1, 2, 3])
@pytest.mark.parametrize("seed", range(4))
def test_at_most_n_colours_are_the_best_of_all_choices(at_most, seed):
    palette = soft_palette(seed, 9)
    rgb = random_sketch(8, 6, seed)
    sketch, colours = painted(rgb)
    doc = commission(field(8, 6, at_most=at_most), materials=plain(palette), sketch=sketch)
    pieces = grid(8, 6)
    # pieces of unequal size count by their area
    size = np.random.default_rng(seed).uniform(0.3, 1.0, 48)
    centre = pieces.centre_mm
    half = TESSERA / 2 * size
    polygons = shapely.box(
        centre[:, 0] - half, centre[:, 1] - half, centre[:, 0] + half, centre[:, 1] + half
    )
    laid = match_field(doc, doc.fields[0], replace(pieces, polygons=polygons), colours)
    table = off(lab_from_srgb(rgb.reshape(-1, 3) / 255), palette)
    area = (2 * half) ** 2
    best = min(area @ table[:, list(some)].min(axis=1) for some in combinations(range(9), at_most))
    assert len(set(laid.stock)) <= at_most
    assert area @ table[np.arange(48), laid.stock] == pytest.approx(best, rel=1e-6)


def test_enough_colours_allowed_change_nothing():
    sketch, colours = painted(random_sketch(7, 7, 4))
    free, few = (
        match_field(doc, doc.fields[0], grid(7, 7), colours)
        for doc in (commission(field(7, 7, at_most=k), sketch=sketch) for k in (0, 49))
    )
    np.testing.assert_array_equal(free.stock, few.stock)


# locked


@settings(max_examples=20, deadline=None)
@given(
    seed=st.integers(0, 1000),
    shift=st.tuples(st.floats(-25, 25), st.floats(-15, 15), st.floats(-15, 15)),
    at_most=st.integers(0, 3),
)
@example(3, (0.0, 0.0, 1.625), 1)  # a piece between two materials, but for the rounding of a shift
def test_locked_materials_stay_whatever_the_shift_or_the_number_of_colours(seed, shift, at_most):
    rgb = np.random.default_rng(seed).integers(0, 256, (6, 8, 3))
    sketch, colours = painted(rgb)
    doc = commission(field(8, 6), sketch=sketch)
    before = match_field(doc, doc.fields[0], grid(8, 6), colours).stock
    values, many = np.unique(before, return_counts=True)
    kept = int(values[many.argmax()])
    changed = doc.fields[0].with_choices(
        shift_lab=shift, at_most=at_most, locked=(STOCK[kept].code,)
    )
    after = match_field(replace(doc, fields=(changed,)), changed, grid(8, 6), colours).stock
    assert (after[before == kept] == kept).all()
    assert len(set(after) - {kept}) <= (at_most or len(STOCK))
    loose = changed.with_choices(locked=())
    without = match_field(replace(doc, fields=(loose,)), loose, grid(8, 6), colours).stock
    np.testing.assert_array_equal(after[before != kept], without[before != kept])


def test_a_locked_material_outside_the_palette_is_not_brought_in():
    sketch, colours = painted(random_sketch(6, 6, 5))
    f = field(6, 6, palette=("SM-01", "SM-09"), locked=("SM-13",))
    laid = match_field(commission(f, sketch=sketch), f, grid(6, 6), colours)
    assert {STOCK[k].code for k in laid.stock} == {"SM-01", "SM-09"}


# mixing


def seen_from_afar(doc, laid):
    """Mean in linear light of the pieces and the joints round them."""
    area = shapely.Polygon(doc.field_by_id(laid.field_id).outline[0][0]).area
    each = laid.pieces.area_mm2
    light = linear_from_lab(np.array([doc.materials[k].lab for k in laid.stock]))
    grout = linear_from_lab(np.array(doc.grout_lab))
    return lab_from_linear((each @ light + (area - each.sum()) * grout) / area)


@pytest.mark.parametrize("parts", [2, 3])
@pytest.mark.parametrize("seed", range(5))
def test_a_mixture_with_its_grout_meets_the_colour_better_than_any_one_material(parts, seed):
    rng = np.random.default_rng(seed)
    palette = soft_palette(seed, parts)
    share = rng.dirichlet(np.full(parts, 4.0))
    joint = 1 - (TESSERA / PITCH) ** 2
    grout = np.array([55.0, 2.0, 6.0])
    light = (1 - joint) * share @ linear_from_lab(palette) + joint * linear_from_lab(grout)
    wanted = lab_from_linear(light)
    codes = tuple(f"M{k}" for k in range(parts))
    f = field(30, 20, match="mix", blend=codes, wanted_lab=tuple(map(float, wanted)))
    doc = commission(f, materials=plain(palette), grout_lab=tuple(map(float, grout)))
    laid = match_field(doc, f, grid(30, 20), None)
    mixed = float(deltaE_ciede2000(seen_from_afar(doc, laid), wanted))
    alone = [
        float(
            deltaE_ciede2000(
                lab_from_linear((1 - joint) * linear_from_lab(c) + joint * linear_from_lab(grout)),
                wanted,
            )
        )
        for c in palette
    ]
    assert len(set(laid.stock)) == parts
    assert mixed < 0.5 and mixed < 0.1 * min(alone)
    single, blended = blended_difference(doc, laid)
    assert single == pytest.approx(min(alone), abs=0.02)
    assert blended == pytest.approx(mixed, abs=0.3) and blended < 0.1  # parts are whole pieces
    assert blended_difference(commission(f.with_choices(match="nearest")), laid) is None


def test_a_mixture_is_found_in_the_palette_where_none_is_named():
    rgb = np.full((20, 30, 3), (150, 120, 110))
    sketch, colours = painted(rgb)
    codes = tuple(m.code for m in STOCK)
    f = field(30, 20, match="mix", palette=codes)
    doc = commission(f, sketch=sketch)
    laid = match_field(doc, f, grid(30, 20), colours)
    single = match_field(
        replace(doc, fields=(f.with_choices(match="nearest"),)),
        f.with_choices(match="nearest"),
        grid(30, 20),
        colours,
    )
    wanted = laid.wanted_lab[0]
    assert len(set(laid.stock)) == 2
    assert deltaE_ciede2000(seen_from_afar(doc, laid), wanted) < 0.7 * deltaE_ciede2000(
        seen_from_afar(doc, single), wanted
    )


def test_a_mixture_is_dealt_out_evenly():
    f = field(40, 40, match="mix", blend=("M0", "M1"), wanted_lab=(60.0, 0.0, 0.0))
    doc = commission(f, materials=plain([(40.0, 0, 0), (80.0, 0, 0)]), grout_lab=(60.0, 0.0, 0.0))
    stock = match_field(doc, f, grid(40, 40), None).stock.reshape(40, 40)
    share = stock.mean()
    assert 0.2 < share < 0.6
    windows = np.lib.stride_tricks.sliding_window_view(stock, (8, 8)).mean(axis=(2, 3))
    # by chance alone the share in 64 pieces strays by sqrt(s (1 - s) / 64), about 0.06
    assert windows.std() < 0.5 * np.sqrt(share * (1 - share) / 64)


# shading


@pytest.mark.parametrize(
    ("angle", "along", "across_rows"),
    [(0.0, True, False), (0.0, False, True), (np.pi / 2, True, True), (np.pi / 2, False, False)],
)
def test_shading_runs_with_the_flow_or_across_it(angle, along, across_rows):
    f = field(40, 30, match="shade", blend=("M0", "M1", "M2"), shade_along=along)
    doc = commission(f, materials=plain([(20, 0, 0), (50, 0, 0), (80, 0, 0)]))
    stock = match_field(doc, f, grid(40, 30, angle=angle), None).stock.reshape(30, 40)
    lines = stock if across_rows else stock.T
    mean = lines.mean(axis=1)
    n = len(mean)
    assert set(lines[0]) == {0} and set(lines[-1]) <= {1, 2} and mean[-1] > 1.9
    # each line of pieces holds the share of its place between first and last material
    np.testing.assert_allclose(mean, 2 * np.arange(n) / (n - 1), atol=0.2)
    assert abs(mean - 2 * np.arange(n) / (n - 1)).mean() < 0.06
    for k, line in enumerate(lines):
        lower = int(2 * k / (n - 1))
        assert set(line) <= {lower, lower + 1}, k
    # and none of it in the other direction
    ends = lines[:, : lines.shape[1] // 2].mean(), lines[:, lines.shape[1] // 2 :].mean()
    assert abs(ends[0] - ends[1]) < 0.05


def test_shading_needs_neither_sketch_nor_palette_and_outlives_a_lock():
    f = field(10, 10, match="shade", blend=("SM-01", "SM-09"), locked=("SM-13",))
    laid = match_field(commission(f), f, grid(10, 10), None)
    assert {STOCK[k].code for k in laid.stock} == {"SM-01", "SM-09"}


# over the field's own rule


def test_accents_then_swaps_then_the_hand():
    f = field(20, 20, wanted_lab=(13.0, 0.3, -0.8), accent="SM-09", accent_share=0.1)
    doc = commission(
        f,
        replace(f, id="f2", motif="heron"),
        swaps=(
            Swap("SM-09", "SM-13"),
            Swap("SM-13", "SM-06", motif="heron"),
            Swap("SM-01", "gone"),
            Swap("SM-01", "SM-08", field_id="f2"),
        ),
    )
    hand = np.full(400, "", object)
    hand[[3, 5]] = "SM-02", "gone"
    one, two = match_layout(doc, [grid(20, 20)] * 2, None, [hand, None])
    codes = np.array([[STOCK[k].code for k in laid.stock] for laid in (one, two)])
    assert set(codes[0]) == {"SM-01", "SM-13", "SM-02"} and codes[0][3] == "SM-02"
    assert set(codes[1]) == {"SM-08", "SM-06"}
    assert (codes[1] == "SM-06").sum() == 40
    assert 39 <= (codes[0] == "SM-13").sum() <= 40
    stocked = np.array([STOCK[k].lab for k in one.stock])
    np.testing.assert_allclose(one.delta_e, deltaE_ciede2000(one.wanted_lab, stocked), atol=1e-4)


# determinism and weight


@pytest.mark.parametrize(
    "given_",
    [
        {},
        {"at_most": 3},
        {"match": "mix", "blend": ("SM-01", "SM-06", "SM-09")},
        {"match": "shade", "blend": ("SM-01", "SM-06", "SM-09")},
        {"accent": "SM-13", "accent_share": 0.15, "accent_along": True},
    ],
    ids=str,
)
@pytest.mark.parametrize("within", [False, True])
def test_the_same_commission_is_matched_the_same_to_the_last_bit(given_, within):
    rgb = random_sketch(15, 15, 6)
    runs = []
    for _ in range(2):
        sketch, colours = painted(rgb)
        few = tuple(replace(m, pieces=9) for m in STOCK)
        doc = commission(field(15, 15, **given_), sketch=sketch, within_stock=within, materials=few)
        (laid,) = match_layout(doc, [grid(15, 15)], colours, [None])
        runs.append((laid.stock.tobytes(), laid.wanted_lab.tobytes(), laid.delta_e.tobytes()))
        (again,) = match_layout(doc, [laid.pieces], colours, [None])
        assert again.stock.tobytes() == laid.stock.tobytes()
    assert runs[0] == runs[1]


def test_another_seed_deals_otherwise_but_in_the_same_shares():
    f = field(20, 20, match="mix", blend=("SM-01", "SM-09"), wanted_lab=(55.0, 0.0, 0.0))
    one, two = (match_field(commission(f, seed=s), f, grid(20, 20), None).stock for s in (1, 2))
    assert (one != two).any()
    np.testing.assert_array_equal(np.bincount(one), np.bincount(two))


def test_the_weight_of_lightness_decides_between_hue_and_lightness():
    materials = plain([(50.0, 18.0, 0.0), (66.0, 30.0, 0.0)])
    f = field(2, 2, wanted_lab=(50.0, 30.0, 0.0))
    taken = [
        set(match_field(doc, f, grid(2, 2), None).stock)
        for doc in (commission(f, materials=materials, lightness_weight=w) for w in (2.0, 0.25))
    ]
    assert taken == [{0}, {1}]


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 10_000), st.booleans())
def test_more_weight_on_lightness_never_gives_worse_lightness(seed, within):
    sketch, colours = painted(random_sketch(10, 10, seed))
    strayed = []
    for weight in (0.25, 1.0, 4.0):
        doc = commission(field(10, 10), sketch=sketch, lightness_weight=weight, within_stock=within)
        (laid,) = match_layout(doc, [grid(10, 10)], colours, [None])
        light = np.array([STOCK[k].lab[0] for k in laid.stock])
        strayed.append(np.abs(light - laid.wanted_lab[:, 0]).sum())
    assert strayed[2] <= strayed[1] <= strayed[0]
