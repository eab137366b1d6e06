"""A motif is laid once and repeated: places are whole, spread evenly, and linked until parted."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from repeat_rig import (
    HIGH,
    LINE,
    WIDE,
    alike,
    changed,
    edited,
    motif_of,
    panel,
    places,
    repeated,
)

from core import archive
from core.checks import check_document
from core.commission import Commission, Linked, Swap, add_flow_line, change_field
from core.errors import EmblemaError
from core.fields import add_outline, gaps_and_overlaps, merge, pull_border, smooth_borders
from core.geometry import polygon_of
from core.moves import STILL, Move
from core.plan import Planner
from core.repeats import Arranged, Wish, add_repeat, arranged, carry, part_places
from core.rounds import move_fields, remove_fields, resize_work, scale_fields
from core.sizes import sizes_for
from core.typed import to_json, typed

FRAME = [(10.0, 10.0), (390.0, 290.0)]
CENTRE = [(200.0, 150.0)]


# --- where places lie ---------------------------------------------------------------------------


def shapes_of(wish, points):
    doc, ids = panel()
    motif = motif_of(doc, ids)
    out = arranged(motif, wish, points, (WIDE, HIGH))
    return motif, out, np.array(out.shapes(motif), dtype=object)


@pytest.mark.parametrize(
    ("wish", "points"),
    [
        (Wish("line"), LINE),
        (Wish("line", turned=False, mirrored=True), LINE),
        (Wish("line"), [(80, 60), (320, 60), (320, 240), (80, 240), (80, 60)]),
        (Wish("frame"), FRAME),
        (Wish("frame", turned=False), FRAME),
        (Wish("frame", mirrored=True), FRAME),
        (Wish("frame", corners=False), FRAME),
        (Wish("centre"), CENTRE),
        (Wish("centre", mirrored=True), CENTRE),
        (Wish("centre", turned=False), CENTRE),
    ],
)
def test_places_are_congruent_apart_and_within_the_work(wish, points):
    motif, out, shapes = shapes_of(wish, points)
    assert len(shapes) >= 3
    assert shapely.area(shapes) == pytest.approx(motif.area)
    assert shapely.area(shapely.union_all(shapes)) == pytest.approx(len(shapes) * motif.area)
    assert shapely.box(-1e-6, -1e-6, WIDE + 1e-6, HIGH + 1e-6).contains(shapely.union_all(shapes))
    assert not out.shift.mirrored and out.shift.way == (1.0, 0.0)  # it keeps its stance
    mirrored = sum(m.mirrored for m in out.moves)
    assert mirrored == (len(shapes) // 2 if wish.mirrored else 0)
    assert wish.turned or all(abs(m.way[1]) < 1e-12 for m in out.moves)


@given(n=st.integers(2, 5), turned=st.booleans(), mirrored=st.booleans())
@settings(max_examples=25, deadline=None)
def test_along_a_line_places_are_spread_evenly(n, turned, mirrored):
    line = [(40.0, 60.0), (360.0, 60.0)]
    _, out, shapes = shapes_of(Wish("line", n, turned, mirrored), line)
    boxes = sorted(tuple(shapely.bounds(g)) for g in shapes)
    middles = [(a + c) / 2 for a, _, c, _ in boxes]
    assert len(middles) == n
    assert np.diff(middles) == pytest.approx(320 / (n - 1), abs=1e-6)
    assert middles[0] == pytest.approx(40) and middles[-1] == pytest.approx(360)
    assert f"{n} places" in out.words[0]


@given(
    n=st.integers(2, 6),
    wide=st.floats(300, 390),
    high=st.floats(240, 290),
    turned=st.booleans(),
    mirrored=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_a_frame_has_whole_repeats_a_side_and_corners_alike(n, wide, high, turned, mirrored):
    corner = (5.0 + wide, 5.0 + high)
    try:
        _, out, shapes = shapes_of(Wish("frame", n, turned, mirrored), [(5.0, 5.0), corner])
    except EmblemaError as e:
        assert "ask for fewer" in str(e) or ("even number" in str(e) and mirrored and n % 2)
        return
    whole = shapely.union_all(shapes)
    assert (len(shapes) - 2 * n) % 2 == 0  # as many on either upright side
    if turned and not mirrored:
        about = (5.0 + wide / 2, 5.0 + high / 2)
        turned_round = shapely.affinity.rotate(whole, 180, origin=about)
        assert turned_round.symmetric_difference(whole).area < 1e-3 * whole.area
        # each corner in its own frame: what lies within reach of it, turned by quarters
        reach, seen = 48.0, []
        for k, (x, y) in enumerate([(5.0, 5.0), (corner[0], 5.0), corner, (5.0, corner[1])]):
            near = [g for g in shapes if g.distance(shapely.Point(x, y)) < reach]
            nearest = min(near, key=lambda g: g.distance(shapely.Point(x, y)))
            own = shapely.affinity.rotate(nearest, -90 * k, origin=(x, y))
            seen.append(shapely.affinity.translate(own, -x, -y))
        for g in seen[1:]:
            assert g.symmetric_difference(seen[0]).area < 1e-3 * g.area
    assert out.words[0].startswith(f"Level sides: {n} repeats of ")
    assert out.words[1].startswith("Upright sides: ")


@given(n=st.integers(2, 9), mirrored=st.booleans(), x=st.floats(190, 230), y=st.floats(140, 160))
@settings(max_examples=40, deadline=None)
def test_about_a_centre_places_turn_by_equal_parts(n, mirrored, x, y):
    try:
        motif, out, shapes = shapes_of(Wish("centre", n, True, mirrored), [(x, y)])
    except EmblemaError as e:
        assert "ask for fewer" in str(e) or "leave the work" in str(e) or (mirrored and n % 2)
        return
    assert out.shift == STILL
    step = 2 if mirrored else 1
    turned = shapely.affinity.rotate(shapely.union_all(shapes), 360 * step / n, origin=(x, y))
    assert turned.symmetric_difference(shapely.union_all(shapes)).area < 1e-3 * motif.area


@pytest.mark.parametrize(
    ("wish", "points", "words"),
    [
        (Wish("line", 40), LINE, "40 places would lie on one another"),
        (Wish("line", 1), LINE, "two places or more"),
        (Wish("line", 501), LINE, "500 are the most"),
        (Wish("line", 3), [(5.0, 5.0), (5.0, 5.0)], "two different points"),
        (Wish("line", 3), [(5.0, 5.0), (300.0, 5.0)], "would leave the work"),
        (Wish("frame"), [(10.0, 10.0), (60.0, 60.0)], "too small"),
        (Wish("frame", 3, mirrored=True), FRAME, "even number"),
        (Wish("centre", 3, mirrored=True), CENTRE, "must be even"),
        (Wish("centre", 4), [(117.5, 130.0)], "middle of the motif"),
    ],
)
def test_what_has_no_room_is_said(wish, points, words):
    doc, ids = panel()
    with pytest.raises(EmblemaError, match=words):
        arranged(motif_of(doc, ids), wish, points, (WIDE, HIGH))


# --- the document -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "wish", [Wish("line", 4, mirrored=True), Wish("frame", 4), Wish("centre", 5)]
)
def test_places_are_ordinary_fields_and_the_ground_closes_round_them(wish):
    points = {"line": LINE, "frame": FRAME, "centre": CENTRE}[wish.way]
    doc = repeated(wish, points)
    assert gaps_and_overlaps(doc) == () and alike(doc)
    assert shapely.coverage_is_valid(np.array([polygon_of(f.outline) for f in doc.fields]))
    n = len(places(doc))
    assert len(doc.fields) == 1 + 2 * n and len(doc.flow_lines) == n
    assert len({f.name for f in doc.fields}) == len(doc.fields)
    assert {f.motif for f in doc.fields} == {"", "leaf"}


def test_what_is_linked_is_not_repeated_again():
    doc = repeated()
    ids = places(doc)[1].fields
    where = arranged(motif_of(doc, ids), Wish("centre", 2), CENTRE, (WIDE, HIGH))
    with pytest.raises(EmblemaError, match="'Leaf 2' is repeated already"):
        add_repeat(doc, ids, where)
    with pytest.raises(EmblemaError, match="Choose what"):
        add_repeat(doc, (), where)


def test_a_place_that_would_be_cut_off_is_refused():
    doc, ids = panel()
    with pytest.raises(EmblemaError, match="would be cut off"):
        add_repeat(doc, ids, Arranged(STILL, (Move((-110.0, 0.0)),), ()))


def test_a_size_line_of_one_gives_its_size_in_all():
    doc = repeated()
    move = places(doc)[2].move
    x, y = move.out(np.array([[100.0, 125.0], [130.0, 130.0]])).T.round(3).tolist()
    doc = edited(doc, add_flow_line(doc, zip(x, y, strict=True), places(doc)[2].fields[0], 3.0)[0])
    assert alike(doc)
    sizes = [sizes_for(doc, doc.field_by_id(place.fields[0])) for place in places(doc)]
    assert [[(s.tessera_mm, len(s.lines.geoms)) for s in some] for some in sizes] == [
        [(3.0, 1)]
    ] * 3
    assert sum(w.leads for w in doc.flow_lines) == 3


@pytest.mark.parametrize("n", [0, 1, 2])
def test_choices_swaps_and_lines_of_one_show_in_all(n):
    doc = repeated()
    leaf, eye = places(doc)[n].fields
    doc = changed(doc, leaf, tessera_mm=7.0, throw=2, wanted_lab=(50.0, 1.0, 2.0))
    doc = changed(doc, eye, motif="eye", opus="palladianum")
    doc = edited(doc, add_flow_line(doc, [(110.0, 124.0), (120.0, 135.0)], eye)[0])
    doc = edited(doc, replace(doc, swaps=(*doc.swaps, Swap("a", "b", leaf), Swap("b", "a"))))
    assert alike(doc)
    for place in places(doc):
        a, b = (doc.field_by_id(i) for i in place.fields)
        assert (a.laying.tessera_mm, a.laying.throw, a.colour.wanted_lab) == (7, 2, (50, 1, 2))
        assert (b.laying.opus, b.motif) == ("palladianum", "eye")
        assert sum(w.field_id == b.id for w in doc.flow_lines) == 1
        assert [s for s in doc.swaps if s.field_id == a.id] == [Swap("a", "b", a.id)]
    assert doc.swaps[-1] == Swap("b", "a")
    ids = [w.id for w in doc.flow_lines]
    assert len(set(ids)) == len(ids)
    gone = edited(doc, replace(doc, flow_lines=doc.flow_lines[:1], swaps=()))
    assert alike(gone) and gone.swaps == ()


@pytest.mark.parametrize("n", [0, 1, 2])
def test_an_outline_pulled_in_one_place_is_pulled_in_all(n):
    doc = repeated()
    place = places(doc)[n]
    edge = polygon_of(doc.field_by_id(place.fields[0]).outline).boundary
    at = np.array(edge.interpolate(0.4, normalized=True).coords[0])
    out = at + 0.3 * (at - np.array(motif_of(doc, place.fields).centroid.coords[0]))
    new = pull_border(doc, tuple(at), tuple(out), 12.0)
    before = motif_of(doc, place.fields).area
    done, words = carry(doc, new)
    assert words == ("Changed in all 3 places.",)
    assert alike(done) and gaps_and_overlaps(done) == ()
    areas = [motif_of(done, p.fields).area for p in places(done)]
    assert areas == pytest.approx([areas[0]] * 3, abs=0.05) and abs(areas[0] - before) > 5


def test_a_motif_made_bigger_in_one_place_is_bigger_in_all():
    doc = repeated()
    new = scale_fields(doc, places(doc)[1].fields, 1.1).doc
    done, words = carry(doc, new)
    assert words == ("Changed in all 3 places.",) and alike(done)
    assert gaps_and_overlaps(done) == ()


def test_what_changes_all_places_alike_keeps_them_linked():
    doc = repeated()
    every = [i for p in places(doc) for i in p.fields]
    for new in (
        scale_fields(doc, every, 0.9).doc,
        resize_work(doc, 2 * WIDE),
        smooth_borders(doc, ["f1"]),
    ):
        done = edited(doc, new)
        assert alike(done) and len(places(done)) == 3


def test_a_place_that_is_moved_stays_linked_wherever_it_is():
    doc = repeated()
    for n in (1, 0):
        done, words = carry(doc, move_fields(doc, places(doc)[n].fields, (4.0, 35.0)).doc)
        assert alike(done) and words == () and len(places(done)) == 3
        leaf = places(done)[2].fields[0]
        assert changed(done, leaf, tessera_mm=8.0).fields[1].laying.tessera_mm == 8.0


def test_a_place_that_another_field_is_drawn_over_is_parted():
    doc = repeated()
    at = np.array(motif_of(doc, places(doc)[2].fields).centroid.coords[0])
    square = [tuple(at + d) for d in ((0, 0), (30, 0), (30, 30), (0, 30))]
    done, words = carry(doc, add_outline(doc, square, "Patch").doc)
    assert len(places(done)) == 2 and alike(done)
    assert words == ("A place that is not like the others any more is parted from them.",)
    first = np.array(motif_of(doc, places(doc)[0].fields).centroid.coords[0])
    over_first = [tuple(first + d) for d in ((0, 0), (30, 0), (30, 30), (0, 30))]
    done = edited(doc, add_outline(doc, over_first, "Patch").doc)
    assert [p.fields for p in places(done)] == [p.fields for p in places(doc)[1:]]
    assert alike(done)
    # a field from elsewhere is moved onto it
    patch = add_outline(doc, [(5, 250), (35, 250), (35, 280), (5, 280)], "Patch")
    doc = edited(doc, patch.doc)
    onto = tuple(at - (20, 265))
    done = edited(doc, move_fields(doc, [patch.field_id], onto).doc)
    assert len(places(done)) == 2 and alike(done)


def test_a_field_that_is_removed_parts_its_place_and_the_last_place_is_by_itself():
    doc = repeated()
    one = edited(doc, remove_fields(doc, [places(doc)[0].fields[1]]))
    assert len(places(one)) == 2 and alike(one) and gaps_and_overlaps(one) == ()
    two, words = carry(one, remove_fields(one, places(one)[0].fields))
    assert two.repeats == () and words == ()
    check_document(two)


def test_a_parted_place_follows_no_more():
    doc = repeated()
    parted = edited(doc, part_places(doc, [places(doc)[1].fields[1]]))
    assert len(places(parted)) == 2 and parted.fields == doc.fields
    leaf = places(doc)[1].fields[0]
    done = changed(parted, places(parted)[0].fields[0], tessera_mm=9.0)
    assert done.field_by_id(leaf).laying.tessera_mm == 6.0 and alike(done)
    done = changed(parted, leaf, tessera_mm=9.0)
    assert done.field_by_id(places(done)[0].fields[0]).laying.tessera_mm == 6.0
    # the first one parted: the second is the first from now on
    led = edited(doc, part_places(doc, places(doc)[0].fields))
    assert places(led)[0] == Linked(places(doc)[1].fields) and alike(led)


def test_save_and_load_give_the_same(tmp_path, planner):
    doc = repeated(Wish("centre", 4, mirrored=True), CENTRE)
    layout = planner.layout(doc, {})
    archive.save(tmp_path / "a.emblema", doc, {}, layout.kept)
    work = archive.open_work(tmp_path / "a.emblema")
    assert work.doc == doc
    fresh = Planner()
    again = fresh.layout(work.doc, {}, kept=work.kept)
    fresh.close()
    assert all(again.kept[k] is one for k, one in work.kept.items())
    for a, b in zip(layout.fields, again.fields, strict=True):
        assert shapely.equals_identical(a.pieces.polygons, b.pieces.polygons).all()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"fields": ["f9", "f99"]}, "Repeat 1, place 2 is for a field 'f9"),
        ({"fields": ["f4"]}, "place 2 has not as many fields as the first"),
        ({"fields": ["f4", "f4"]}, "does not lie as the first"),
        ({"fields": ["f2", "f3"], "move": {}}, "2 places of repeats have the field"),
        ({"move": {"way": [1.5, 0.0]}}, "would make it larger or smaller"),
        ({"move": {"origin_mm": [3.0, 1.0]}}, "'Leaf 2' does not lie as the first place's does"),
        ({"move": {"origin_mm": [1e12, 1.0]}}, "the farthest is"),
        ({"move": {"way": [1.0]}}, "place 2, move, way has 1 entries"),
        ({"move": "left"}, "move is the text 'left'"),
    ],
)
def test_broken_links_in_a_file_are_refused_in_one_sentence(change, words):
    raw = to_json(repeated())
    raw["repeats"][0]["places"][1] |= change
    with pytest.raises(EmblemaError, match=words) as e:
        check_document(typed(Commission, raw))
    assert str(e.value).count(". ") == 0


def test_a_repeat_of_one_place_is_none():
    doc = repeated()
    alone = replace(doc.repeats[0], places=places(doc)[:1])
    with pytest.raises(EmblemaError, match="two places or more"):
        check_document(replace(doc, repeats=(alone,)))
    with pytest.raises(EmblemaError, match="Field 'Leaf': the move of its sketch"):
        check_document(changed_move(doc, Move(way=(0.5, 0.0))))
    with pytest.raises(EmblemaError, match="repeats have the id"):
        check_document(replace(doc, repeats=doc.repeats * 2))


def changed_move(doc, move):
    fields = (f.with_choices(sketch_move=move) if f.name == "Leaf" else f for f in doc.fields)
    return replace(doc, fields=tuple(fields), repeats=())


# --- any edits one after another ------------------------------------------------------------------


def _pull(doc, place, draw):
    edge = polygon_of(doc.field_by_id(place.fields[0]).outline).boundary
    at = edge.interpolate(draw(st.floats(0, 1)), normalized=True)
    by = draw(st.tuples(st.floats(-8, 8), st.floats(-8, 8)))
    return pull_border(doc, (at.x, at.y), (at.x + by[0], at.y + by[1]), draw(st.floats(5, 30)))


def _move(doc, place, draw):
    by = draw(st.tuples(st.floats(-30, 30), st.floats(-30, 30)))
    return move_fields(doc, place.fields[: draw(st.integers(1, 2))], by).doc


def _draw_over(doc, place, draw):
    x, y = draw(st.tuples(st.floats(0, WIDE - 40), st.floats(0, HIGH - 40)))
    return add_outline(doc, [(x, y), (x + 30, y), (x + 30, y + 20), (x, y + 25)]).doc


def _line(doc, place, draw):
    points = draw(st.lists(st.tuples(st.floats(0, WIDE), st.floats(0, HIGH)), min_size=2))
    made = add_flow_line(doc, points, place.fields[0])[0]
    check_document(made)  # as the window does; two points may be one
    return made


def _ground(doc):
    """The ground's id, as long as it is not one with a leaf."""
    return [f.id for f in doc.fields if f.id == "f1"]


EDITS = (
    _pull,
    _move,
    _draw_over,
    _line,
    lambda doc, place, draw: scale_fields(doc, place.fields, draw(st.sampled_from([0.9, 1.1]))).doc,
    lambda doc, place, draw: scale_fields(doc, doc.linked(), 0.95).doc,
    lambda doc, place, draw: remove_fields(doc, place.fields[: draw(st.integers(1, 2))]),
    lambda doc, place, draw: merge(doc, [place.fields[0], *_ground(doc)]).doc,
    lambda doc, place, draw: smooth_borders(doc, place.fields),
    lambda doc, place, draw: resize_work(
        doc, doc.width_mm * 1.1, draw(st.sampled_from([None, 300]))
    ),
    lambda doc, place, draw: part_places(doc, place.fields),
    lambda doc, place, draw: change_field(doc, place.fields[-1], tessera_mm=draw(st.floats(4, 9))),
)


@given(
    wish=st.builds(
        Wish, st.just("line"), st.integers(2, 5), st.booleans(), st.booleans(), st.just(True)
    ),
    edits=st.lists(st.sampled_from(EDITS), min_size=1, max_size=6),
    data=st.data(),
)
@settings(max_examples=15, deadline=None)
def test_whatever_is_edited_linked_places_are_alike_and_the_work_has_no_gap(wish, edits, data):
    doc = repeated(wish)
    for edit in edits:
        if not doc.repeats:
            return
        place = data.draw(st.sampled_from(places(doc)))
        try:
            new = edit(doc, place, data.draw)
        except EmblemaError:
            continue
        bare = gaps_and_overlaps(new)
        doc = edited(doc, new)
        assert alike(doc)
        assert bare or gaps_and_overlaps(doc) == ()
