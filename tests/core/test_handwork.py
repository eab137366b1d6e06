"""Work by hand: what each edit does, what it refuses, and what every sequence of edits keeps."""

import random
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest
import shapely
from hostile import senseless_ring
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from core import handwork
from core.commission import Commission, HandEdit, change_field, field_of
from core.errors import EmblemaError
from core.geometry import polygon_of
from core.material import Material
from core.pieces import LaidField, Layout, Pieces
from core.plan import Planner

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT


def squares(columns: int = 6, rows: int = 4) -> tuple[Commission, Layout]:
    """A field of exact squares, one joint apart and half a joint from the border."""
    x, y = np.meshgrid(np.arange(columns) * PITCH, np.arange(rows) * PITCH)
    x, y = x.ravel() + JOINT / 2, y.ravel() + JOINT / 2
    polygons = np.asarray(shapely.box(x, y, x + TESSERA, y + TESSERA), dtype=object)
    n = len(polygons)
    w, h = columns * PITCH, rows * PITCH
    outline = ((((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),),)
    field = field_of("f1", "Ground", outline, tessera_mm=TESSERA, joint_mm=JOINT)
    doc = Commission("Wall", w, h, fields=(field,), materials=(material("A"), material("B")))
    pieces = Pieces(polygons, np.arange(n) // columns, np.arange(n) % columns, np.zeros(n))
    return doc, laid_as(pieces)


def material(code: str) -> Material:
    return Material(code, "smalti", "smalti", (50.0, 0.0, 0.0))


def laid_as(pieces: Pieces) -> Layout:
    n = len(pieces)
    return Layout((LaidField("f1", pieces, np.zeros((n, 3)), np.zeros(n, np.int64), np.zeros(n)),))


def again(doc: Commission, layout: Layout) -> tuple[Pieces, np.ndarray, tuple[str, ...]]:
    """Do all edits of a document on a fresh laying."""
    pieces, hand, dropped = handwork.apply_edits(doc.fields[0], layout.fields[0].pieces, doc.edits)
    return pieces, hand, tuple(d.reason for d in dropped)


def sound(doc: Commission, pieces: Pieces, least: float = handwork.TOUCH) -> None:
    """No piece outside its field, none nearer to another than touching."""
    p = pieces.polygons
    assert shapely.is_valid(p).all()
    assert shapely.contains(polygon_of(doc.fields[0].outline), p).all()
    a, b = shapely.STRtree(p).query(p, predicate="dwithin", distance=least * JOINT - 1e-6)
    assert (a == b).all(), shapely.distance(p[a[a < b]], p[b[a < b]])


def test_lift_takes_out_one_piece() -> None:
    doc, layout = squares()
    done = handwork.lift(doc, layout, "f1", 8)
    pieces, _, dropped = again(done, layout)
    assert len(pieces) == 23 and not dropped
    assert not shapely.intersects(pieces.polygons, layout.fields[0].pieces.polygons[8]).any()
    assert not doc.edits, "the old document stays as it was"
    assert handwork.undo_edit(done, done.edits[0]) == doc


def test_set_is_trimmed_to_a_whole_joint() -> None:
    doc, layout = squares()
    hole = layout.fields[0].pieces.polygons[8]
    doc = handwork.lift(doc, layout, "f1", 8)
    bare, _, _ = again(doc, layout)
    wide = tuple(shapely.buffer(hole, 3.0, join_style="mitre").exterior.coords[:-1])
    done = handwork.set_piece(doc, laid_as(bare), "f1", wide, "B")
    pieces, hand, dropped = again(done, layout)
    assert not dropped and (hand == "B").sum() == 1
    new = pieces.polygons[hand == "B"][0]
    assert new.equals_exact(shapely.normalize(hole), 1e-6) or new.normalize().equals_exact(
        hole.normalize(), 1e-6
    )
    assert pieces.course[hand == "B"][0] == 1, "it takes its place in the course"


def test_set_stands_half_a_joint_from_the_border() -> None:
    doc, layout = squares()
    doc = handwork.lift(doc, layout, "f1", 0)
    bare, _, _ = again(doc, layout)
    done = handwork.set_piece(doc, laid_as(bare), "f1", ((-5, -5), (9, -5), (9, 9), (-5, 9)))
    pieces, _, _ = again(done, layout)
    new = pieces.polygons[shapely.intersects_xy(pieces.polygons, 5, 5)][0]
    border = polygon_of(doc.fields[0].outline).boundary
    assert new.distance(border) == pytest.approx(JOINT / 2, rel=0.01)


@pytest.mark.parametrize(
    ("outline", "reason"),
    [
        (((12.0, 12.0), (20.0, 12.0), (20.0, 20.0)), "no room|too small"),
        (((-30.0, -30.0), (-20.0, -30.0), (-20.0, -20.0)), "no room"),
        (((1.0, 1.0), (2.0, 2.0)), "three corners"),
        (((1.0, 1.0), (2.0, 2.0), (3.0, 3.0)), "some width"),
        (((1.0, 1.0), (float("nan"), 2.0), (3.0, 9.0)), "three corners"),
    ],
)
def test_set_refused(outline: tuple[tuple[float, float], ...], reason: str) -> None:
    doc, layout = squares()
    with pytest.raises(EmblemaError, match=reason):
        handwork.set_piece(doc, layout, "f1", outline)


def test_nip_leaves_a_joint_between() -> None:
    doc, layout = squares()
    x, y = layout.fields[0].pieces.centre_mm[8]
    done = handwork.nip(doc, layout, "f1", 8, ((x, y - 6), (x, y + 6)))
    pieces, _, dropped = again(done, layout)
    assert len(pieces) == 25 and not dropped
    parts = pieces.polygons[np.isclose(pieces.area_mm2, TESSERA * (TESSERA - JOINT) / 2)]
    assert len(parts) == 2 and parts[0].distance(parts[1]) == pytest.approx(JOINT)
    row = pieces.course == 1
    assert (np.diff(pieces.centre_mm[row][np.argsort(pieces.piece[row]), 0]) > 0).all()


def test_nipped_parts_are_numbered_as_their_course_runs() -> None:
    doc, layout = squares()
    p = layout.fields[0].pieces
    back = laid_as(Pieces(p.polygons, p.course, 5 - p.piece, p.angle_rad))
    x, y = p.centre_mm[8]
    pieces, _, _ = again(handwork.nip(doc, back, "f1", 8, ((x, y - 6), (x, y + 6))), back)
    row = pieces.course == 1
    assert (np.diff(pieces.centre_mm[row][np.argsort(pieces.piece[row]), 0]) < 0).all()


def test_nip_refused() -> None:
    doc, layout = squares()
    x, y = layout.fields[0].pieces.centre_mm[8]
    with pytest.raises(EmblemaError, match="too small to hold"):
        handwork.nip(doc, layout, "f1", 8, ((x - 4, y - 6), (x - 4, y + 6)))
    with pytest.raises(EmblemaError, match="does not cross"):
        handwork.nip(doc, layout, "f1", 8, ((x + 20, y - 6), (x + 20, y + 6)))
    with pytest.raises(EmblemaError, match="no length"):
        handwork.nip(doc, layout, "f1", 8, ((x, y), (x, y)))


def test_join_makes_the_hull_of_two() -> None:
    doc, layout = squares()
    pieces, _, dropped = again(handwork.join(doc, layout, "f1", 8, 9), layout)
    assert len(pieces) == 23 and not dropped
    assert pieces.area_mm2.max() == pytest.approx(TESSERA * (2 * TESSERA + JOINT))


def test_join_refused() -> None:
    doc, layout = squares()
    with pytest.raises(EmblemaError, match="not neighbours"):
        handwork.join(doc, layout, "f1", 8, 10)
    with pytest.raises(EmblemaError, match="convex"):
        handwork.join(doc, layout, "f1", 8, 15)  # corner to corner
    once = handwork.join(doc, layout, "f1", 8, 9)
    joined, _, _ = again(once, layout)
    k = int(joined.area_mm2.argmax())
    other = int(np.flatnonzero((joined.course == 1) & (joined.piece == joined.piece[k] + 1))[0])
    with pytest.raises(EmblemaError, match="too large"):
        handwork.join(once, laid_as(joined), "f1", k, other)


def test_shift_moves_and_is_stopped_by_a_neighbour() -> None:
    doc, layout = squares()
    pieces, _, _ = again(handwork.shift(doc, layout, "f1", 8, (0.5, -0.25)), layout)
    moved = pieces.centre_mm[8] - layout.fields[0].pieces.centre_mm[8]
    assert moved == pytest.approx((0.5, -0.25))
    with pytest.raises(EmblemaError, match="touch its neighbour"):
        handwork.shift(doc, layout, "f1", 8, (JOINT, 0.0))
    with pytest.raises(EmblemaError, match="outside"):
        handwork.shift(doc, layout, "f1", 0, (-1.0, 0.0))


def test_lay_in_keeps_the_last_material() -> None:
    doc, layout = squares()
    doc = handwork.lay_in(doc, layout, "f1", 3, "A")
    doc = handwork.lay_in(doc, layout, "f1", 3, "B")
    _, hand, _ = again(doc, layout)
    assert hand[3] == "B" and (hand == "").sum() == 23 and len(doc.edits) == 1
    with pytest.raises(EmblemaError, match="no material 'C'"):
        handwork.lay_in(doc, layout, "f1", 3, "C")


def test_a_pin_is_not_worked_on_until_it_is_out() -> None:
    doc, layout = squares()
    pinned = handwork.pin(doc, layout, "f1", 8)
    assert handwork.pin(pinned, layout, "f1", 8) == pinned
    x, y = layout.fields[0].pieces.centre_mm[8]
    for work in (
        lambda d: handwork.lift(d, layout, "f1", 8),
        lambda d: handwork.shift(d, layout, "f1", 8, (0.1, 0.0)),
        lambda d: handwork.nip(d, layout, "f1", 8, ((x, y - 6), (x, y + 6))),
        lambda d: handwork.join(d, layout, "f1", 8, 9),
    ):
        with pytest.raises(EmblemaError, match="pinned"):
            work(pinned)
    handwork.lay_in(pinned, layout, "f1", 8, "B")
    assert handwork.unpin(pinned, layout, "f1", 8) == doc
    assert handwork.unpin(doc, layout, "f1", 8) is None


def test_others_give_way_to_a_pin_by_a_whole_joint() -> None:
    doc, layout = squares()
    x, y = layout.fields[0].pieces.centre_mm[8] + 0.5 * PITCH
    ring = ((x - 5, y - 5), (x + 5, y - 5), (x + 5, y + 5), (x - 5, y + 5))
    doc = replace(doc, edits=(HandEdit("pin", "f1", (x, y), outline=ring),))
    pieces, _, dropped = again(doc, layout)
    assert not dropped
    sound(doc, pieces, 0.99)
    mine = shapely.equals(pieces.polygons, shapely.Polygon(ring))
    assert mine.sum() == 1
    gaps = np.sort(shapely.distance(pieces.polygons[~mine], shapely.Polygon(ring)))[:4]
    assert gaps == pytest.approx([JOINT] * 4)
    hull = shapely.area(shapely.convex_hull(pieces.polygons))
    assert pieces.area_mm2 == pytest.approx(hull), "cut straight, as a nipper does"


def test_work_before_a_pin_is_done_once_only() -> None:
    """A piece that was shifted and then pinned must not be shifted again."""
    doc, layout = squares()
    doc = handwork.shift(doc, layout, "f1", 8, (0.5, 0.0))
    shifted, _, _ = again(doc, layout)
    doc = handwork.pin(doc, laid_as(shifted), "f1", 8)
    pieces, _, dropped = again(doc, layout)
    assert not dropped
    assert shapely.equals_exact(pieces.polygons, shifted.polygons, 0.0).all()


def test_what_has_no_place_any_more_is_named() -> None:
    doc, layout = squares()
    doc = handwork.lift(doc, layout, "f1", 23)
    doc = handwork.pin(doc, layout, "f1", 22)
    small = change_field(doc, "f1", outline=squares(3, 3)[0].fields[0].outline)
    _, fewer = squares(3, 3)
    _, _, reasons = again(small, fewer)
    assert reasons == (
        "there is no piece at its place any more",
        "its place lies outside the field now",
    )


# --- on real layouts ---------------------------------------------------------------------------


@lru_cache(maxsize=4)
def real(seed: int) -> tuple[Commission, Layout]:
    """A curved field with a round hole, as the solver lays it."""
    outer = shapely.box(0, 0, 110, 80).buffer(-25).buffer(25, quad_segs=8)
    hole = shapely.Point(60, 40).buffer(14, quad_segs=8)
    shape = shapely.difference(outer, hole)
    rings = tuple(
        tuple((float(x), float(y)) for x, y in r.coords[:-1])
        for r in (shape.exterior, *shape.interiors)
    )
    field = field_of("f1", "Ground", (rings,), tessera_mm=TESSERA, joint_mm=JOINT)
    doc = Commission(
        "Wall", 110, 80, seed=seed, fields=(field,), materials=(material("A"), material("B"))
    )
    planner = Planner()
    try:
        return doc, planner.layout(doc, {})
    finally:
        planner.close()


WORK = st.tuples(
    st.sampled_from(["lift", "set", "nip", "join", "shift", "pin", "stock"]),
    st.integers(0, 10_000),
    st.floats(-12, 12),
    st.floats(-12, 12),
    st.floats(-0.6, 0.6),
)


def work(doc: Commission, layout: Layout, step: tuple[str, int, float, float, float]) -> Commission:
    """One random step at the bench; what is refused leaves the document as it was."""
    kind, which, dx, dy, turn = step
    p = layout.fields[0].pieces
    k = which % len(p)
    x, y = p.centre_mm[k]
    try:
        if kind == "lift":
            return handwork.lift(doc, layout, "f1", k)
        if kind == "set":
            bare = handwork.lift(doc, layout, "f1", k)
            c = shapely.box(x + dx / 4 - 6, y + dy / 4 - 6, x + dx / 4 + 6, y + dy / 4 + 6)
            ring = shapely.affinity.rotate(c, turn, use_radians=True).exterior.coords[:-1]
            q = p.polygons[np.arange(len(p)) != k]
            rest = Pieces(q, np.zeros(len(q), int), np.arange(len(q)), np.zeros(len(q)))
            return handwork.set_piece(bare, laid_as(rest), "f1", tuple(ring))
        if kind == "nip":
            return handwork.nip(doc, layout, "f1", k, ((x, y), (x + dx + 0.1, y + dy)))
        if kind == "join":
            other = np.argsort(np.hypot(*(p.centre_mm - (x, y)).T))[1 + which % 4]
            return handwork.join(doc, layout, "f1", k, int(other))
        if kind == "shift":
            return handwork.shift(doc, layout, "f1", k, (dx / 10, dy / 10), turn / 4)
        if kind == "pin":
            return handwork.pin(doc, layout, "f1", k)
        return handwork.lay_in(doc, layout, "f1", k, "B")
    except EmblemaError:
        return doc


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(WORK, min_size=1, max_size=12))
def test_any_sequence_of_edits(steps: list[tuple[str, int, float, float, float]]) -> None:
    """Never outside, never touching; the same again on the same laying; pins exact on another."""
    doc, layout = real(1)
    start = min(
        handwork.TOUCH,
        (1 - 1e-6) * least_joint(layout.fields[0].pieces),
    )
    now = layout
    for step in steps:
        doc = work(doc, now, step)
        pieces, hand, dropped = again(doc, layout)
        assert not dropped, "what was done once is done again"
        now = laid_as(pieces)
    sound(doc, pieces, start)
    twice, hand_twice, _ = again(doc, layout)
    assert shapely.equals_exact(twice.polygons, pieces.polygons, 0.0).all()
    assert (hand == hand_twice).all()

    other = real(2)[1]
    anew, _, dropped = again(doc, other)
    sound(doc, anew, min(start, least_joint(other.fields[0].pieces) * (1 - 1e-6)))
    assert all(r and r[0].islower() for r in dropped)
    for pin in (e for e in doc.edits if e.kind == "pin"):
        kept = shapely.equals_exact(anew.polygons, shapely.Polygon(pin.outline), 1e-9)
        assert kept.sum() == 1


def least_joint(pieces: Pieces) -> float:
    """The narrowest joint as laid, in joints."""
    p = pieces.polygons
    a, b = shapely.STRtree(p).query(p, predicate="dwithin", distance=JOINT)
    return float(shapely.distance(p[a[a < b]], p[b[a < b]]).min(initial=JOINT)) / JOINT


def test_the_plan_does_the_edits_and_names_those_dropped() -> None:
    doc, layout = real(1)
    doc = handwork.pin(doc, layout, "f1", 5)
    kept = layout.fields[0].pieces.polygons[5]
    doc = handwork.lift(doc, layout, "f1", 9)
    gone = HandEdit("lift", "f1", (500.0, 500.0))
    planner = Planner()
    try:
        anew = planner.layout(replace(doc, edits=(*doc.edits, gone), seed=2), {})
        same = planner.layout(doc, {})
    finally:
        planner.close()
    assert shapely.equals_exact(anew.fields[0].pieces.polygons, kept, 0.0).sum() == 1
    assert anew.dropped == (("Ground", "lift", "there is no piece at its place any more"),)
    assert len(same) == len(layout) - 1 and not same.dropped


def test_work_does_not_depend_on_numbering() -> None:
    """The same pieces in another order: the same cuts to the last bit."""
    doc, layout = real(1)
    p = layout.fields[0].pieces
    order = np.random.default_rng(5).permutation(len(p))
    mixed = Pieces(p.polygons[order], p.course[order], p.piece[order], p.angle_rad[order])
    done = 0
    for x, y in p.centre_mm:
        spot = shapely.affinity.rotate(shapely.box(x - 8, y - 8, x + 8, y + 8), 20)
        ring = tuple(spot.exterior.coords[:-1])
        near = np.argsort(np.hypot(*(p.centre_mm - (x, y)).T))[1:5]
        at = (float(x), float(y))
        ways = [(HandEdit("lift", "f1", at), HandEdit("set", "f1", at, outline=ring))]
        ways += [
            (HandEdit("join", "f1", at, other_mm=tuple(p.centre_mm[n].tolist())),) for n in near
        ]
        for edits in ways:
            one, _, dropped = handwork.apply_edits(doc.fields[0], p, edits)
            two, _, dropped_too = handwork.apply_edits(doc.fields[0], mixed, edits)
            assert dropped == dropped_too
            assert {g.wkb for g in one.polygons} == {g.wkb for g in two.polygons}
            done += not dropped
    assert done > len(p)


@pytest.mark.parametrize("kind", ["lift", "set", "pin"])
def test_an_outline_that_crosses_itself_ends_in_no_fault(kind: str) -> None:
    """As a file written by another hand may hold."""
    doc, layout = squares()
    for number in range(150):
        outline = senseless_ring(random.Random(number))
        edits = (HandEdit(kind, "f1", (6.0, 6.0), outline=outline),)
        pieces, _, _ = again(replace(doc, edits=edits), layout)
        assert shapely.is_valid(pieces.polygons).all() and pieces.area_mm2.min() > 0
