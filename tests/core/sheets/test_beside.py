"""Sheets beside openings: none goes all round one, nor does work by hand make it so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import wall

from core.commission import Commission
from core.errors import EmblemaError
from core.openings import gone_round, shape_of
from core.pieces import LaidField, Layout
from core.sheets.bond import parted_at
from core.sheets.graph import joint_graph
from core.sheets.made import divided, joined, parted, sheets_of
from core.site import Opening


def box(x0: float, y0: float, x1: float, y1: float) -> tuple[tuple[float, float], ...]:
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def opened_wall(
    width: float, height: float, *boxes: tuple[float, float, float, float], **sheeting: object
) -> tuple[Commission, Layout]:
    """Brickwork of which the pieces that touch an opening are left out."""
    doc, layout = wall(width, height, 20.0, **sheeting)  # type: ignore[arg-type]
    openings = tuple(Opening("socket", f"Socket {k}", box(*b)) for k, b in enumerate(boxes, 1))
    hole = shapely.union_all([shape_of(o) for o in openings])
    (f,) = layout.fields
    on = ~shapely.intersects(f.pieces.polygons, hole)
    p = f.pieces
    pieces = replace(
        p,
        polygons=p.polygons[on],
        course=p.course[on],
        piece=p.piece[on],
        angle_rad=p.angle_rad[on],
    )
    left = LaidField(f.field_id, pieces, f.wanted_lab[on], f.stock[on], f.delta_e[on])
    return replace(doc, openings=openings), Layout((left,))


def seen_round(doc: Commission, layout: Layout) -> list[tuple[int, str]]:
    """Seen from outside: pieces grown over their joints, holes filled, that hold an opening."""
    out = []
    for s in sheets_of(doc, layout).each:
        grown = shapely.union_all(shapely.buffer(layout.polygons[s.which], 1.0, join_style="mitre"))
        filled = [shapely.Polygon(p.exterior) for p in shapely.get_parts(grown)]
        for o in doc.openings:
            if any(p.covers(shape_of(o).buffer(-1)) for p in filled):
                out.append((s.number, o.name))
    return out


@given(
    st.lists(st.tuples(st.floats(20, 640), st.floats(20, 440)), min_size=1, max_size=4),
    st.floats(30, 120),
    st.floats(30, 120),
    st.sampled_from([(300.0, 600.0), (200.0, 250.0), (450.0, 450.0)]),
    st.integers(0, 3),
)
@settings(max_examples=20, deadline=None)
def test_no_sheet_goes_all_round_an_opening(
    at: list[tuple[float, float]],
    wide: float,
    high: float,
    limit: tuple[float, float],
    seed: int,
) -> None:
    boxes = [(x, y, x + wide, y + high) for x, y in at]
    doc, layout = opened_wall(760, 560, *boxes, width_mm=limit[0], height_mm=limit[1])
    doc = divided(replace(doc, seed=seed), layout)
    assert seen_round(doc, layout) == []
    seen = sheets_of(doc, layout)
    assert seen.loose == 0
    for s in seen.each:
        assert not gone_round(doc, s.outline)
        w, h = sorted(s.size_mm), sorted(limit)
        assert w[0] <= h[0] + 1e-6 and w[1] <= h[1] + 1e-6


def test_a_mark_over_laid_pieces_has_a_seam_run_into_it_too() -> None:
    doc, layout = wall(400, 300, width_mm=450, height_mm=450)
    assert len(divided(doc, layout).sheets) == 1
    marked = replace(doc, openings=(Opening("socket", "Socket", box(150, 100, 230, 180)),))
    after = divided(marked, layout)
    assert len(after.sheets) == 2 and seen_round(after, layout) == []


def test_seams_are_begun_at_openings_so_that_no_sheet_more_is_needed() -> None:
    plain, layout = wall(840, 560, 20.0, width_mm=300, height_mm=600)
    doc, holed = opened_wall(840, 560, (250, 200, 330, 280), width_mm=300, height_mm=600)
    assert len(divided(doc, holed).sheets) == len(divided(plain, layout).sheets)


def test_by_hand_no_sheet_is_made_to_go_round_an_opening() -> None:
    doc, layout = opened_wall(400, 300, (150, 100, 230, 180), width_mm=450, height_mm=450)
    doc = divided(doc, layout)
    assert len(doc.sheets) == 2
    with pytest.raises(EmblemaError, match="would go all round 'Socket 1'"):
        joined(doc, layout, 1, 2)
    # what was made before the opening was known is parted through it
    both = joined(replace(doc, openings=()), layout, 1, 2)
    again = parted(replace(both, openings=doc.openings), layout, 1)
    assert len(again.sheets) == 2 and seen_round(again, layout) == []


def test_places_never_cut_have_no_seam_and_little_is_less_than_much() -> None:
    ring = box(170.0, 200.0, 330.0, 330.0)

    def cut_within(**spared: object) -> float:
        doc, layout = wall(760, 560, 20.0, width_mm=300, height_mm=600, **spared)  # type: ignore[arg-type]
        graph = joint_graph(doc, layout)
        on = sheets_of(divided(doc, layout), layout).sheet
        seam = on[graph.a] != on[graph.b]
        inner = shapely.contains_xy(shapely.Polygon(ring), graph.middle_mm)
        return float(graph.length_mm[seam & inner].sum())

    bare = cut_within()
    little, much = cut_within(spared_little=(ring,)), cut_within(spared=(ring,))
    assert bare > 0 and cut_within(spared_never=(ring,)) == 0
    assert much <= little <= bare


@given(
    st.floats(100, 3000),
    st.integers(1, 12),
    st.lists(st.tuples(st.floats(0, 1), st.floats(0.01, 0.2)), max_size=4),
    st.lists(st.tuples(st.floats(0, 1), st.floats(0.01, 0.2)), max_size=4),
)
def test_edges_leave_no_part_too_large(
    extent: float, n: int, seek: list[tuple[float, float]], shun: list[tuple[float, float]]
) -> None:
    def spans(some: list[tuple[float, float]]) -> np.ndarray:
        return np.array([(a * extent, (a + w) * extent) for a, w in some]).reshape(-1, 2)

    most = 1.15 * extent / n
    edges = np.r_[0.0, parted_at(0.0, extent, n, most, spans(seek), spans(shun)), extent]
    assert n + 1 <= len(edges) <= n + 2
    assert (np.diff(edges) > 0).all() and np.diff(edges).max() <= most * (1 + 1e-9)
    if not shun:
        assert len(edges) == n + 1
    if not seek and not shun:
        assert np.diff(edges) == pytest.approx(extent / n)


def test_an_edge_is_drawn_to_an_opening_and_pushed_off_a_face() -> None:
    none = np.empty((0, 2))
    seek = parted_at(0.0, 900.0, 3, 360.0, np.array([[320.0, 350.0]]), none)
    assert 320 < seek[0] < 350 and seek[1] == pytest.approx(600, abs=15)
    shun = parted_at(0.0, 900.0, 3, 360.0, none, np.array([[290.0, 350.0]]))
    assert not 290 < shun[0] < 350


def test_hundreds_of_rows_are_parted_without_a_table_of_all_places() -> None:
    edges = parted_at(
        0.0, 30_000.0, 300, 120.0, np.array([[51.0, 53.0]]), np.array([[98.0, 103.0]])
    )
    assert np.diff(np.r_[0.0, edges, 30_000.0]).max() <= 120.0 * 1.001
    assert ((edges > 51) & (edges < 53)).any()
    assert not ((edges > 98) & (edges < 103)).any()
