"""Lines with a size and motifs that are graded toward: kept, read, checked and laid."""

from __future__ import annotations

import json
import math
from collections import Counter
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from core import archive
from core.checks import check_document
from core.commission import (
    LAYINGS,
    Commission,
    HandEdit,
    add_flow_line,
    change_field,
    change_flow_line,
    field_of,
)
from core.errors import EmblemaError
from core.export import write_setting_out
from core.flow import lines_for
from core.geometry import outline_of
from core.handwork import LARGEST, apply_edits
from core.kept import key_of
from core.laying import lay_field
from core.laying.field.scale import GRADE, STEEPEST
from core.lookagain import Finding, look_again, mend
from core.pieces import Layout
from core.plan import Planner, only_recoloured, setting_of
from core.setting_out import read_setting_out
from core.sizes import grade_of, least_within, scale_for, sizes_for, smallest_mm
from core.typed import to_json


def of(*shapes: tuple[str, Any, str], **choices: Any) -> Commission:
    fields = (
        field_of(f"f{k}", name, outline_of(shape), motif, tessera_mm=8.0, joint_mm=1.0, **choices)
        for k, (name, shape, motif) in enumerate(shapes)
    )
    return Commission("Face", 200.0, 160.0, fields=tuple(fields))


EYE = shapely.Point(70, 60).buffer(16)
CHEEK = shapely.difference(shapely.box(0, 0, 200, 160), EYE)


@pytest.fixture
def face() -> Commission:
    return of(("Cheek", CHEEK, "face"), ("Iris", EYE, "eye"))


def lined(doc: Commission, tessera: float = 4.0, owner: str | None = "f0") -> Commission:
    return add_flow_line(doc, ((20, 120), (180, 120)), owner, tessera)[0]


def toward(doc: Commission, **choices: Any) -> Commission:
    return change_field(doc, "f0", finer_toward="eye", **choices)


def key(doc: Commission, field_id: str = "f0") -> str:
    return key_of(setting_of(doc, doc.field_by_id(field_id)))


def test_a_line_with_a_size_leads_no_courses_unless_it_is_to(face: Commission) -> None:
    doc = lined(face)
    cheek = doc.field_by_id("f0")
    assert lines_for(doc, cheek) == ()
    (size,) = sizes_for(doc, cheek)
    assert (size.tessera_mm, size.grade) == (4.0, GRADE)
    both = change_flow_line(doc, doc.flow_lines[0].id, leads=True)
    assert len(lines_for(both, cheek)) == 1 and sizes_for(both, cheek) == (size,)


def test_lines_of_one_size_are_one(face: Commission) -> None:
    doc = add_flow_line(lined(face), ((20, 20), (180, 20)), "f0", 4.0)[0]
    doc = add_flow_line(doc, ((20, 140), (180, 140)), "f0", 5.0)[0]
    sizes = sizes_for(doc, doc.field_by_id("f0"))
    assert [(s.tessera_mm, len(s.lines.geoms)) for s in sizes] == [(4.0, 2), (5.0, 1)]


def test_only_the_field_in_which_it_tells_has_another_key(face: Commission) -> None:
    doc = lined(face)
    assert key(doc) != key(face) and key(doc, "f1") == key(face, "f1")
    every = lined(face, owner=None)
    assert key(every) == key(doc)
    assert key(every, "f1") == key(face, "f1")  # too far from it
    assert key(lined(face, 4.5)) != key(doc)
    assert not only_recoloured(face, doc) and not only_recoloured(face, toward(face))


def test_a_field_is_graded_toward_a_motif(face: Commission) -> None:
    doc = toward(face, finer_mm=4.0, finer_within=8)
    (size,) = sizes_for(doc, doc.field_by_id("f0"))
    assert size.tessera_mm == 4.0 and size.grade == pytest.approx(2 ** (1 / 7) - 1, abs=1e-6)
    assert size.lines.length == pytest.approx(EYE.length)
    assert key(doc) != key(face) and key(doc, "f1") == key(face, "f1")
    half = toward(face)
    assert sizes_for(half, half.field_by_id("f0"))[0].tessera_mm == 4.0  # half, unless given
    assert sizes_for(doc, doc.field_by_id("f1")) == ()


@pytest.mark.parametrize(("within", "grade"), [(2, STEEPEST), (5, STEEPEST), (20, 0.0371)])
def test_no_grade_is_steeper_than_courses_can_take(face, within: int, grade: float) -> None:
    laying = toward(face, finer_within=within).field_by_id("f0").laying
    assert grade_of(laying) == pytest.approx(grade, abs=1e-3)
    assert least_within(laying) == 7  # 4 mm, six times a seventh more
    assert least_within(replace(laying, finer_mm=8.0)) == 1


def test_the_smallest_tessera_asked_for_tells_how_fine_a_picture_is(face: Commission) -> None:
    cheek = face.fields[0]
    assert smallest_mm(face, cheek) == 8.0
    assert smallest_mm(lined(face, 12.0), cheek) == 8.0
    doc = lined(toward(face, finer_mm=3.0), 5.0)
    assert smallest_mm(doc, doc.fields[0]) == 3.0


def test_a_choice_that_does_not_tell_has_no_key(face: Commission) -> None:
    assert key(change_field(face, "f0", finer_within=5, finer_mm=3.0)) == key(face)
    assert key(change_field(face, "f0", finer_toward="nobody")) == key(face)


@pytest.mark.parametrize("opus", [o for o in LAYINGS if o not in ("vermiculatum", "musivum")])
def test_layings_that_are_not_graded_ignore_sizes(face: Commission, opus: str) -> None:
    graded = opus in ("tessellatum", "classicum")
    doc = lined(toward(change_field(face, "f0", opus=opus)))
    assert bool(sizes_for(doc, doc.field_by_id("f0"))) == graded
    rounds = change_field(doc, "f0", pieces="rounds")
    assert sizes_for(rounds, rounds.field_by_id("f0")) == ()


def test_the_rest_of_a_hugging_field_is_graded(face: Commission) -> None:
    doc = lined(change_field(face, "f0", opus="classicum", hug_courses=1, hug_tessera_mm=6.0))
    pieces = lay_field(setting_of(doc, doc.field_by_id("f0"))).polygons
    y = shapely.get_y(shapely.centroid(pieces))
    inner = (np.abs(shapely.get_x(shapely.centroid(pieces)) - 100) < 60) & (y > 20)
    at, far = inner & (np.abs(y - 120) < 4), inner & (y < 50)
    assert np.median(np.sqrt(shapely.area(pieces[at]))) == pytest.approx(4.0, abs=0.4)
    assert np.median(np.sqrt(shapely.area(pieces[far]))) > 7.0


def test_it_is_saved_and_opened(face: Commission, tmp_path: Path) -> None:
    doc = toward(lined(face), finer_mm=3.5, finer_within=9)
    archive.save(tmp_path / "face.emblema", doc, {})
    assert archive.load(tmp_path / "face.emblema")[0] == doc
    plain = to_json(add_flow_line(face, ((0, 0), (9, 9)))[0])
    assert "tessera_mm" not in plain["flow_lines"][0] and "leads" not in plain["flow_lines"][0]


def test_it_is_set_out_and_read_again(face: Commission, tmp_path: Path) -> None:
    doc = toward(lined(face), finer_mm=3.5, finer_within=9)
    doc = add_flow_line(doc, ((20, 20), (180, 20)))[0]
    doc = change_flow_line(lined(doc, 5.0), "l3", leads=True)
    write_setting_out(tmp_path / "face.geojson", doc)
    again, notes = read_setting_out(tmp_path / "face.geojson")
    assert not notes
    assert again.fields[0].laying == replace(
        doc.fields[0].laying, hug_tessera_mm=again.fields[0].laying.hug_tessera_mm
    )
    said = [(w.tessera_mm, w.leads) for w in again.flow_lines]
    assert said == [(4.0, False), (None, True), (5.0, True)]


FAULTS: dict[str, tuple[dict[str, Any], dict[str, Any], str]] = {
    "too small": ({}, {"tessera_mm": 0.5}, "tessera along it is 0.5 mm"),
    "a text": ({}, {"tessera_mm": "fine"}, "tessera is the text 'fine'"),
    "nothing": ({}, {"leads": False}, "neither leads the courses nor gives a size"),
    "the joint": ({"joint_mm": 3}, {"tessera_mm": 2}, "no larger than the joint of field 'Wall'"),
    "no motif": ({"finer_toward": "eye"}, {}, "finer toward 'eye', but no field has that motif"),
    "too fine": ({"finer_toward": "sea", "finer_mm": 0.2}, {}, "beside that motif is 0.2 mm"),
    "finer than joint": (
        {"finer_toward": "sea", "joint_mm": 2, "finer_mm": 2},
        {},
        "less than the tessera beside 'sea' (2 mm)",
    ),
    "at once": ({"finer_within": 1}, {}, "pieces within which it is graded is 1"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_bad_size_is_refused_in_a_sentence(fault: str, tmp_path: Path) -> None:
    choices, said, words = FAULTS[fault]
    wall = {"name": "Wall", "motif": "sea", "tessera_mm": 8, "joint_mm": 1, **choices}
    features = [
        {
            "type": "Feature",
            "properties": wall,
            "geometry": shapely.geometry.mapping(shapely.box(0, 0, 100, 80)),
        },
        {
            "type": "Feature",
            "properties": {"field": "Wall", **said},
            "geometry": {"type": "LineString", "coordinates": [[10, 40], [90, 40]]},
        },
    ]
    path = tmp_path / "wall.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    with pytest.raises(EmblemaError) as e:
        read_setting_out(path)
    assert words in str(e.value)


def test_a_joint_wider_than_pieces_along_a_line_is_refused(face: Commission) -> None:
    doc = lined(face, 2.0)
    check_document(doc)
    with pytest.raises(EmblemaError, match="no larger than the joint of field 'Cheek'"):
        check_document(change_field(doc, "f0", joint_mm=2.0))
    check_document(change_field(doc, "f1", joint_mm=3.0))  # not its line
    far = add_flow_line(face, ((20, 155), (180, 155)), None, 2.0)[0]
    check_document(change_field(far, "f1", joint_mm=3.0))


# what is made of it afterwards


@pytest.fixture(scope="module")
def laid() -> tuple[Commission, Layout]:
    """Return a wall of 9 mm with a line of 3.6 mm across it, as it is laid."""
    doc = of(("Wall", shapely.box(0, 0, 200, 160), ""))
    doc = change_field(doc, "f0", tessera_mm=9.0)
    doc = add_flow_line(doc, ((0, 80), (200, 80)), "f0", 3.6)[0]
    with closing(Planner()) as planner:
        return doc, planner.layout(doc, {})


def test_no_piece_is_found_at_fault_for_its_size_alone(laid: tuple[Commission, Layout]) -> None:
    """Small pieces by their line are no slivers, and none are too big beside smaller ones."""
    doc, layout = laid
    found = Counter(f.rule for f in look_again(doc, layout))
    pieces = len(layout.fields[0].pieces)
    for rule in ("sliver", "too big", "too small", "wide joint"):
        assert found[rule] <= 0.005 * pieces, (rule, found)
    one_size = change_flow_line(doc, "l1", tessera_mm=None, leads=True)
    blind = Counter(f.rule for f in look_again(one_size, layout))
    assert blind["sliver"] > 10 * (found["sliver"] + 1)  # that is, it is looked at by its place


def test_a_small_piece_may_be_worked_by_hand_at_its_line(laid: tuple[Commission, Layout]) -> None:
    """What could not be held beside pieces of 9 mm is a piece where they are of 3.6."""
    doc, layout = laid
    pieces = layout.fields[0].pieces
    k = int(np.argmin(np.hypot(*(pieces.centre_mm - (100, 80)).T)))
    at = tuple(pieces.centre_mm[k].tolist())
    field, lift = doc.field_by_id("f0"), HandEdit("lift", "f0", at)
    shape = shapely.affinity.scale(pieces.polygons[k], 0.95, 0.95)
    ring = tuple((x, y) for x, y in shapely.get_coordinates(shape)[:-1].tolist())
    edits = (lift, HandEdit("set", "f0", at, outline=ring))
    _, _, dropped = apply_edits(field, pieces, edits)
    assert [d.reason for d in dropped] == ["the piece would be too small to hold"]
    done, _, dropped = apply_edits(field, pieces, edits, scale=scale_for(doc, field))
    assert not dropped and len(done) == len(pieces)
    with closing(Planner()) as planner:
        again = planner.layout(replace(doc, edits=edits), {}, kept=layout.kept)
    assert not again.dropped and len(again.fields[0].pieces) == len(pieces)


def of_pools(doc: Commission, layout: Layout) -> list[Finding]:
    return [f for f in look_again(doc, layout) if f.rule == "grout pool"]


def test_a_mend_goes_by_the_size_of_its_place(laid: tuple[Commission, Layout]) -> None:
    """A bare place by the line is filled by no piece that would be too large there."""
    doc, layout = laid
    pieces = layout.fields[0].pieces
    k = int(np.argmin(np.hypot(*(pieces.centre_mm - (60, 80)).T)))
    lifted = HandEdit("lift", "f0", tuple(pieces.centre_mm[k].tolist()))
    with closing(Planner()) as planner:
        bare_doc = replace(doc, edits=(lifted,))
        bare = planner.layout(bare_doc, {}, kept=layout.kept)
        pools = of_pools(bare_doc, bare)
        nearest = min(pools, key=lambda f: math.dist(f.at_mm, lifted.at_mm))
        mended = mend(bare_doc, bare, nearest)
        assert mended.done
        after = planner.layout(mended.doc, {}, kept=layout.kept)
    new = after.fields[0].pieces
    there = np.hypot(*(new.centre_mm - lifted.at_mm).T) < 6.0
    assert (
        new.area_mm2[there].max() < LARGEST * 3.6**2 * 1.1
    )  # a piece of 9 mm has six times as much
    assert len(of_pools(mended.doc, after)) < len(pools)
