"""Names on pieces: each piece once, within its room, lines that do not cross; patterns with ink."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sheet_rig import JOINT, bricks

from core.drawing import Paths, Text
from core.lettering import CAPITAL, LEAST_MM, fitted, wide_mm, wrapped
from core.sheets.labels import MOST_LEADERS, Drawn, Named, named
from core.sheets.patterns import PATTERNS, PEN_MM, drawn


def on_page(width: float, side: float, kinds: int, by: float, long: bool, seed: int) -> Drawn:
    pieces = bricks(width, width / 2, side)
    shapes = shapely.transform(pieces.polygons, lambda xy: xy * by)
    kind = np.random.default_rng(seed).integers(0, kinds, len(shapes))
    # runs of like pieces, as a match gives them
    kind = np.where(np.arange(len(kind)) % 5 < 3, kind[np.arange(len(kind)) // 5 * 5], kind)
    codes = [f"SMALTI-{k:03d}" if long else f"S{k}" for k in kind.tolist()]
    numbers = [str(k + 1) for k in kind.tolist()]
    run = np.zeros(len(shapes), np.int64), pieces.course, pieces.piece
    return Drawn(
        shapes, np.zeros(len(shapes)), codes, numbers, [(0, 0, 0)] * len(shapes), run, JOINT * by
    )


def names(d: Drawn) -> tuple[Named, shapely.Polygon]:
    outline = shapely.union_all(shapely.buffer(d.shapes, 0.6 * d.joint_mm, join_style="mitre"))
    return named(d, shapely.MultiPolygon([outline])), outline


drawings = st.builds(
    on_page,
    st.floats(100, 300),
    st.floats(4, 20),
    st.integers(1, 60),
    st.floats(0.2, 1.0),
    st.booleans(),
    st.integers(0, 9),
)


@given(drawings)
@settings(max_examples=40)
def test_every_piece_is_named_in_one_way_or_told_of(d: Drawn) -> None:
    n, outline = names(d)
    assert n.by_code + n.in_runs + n.by_number + n.by_line + n.unnamed == len(d.shapes)
    words = [i for i in n.items if isinstance(i, Text)]
    assert all(w.size_mm >= LEAST_MM - 1e-9 for w in words)
    assert n.by_line <= MOST_LEADERS
    assert n.unnamed == 0 or n.by_line == MOST_LEADERS
    inside = [w for w in words if outline.covers(shapely.Point(w.x_mm, w.y_mm))]
    assert len(words) - len(inside) == n.by_line == len(n.taken)
    # a name lies within what it names: its box, by its own reckoning, is covered
    for w in inside:
        half = np.array([wide_mm(w.words, w.size_mm), CAPITAL * w.size_mm]) / 2
        turn = np.radians(w.turn_deg)
        corner = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        way = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        assert outline.buffer(1e-6).covers(shapely.Polygon(corner @ way + (w.x_mm, w.y_mm)))


@given(drawings)
@settings(max_examples=40)
def test_words_stand_on_pieces_of_their_own_material(d: Drawn) -> None:
    n, outline = names(d)
    tree = shapely.STRtree(shapely.buffer(d.shapes, 0.6 * d.joint_mm, join_style="mitre"))
    for w in (i for i in n.items if isinstance(i, Text)):
        if not outline.covers(shapely.Point(w.x_mm, w.y_mm)):
            continue
        on = tree.query(shapely.Point(w.x_mm, w.y_mm), predicate="intersects")
        said = w.words.split(" × ")[-1]
        assert any(said in (d.codes[k], d.numbers[k]) for k in on.tolist())


@given(drawings)
@settings(max_examples=40)
def test_lines_to_numbers_do_not_cross_and_end_in_their_pieces(d: Drawn) -> None:
    n, _ = names(d)
    if not n.by_line:
        return
    lines = [i for i in n.items if isinstance(i, Paths)][-1].points.reshape(-1, 2, 2)
    assert len(lines) == n.by_line
    on = shapely.STRtree(d.shapes).query(shapely.points(lines[:, 0]), predicate="intersects")
    assert len(np.unique(on[0])) == len(lines)
    segments = shapely.linestrings(lines)
    a, b = shapely.STRtree(segments).query(segments, predicate="crosses")
    for i, j in zip(a.tolist(), b.tolist(), strict=True):
        # lines of the least length together cross nowhere, but for ties
        crossed = shapely.length(segments[i]) + shapely.length(segments[j])
        straight = np.hypot(*(lines[i, 0] - lines[j, 1])) + np.hypot(*(lines[j, 0] - lines[i, 1]))
        assert crossed <= straight + 1e-6


def ink(found: list[Paths], shapes: np.ndarray) -> np.ndarray:
    """Return how much of each polygon is inked, as a share."""
    out = np.zeros(len(shapes))
    for item in found:
        ends = np.r_[item.starts[1:], len(item.points)]
        for a, b in zip(item.starts.tolist(), ends.tolist(), strict=True):
            xy = item.points[a:b]
            if item.fill is not None:
                room = shapely.Polygon(xy)
            elif item.closed:
                room = shapely.LinearRing(xy).buffer(item.pen_mm / 2)
            else:
                room = shapely.LineString(xy).buffer(item.pen_mm / 2, cap_style="flat")
            k = int(np.argmax(shapely.area(shapely.intersection(shapes, room))))
            assert room.difference(shapes[k].buffer(item.pen_mm)).area < 1e-6
            out[k] += room.area
    return out / shapely.area(shapes)


@given(st.floats(1.0, 8.0), st.floats(-90, 90), st.floats(0, 3))
@example(1.0, 1.0, 0.0)  # a line of the pattern only touches the first piece's corner
@settings(max_examples=15)
def test_every_piece_has_ink_of_its_pattern_and_none_beyond(
    side: float, turn: float, aside: float
) -> None:
    row = [
        shapely.box(k * (side + 0.5), aside, k * (side + 0.5) + side, aside + side)
        for k in range(4)
    ]
    shapes = np.array([shapely.affinity.rotate(p, turn, origin=(0, 0)) for p in row], dtype=object)
    for pattern in PATTERNS:
        share = ink(drawn(pattern, shapes), shapes)
        assert (share > 0).all(), pattern.name
        assert (share <= 1.0 + 4 * PEN_MM / side).all(), pattern.name


def test_patterns_are_told_apart_and_ordered_by_their_ink() -> None:
    assert len(PATTERNS) == 12 == len({p.name for p in PATTERNS})
    shapes = np.array([shapely.box(0, 0, 30, 30)], dtype=object)
    share = [float(ink(drawn(p, shapes), shapes)[0]) for p in PATTERNS]
    groups = [np.mean(share[k : k + 3]) for k in (0, 3, 6, 9)]
    assert groups == sorted(groups) and share[-1] == 1.0


@given(st.text("abcdefg mWI1-", min_size=1, max_size=60), st.floats(2.2, 6), st.floats(8, 120))
def test_words_are_fitted_and_wrapped_to_their_room(words: str, size: float, room: float) -> None:
    said, small = fitted(words, size, room, 2.2)
    assert wide_mm(said, small) <= room * 1.002 or said == "..."
    assert 2.2 <= small <= size or small == size
    lines = wrapped(words, size, room)
    assert " ".join(lines).split() == words.split()
    assert all(wide_mm(line, size) <= room or " " not in line for line in lines)
