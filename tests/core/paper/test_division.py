"""A work over pages: all that is drawn is on some page, pages lap, and none is nearly empty."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from core.paper.division import (
    LEAST_LAP_MM,
    MOST_LAP_MM,
    Division,
    Tile,
    as_first_divided,
    divided,
)
from core.paper.marks import TICK_MM, join_marks
from core.paper.sizes import LYING, PAPERS, UPRIGHT, Paper

EPS = 1e-6
WORKS = st.tuples(st.floats(40.0, 2500.0), st.floats(40.0, 1500.0))
NAMES = st.sampled_from([*PAPERS, "roll:300", "roll:914"])


def everything(part: shapely.Geometry) -> bool:
    return True


def grid(division: Division) -> dict[tuple[int, int], Tile]:
    return {(t.row, t.column): t for t in (*division.tiles, *division.bare)}


@given(WORKS, NAMES)
def test_pages_lap_evenly_and_none_is_a_strip(work: tuple[float, float], name: str) -> None:
    division = divided(work, Paper(name), everything)
    room = division.paper.room_mm(work)
    assert not division.bare
    at = grid(division)
    last = division.tiles[-1]
    assert (last.x1, last.y1) == work and (at[0, 0].x0, at[0, 0].y0) == (0.0, 0.0)
    for (r, c), t in at.items():
        wide, high = t.x1 - t.x0, t.y1 - t.y0
        assert wide <= room[0] + EPS and high <= room[1] + EPS
        # as wide and high as any other, and where there are several at least half the room
        assert wide == pytest.approx(at[0, 0].x1, abs=EPS)
        assert high == pytest.approx(at[0, 0].y1, abs=EPS)
        assert last.column == 0 or wide >= room[0] / 2
        assert last.row == 0 or high >= room[1] / 2
        for beside, lap in (
            ((r, c + 1), lambda o, t=t: t.x1 - o.x0),
            ((r + 1, c), lambda o, t=t: t.y1 - o.y0),
        ):
            if beside in at:
                assert LEAST_LAP_MM - EPS <= lap(at[beside]) <= MOST_LAP_MM + EPS


@given(WORKS, NAMES)
def test_the_way_is_the_one_that_takes_less_paper(work: tuple[float, float], name: str) -> None:
    ways = [divided(work, Paper(name, way), everything) for way in (LYING, UPRIGHT)]
    chosen = divided(work, Paper(name), everything)
    assert chosen in ways
    assert chosen.area_mm2 <= min(w.area_mm2 for w in ways) * (1 + 1e-6)


POINTS = st.lists(
    st.tuples(st.floats(0.0, 1.0), st.floats(0.0, 1.0)), min_size=1, max_size=25, unique=True
)


@given(WORKS, st.sampled_from(["A4", "Letter", "A3", "roll:400"]), POINTS, st.booleans())
@settings(max_examples=150)
def test_all_that_is_drawn_is_on_some_page(
    work: tuple[float, float], name: str, places: list[tuple[float, float]], lines: bool
) -> None:
    xy = np.array(places) * work
    drawn = shapely.linestrings(xy) if lines and len(xy) > 1 else shapely.multipoints(xy)
    assume(not shapely.is_empty(drawn))
    tree = shapely.STRtree(shapely.get_parts(drawn))
    division = divided(work, Paper(name), lambda part: len(tree.query(part, "intersects")) > 0)
    boxes = shapely.union_all([t.box for t in division.tiles])
    assert shapely.distance(shapely.get_parts(drawn), boxes).max() < EPS
    assert shapely.difference(drawn, shapely.buffer(boxes, EPS)).is_empty
    # and every page shows something that no other page does
    for t in division.tiles:
        others = shapely.union_all([o.box for o in division.tiles if o != t])
        own = shapely.difference(t.box, others)
        assert shapely.distance(own, drawn) < EPS


def test_a_page_with_nothing_of_its_own_is_left_out() -> None:
    work = 500.0, 250.0
    full = divided(work, Paper("A4", LYING), everything)
    a, b = full.tiles[0], full.tiles[1]
    assert [t.name for t in full.tiles] == ["A1", "A2", "B1", "B2"]
    in_lap = shapely.Point((b.x0 + a.x1) / 2, 20.0)
    only = divided(work, Paper("A4", LYING), lambda part: shapely.intersects(part, in_lap))
    assert [t.name for t in only.tiles] == ["A1"]
    assert [t.name for t in only.bare] == ["A2", "B1", "B2"]
    assert not divided(work, Paper("A4"), lambda part: False).tiles


def test_an_even_division_saves_the_strip_at_the_end() -> None:
    """1,800 mm on A4: eleven columns, the last of 40 mm, become eleven alike."""
    work = 1800.0, 250.0
    before = as_first_divided(work, "A4")
    widths = [t.x1 - t.x0 for t in before.tiles]
    assert min(widths) == pytest.approx(40.0)
    now = divided(work, Paper("A4"), everything)
    assert len(now.tiles) <= len(before.tiles)
    assert min(t.x1 - t.x0 for t in now.tiles) > 140


@given(WORKS)
def test_the_first_division_lapped_by_ten_mm(work: tuple[float, float]) -> None:
    at = grid(as_first_divided(work, "A4"))
    for (r, c), t in at.items():
        right, below = at.get((r, c + 1)), at.get((r + 1, c))
        assert t.x1 == work[0] if right is None else t.x1 - right.x0 == pytest.approx(10.0)
        assert t.y1 == work[1] if below is None else t.y1 - below.y0 == pytest.approx(10.0)


def test_paper_is_turned_where_that_saves_pages() -> None:
    tall, across = (divided(w, Paper("A4"), everything) for w in ((180.0, 780.0), (780.0, 180.0)))
    # upright A4 takes 186 mm across, lying A4 177 mm high: one row of pages, not two
    assert {t.column for t in tall.tiles} == {0} and len(tall.tiles) == 4
    assert tall.paper.way == UPRIGHT and len(across.tiles) <= 5
    # a roll runs along a frieze
    frieze = divided((4000.0, 560.0), Paper("roll:610"), everything)
    assert frieze.paper.way == LYING and len(frieze.tiles) == 1


def test_rows_are_named_beyond_z() -> None:
    names = [Tile(r, 4, 0, 0, 1, 1).name for r in (0, 25, 26, 51, 52, 702)]
    assert names == ["A5", "Z5", "AA5", "AZ5", "BA5", "AAA5"]


# --- join marks -------------------------------------------------------------------------------


def ends(lines: list[np.ndarray]) -> set[tuple[float, ...]]:
    return {tuple(np.round(line, 6).ravel().tolist()) for line in lines}


@given(WORKS, st.sampled_from(["A4", "Tabloid", "roll:610"]))
@settings(max_examples=40)
def test_both_pages_of_a_lap_carry_its_marks_at_one_place_of_the_work(
    work: tuple[float, float], name: str
) -> None:
    division = divided(work, Paper(name), everything)
    at = grid(division)
    marks = {t: ends(join_marks(t, division.tiles)) for t in division.tiles}
    for (r, c), t in at.items():
        for beside in ((r, c + 1), (r + 1, c)):
            other = at.get(beside)
            if other is None:
                continue
            shared = [shapely.LineString(np.reshape(v, (2, 2))) for v in marks[t] & marks[other]]
            lap = shapely.intersection(t.box, other.box)
            across = [s for s in shared if shapely.intersects(s, lap)]
            # two marks at least, so that a turned page is seen too, each cut by both pages' edges
            for page in (t, other):
                cut = [s for s in across if shapely.crosses(s, page.box.boundary)]
                assert len(cut) >= 2 * 7


def test_a_slip_of_half_a_mm_brings_a_line_to_the_next_tick() -> None:
    division = divided((500.0, 150.0), Paper("A4", LYING), everything)
    a, b = division.tiles
    edge = b.x0
    level = sorted(
        float(line[0, 1])
        for line in join_marks(a, division.tiles)
        if line[0, 1] == line[1, 1] and line[0, 0] < edge < line[1, 0]
    )
    assert len(level) == 2 * 5
    steps = np.diff(level)
    assert np.allclose(np.sort(steps)[:8], TICK_MM)


def test_no_join_marks_stand_where_no_page_joins() -> None:
    division = divided((500.0, 150.0), Paper("A4", LYING), everything)
    assert not join_marks(division.tiles[0], division.tiles[:1])
    assert not join_marks(divided((90.0, 90.0), Paper("A4"), everything).tiles[0], [])
