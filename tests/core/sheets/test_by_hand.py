"""Sheets altered by hand: halves, what pieces touch, sheets in parts; what is told meanwhile."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import JOINT, wall

from core.commission import Sheet
from core.errors import EmblemaError, Stopped
from core.geometry import outline_of, polygon_of
from core.pieces import LaidField, Layout, Pieces
from core.sheets.graph import joint_graph
from core.sheets.made import divided, joint_with, moved_to, parted, sheet_of, sheets_of
from core.sheets.room import all_met, half_joints, room_of

HALF = 0.34  # of a sheet, at least, in either half


def whole(width: float, height: float, side: float = 20.0):
    """Return a wall on one sheet, number 4, its layout and its joints."""
    doc, layout = wall(width, height, side)
    doc = replace(doc, sheets=(Sheet(4, outline_of(shapely.box(0, 0, width, height))),))
    return doc, layout, joint_graph(doc, layout)


def in_parts(graph, which) -> int:
    """Return in how many parts pieces lie, seen from outside: corners do not hold."""
    room = shapely.union_all(
        shapely.buffer(graph.polygons[which], 0.51 * JOINT, join_style="mitre")
    )
    return shapely.get_num_geometries(shapely.buffer(room, -0.1))


def joint_neighbour(graph, piece: int) -> int:
    """Return a piece beside another."""
    at = np.flatnonzero(graph.a == piece)
    return int(graph.b[at[0]])


@given(st.floats(120, 700), st.floats(120, 700), st.integers(0, 20))
@settings(max_examples=25)
def test_a_sheet_is_parted_in_two_wholes_across_its_longer_side(width, height, seed) -> None:
    doc, layout, graph = whole(width, height)
    after = parted(replace(doc, seed=seed), layout, 4, graph)
    assert [s.number for s in after.sheets] == [4, 5]
    on = sheet_of(after.sheets, graph.polygons)
    held = [shapely.contains_properly(polygon_of(s.outline), graph.polygons) for s in after.sheets]
    assert (np.sum(held, axis=0) == 1).all()  # each piece is within one room, whole
    for number in (4, 5):
        assert in_parts(graph, on == number) == 1
        assert graph.area_mm2[on == number].sum() > HALF * graph.area_mm2.sum() - 2 * 21.5**2
    middles = [graph.centre_mm[on == n].mean(axis=0) for n in (4, 5)]
    apart = np.abs(middles[0] - middles[1])
    if abs(width - height) > 60:
        assert (apart[0] > apart[1]) == (width > height)


def test_two_pieces_are_parted_and_one_is_refused() -> None:
    doc, layout, graph = whole(43.0, 21.5)
    assert len(graph) == 2
    after = parted(doc, layout, 4, graph)
    assert sorted(sheet_of(after.sheets, graph.polygons).tolist()) == [4, 5]
    with pytest.raises(EmblemaError, match="Sheet 5 is a single piece"):
        parted(after, layout, 5, graph)


def test_joint_with_measures_what_pieces_share_with_the_rest_of_each_sheet() -> None:
    _, _, graph = whole(300, 200)
    on = np.where(graph.centre_mm[:, 1] < 100, 1, 2)
    on[0] = 0
    row = np.flatnonzero(np.abs(graph.centre_mm[:, 1] - graph.centre_mm[on == 2, 1].min()) < 1)
    above, shared = set(np.flatnonzero(on == 1)), joint_with(graph, on, row.tolist())
    links = zip(graph.a.tolist(), graph.b.tolist(), graph.length_mm.tolist(), strict=True)
    over = sum(mm for a, b, mm in links if len({a, b} & above) == 1 and {a, b} & set(row.tolist()))
    assert shared[1] == pytest.approx(over) and shared[2] > 0 and 0 not in shared
    assert joint_with(graph, np.ones(len(graph), np.int64), range(len(graph))) == {}


def test_a_sheet_that_lies_in_parts_takes_and_gives_pieces_but_not_in_more_parts() -> None:
    """After a new laying a sheet may lie in parts; it is mended piece by piece."""
    doc, layout, graph = whole(400, 200)
    left, middle, right = (
        shapely.box(*b) for b in ((0, 0, 90, 200), (90, 0, 310, 200), (310, 0, 400, 200))
    )
    sheets = (Sheet(1, (*outline_of(left), *outline_of(right))), Sheet(2, outline_of(middle)))
    doc = replace(doc, sheets=sheets)
    on = sheet_of(sheets, graph.polygons)
    x = graph.centre_mm[:, 0]
    at_seam = int(np.flatnonzero(on == 2)[np.argmin(x[on == 2])])
    after = moved_to(doc, layout, [at_seam], 1, graph)
    assert sheet_of(after.sheets, graph.polygons)[at_seam] == 1
    inner = int(np.argmin(np.hypot(*(graph.centre_mm - (200, 100)).T)))
    with pytest.raises(EmblemaError, match="Sheet 1 would come apart"):
        moved_to(doc, layout, [inner], 1, graph)


def test_bare_grout_within_a_sheet_is_its_own_and_another_sheets_piece_is_not() -> None:
    doc, layout, graph = whole(400, 300)
    inner = int(np.argmin(np.hypot(*(graph.centre_mm - (200, 150)).T)))
    rest = np.delete(np.arange(len(graph)), inner)
    one = layout.fields[0]
    fewer = LaidField(
        one.field_id,
        Pieces(*(getattr(one.pieces, f.name)[rest] for f in fields(Pieces))),
        *(v[rest] for v in (one.wanted_lab, one.stock, one.delta_e)),
    )
    (room,) = divided(replace(doc, sheets=()), Layout((fewer,))).sheets
    assert len(polygon_of(room.outline).geoms[0].interiors) == 0
    island = Sheet(5, outline_of(graph.polygons[inner].buffer(JOINT / 2)))
    both = replace(doc, sheets=(island, *doc.sheets))
    next_door = int(joint_neighbour(graph, inner))
    after = moved_to(both, layout, [next_door], 5, graph)
    around = next(s for s in after.sheets if s.number == 4)
    assert len(polygon_of(around.outline).geoms[0].interiors) == 1
    on = sheet_of(after.sheets, graph.polygons)
    assert set(np.flatnonzero(on == 5)) == {inner, next_door}


def test_what_share_is_done_is_told_and_stop_is_heard_meanwhile() -> None:
    doc, layout = wall(1200, 900, 20.0)
    told: list[float] = []
    divided(doc, layout, tell=told.append)
    assert len(told) > 4 and told == sorted(told) and told[0] >= 0 and told[-1] < 1
    heard: list[float] = []
    with pytest.raises(Stopped):
        divided(doc, layout, lambda: len(heard) == 3, tell=heard.append)
    assert len(heard) == 3


def test_with_its_joints_given_a_division_is_the_same() -> None:
    doc, layout = wall(900, 600, 20.0)
    graph = joint_graph(doc, layout)
    assert divided(doc, layout, graph=graph) == divided(doc, layout)
    assert sheets_of(divided(doc, layout), layout).loose == 0


@given(st.integers(0, 2**32 - 1), st.integers(1, 4))
@settings(max_examples=15, deadline=None)
def test_a_room_mended_about_moved_pieces_is_that_made_anew(seed: int, many: int) -> None:
    """Random pieces over a seam, one after the other: rooms stay those of their pieces."""
    doc, layout = wall(500, 400, 20.0, width_mm=260, height_mm=420)
    graph = joint_graph(doc, layout)
    doc = divided(doc, layout, graph=graph)
    rng = np.random.default_rng(seed)
    for _ in range(6):
        on = sheet_of(doc.sheets, graph.polygons)
        seam = np.flatnonzero(on[graph.a] != on[graph.b])
        k = int(rng.choice(seam))
        here, there = (
            (int(graph.a[k]), int(graph.b[k]))
            if rng.random() < 0.5
            else (
                int(graph.b[k]),
                int(graph.a[k]),
            )
        )
        near = [here, *graph.b[graph.a == here], *graph.a[graph.b == here]]
        some = [int(p) for p in near if on[p] == on[here]][:many]
        try:
            doc = moved_to(doc, layout, some, int(on[there]), graph, on)
        except EmblemaError:
            continue
        wanted = on.copy()
        wanted[some] = on[there]
        assert (sheet_of(doc.sheets, graph.polygons) == wanted).all()
        half = half_joints(graph)
        gap = float(half.max())
        for s in doc.sheets:
            room = polygon_of(s.outline)
            assert room.is_valid
            others = [polygon_of(o.outline) for o in doc.sheets if o is not s]
            (anew,) = all_met(
                [room_of(graph, np.flatnonzero(wanted == s.number), half)], others, gap
            )
            off = room.symmetric_difference(anew)
            assert off.buffer(-0.6 * gap).area < 0.02 * 20.0**2  # by hairs along seams at most
