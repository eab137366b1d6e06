"""Linked places have the very pieces of the first, moved, whatever the laying and the hand did."""

import io
from dataclasses import replace

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from repeat_rig import (
    EYE,
    HIGH,
    LINE,
    WIDE,
    alike,
    changed,
    edited,
    far_apart,
    motif_of,
    panel,
    places,
    repeated,
    with_edit,
)

from core import archive, handwork
from core.agreed import agree, agreed_that_change
from core.commission import LAYINGS, FlowLine, HandEdit, Sketch, add_flow_line, add_swap
from core.errors import EmblemaError
from core.fields import gaps_and_overlaps
from core.geometry import LINKED_MM, polygon_of
from core.moves import STILL, move_of
from core.plan import Planner, with_colours
from core.repeats import Arranged, Wish, add_repeat, arranged, part_places
from core.sizes import scale_for
from core.sketch import import_sketch
from core.stock.lists import starter_stock

UM = 1e-3  # mm: a corner is rounded to a micrometre in each place


def laid_alike(doc, layout):
    """Whether linked places have the very pieces of the first, moved, in the same materials."""
    for copy, (first, move) in doc.copies().items():
        a, b = layout.by_id(first), layout.by_id(copy)
        assert len(a.pieces) and far_apart(a.pieces, b.pieces, move) < UM
        assert (a.stock == b.stock).all()
        assert (a.pieces.course == b.pieces.course).all()
    return True


moves = st.builds(
    lambda angle, x, y, mirrored: (np.exp(1j * angle), x, y, mirrored),
    st.floats(0, 2 * np.pi),
    st.floats(200, 330),
    st.floats(60, 240),
    st.booleans(),
)


def placed(move):
    """Return a place for the motif: its middle carried to (x, y), turned and perhaps mirrored."""
    way, x, y, mirrored = move
    turn = move_of(0j, complex(way), mirrored)
    x0, y0, x1, y1 = motif_of(*panel()).bounds
    at = turn.out(np.array([[(x0 + x1) / 2, (y0 + y1) / 2]]))[0]
    return Arranged(STILL, (turn.shifted(x - at[0], y - at[1]),), ())


@given(move=moves, opus=st.sampled_from(LAYINGS), hand=st.sampled_from([0.0, 0.05, 0.25]))
@settings(max_examples=30, deadline=None)
def test_places_have_the_very_pieces_moved_whatever_the_laying(move, opus, hand, planner):
    doc, ids = panel(opus=opus, variation=hand, width_variation=hand / 2, module_mm=30.0)
    doc = add_repeat(doc, ids, placed(move)).doc
    assert gaps_and_overlaps(doc) == () and alike(doc)
    assert laid_alike(doc, planner.layout(doc, {}))


@given(move=moves, data=st.data())
@settings(max_examples=30, deadline=None)
def test_an_edit_by_hand_in_one_place_shows_in_all(move, data, planner):
    doc, ids = panel(variation=0.25)
    doc = add_repeat(doc, ids, placed(move)).doc
    for _ in range(data.draw(st.integers(1, 4))):
        layout = planner.layout(doc, {})
        place = data.draw(st.sampled_from(places(doc)))
        k = data.draw(st.sampled_from([0, 1]))
        i = place.fields[k]
        piece = data.draw(st.integers(0, len(layout.by_id(i).pieces) - 1))
        how = data.draw(st.sampled_from([handwork.lift, handwork.pin, shifted, cut]))
        try:
            doc = edited(doc, how(doc, layout, i, piece))
        except EmblemaError:
            continue
        assert alike(doc) and laid_alike(doc, planner.layout(doc, {}))


def shifted(doc, layout, field_id, piece):
    return handwork.shift(doc, layout, field_id, piece, (0.1, -0.15), 0.02)


def cut(doc, layout, field_id, piece):
    shape = layout.by_id(field_id).pieces.polygons[piece]
    x0, _, x1, _ = shape.bounds
    middle = shape.centroid
    line = ((x0 - 1, middle.y), (x1 + 1, middle.y))
    return handwork.nip(doc, layout, field_id, piece, line)


def test_edits_by_hand_are_done_once_and_undone_in_all(planner):
    doc = repeated(variation=0.2)
    layout = planner.layout(doc, {})
    leaf = places(doc)[1].fields[0]
    before = len(layout.by_id(leaf).pieces)
    lifted = edited(doc, handwork.lift(doc, layout, leaf, 2))
    laid = planner.layout(lifted, {})
    assert {len(laid.by_id(p.fields[0]).pieces) for p in places(doc)} == {before - 1}
    assert laid.dropped == ()
    again = edited(lifted, replace(lifted, edits=()))
    assert again.edits == ()
    pinned = edited(doc, handwork.pin(doc, layout, leaf, 0))
    laid = planner.layout(pinned, {})
    for p in places(doc):
        free = handwork.unpin(pinned, laid, p.fields[0], 0)
        assert free is not None and edited(pinned, free).edits == ()


def test_a_parted_place_keeps_its_pieces_until_it_is_changed(planner):
    doc = repeated(variation=0.25, opus="palladianum")
    layout = planner.layout(doc, {})
    parted = edited(doc, part_places(doc, places(doc)[1].fields))
    after = planner.layout(parted, {})
    for f in doc.fields:
        assert after.by_id(f.id).pieces is layout.by_id(f.id).pieces
    leaf = places(doc)[1].fields[0]
    alone = planner.layout(edited(parted, handwork.lift(parted, after, leaf, 0)), {})
    assert len(alone.by_id(leaf).pieces) == len(after.by_id(leaf).pieces) - 1
    first = places(doc)[0].fields[0]
    assert alone.by_id(first).pieces is after.by_id(first).pieces


def test_a_moved_motif_keeps_its_edits_and_its_part_of_the_sketch(planner):
    doc, ids = panel()
    doc = replace(doc, sketch=Sketch("panel.png", 90, 60, 2.0))
    layout = planner.layout(doc, {})
    doc = handwork.lift(doc, layout, ids[0], 1)
    where = arranged(motif_of(doc, ids), Wish("line", 3), LINE, (WIDE, HIGH))
    made = add_repeat(doc, ids, where).doc
    assert len(made.edits) == 3 and alike(made)
    laid = planner.layout(made, {})
    assert laid.dropped == () and laid_alike(made, laid)
    for place in places(made):
        seen = made.field_by_id(place.fields[0]).colour.sketch_move
        here = polygon_of(made.field_by_id(place.fields[0]).outline)
        there = shapely.transform(here, seen.into)
        was = polygon_of(doc.field_by_id(ids[0]).outline)
        assert there.symmetric_difference(was).area < LINKED_MM * was.length


def test_agreed_places_are_asked_about():
    doc = repeated()
    other = places(doc)[2].fields[0]
    doc = agree(doc, [other], "2025-01-01")
    new = changed(doc, places(doc)[0].fields[0], tessera_mm=8.0)
    assert agreed_that_change(doc, new) == (other,)
    # a line for all fields that is felt in the first place alone tells in all
    first = np.array(motif_of(doc, places(doc)[0].fields).centroid.coords[0])
    line = FlowLine("l99", (tuple(first - 8), tuple(first + 8)))
    assert agreed_that_change(doc, replace(doc, flow_lines=(*doc.flow_lines, line))) == (other,)


def test_lines_and_edits_of_other_fields_stay_theirs():
    doc = repeated()
    doc, _ = add_flow_line(doc, [(10.0, 10.0), (50.0, 20.0)])
    done = with_edit(doc, HandEdit("lift", "f1", (20.0, 20.0)))
    assert sum(e.field_id == "f1" for e in done.edits) == len(done.edits) == 1
    assert done.flow_lines == doc.flow_lines


@given(moves, moves)
def test_moves_undo_and_follow_one_another(a, b):
    a, b = placed(a).moves[0], placed(b).moves[0]
    xy = np.array([*EYE])
    assert np.abs(a.back().out(a.out(xy)) - xy).max() < 1e-9
    assert np.abs(a.into(a.out(xy)) - xy).max() < 1e-9
    assert np.abs(b.after(a).out(xy) - b.out(a.out(xy))).max() < 1e-9


def test_a_line_with_a_size_that_is_felt_in_the_first_place_tells_in_all(planner):
    doc = repeated(Wish("line", 3, mirrored=True))
    middle = np.array(motif_of(doc, places(doc)[0].fields).centroid.coords[0])
    ends = middle + np.array([(-25.0, -9.0), (25.0, -9.0)])
    line = FlowLine("l99", tuple(map(tuple, ends.tolist())), tessera_mm=4.0)
    graded = edited(doc, replace(doc, flow_lines=(*doc.flow_lines, line)))
    layout = planner.layout(graded, {})
    assert laid_alike(graded, layout)
    for copy, (first, _) in graded.copies().items():
        a, b = (
            scale_for(graded, graded.field_by_id(i)).tessera_of(layout.by_id(i).pieces.polygons)
            for i in (first, copy)
        )
        assert np.abs(a - b).max() < 0.1  # mm: read from a grid that lies otherwise in each
    leaf = places(graded)[0].fields[0]
    small = scale_for(graded, graded.field_by_id(leaf))
    assert small.tessera_of(layout.by_id(leaf).pieces.polygons).min() < 5.0


# --- colours ------------------------------------------------------------------------------------


def over_a_sketch(**choices):
    """A repeat over a sketch that differs from place to place, its pictures, and a stock."""
    doc, ids = panel(**choices)
    picture = io.BytesIO()
    Image.linear_gradient("L").rotate(30).convert("RGB").save(picture, "PNG")
    doc, images = import_sketch(doc, picture.getvalue(), "sketch.png")[:2]
    doc = replace(doc, materials=starter_stock())
    where = arranged(motif_of(doc, ids), Wish("line", 3, mirrored=True), LINE, (WIDE, HIGH))
    return add_repeat(doc, ids, where).doc, images


def test_places_are_coloured_from_one_part_of_the_sketch(planner):
    doc, images = over_a_sketch()
    layout = planner.layout(doc, images)
    assert laid_alike(doc, layout)
    assert len(set(layout.by_id(places(doc)[0].fields[0]).stock)) > 1
    within = planner.layout(replace(doc, within_stock=True), images)
    for copy, (first, _) in doc.copies().items():
        a, b = within.by_id(first).wanted_lab, within.by_id(copy).wanted_lab
        assert np.abs(a - b).max() < 1.0  # the same part of the sketch, cut to a micrometre


def test_a_parted_place_keeps_its_colours_in_its_file_too(planner, tmp_path):
    doc, images = over_a_sketch(match="mix", blend=("SM-01", "SM-09"))
    layout = planner.layout(doc, images)
    parted = edited(doc, part_places(doc, places(doc)[2].fields))
    after = planner.layout(parted, images)
    archive.save(tmp_path / "a.emblema", parted, images, with_colours(parted, after))
    fresh = Planner()
    work = archive.open_work(tmp_path / "a.emblema")
    opened = fresh.layout(work.doc, work.images, kept=work.kept)
    fresh.close()
    for f in doc.fields:
        for later in (after, opened):
            assert (later.by_id(f.id).stock == layout.by_id(f.id).stock).all()


def test_a_piece_laid_in_another_material_and_a_swap_show_in_all(planner):
    doc, images = over_a_sketch()
    layout = planner.layout(doc, images)
    leaf = places(doc)[1].fields[0]
    laid_in = edited(doc, handwork.lay_in(doc, layout, leaf, 2, "SM-75"))
    swapped = edited(laid_in, add_swap(laid_in, "SM-75", "SM-14", field_id=leaf))
    for new, code in ((laid_in, "SM-75"), (swapped, "SM-75")):
        later = planner.layout(new, images)
        assert laid_alike(new, later)
        for place in places(new):
            k = later.by_id(place.fields[0]).stock[2]
            assert new.materials[k].code == code
    assert len(swapped.swaps) == 3
