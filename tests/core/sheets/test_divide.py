"""Sheets: every piece on one, each a whole that can be lifted, within its limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import JOINT, bricks, wall

from core import archive
from core.checks import check_document
from core.commission import Sheeting
from core.errors import EmblemaError, Stopped
from core.pieces import Layout
from core.sheets.cut import cheapest_cut
from core.sheets.graph import PAPER_MM, joint_graph
from core.sheets.made import (
    divided,
    joined,
    moved_to,
    parted,
    pinned,
    sheet_of,
    sheets_of,
)
from core.sheets.order import setting_order

ALL = np.concatenate


def polygons_of(layout: Layout) -> np.ndarray:
    return ALL([f.pieces.polygons for f in layout.fields])


def hangs_together(polygons: np.ndarray, apart: float = JOINT) -> bool:
    """Seen from outside: pieces grown over their joints are one shape, corners not counted."""
    grown = shapely.buffer(polygons, 0.51 * apart, join_style="mitre")
    room = shapely.union_all(grown)
    return shapely.get_num_geometries(shapely.buffer(room, -0.1)) == 1


@given(
    st.floats(150, 1400),
    st.floats(150, 1000),
    st.floats(120, 500),
    st.floats(120, 700),
    st.integers(1, 3),
    st.integers(0, 5),
)
@settings(max_examples=25)
def test_every_piece_is_on_one_sheet_that_hangs_together_and_can_be_lifted(
    width: float, height: float, w: float, h: float, fields: int, seed: int
) -> None:
    doc, layout = wall(width, height, 20.0, fields, width_mm=w, height_mm=h, weight_kg=4.0)
    doc = divided(replace(doc, seed=seed), layout)
    check_document(doc)
    polygons = polygons_of(layout)
    seen = sheets_of(doc, layout)
    assert seen.loose == 0 and len(seen.each) == len(doc.sheets)
    assert sorted(ALL([s.which for s in seen.each])) == list(range(len(polygons)))
    assert [s.number for s in seen.each] == list(range(1, len(seen.each) + 1))
    for s in seen.each:
        mine = polygons[s.which]
        assert hangs_together(mine)
        x0, y0, x1, y1 = shapely.total_bounds(mine)
        fits = (x1 - x0 <= w and y1 - y0 <= h) or (x1 - x0 <= h and y1 - y0 <= w)
        assert fits, (s.number, x1 - x0, y1 - y0)
        assert s.kg <= 4.0
        assert s.size_mm == pytest.approx((x1 - x0, y1 - y0))
    x0, y0, x1, y1 = shapely.total_bounds(polygons)  # the wall without the joint at its edge
    least = (x1 - x0) * (y1 - y0) / (w * h)
    assert least <= len(seen.each) <= 3.2 * np.ceil(width / min(w, width)) * np.ceil(height / h) + 3


def test_rooms_of_sheets_do_not_overlap_and_hold_their_pieces() -> None:
    doc, layout = wall(900, 600)
    doc = divided(doc, layout)
    seen = sheets_of(doc, layout)
    rooms = [s.outline for s in seen.each]
    for s in seen.each:
        assert s.outline.is_valid
        inside = shapely.covers(s.outline.buffer(0.01), seen.polygons[s.which])
        assert inside.all()
    for k, one in enumerate(rooms):
        for two in rooms[k + 1 :]:
            assert one.intersection(two).area < 0.02 * JOINT * max(one.length, 1.0)


def test_the_same_comes_out_again() -> None:
    doc, layout = wall(800, 500)
    assert divided(doc, layout).sheets == divided(doc, layout).sheets


def test_sheets_are_alike_in_size() -> None:
    doc, layout = wall(1800, 1200)
    seen = sheets_of(divided(doc, layout), layout)
    area = np.array([s.area_mm2 for s in seen.each])
    assert area.std() / area.mean() < 0.25
    assert len(seen.each) <= 1.7 * 1800 * 1200 / (300 * 600)  # seams need room to wander


def test_the_weight_bounds_a_sheet() -> None:
    """10 kg a m2 where no material says: 4 mm of glass at 2,500 kg a m3 (EN 572)."""
    doc, layout = wall(900, 600, weight_kg=0.5)
    seen = sheets_of(divided(doc, layout), layout)
    assert max(s.kg for s in seen.each) <= 0.5
    whole = sum(s.area_mm2 for s in seen.each) / 1e6 * 10.0
    assert sum(s.kg for s in seen.each) == pytest.approx(whole)


def test_a_seam_follows_a_line_that_was_drawn() -> None:
    doc, layout = wall(700, 500, seams=(((250.0, -5.0), (250.0, 505.0)),))
    seen = sheets_of(divided(doc, layout), layout)
    for s in seen.each:
        x = shapely.get_coordinates(shapely.centroid(seen.polygons[s.which]))[:, 0]
        assert x.max() < 250 + 10 or x.min() > 250 - 10


def test_seams_go_round_what_is_to_be_spared() -> None:
    ring = ((310.0, 230.0), (400.0, 230.0), (400.0, 320.0), (310.0, 320.0))

    def cut_within(spared: tuple[tuple[tuple[float, float], ...], ...]) -> float:
        doc, layout = wall(700, 550, width_mm=460.0, height_mm=460.0, spared=spared)
        graph = joint_graph(doc, layout)
        on = sheet_of(divided(doc, layout).sheets, graph.polygons)
        seam = on[graph.a] != on[graph.b]
        inner = shapely.contains_xy(shapely.Polygon(ring), graph.middle_mm)
        return float(graph.length_mm[seam & inner].sum())

    assert cut_within((ring,)) < 0.5 * cut_within(())


def test_parts_apart_are_sheets_of_their_own_unless_the_paper_holds_them() -> None:
    for gap, number in ((0.8 * PAPER_MM, 1), (1.5 * PAPER_MM, 2)):
        doc, layout = wall(100, 100)
        right = bricks(100, 100, x0=100 + gap)
        f = layout.fields[0]
        far = replace(f, pieces=right)
        field = replace(doc.fields[0], id="f1")
        two = Layout((f, replace(far, field_id="f1")))
        doc = divided(replace(doc, fields=(*doc.fields, field)), two)
        assert len(doc.sheets) == number


def test_a_pinned_sheet_stays_when_the_rest_is_divided_again() -> None:
    doc, layout = wall(900, 600)
    doc = pinned(divided(doc, layout), 3, True)
    again = divided(replace(doc, sheeting=Sheeting(200.0, 250.0)), layout)
    assert [s for s in again.sheets if s.number == 3] == [s for s in doc.sheets if s.number == 3]
    assert len(again.sheets) > len(doc.sheets)
    assert sheets_of(again, layout).loose == 0
    numbers = [s.number for s in again.sheets]
    assert numbers == sorted(set(numbers))


def test_by_hand_sheets_are_joined_parted_and_pieces_moved_and_numbers_stay() -> None:
    doc, layout = wall(900, 600)
    doc = divided(doc, layout)
    seen = sheets_of(doc, layout)
    one = seen.each[0]
    two = one.beside[0].number
    both = joined(doc, layout, one.number, two)
    assert {s.number for s in both.sheets} == {s.number for s in doc.sheets} - {two}
    held = {s.number: len(s.which) for s in sheets_of(both, layout).each}
    assert held[one.number] == len(one.which) + len(seen.each[two - 1].which)
    apart = parted(both, layout, one.number)
    again = sheets_of(apart, layout)
    assert again.loose == 0
    assert all(hangs_together(again.polygons[s.which]) for s in again.each)
    assert {s.number for s in both.sheets} < {s.number for s in apart.sheets}

    graph = joint_graph(doc, layout)
    seam = np.flatnonzero((seen.sheet[graph.a] == one.number) & (seen.sheet[graph.b] == two))
    piece = (
        int(graph.b[seam[0]])
        if len(seam)
        else int(graph.a[(seen.sheet[graph.b] == one.number) & (seen.sheet[graph.a] == two)][0])
    )
    after = sheets_of(moved_to(doc, layout, [piece], one.number), layout)
    assert after.sheet[piece] == one.number
    assert np.count_nonzero(after.sheet != seen.sheet) == 1


def test_what_would_leave_a_sheet_in_two_is_refused_and_nothing_is_lost() -> None:
    doc, layout = wall(900, 600)
    doc = divided(doc, layout)
    seen = sheets_of(doc, layout)
    far = seen.each[-1].which
    inner = int(far[np.argmax(seen.polygons[far[0]].distance(seen.polygons[far]))])
    with pytest.raises(EmblemaError, match="would come apart"):
        moved_to(doc, layout, [inner], seen.each[0].number)
    apart = next(
        s.number
        for s in seen.each
        if s.number not in {b.number for b in seen.each[0].beside} | {seen.each[0].number}
    )
    with pytest.raises(EmblemaError, match="do not lie side by side"):
        joined(doc, layout, seen.each[0].number, apart)
    with pytest.raises(EmblemaError, match="There is no sheet 99"):
        parted(doc, layout, 99)


def test_neighbours_name_one_another_and_their_marks_lie_on_their_seam() -> None:
    doc, layout = wall(900, 600)
    seen = sheets_of(divided(doc, layout), layout)
    opposite = {"left": "right", "right": "left", "above": "below", "below": "above"}
    sides = {(s.number, b.number): b.side for s in seen.each for b in s.beside}
    for (one, two), side in sides.items():
        assert sides[two, one] == opposite[side]
    by = {s.number: s for s in seen.each}
    assert seen.matches
    for m in seen.matches:
        place = shapely.Point(m.at_mm)
        for n in m.sheets:
            assert by[n].outline.distance(place) < JOINT
        one, two = (by[n].outline.centroid for n in m.sheets)
        assert (two.x - one.x) * m.way[0] + (two.y - one.y) * m.way[1] > 0


def test_sheets_are_saved_and_opened_as_they_are(tmp_path) -> None:  # type: ignore[no-untyped-def]
    doc, layout = wall(700, 500, level_mm=120.0, seams=(((250.0, -5.0), (250.0, 505.0)),))
    doc = pinned(divided(doc, layout), 2, True)
    archive.save(tmp_path / "wall.emblema", doc, {}, {})
    back = archive.open_work(tmp_path / "wall.emblema").doc
    assert back.sheets == doc.sheets and back.sheeting == doc.sheeting


def test_sheets_are_set_from_the_level_line_upwards_then_below_it() -> None:
    """Common practice: a batten carries the first row; what is below it comes last."""
    boxes = np.array(
        [[x, y, x + 300, y + 300] for y in (0, 300, 600) for x in (600, 0, 300)], float
    )
    rows = [[1, 2, 0], [4, 5, 3], [7, 8, 6]]  # each from the left, the upper row first
    assert setting_order(boxes, 900.0).tolist() == rows[2] + rows[1] + rows[0]
    assert setting_order(boxes, 600.0).tolist() == rows[1] + rows[0] + rows[2]


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=20)
def test_the_cut_is_the_cheapest_there_is(seed: int) -> None:
    """Against all ways to part eight pieces, tried one by one."""
    n, m = 8, 14
    rng = np.random.default_rng(seed)
    a, b = rng.integers(0, n, (2, m))
    cost = rng.integers(0, 9, m).astype(float)
    one, two = rng.integers(0, 9, (2, n)).astype(float)
    one[0], two[1] = np.inf, np.inf

    def price(second: np.ndarray) -> float:
        seam = cost[second[a] != second[b]].sum()
        return float(seam + np.where(second, two, one).sum())

    ways = [np.array([w >> k & 1 for k in range(n)], bool) for w in range(2**n)]
    assert price(cheapest_cut(n, a, b, cost, one, two)) == min(map(price, ways))


def test_what_cannot_be_divided_says_so() -> None:
    doc, layout = wall(300, 300)
    with pytest.raises(EmblemaError, match="hardly larger than the tesserae"):
        divided(replace(doc, sheeting=Sheeting(25.0, 25.0)), layout)
    with pytest.raises(EmblemaError, match="Nothing is laid yet"):
        divided(doc, Layout(()))
    with pytest.raises(Stopped):
        divided(doc, layout, lambda: True)
    for bad, words in (
        (Sheeting(width_mm=5.0), "The width of a sheet is 5 mm"),
        (Sheeting(laid="upside"), "The way that sheets are laid 'upside'"),
        (Sheeting(seams=(((0.0, 0.0),),)), "Seam 1 has 1 points"),
    ):
        with pytest.raises(EmblemaError, match=words):
            check_document(replace(doc, sheeting=bad))


def test_nothing_hangs_on_its_sheet_by_a_joint_much_shorter_than_its_side() -> None:
    """Seen from outside: a piece with more joint across its seam is held by three fifths of it."""
    for seed in range(4):
        doc, layout = wall(760, 560, 20.0, 2, width_mm=260, height_mm=300)
        # every seventh piece is turned into a pebble, which touches its neighbours little
        (first, *rest) = layout.fields
        polygons = first.pieces.polygons.copy()
        polygons[::7] = shapely.buffer(shapely.centroid(polygons[::7]), 9.5, quad_segs=3)
        round_ones = replace(first, pieces=replace(first.pieces, polygons=polygons))
        pebbled = Layout((round_ones, *rest))
        graph = joint_graph(doc, pebbled)
        on = sheet_of(divided(replace(doc, seed=seed), pebbled, graph=graph).sheets, graph.polygons)
        own, other = np.zeros(len(graph)), np.zeros(len(graph))
        for x, y in ((graph.a, graph.b), (graph.b, graph.a)):
            same = on[x] == on[y]
            np.add.at(own, x[same], graph.length_mm[same])
            np.add.at(other, x[~same], graph.length_mm[~same])
        hangs = (own < 0.45 * np.sqrt(graph.area_mm2)) & (other > own)
        assert not hangs.any(), np.flatnonzero(hangs)


def test_a_seam_is_one_line_where_joints_are_wider_than_the_works_usual() -> None:
    """Half of the wall in wide joints: no bare strip is left between two sheets' rooms."""
    doc, layout = wall(640, 360, 20.0, 2, width_mm=200, height_mm=200)
    first, second = layout.fields
    # the same pieces made smaller: joints of 4.5 mm beside those of 1.5
    small = shapely.buffer(second.pieces.polygons, -1.5, join_style="mitre")
    wide = replace(second, pieces=replace(second.pieces, polygons=small))
    mixed = Layout((first, wide))
    loose = doc.fields[1].with_choices(joint_mm=4.5)
    doc = divided(replace(doc, fields=(doc.fields[0], loose)), mixed)
    rooms = [s.outline for s in sheets_of(doc, mixed).each]
    assert len(rooms) > 4
    inner = shapely.box(8, 8, 632, 336)
    bare = inner.difference(shapely.union_all(rooms))
    assert bare.area < 1e-3 * inner.area
    for k, one in enumerate(rooms):
        for two in rooms[k + 1 :]:
            assert one.intersection(two).area < 0.02 * JOINT * max(one.length, 1.0)
