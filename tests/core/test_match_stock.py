from dataclasses import replace
from decimal import Decimal
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.optimize import linprog

from core.colour import ciede2000
from core.colour.convert import lab_under_d65
from core.colour.matching import (
    SHIFTS,
    choose_colours,
    differences,
    match_within_stock,
    shifted,
    stand_ins,
)
from core.colour.transport import share_out
from core.errors import EmblemaError
from core.material import Material, price_per_m2
from core.stock import starter_stock

# each colour once: some are stocked as cut pieces and as plates
PALETTE = np.array(list(dict.fromkeys(m.lab for m in starter_stock())))


def sketch_like(n, seed=1):
    """Colours in a few soft groups, as a sketch has them."""
    rng = np.random.default_rng(seed)
    groups = rng.uniform([20, -30, -30], [90, 30, 45], (6, 3))
    lab = groups[rng.integers(0, 6, n)] + rng.normal(0, [9, 6, 7], (n, 3))
    return np.clip(lab, [0, -100, -100], [100, 100, 100])


def matched(wanted, palette, available, kl=1.0):
    """Pieces each of a colour of its own in one field: the materials and the differences."""
    wanted = np.asarray(wanted, float)
    kinds, kind = np.unique(wanted, axis=0, return_inverse=True)
    cost = differences(kinds, palette, kl)
    (index,) = match_within_stock([cost], [kind.reshape(-1)], available)
    served = index >= 0
    off = np.full(len(index), np.nan)
    off[served] = cost[kind.reshape(-1)[served], index[served]]
    return index, off


def flow_of(cost, supply, capacity):
    """Sharing out as a table of kinds and materials."""
    kind, material, count = share_out(cost, supply, capacity)
    assert (count > 0).all() and (np.diff(kind) >= 0).all()
    flow = np.zeros(cost.shape, int)
    flow[kind, material] = count
    assert flow.sum() == count.sum()
    return flow


def least_total(cost, supply, capacity):
    """The transportation problem by scipy's linear programme."""
    n, m = cost.shape
    may = np.isfinite(cost).ravel()
    rows = sparse.kron(sparse.eye(n), np.ones((1, m)), "csr")[:, may]
    columns = sparse.kron(np.ones((1, n)), sparse.eye(m), "csr")[:, may]
    solved = linprog(
        cost.ravel()[may], A_ub=columns, b_ub=capacity, A_eq=rows, b_eq=supply, method="highs"
    )
    assert solved.status == 0
    return solved.fun


@pytest.mark.parametrize(("n", "room"), [(60, 1.0), (700, 1.05), (1500, 1.5), (1500, 4.0)])
def test_within_stock_costs_no_more_than_the_linear_programme(n, room):
    wanted = sketch_like(n)
    rng = np.random.default_rng(2)
    share = rng.uniform(0.02, 1, len(PALETTE))
    available = np.ceil(share * room * n / share.sum()).astype(int)
    index, off = matched(wanted, PALETTE, available)
    least = least_total(differences(wanted, PALETTE), np.ones(n), available)
    assert (np.bincount(index, minlength=len(PALETTE)) <= available).all()
    assert off.sum() == pytest.approx(least, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_sharing_out_is_least_for_any_counts(data):
    n, m = data.draw(st.integers(1, 7)), data.draw(st.integers(1, 5))
    whole = st.integers(0, 6)
    supply = np.array(data.draw(st.lists(st.integers(1, 6), min_size=n, max_size=n)), np.int64)
    capacity = np.array(data.draw(st.lists(whole, min_size=m, max_size=m)), np.int64)
    capacity[0] += max(0, int(supply.sum() - capacity.sum()))
    flat = data.draw(st.lists(whole, min_size=n * m, max_size=n * m))
    cost = np.array(flat, float).reshape(n, m)
    flow = flow_of(cost, supply, capacity)
    assert (flow >= 0).all() and (flow.sum(axis=1) == supply).all()
    assert (flow.sum(axis=0) <= capacity).all()
    assert (flow * cost).sum() == pytest.approx(least_total(cost, supply, capacity), abs=1e-7)


def test_many_pieces_of_few_colours():
    wanted = np.repeat(sketch_like(40, 3), 100, axis=0)
    available = np.full(len(PALETTE), 60)
    _, off = matched(wanted, PALETTE, available)
    kinds = np.unique(wanted, axis=0)
    least = least_total(differences(kinds, PALETTE), np.full(len(kinds), 100), available)
    assert off.sum() == pytest.approx(least, rel=1e-9)


def test_pieces_of_one_colour_and_two_materials_are_interleaved_not_in_blocks():
    index, _ = matched(np.tile([50.0, 0, 0], (300, 1)), PALETTE[:2], [200, 100])
    assert np.bincount(index).tolist() == [200, 100]
    windows = np.lib.stride_tricks.sliding_window_view(index == 1, 9).sum(axis=1)
    assert windows.min() >= 2 and windows.max() <= 4


def test_of_too_little_in_hand_the_hardest_are_left_out():
    wanted = sketch_like(200, 4)
    available = np.ones(len(PALETTE), int)
    index, off = matched(wanted, PALETTE, available)
    served = index >= 0
    assert served.sum() == len(PALETTE)
    assert (np.bincount(index[served], minlength=len(PALETTE)) == 1).all()
    without = 200 - len(PALETTE)
    cost = np.hstack([differences(wanted, PALETTE), np.full((200, 1), 500.0)])
    least = least_total(cost, np.ones(200), np.append(available, without))
    assert off[served].sum() == pytest.approx(least - 500 * without, rel=1e-9)


def test_enough_in_hand_gives_every_piece_its_nearest():
    wanted = sketch_like(500, 5)
    index, _ = matched(wanted, PALETTE, np.full(len(PALETTE), 500))
    np.testing.assert_array_equal(index, differences(wanted, PALETTE).argmin(axis=1))


def test_nothing_wanted_or_nothing_stocked():
    assert len(matched(np.empty((0, 3)), PALETTE, np.ones(len(PALETTE), int))[0]) == 0
    assert matched(sketch_like(3), np.empty((0, 3)), [])[0].tolist() == [-1] * 3
    assert matched(sketch_like(3), PALETTE, np.full(len(PALETTE), -4))[0].tolist() == [-1] * 3
    with pytest.raises(ValueError, match="as many pieces"):
        share_out(np.ones((1, 1)), np.array([2]), np.array([1]))
    barred = np.array([[1.0, np.inf], [1.0, np.inf]])
    with pytest.raises(ValueError, match="each kind may take"):
        share_out(barred, np.array([1, 1]), np.array([1, 1]))


def test_a_field_whose_palette_is_used_up_goes_without_and_no_other_does():
    """Two fields share M0, the second may take nothing else."""
    both, only = np.array([[3.0, 1.0]]), np.array([[5.0, np.inf], [9.0, np.inf]])
    kinds = [np.zeros(4, int), np.array([0, 1, 0, 1, 1])]
    one, two = match_within_stock([both, only], kinds, [3, 4])
    assert one.tolist() == [1] * 4
    assert two.tolist() == [0, -1, 0, 0, -1]  # the hardest go without, evenly spread
    one, two = match_within_stock([both, only], kinds, [5, 3])
    assert sorted(one) == [0, 1, 1, 1] and sorted(two) == [-1, 0, 0, 0, 0]


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_sharing_out_many_is_least_in_lumps_and_ties_and_palettes(data):
    """Enough kinds to be sampled: colours alike, in lumps, barred, the shelf full or bare."""
    rng = np.random.default_rng(data.draw(st.integers(0, 10_000)))
    n, m = data.draw(st.sampled_from([1200, 2600])), data.draw(st.sampled_from([1, 2, 5, 12]))
    cost = differences(sketch_like(n, int(rng.integers(1000))), PALETTE[rng.permutation(71)[:m]])
    kind = data.draw(st.sampled_from(["plain", "whole", "alike", "swapped", "flat"]))
    if kind == "whole":
        cost = np.round(cost / 4)
    elif kind == "alike":
        cost = cost[rng.integers(0, 9, n)]
    elif kind == "swapped" and m > 1:
        cost[: n // 2, 1] = cost[: n // 2, 0] + 1e-4
    elif kind == "flat":
        cost[:] = 7.0
    supply = np.ones(n, np.int64)
    if data.draw(st.booleans()):
        supply = rng.choice([1, 1, 1, 2, 40, 700], n)
    if data.draw(st.booleans()) and m > 2:
        barred = rng.random((6, m)) < 0.5
        barred[:, 0] = False  # of which there is enough, below
        cost[barred[np.arange(n) * 6 // n]] = np.inf
    share = rng.random(m) * (rng.random(m) < data.draw(st.sampled_from([0.5, 1.0])))
    room = data.draw(st.sampled_from([0.4, 1.0, 3.0])) * supply.sum()
    capacity = np.floor(share / max(share.sum(), 1e-9) * room).astype(np.int64)
    short = int(supply.sum() - capacity.sum())
    capacity[0] += supply.sum() if np.isinf(cost).any() else max(short, 0)
    flow = flow_of(cost, supply, capacity)
    assert (flow.sum(axis=1) == supply).all() and (flow.sum(axis=0) <= capacity).all()
    total = (flow * np.where(flow > 0, cost, 0)).sum()
    assert total == pytest.approx(least_total(cost, supply, capacity), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize(("short", "left"), [(8, 0.6), (30, 0.5), (60, 1.0)])
def test_no_row_of_changes_would_be_cheaper_among_20_000_pieces(short, left):
    """The certificate of the least total where a linear programme would take too long."""
    wanted, palette = sketch_like(20_000, 7), PALETTE[:60]
    cost = differences(wanted, palette)
    demand = np.bincount(cost.argmin(axis=1), minlength=60)
    room = 3 * demand + 400
    most = np.argsort(-demand)[:short]
    room[most] = demand[most] * left
    room[most[-1]] += max(0, 20_000 - room.sum())
    index, _ = matched(wanted, palette, room)
    used = np.bincount(index, minlength=60)
    assert (used <= room).all() and used.sum() == 20_000
    # the cheapest change from each material to each other; what is spare may go back to the shelf
    way = np.zeros((61, 61))
    for i in range(60):
        change = cost[index == i] - cost[index == i, i][:, None]
        way[i, :60] = change.min(axis=0, initial=np.inf)
    way[:60, 60] = np.where(used < room, 0.0, np.inf)
    way[60, :60] = np.where(used > 0, 0.0, np.inf)
    way[60, 60] = 0.0
    for k in range(61):
        way = np.minimum(way, way[:, k][:, None] + way[k])
    assert way.diagonal().min() >= -1e-6


@pytest.mark.parametrize("size", [1, 2, 3, 4])
def test_chosen_colours_are_the_best_of_all_choices_in_small_cases(size):
    worst, hits = 1.0, 0
    for seed in range(12):
        rng = np.random.default_rng(seed)
        wanted, palette = sketch_like(60, seed), PALETTE[rng.choice(len(PALETTE), 12, False)]
        weights = rng.uniform(0.1, 3, 60)
        chosen = choose_colours(wanted, weights, palette, size)
        cost = differences(wanted, palette)
        best = min(
            float(np.average(cost[:, list(some)].min(axis=1), weights=weights))
            for some in combinations(range(12), size)
        )
        assert len(set(chosen.index)) == size
        direct = cost[:, list(chosen.index)].min(axis=1)
        assert chosen.mean == pytest.approx(np.average(direct, weights=weights))
        assert chosen.worst == pytest.approx(direct.max())
        worst, hits = max(worst, chosen.mean / best), hits + (chosen.mean <= best + 1e-9)
    assert hits == 12, worst


def test_choosing_from_little():
    wanted = sketch_like(5)
    assert choose_colours(wanted, None, PALETTE[:3], 10).index == (0, 1, 2)
    assert choose_colours(wanted, None, np.tile(PALETTE[:1], (4, 1)), 2).mean == pytest.approx(
        ciede2000(wanted, PALETTE[0]).mean()
    )
    with pytest.raises(EmblemaError):
        choose_colours(wanted, None, PALETTE, 0)
    with pytest.raises(EmblemaError):
        choose_colours(wanted, None, np.empty((0, 3)), 2)


def test_more_colours_never_serve_worse():
    wanted = sketch_like(6000, 6)
    means = [choose_colours(wanted, None, PALETTE, k).mean for k in (1, 2, 4, 8, 16, len(PALETTE))]
    assert all(b < a for a, b in pairwise(means))
    assert means[-1] == pytest.approx(differences(wanted, PALETTE).min(axis=1).mean())


def test_lightness_weighs_against_hue():
    wanted = [[50.0, 30.0, 0.0]]
    palette = [[50.0, 18.0, 0.0], [66.0, 30.0, 0.0]]
    assert matched(wanted, palette, [1, 1], kl=0.5)[0].tolist() == [0]
    assert matched(wanted, palette, [1, 1], kl=4.0)[0].tolist() == [1]


def test_shifts_go_the_way_they_say():
    base = np.array([55.0, 3.0, 8.0])
    assert shifted((0, 0, 0), "lighter", 2)[0] > 0 > shifted((0, 0, 0), "darker")[0]
    orange, blue = np.array([65.0, 45.0, 65.0]), np.array([50.0, 0.0, -45.0])
    for how, nearer, farther in (("warmer", orange, blue), ("cooler", blue, orange)):
        moved = base + shifted((0, 0, 0), how, 2)
        assert ciede2000(moved, nearer) < ciede2000(base, nearer)
        assert ciede2000(moved, farther) > ciede2000(base, farther)
        assert moved[0] == base[0]
    for one, other in (("lighter", "darker"), ("warmer", "cooler")):
        np.testing.assert_allclose(shifted(shifted((1, 2, 3), one), other), (1, 2, 3))
    assert set(SHIFTS) == {"lighter", "darker", "warmer", "cooler"}


def test_stand_ins_come_nearest_first_with_what_they_cost():
    short = starter_stock()[8]
    found = stand_ins(short, starter_stock(), 500)
    assert len(found) == len(starter_stock()) - 1
    assert short.code not in {s.material.code for s in found}
    gaps = [s.delta_e for s in found]
    assert gaps == sorted(gaps)
    for s in found:
        assert s.delta_e == pytest.approx(float(ciede2000(short.lab, s.material.lab)))
        assert s.enough == (s.material.pieces >= 500)
        assert s.price_change_m2 == price_per_m2(s.material) - price_per_m2(short)
    assert stand_ins(short, [short]) == ()
    assert not stand_ins(short, starter_stock(), 1, {})[0].enough
    one, two = starter_stock()[9:11]
    few = stand_ins(short, starter_stock(), {one.code: one.pieces, two.code: two.pieces + 1})
    assert {s.material.code: s.enough for s in few} == {one.code: True, two.code: False}


def test_other_lots_of_the_material_stand_in_before_what_is_no_nearer():
    def sea(code, light, **given):
        return Material(code, "sea", "smalti", (light, -20.0, 5.0), **given)

    plain, near = sea("SM-78", 50.0), sea("SM-60", 51.0)
    lots = [
        sea(f"SM-78 lot {k}", light, lot=k, lot_of="SM-78")
        for k, light in ((12, 51.0004), (13, 53.0), (14, 50.0004))
    ]
    far = sea("SM-61", 52.0)
    found = stand_ins(lots[0], [far, near, plain, *lots])
    codes = [s.material.code for s in found]
    # of another shade each to be seen, or alike and of the same material
    assert codes == ["SM-60", "SM-78 lot 14", "SM-78", "SM-61", "SM-78 lot 13"]
    found = stand_ins(plain, [near, far, *lots])
    assert [s.material.code for s in found] == [
        *("SM-78 lot 14", "SM-78 lot 12", "SM-60", "SM-61", "SM-78 lot 13")
    ]


def test_stand_ins_are_compared_in_one_light():
    short = Material("A", "a", "smalti", (50.0, 20.0, 20.0), illuminant="A")
    seen = tuple(map(float, lab_under_d65(short.lab, "A", 2)))
    same = Material("S", "s", "smalti", seen)
    found = stand_ins(short, [Material("N", "n", "smalti", short.lab), same])
    assert found[0].material is same and found[0].delta_e == pytest.approx(0, abs=1e-9)
    assert found[1].delta_e > 1


def test_price_of_a_square_metre():
    m = Material("A", "a", "smalti", (50, 0, 0), length_mm=20, width_mm=10, thickness_mm=7)
    m = replace(m, density_kg_m3=2700, price=Decimal(10))
    assert price_per_m2(m) == Decimal("189.0")  # 18.9 kg a square metre
    assert price_per_m2(replace(m, price_unit="piece")) == 50000
    assert price_per_m2(replace(m, price_unit="m2")) == 10
    assert price_per_m2(replace(m, price_unit="sheet")) is None
    assert (
        stand_ins(replace(m, price_unit="sheet"), [replace(m, code="B")])[0].price_change_m2 is None
    )
