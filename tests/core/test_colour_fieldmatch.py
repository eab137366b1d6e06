"""Matching whole fields, checked against brute force, linear programmes and skimage's CIEDE2000."""

from dataclasses import replace
from decimal import Decimal
from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.optimize import linprog
from skimage.color import deltaE_ciede2000

from core.colour.convert import lab_from_linear, lab_from_srgb, lab_under_d65, linear_from_lab
from core.colour.fieldmatch import match_field, match_layout, palette_of
from core.colour.wanted import SketchColours
from core.commission import Commission, Field, Sketch, Swap
from core.figures import counts
from core.material import Material
from core.pieces import Layout, Pieces
from core.stock import starter_stock

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT
PX = 2  # pixels of the sketch across one piece
STOCK = starter_stock()


def grid(columns, rows, at=(0.0, 0.0), angle=0.0):
    """Square pieces in straight courses, the joint round each."""
    x, y = np.meshgrid(np.arange(columns) * PITCH + at[0], np.arange(rows) * PITCH + at[1])
    x, y = x.ravel() + JOINT / 2, y.ravel() + JOINT / 2
    place, course = np.tile(np.arange(columns), rows), np.repeat(np.arange(rows), columns)
    polygons = shapely.box(x, y, x + TESSERA, y + TESSERA)
    return Pieces(polygons, course, place, np.full(columns * rows, angle))


def field(columns, rows, at=(0.0, 0.0), name="f1", **given):
    """The field round such a grid."""
    x0, y0, x1, y1 = at[0], at[1], at[0] + columns * PITCH, at[1] + rows * PITCH
    return Field(name, name, ((((x0, y0), (x1, y0), (x1, y1), (x0, y1)),),), **given)


def painted(rgb):
    """A sketch with one plain colour (rows, columns, 3) under each piece of a grid."""
    pixels = np.repeat(np.repeat(np.asarray(rgb, np.uint8), PX, axis=0), PX, axis=1)
    sketch = Sketch("s.png", pixels.shape[1], pixels.shape[0], PITCH / PX)
    return sketch, SketchColours(pixels)


def random_sketch(columns, rows, seed):
    return np.random.default_rng(seed).integers(0, 256, (rows, columns, 3))


def commission(*fields, materials=STOCK, **given):
    return Commission("Threshold", 1000.0, 1000.0, fields=fields, materials=materials, **given)


def plain(lab, pieces=10_000, waste=0.0):
    """Materials M0, M1, ... of these colours."""
    many = np.broadcast_to(pieces, len(lab))
    return tuple(
        Material(f"M{k}", f"m {k}", "smalti", tuple(map(float, c)), pieces=int(n), waste=waste)
        for k, (c, n) in enumerate(zip(lab, many, strict=True))
    )


def off(wanted, palette, weight=1.0):
    """CIEDE2000 by scikit-image of all to all; a weight of lightness divides kL."""
    one, two = np.broadcast_arrays(np.asarray(wanted)[:, None], np.asarray(palette)[None])
    return deltaE_ciede2000(one, two, kL=1 / weight)


def soft_palette(seed, n):
    return np.random.default_rng(seed).uniform([20, -40, -40], [90, 40, 50], (n, 3))


# nearest


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 10_000),
    weight=st.sampled_from([0.25, 0.5, 1.0, 2.0, 4.0]),
    shift=st.tuples(st.floats(-20, 20), st.floats(-20, 20), st.floats(-20, 20)),
    some=st.sets(st.integers(0, len(STOCK) - 1), min_size=1),
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
    np.testing.assert_allclose(laid.wanted_lab, wanted, atol=1e-6)
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
    np.testing.assert_allclose(stock[1].delta_e, 0, atol=1e-9)


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
    every = tuple(m.code for m in STOCK)
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
def test_locked_materials_stay_whatever_the_shift_or_the_number_of_colours(seed, shift, at_most):
    # middling colours: a shift that runs into black or white cannot be taken back
    rgb = np.random.default_rng(seed).integers(90, 150, (6, 8, 3))
    sketch, colours = painted(rgb)
    doc = commission(field(8, 6), sketch=sketch)
    before = match_field(doc, doc.fields[0], grid(8, 6), colours).stock
    values, many = np.unique(before, return_counts=True)
    kept = int(values[many.argmax()])
    changed = replace(doc.fields[0], shift_lab=shift, at_most=at_most, locked=(STOCK[kept].code,))
    after = match_field(replace(doc, fields=(changed,)), changed, grid(8, 6), colours).stock
    assert (after[before == kept] == kept).all()
    assert len(set(after) - {kept}) <= (at_most or len(STOCK))
    loose = replace(changed, locked=())
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


def test_a_mixture_is_found_in_the_palette_where_none_is_named():
    rgb = np.full((20, 30, 3), (150, 120, 110))
    sketch, colours = painted(rgb)
    codes = tuple(m.code for m in STOCK)
    f = field(30, 20, match="mix", palette=codes)
    doc = commission(f, sketch=sketch)
    laid = match_field(doc, f, grid(30, 20), colours)
    single = match_field(
        replace(doc, fields=(replace(f, match="nearest"),)),
        replace(f, match="nearest"),
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


# within the stock


def usable(m):
    """Pieces that may be laid: sorting and cutting lose the rest."""
    return int(m.pieces * (1 - Decimal(repr(m.waste))))


def programme(cost, room):
    """Least total by scipy's linear programme; None where the shelf cannot serve all.

    `cost` is inf where a piece may not take a material.
    """
    n, m = cost.shape
    free = np.isfinite(cost)
    rows = sparse.kron(sparse.eye(n), np.ones((1, m)), "csr")
    columns = sparse.kron(np.ones((1, n)), sparse.eye(m), "csr")
    solved = linprog(
        np.where(free, cost, 0.0).ravel(),
        A_ub=columns,
        b_ub=room,
        A_eq=rows,
        b_eq=np.ones(n),
        bounds=np.column_stack([np.zeros(n * m), free.ravel().astype(float)]),
        method="highs",
    )
    return solved.fun if solved.status == 0 else None


def most_served(free, room):
    """How many pieces can be served at all, by scipy's linear programme."""
    n, m = free.shape
    rows = sparse.kron(sparse.eye(n), np.ones((1, m)), "csr")
    columns = sparse.kron(np.ones((1, n)), sparse.eye(m), "csr")
    solved = linprog(
        -free.ravel().astype(float),
        A_ub=sparse.vstack([rows, columns]),
        b_ub=np.concatenate([np.ones(n), room]),
        method="highs",
    )
    assert solved.status == 0
    return round(-solved.fun)


def two_fields(seed, room, n_materials, palettes, **given):
    rng = np.random.default_rng(seed)
    sketch, colours = painted(rng.integers(40, 220, (12, 10, 3)))
    materials = plain(soft_palette(seed, n_materials), room, waste=given.pop("waste", 0.0))
    fields = (
        field(10, 6, palette=palettes[0]),
        field(10, 6, at=(0.0, 6 * PITCH), name="f2", palette=palettes[1]),
    )
    doc = commission(*fields, materials=materials, sketch=sketch, within_stock=True, **given)
    return doc, [grid(10, 6), grid(10, 6, (0.0, 6 * PITCH))], colours


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
            replace(m, pieces=in_hand, waste=0.0) if k == kept else m for k, m in enumerate(STOCK)
        )
        f = replace(doc.fields[0], shift_lab=(25.0, 5.0, 5.0), locked=(STOCK[kept].code,))
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


# swaps and the hand within the stock


def used_of(laid, m):
    return sum(np.bincount(one.stock[one.stock >= 0], minlength=m) for one in laid)


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
