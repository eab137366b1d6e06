"""Openings of the wall: left open, moved, taken away, told, and carried to other programs."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import MultiPolygon

from core import archive
from core.agreed import agree, agreed_that_change
from core.checks import check_document
from core.commission import Commission, Linked, Repeat, field_of
from core.errors import EmblemaError
from core.export import write_setting_out
from core.fields import add_ground, areas, gaps_and_overlaps
from core.geometry import outline_of
from core.kept import key_of
from core.moves import Move
from core.openings import (
    box_of,
    changed_opening,
    corners,
    gone_round,
    left_open,
    lies_on_fields,
    measured,
    odd,
    shape_of,
    with_opening,
    without_opening,
)
from core.plan import setting_of
from core.repeats import carry
from core.setting_out import read_setting_out
from core.site import OPENINGS, Opening

WIDE, HIGH = 600.0, 400.0


def two_fields() -> Commission:
    left, right = shapely.box(0, 0, 300, HIGH), shapely.box(300, 0, WIDE, HIGH)
    return Commission(
        "Splashback",
        WIDE,
        HIGH,
        fields=(
            field_of("f1", "Left", outline_of(left)),
            field_of("f2", "Right", outline_of(right)),
        ),
    )


def socket(doc: Commission, left: float = 100, low: float = 100, wide: float = 80) -> Opening:
    return Opening("socket", "Socket", box_of(doc, wide, 80.0, left, low))


def covered(doc: Commission) -> float:
    return float(sum(a.area for a in areas(doc)))


@given(st.floats(-100, 650), st.floats(-100, 450), st.floats(20, 250), st.floats(20, 250))
@settings(max_examples=60, deadline=None)
def test_what_is_left_open_is_gone_from_the_fields_and_comes_back(
    left: float, low: float, wide: float, high: float
) -> None:
    doc = two_fields()
    o = Opening("window", "Window", box_of(doc, wide, high, left, low))
    hole = shape_of(o).intersection(shapely.box(0, 0, WIDE, HIGH)).area
    try:
        out, _ = with_opening(doc, o, True)
    except EmblemaError as e:
        assert "wholly within" in str(e)
        return
    check_document(out)
    assert covered(out) == pytest.approx(WIDE * HIGH - hole, abs=2.0)
    assert not lies_on_fields(out, o)
    assert not [kind for kind, *_ in gaps_and_overlaps(out) if kind == "overlap"]
    back = without_opening(out, 0)
    assert back.openings == ()
    assert covered(back) == pytest.approx(WIDE * HIGH, abs=2.0)


def test_a_mark_takes_no_ground_and_changes_no_key() -> None:
    doc = two_fields()
    marked, notes = with_opening(doc, socket(doc), False)
    assert notes == () and marked.fields == doc.fields
    assert lies_on_fields(marked, marked.openings[0])
    walled = replace(marked, site=box_of(doc, 3000, 2400, -500, -900))
    for f in doc.fields:
        assert key_of(setting_of(walled, f)) == key_of(setting_of(doc, f))


def test_a_moved_opening_takes_its_ground_along() -> None:
    doc, _ = with_opening(two_fields(), socket(two_fields()), True)
    o = doc.openings[0]
    moved, _ = changed_opening(doc, 0, replace(o, outline=box_of(doc, 80, 80, 400, 200)))
    first, second = areas(moved)
    assert first.area == pytest.approx(300 * HIGH) and second.area == pytest.approx(
        300 * HIGH - 6400
    )
    named, _ = changed_opening(moved, 0, replace(moved.openings[0], name="By the hob"))
    assert named.fields == moved.fields and named.openings[0].name == "By the hob"
    closed, _ = with_opening(two_fields(), socket(doc), False)
    still, _ = changed_opening(closed, 0, replace(o, outline=box_of(doc, 80, 80, 400, 200)))
    assert still.fields == closed.fields  # what was a mark stays one


def test_two_that_overlap_keep_the_ground_that_the_other_took() -> None:
    doc = two_fields()
    doc, _ = with_opening(doc, socket(doc), True)
    doc, _ = with_opening(doc, socket(doc, left=150), True)
    assert any("overlap" in words for words in odd(doc))
    left = without_opening(doc, 0)
    assert covered(left) == pytest.approx(WIDE * HIGH - 6400)
    assert areas(left)[0].intersection(shape_of(left.openings[0])).area < 1e-6


def test_a_field_is_never_taken_whole() -> None:
    doc = two_fields()
    small = field_of("f3", "Eye", outline_of(shapely.box(120, 220, 140, 240)))
    hole = MultiPolygon(
        [shapely.difference(areas(doc)[0].geoms[0], shapely.box(120, 220, 140, 240))]
    )
    first = replace(doc.fields[0], outline=outline_of(hole))
    doc = replace(doc, fields=(first, doc.fields[1], small))
    with pytest.raises(EmblemaError, match="'Eye' lies wholly within 'Socket'"):
        with_opening(doc, socket(doc), True)
    assert with_opening(doc, socket(doc), False)[0].fields == doc.fields


def test_open_ground_is_no_gap_and_no_new_ground_fills_it() -> None:
    doc, _ = with_opening(two_fields(), socket(two_fields()), True)
    assert gaps_and_overlaps(doc) == ()
    with pytest.raises(EmblemaError, match="already cover"):
        add_ground(doc)
    half = replace(doc, fields=doc.fields[:1])
    ground = add_ground(half).doc
    assert not lies_on_fields(ground, ground.openings[0])
    assert covered(ground) == pytest.approx(WIDE * HIGH - 6400)


def test_agreed_ground_is_known_to_change() -> None:
    doc = agree(two_fields(), {"f1"}, "2026-01-05")
    open_left, _ = with_opening(doc, socket(doc), True)
    open_right, _ = with_opening(doc, socket(doc, left=450), True)
    assert agreed_that_change(doc, open_left) == ("f1",)
    assert not agreed_that_change(doc, open_right)


def test_an_opening_in_one_place_of_a_repeat_parts_it() -> None:
    shapes = [shapely.box(x, 0, x + 200, HIGH) for x in (0, 200, 400)]
    fields = tuple(field_of(f"f{k}", f"Panel {k}", outline_of(s)) for k, s in enumerate(shapes))
    places = tuple(Linked((f"f{k}",), Move((200.0 * k, 0.0))) for k in range(3))
    doc = Commission("Panels", WIDE, HIGH, fields=fields, repeats=(Repeat("r1", places),))
    check_document(doc)
    opened, _ = with_opening(doc, socket(doc, left=60), True)
    after, words = carry(doc, opened)
    check_document(after)
    assert [a.area for a in areas(after)] == pytest.approx([200 * HIGH - 6400, *[200 * HIGH] * 2])
    assert "f0" not in after.linked() and words


def test_what_is_odd_is_told() -> None:
    doc = two_fields()
    assert odd(doc) == ()
    doc, _ = with_opening(doc, socket(doc, wide=900), False)
    doc, _ = with_opening(doc, Opening("tap", "Tap", box_of(doc, 35, 35, -300, 0)), False)
    told = odd(doc)
    assert any("900 x 80 mm" in w and "socket" in w for w in told)
    assert any("Tap lies beside the work" in w for w in told)
    walled = replace(doc, site=box_of(doc, 500, 2000, 0, -500))
    told = odd(walled)
    assert any("reaches beyond the wall" in w for w in told)
    assert any("Tap does not lie within the wall" in w for w in told)


def test_measures_go_both_ways_and_a_drag_is_a_rectangle() -> None:
    doc = two_fields()
    assert measured(doc, box_of(doc, 80, 90, 120, 35)) == pytest.approx((80, 90, 120, 35))
    assert corners(((30.04, 99), (10, 50))) == ((10, 50), (30, 50), (30, 99), (10, 99))


def test_a_sheet_that_holds_an_opening_goes_round_it() -> None:
    doc, _ = with_opening(two_fields(), socket(two_fields()), False)
    hole = shape_of(doc.openings[0])
    ring = MultiPolygon([shapely.box(50, 150, 350, 350).difference(hole)])
    beside = MultiPolygon([shapely.box(0, 150, 140, 350).difference(hole)])
    assert gone_round(doc, ring) == doc.openings
    assert gone_round(doc, beside) == ()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"openings": (Opening("door", "Door", ((0, 0), (9, 0), (9, 9))),)}, "kind 'door'"),
        ({"openings": (Opening("tap", "Tap", ((0, 0), (9, 0))),)}, "2 points"),
        (
            {"openings": (Opening("tap", "Tap", ((0, 0), (9, 9), (9, 0), (0, 9))),)},
            "crosses itself",
        ),
        ({"openings": (Opening("tap", "Tap", ((0, 0), (9, 0), (float("nan"), 9))),)}, "nan"),
        ({"openings": (Opening("tap", "a\x07b", ((0, 0), (9, 0), (9, 9))),)}, "no letter"),
        ({"site": ((0.0, 0.0), (9.0, 0.0))}, "2 points"),
        ({"site": ((0.0, 0.0), (9.0, 9.0), (9.0, 0.0), (0.0, 9.0))}, "crosses itself"),
    ],
)
def test_senseless_ones_are_refused_in_one_sentence(change: dict[str, object], words: str) -> None:
    with pytest.raises(EmblemaError, match=words) as told:
        check_document(replace(two_fields(), **change))  # type: ignore[arg-type]
    assert str(told.value).count("\n") == 0


def test_the_file_and_the_setting_out_carry_them_both_ways(tmp_path: Path) -> None:
    doc = replace(two_fields(), site=box_of(two_fields(), 3000, 2400, -500, -900))
    doc, _ = with_opening(doc, socket(doc), True)
    for n, kind in enumerate(OPENINGS):
        mark = Opening(kind, f"Mark {kind}", box_of(doc, 30, 30, 310 + 40 * n, 20))
        doc, _ = with_opening(doc, mark, False)
    file = tmp_path / "wall.emblema"
    archive.save(file, doc, {})
    assert archive.open_work(file).doc == doc
    drawn = tmp_path / "wall.geojson"
    write_setting_out(drawn, doc)
    back, notes = read_setting_out(drawn)
    assert back.openings == doc.openings and back.site == doc.site and notes == ()
    assert [a.area for a in areas(back)] == pytest.approx([a.area for a in areas(doc)])


def test_a_setting_out_leaves_openings_open_unless_told(tmp_path: Path) -> None:
    def of(**opening: object) -> Path:
        box = [[[0, 0], [300, 0], [300, 200], [0, 200], [0, 0]]]
        hole = [[[50, 50], [130, 50], [130, 130], [50, 130], [50, 50]]]
        features = [
            {"type": "Feature", "properties": p, "geometry": {"type": "Polygon", "coordinates": c}}
            for p, c in (({"name": "Wall"}, box), (opening, hole))
        ]
        path = tmp_path / "one.geojson"
        path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
        return path

    doc, _ = read_setting_out(of(opening="socket"))
    assert covered(doc) == pytest.approx(60_000 - 6400) and doc.openings[0].name == "Socket 1"
    doc, _ = read_setting_out(of(opening="tap", leave_open=False))
    assert covered(doc) == pytest.approx(60_000) and len(doc.openings) == 1
    with pytest.raises(EmblemaError, match="kind 'moat' is not one of"):
        read_setting_out(of(opening="moat"))
    with pytest.raises(EmblemaError, match="leave_open is neither"):
        read_setting_out(of(opening="tap", leave_open="maybe"))


def test_left_open_later_is_as_left_open_at_once() -> None:
    doc = two_fields()
    at_once, _ = with_opening(doc, socket(doc), True)
    marked, _ = with_opening(doc, socket(doc), False)
    assert left_open(marked, 0)[0] == at_once
