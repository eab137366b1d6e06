"""A client's changes: grounds stay beneath, motifs stay whole, and colours go along."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from plan_rig import laid
from test_fields import sound

from core import archive
from core.checks import check_document
from core.colour.seen import onto_sketch, seen_lab
from core.colour.wanted import SketchColours
from core.commission import Commission, add_flow_line, field_of
from core.coverage import shared_out
from core.errors import EmblemaError
from core.fields import add_area, areas
from core.geometry import polygon_of
from core.kept import key_of
from core.more import fewer_of, more_of, things
from core.moves import STILL, Move
from core.plan import setting_of
from core.repeats import Arranged, add_repeat, carry
from core.resources import asset
from core.rounds import frames_of, move_fields, remove_fields, scale_fields, whole_outline
from core.sketch import import_sketch
from core.stock.lists import starter_stock

Box = tuple[float, float, float, float]


def scene(*more: tuple[str, str, Box]) -> Commission:
    """Return a sky over water within a border, with things on it, the later on top."""
    doc = Commission("Pond", 300.0, 200.0, materials=starter_stock()[:20])
    whole, inner = shapely.box(0, 0, 300, 200), shapely.box(20, 20, 280, 180)
    doc = add_area(doc, whole.difference(inner), "Border", "border").doc
    doc = add_area(doc, shapely.box(20, 20, 280, 100), "Sky", "sky").doc
    doc = add_area(doc, shapely.box(20, 100, 280, 180), "Water", "water").doc
    for name, motif, box in more:
        doc = add_area(doc, shapely.box(*box), name, motif).doc
    return doc


def named(doc: Commission, name: str) -> shapely.MultiPolygon:
    return polygon_of(next(f for f in doc.fields if f.name == name).outline)


def ids(doc: Commission, *names: str) -> list[str]:
    return [f.id for f in doc.fields if f.name in names or f.motif in names]


# --- what stays -----------------------------------------------------------------------------


def test_fields_that_a_change_does_not_reach_are_not_drawn_anew() -> None:
    """Their pieces hang on the outline as it is written."""
    doc = archive.open_work(asset("demo/heron.emblema")).doc
    some = scale_fields(doc, ids(doc, "Lily", "Lily's heart"), 1.1).doc
    changed = {
        f.name for f, g in zip(doc.fields, some.fields, strict=True) if f.outline != g.outline
    }
    assert {"Lily", "Lily's heart"} <= changed
    assert changed <= {"Lily", "Lily's heart", "Lily pad 2", "Lily pad 3", "Water"}
    for f, g in zip(doc.fields, some.fields, strict=True):
        if f.name not in changed:
            assert key_of(setting_of(doc, f)) == key_of(setting_of(some, g))


def test_a_ground_does_not_grow_over_what_lies_on_it() -> None:
    doc = scene(("Bird", "bird", (100, 60, 140, 90)))
    with pytest.raises(EmblemaError, match="nothing beneath Sky to grow over") as e:
        scale_fields(doc, ids(doc, "Sky"), 1.1)
    assert "\n" not in str(e.value)
    with pytest.raises(EmblemaError, match="nothing beneath Sky to take its room"):
        scale_fields(doc, ids(doc, "Sky"), 0.9)


def test_a_border_round_the_work_gives_no_way() -> None:
    doc = scene(("Bird", "bird", (30, 30, 120, 60)))
    assert [f.name for f in frames_of(doc)] == ["Border"]
    grown = scale_fields(doc, ids(doc, "Bird"), 2.0)
    sound(grown.doc)
    assert named(grown.doc, "Border").equals(named(doc, "Border"))
    assert named(grown.doc, "Bird").bounds[:2] == (20.0, 20.0)


def test_what_lies_on_a_motif_stays_on_it() -> None:
    doc = scene(("Bird", "bird", (100, 40, 160, 90)), ("Reed", "reeds", (165, 30, 175, 170)))
    grown = scale_fields(doc, ids(doc, "Bird"), 1.5)
    sound(grown.doc)
    assert named(grown.doc, "Reed").equals(named(doc, "Reed")) and grown.lost == ()


def test_what_would_vanish_is_named_all_at_once() -> None:
    doc = scene(
        *(("Star", "stars", (92, 50, 98, 56)), ("Moon", "stars", (150, 30, 170, 50))),
        ("Bird", "bird", (100, 40, 160, 90)),
    )
    assert named(doc, "Moon").area == 300.0  # the rest is beneath the bird
    grown = scale_fields(doc, ids(doc, "Bird"), 1.4)
    assert set(grown.lost) == {"Star", "Moon"} and grown.notes == ()


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(("Bird", "Reed", "Moon")), st.floats(0.5, 1.9), st.data())
def test_whatever_is_resized_covers_the_work_once_and_nothing_that_lies_on_it(name, by, data):
    x, y = (data.draw(st.floats(40, 240)), data.draw(st.floats(40, 160)))
    doc = scene(
        *(("Moon", "moon", (x, y, x + 30, y + 15)), ("Bird", "bird", (100, 60, 160, 130))),
        ("Reed", "reeds", (150, 40, 160, 170)),
    )
    before = {f.name: polygon_of(f.outline) for f in doc.fields}
    if name not in before:
        return
    made = scale_fields(doc, ids(doc, name), by)
    sound(made.doc)
    check_document(made.doc)
    assert sum(a.area for a in areas(made.doc)) == pytest.approx(60_000, abs=0.1)
    now = {f.name: polygon_of(f.outline) for f in made.doc.fields}
    order = [f.name for f in doc.fields]
    for above in (*order[order.index(name) + 1 :], "Border"):
        assert before[above].difference(now[above]).area < 0.05


# --- what was beneath runs on ---------------------------------------------------------------


def test_a_horizon_runs_on_where_a_motif_was() -> None:
    doc = scene(("Bird", "bird", (100, 60, 160, 150)))
    fewer = remove_fields(doc, ids(doc, "Bird"))
    sound(fewer)
    bare = scene()
    for name in ("Sky", "Water", "Border"):
        assert named(fewer, name).hausdorff_distance(named(bare, name)) < 1.0
    smaller = scale_fields(doc, ids(doc, "Bird"), 0.7).doc
    sound(smaller)
    assert named(smaller, "Sky").bounds[3] == pytest.approx(100, abs=1.0)
    assert named(smaller, "Water").bounds[1] == pytest.approx(100, abs=1.0)


def test_what_lies_between_two_goes_to_the_nearer() -> None:
    left, right = (shapely.MultiPolygon([shapely.box(a, 0, a + 10, 10)]) for a in (0, 20))
    gap = shapely.MultiPolygon([shapely.box(10, 0, 20, 10)])
    a, b = shared_out([left, right], gap, [True, True], 0.5)
    assert a.area == pytest.approx(50, abs=0.5) and b.area == pytest.approx(50, abs=0.5)
    assert a.bounds[2] <= 15.5 and b.bounds[0] >= 14.5
    a, b = shared_out([left, right], gap, [False, True], 0.5)
    assert a.is_empty and b.area == pytest.approx(100)
    assert all(x.is_empty for x in shared_out([left, right], gap, [False, False], 0.5))


# --- colours --------------------------------------------------------------------------------


def painted(doc: Commission, box: Box) -> tuple[Commission, dict[str, bytes]]:
    """Return a document over a grey sketch with one orange spot."""
    pixels = np.full((200, 300, 3), 128, np.uint8)
    x0, y0, x1, y1 = (int(v) for v in box)
    pixels[y0:y1, x0:x1] = (255, 128, 0)
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "PNG")
    return import_sketch(doc, data.getvalue(), "sketch.png")[:2]


def lab_of(doc: Commission, images: dict[str, bytes], name: str) -> np.ndarray:
    f = next(f for f in doc.fields if f.name == name)
    assert doc.sketch is not None
    colours = SketchColours.read(images[doc.sketch.image], doc.sketch.image)
    x, y = (v.ravel() for v in np.meshgrid(np.arange(0, 300, 3.0), np.arange(0, 200, 3.0)))
    cells = np.asarray(shapely.box(x, y, x + 3, y + 3))
    shape = polygon_of(f.outline)
    inside = cells[shapely.contains(shape, cells)]
    return seen_lab(doc.sketch, colours, f.colour, inside)


SPOT: Box = (100, 40, 160, 70)


@pytest.mark.parametrize(
    "change",
    [
        lambda d, i: scale_fields(d, i, 1.3).doc,
        lambda d, i: scale_fields(d, i, 0.6).doc,
        lambda d, i: scale_fields(scale_fields(d, i, 1.3).doc, i, 0.5).doc,
        lambda d, i: move_fields(d, i, (70.0, 5.0)).doc,
        lambda d, i: scale_fields(move_fields(d, i, (40.0, 30.0)).doc, i, 0.8).doc,
        lambda d, i: more_of(d, i, 1).doc,
    ],
)
def test_a_motif_takes_its_part_of_the_sketch_along_and_leaves_none(change) -> None:
    doc, images = painted(scene(("Bird", "bird", SPOT)), SPOT)
    done = change(doc, ids(doc, "Bird"))
    check_document(done)
    for name in ("Bird", "Bird 2"):
        if ids(done, name):
            assert (lab_of(done, images, name)[:, 2] > 60).all()  # orange, all over
    for name in ("Sky", "Water"):
        assert (np.abs(lab_of(done, images, name)[:, 1:]) < 1).all()  # grey, all over


def test_a_removed_motif_leaves_no_colour_behind() -> None:
    doc, images = painted(scene(("Bird", "bird", SPOT)), SPOT)
    fewer = remove_fields(doc, ids(doc, "Bird"))
    assert (np.abs(lab_of(fewer, images, "Sky")[:, 1:]) < 1).all()
    sky = next(f for f in fewer.fields if f.name == "Sky")
    over = shapely.box(*SPOT).buffer(2, join_style="mitre")  # paint runs over an outline
    assert polygon_of(sky.colour.unseen).symmetric_difference(over).area < 1


def test_paint_that_ran_over_an_outline_is_left_out_too() -> None:
    x0, y0, x1, y1 = SPOT
    doc, images = painted(scene(("Bird", "bird", SPOT)), (x0 - 2, y0 - 2, x1 + 2, y1 + 2))
    fewer = remove_fields(doc, ids(doc, "Bird"))
    assert (np.abs(lab_of(fewer, images, "Sky")[:, 1:]) < 1).all()


def test_what_is_seen_of_the_sketch_is_scaled_then_moved() -> None:
    f = field_of("f1", "A", (), sketch_move=Move((10.0, 4.0)), sketch_times=2.0)
    assert onto_sketch(f.colour, shapely.Point(30, 24)).coords[0] == (10.0, 10.0)


def test_where_the_sketch_is_not_seen_is_saved_and_checked(tmp_path) -> None:
    doc, images = painted(scene(("Bird", "bird", SPOT)), SPOT)
    done = scale_fields(doc, ids(doc, "Bird"), 0.6).doc
    archive.save(tmp_path / "pond.emblema", done, images)
    assert archive.load(tmp_path / "pond.emblema")[0] == done
    bad = replace(done, fields=tuple(f.with_choices(sketch_times=0.0) for f in done.fields))
    with pytest.raises(EmblemaError, match="how large its part of the sketch is is 0"):
        check_document(bad)
    two = ((((0.0, 0.0), (1.0, 1.0)),),)
    with pytest.raises(EmblemaError, match="where its sketch is not seen has 2 points"):
        check_document(replace(done, fields=(done.fields[0].with_choices(unseen=two),)))


# --- more and fewer -------------------------------------------------------------------------


def reeds() -> Commission:
    """Return two crossing reeds, a rush of stem and head, and a bird of two fields."""
    doc = scene(
        *(("Reed 1", "reeds", (60, 50, 70, 170)), ("Reed 2", "reeds", (40, 100, 90, 110))),
        *(("Rush stem 1", "reeds", (200, 80, 206, 170)), ("Rush 1", "rushes", (196, 50, 210, 80))),
        *(("Body", "bird", (120, 60, 150, 90)), ("Beak", "bird", (150, 70, 165, 75))),
    )
    return add_flow_line(doc, [(203, 90), (203, 160)], ids(doc, "Rush stem 1")[0])[0]


def test_what_belongs_together_is_one_thing() -> None:
    doc = reeds()
    name = {f.id: f.name for f in doc.fields}
    found = [[name[i] for i in thing] for thing in things(doc, ids(doc, "reeds", "bird"))]
    assert found == [["Reed 1"], ["Reed 2"], ["Rush stem 1", "Rush 1"], ["Body", "Beak"]]


def test_a_thing_is_copied_whole_where_something_crosses_it() -> None:
    doc = reeds()
    assert len(named(doc, "Reed 1").geoms) == 2
    reed = next(f for f in doc.fields if f.name == "Reed 1")
    assert whole_outline(doc, reed).area == pytest.approx(1200, rel=0.005)
    made = more_of(doc, ids(doc, "Reed 1"), 1)
    sound(made.doc)
    assert named(made.doc, "Reed 3").area == pytest.approx(1200, rel=0.005)


def test_as_many_are_added_as_were_asked_for_each_in_turn() -> None:
    doc = reeds()
    made = more_of(doc, ids(doc, "reeds"), 4).doc
    sound(made)
    check_document(made)
    new = [f.name for f in made.fields if f.id not in {g.id for g in doc.fields}]
    assert new == ["Reed 3", "Reed 4", "Rush stem 2", "Rush 2", "Reed 5"]
    stem = next(f for f in made.fields if f.name == "Rush stem 2")
    (line,) = (w for w in made.flow_lines if w.field_id == stem.id)
    assert polygon_of(stem.outline).buffer(0.1).contains(shapely.LineString(line.points))
    head = named(made, "Rush 2")
    assert polygon_of(stem.outline).distance(head) < 1e-3
    with pytest.raises(EmblemaError, match="Choose a field"):
        more_of(doc, [], 1)
    with pytest.raises(EmblemaError, match="1 to 50"):
        more_of(doc, ids(doc, "reeds"), 51)


def test_one_more_lies_on_the_ground_alone_where_it_can() -> None:
    doc = reeds()
    made = more_of(doc, ids(doc, "bird"), 1).doc
    for f in doc.fields:
        if f.name not in ("Sky", "Water"):
            assert named(made, f.name).area == pytest.approx(polygon_of(f.outline).area, abs=0.5)


def test_there_is_none_where_there_is_no_room() -> None:
    doc = scene(("Bird", "bird", (20, 40, 280, 90)))
    with pytest.raises(EmblemaError, match="no room for 'Bird'"):
        more_of(doc, ids(doc, "Bird"), 1)


def test_fewer_takes_whole_things_the_uppermost_first() -> None:
    doc = reeds()
    left = fewer_of(doc, ids(doc, "reeds"), 1)
    sound(left)
    assert {f.name for f in doc.fields} - {f.name for f in left.fields} == {"Rush stem 1", "Rush 1"}
    none = fewer_of(doc, ids(doc, "reeds"), 9)
    assert not ids(none, "reeds", "rushes")


def test_a_changed_scene_can_be_laid() -> None:
    doc = more_of(reeds(), ids(reeds(), "Rush stem 1"), 1).doc
    layout = laid(doc)
    assert all(len(f.pieces) for f in layout.fields)


@pytest.mark.parametrize("place", [0, 1])
def test_linked_places_made_larger_are_coloured_from_one_part_of_the_sketch(place: int) -> None:
    """Whichever place was made larger, all take the same part along."""
    doc, _images = painted(scene(("Bird", "bird", SPOT)), SPOT)
    there = Arranged(STILL, (Move((80.0, 60.0)),), ())
    doc = add_repeat(doc, ids(doc, "Bird"), there).doc
    (repeat,) = doc.repeats
    made = scale_fields(doc, repeat.places[place].fields, 1.1).doc
    done, _ = carry(doc, made)
    assert len(done.repeats) == 1
    for one in done.repeats[0].places:
        f = done.field_by_id(one.fields[0])
        over = onto_sketch(f.colour, polygon_of(f.outline))
        assert over.symmetric_difference(shapely.box(*SPOT)).area < 1.0
