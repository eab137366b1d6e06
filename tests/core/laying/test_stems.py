"""Lines one course wide: where one runs into another it stops square, and that one runs through."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from measures import least_width, measure
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon

from core.laying import lay_field
from core.laying.stems import runs_of
from core.ornament.strands import guilloche

TESSERA, JOINT = 6.0, 1.0
PITCH = TESSERA + JOINT


def through(bend: float) -> LineString:
    x = np.linspace(0.0, 30.0, 121)
    return LineString(PITCH * np.stack([x, bend * np.sin(2 * np.pi * x / 30)], axis=1))


def stem(line: LineString, at: float, lean_deg: float, long: float) -> LineString:
    """Return a straight line that runs into another at a share of it, leaning from square."""
    a, b = (line.interpolate(at + d, normalized=True) for d in (-1e-3, 1e-3))
    foot = np.array(line.interpolate(at, normalized=True).coords[0])
    turn = np.arctan2(b.y - a.y, b.x - a.x) + np.radians(90 + lean_deg)
    way = np.array([np.cos(turn), np.sin(turn)])
    return LineString([foot, foot + long * PITCH * way])


def net(bend: float, stems: list[tuple[float, float]]) -> Polygon:
    line = through(bend)
    lines = [line, *(stem(line, at, lean, 9) for at, lean in stems)]
    out = shapely.union_all([w.buffer(PITCH / 2, cap_style="flat") for w in lines])
    assert isinstance(out, Polygon)
    return out


@settings(max_examples=40, deadline=None)
@given(
    st.integers(0, 250).map(lambda k: k / 100),  # outlines of documents are rounded as well
    st.lists(st.floats(-35, 35), min_size=1, max_size=3),
    st.floats(0, 360),
)
def test_a_stem_is_cut_off_where_it_runs_into_another(bend, leans, turn):
    places = np.linspace(0.2, 0.8, len(leans))
    stems = [stem(through(bend), *s, 9) for s in zip(places, leans, strict=True)]
    # those that run into one another are a net of another kind
    assume(all(a.distance(b) > 2 * PITCH for a, b in combinations(stems, 2)))
    shape = net(bend, list(zip(places, leans, strict=True)))
    turned = shapely.affinity.rotate(shape, turn)
    runs = runs_of(turned, PITCH)
    assert len(runs) == 1 + len(leans)
    assert sum(g.area for g in runs) == pytest.approx(shape.area, rel=1e-4)
    longest = max(runs, key=lambda g: g.area)
    assert longest.area == pytest.approx(through(bend).length * PITCH, rel=0.02)


@pytest.mark.parametrize("wide", [2.0, 5.0])
def test_what_has_room_for_several_courses_is_no_net(wide):
    bar, stem = LineString([(0, 0), (90, 0)]), LineString([(45, 0), (45, 70)])
    both = bar.union(stem).buffer(wide * PITCH / 2, cap_style="flat")
    assert runs_of(both, PITCH) == [both]


@pytest.mark.parametrize("follow", [True, False])
def test_a_contour_runs_through_a_crossing_and_what_is_beneath_stops_square(follow):
    """No piece reaches from one line into another, and none is a stub, at any crossing."""
    contour = next(f for f in guilloche(2, 2, True).draw(2, False) if f.role == "contour")
    outline = shapely.transform(contour.shape, lambda xy: PITCH * xy)
    flow = tuple(shapely.transform(g, lambda xy: PITCH * xy) for g in contour.flow)
    parts = shapely.get_parts([outline]).tolist()
    runs = np.array([g for p in parts for g in runs_of(p, PITCH)], dtype=object)
    assert len(runs) > len(parts) + 8
    s = setting_of(MultiPolygon(parts), "tessellatum", TESSERA, JOINT, follow, flow)
    pieces = lay_field(s).polygons
    piece, _ = shapely.STRtree(runs).query(pieces, predicate="covered_by")
    assert len(np.unique(piece)) == len(pieces)
    assert least_width(pieces).min() > 0.5 * TESSERA
    found = measure(s.outline, TESSERA, JOINT, lay_field(s))
    assert found["quads"] > 0.95 and found["pools"] < 0.002 and found["area_cv"] < 0.14
