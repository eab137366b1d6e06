"""A setting out is read as it is meant, and each fault in one is named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
import shapely

from core.errors import EmblemaError
from core.geometry import polygon_of
from core.setting_out import read_setting_out

SQUARE = [[[0, 0], [80, 0], [80, 60], [0, 60], [0, 0]]]


def written(folder: Path, *features: Any, text: str | None = None) -> Path:
    path = folder / "wall.geojson"
    body = {"type": "FeatureCollection", "features": list(features)}
    path.write_text(json.dumps(body) if text is None else text, encoding="utf-8")
    return path


def field(coordinates: Any = SQUARE, kind: str = "Polygon", **properties: Any) -> dict[str, Any]:
    given = {"name": "Ground", "tessera_mm": 8, "joint_mm": 1, "laying": "tessellatum"}
    return {
        "type": "Feature",
        "properties": {**given, **properties},
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def line(points: Any, owner: Any = None) -> dict[str, Any]:
    return {
        "type": "Feature",
        "properties": {"field": owner},
        "geometry": {"type": "LineString", "coordinates": points},
    }


def test_fields_and_lines_are_read(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        line([[0, 30], [80, 30]], "Ground"),
        field(follow_border=False, motif="sea", seedling="not ours"),
        line([[0, 10], [80, 10]]),
    )
    doc, notes = read_setting_out(path)
    (f,) = doc.fields
    assert not notes and doc.title == "wall"
    assert (f.name, f.motif, f.laying.tessera_mm, f.laying.joint_mm) == ("Ground", "sea", 8.0, 1.0)
    assert f.laying.follow_border is False
    assert [w.field_id for w in doc.flow_lines] == [f.id, None]
    assert (doc.width_mm, doc.height_mm) == (80.0, 60.0)


def test_several_parts_and_holes(tmp_path: Path) -> None:
    far = [[[100, 0], [140, 0], [140, 60], [100, 60], [100, 0]]]
    hole = [[10, 10], [10, 30], [30, 30], [30, 10], [10, 10]]
    doc, _ = read_setting_out(written(tmp_path, field([[SQUARE[0], hole], far], "MultiPolygon")))
    shape = polygon_of(doc.fields[0].outline)
    assert shape.area == pytest.approx(80 * 60 - 400 + 40 * 60)
    assert len(shape.geoms) == 2


def test_an_outline_that_crosses_itself_is_mended_and_said(tmp_path: Path) -> None:
    bow = [[[0, 0], [80, 60], [80, 0], [0, 60], [0, 0]]]
    doc, notes = read_setting_out(written(tmp_path, field(bow)))
    assert polygon_of(doc.fields[0].outline).area == pytest.approx(2400)
    assert len(notes) == 1 and "Ground" in notes[0] and "crossed itself" in notes[0]


def test_a_field_smaller_than_a_piece_is_said(tmp_path: Path) -> None:
    _, notes = read_setting_out(written(tmp_path, field(tessera_mm=90, joint_mm=2)))
    assert "smaller than one tessera" in notes[0]


FAULTS: dict[str, tuple[list[Any], str]] = {
    "no field": ([line([[0, 0], [1, 1]])], "holds no field"),
    "two of a name": ([field(), field()], "two fields are called 'Ground'"),
    "no owner": ([field(), line([[0, 0], [1, 1]], "Sky")], "no field called 'Sky'"),
    "one point": ([field(), line([[1, 1], [1, 1]])], "two different points"),
    "no area": ([field([[[0, 0], [9, 0], [0, 0]]])], "'Ground'"),
    "flat": ([field([[[0, 0], [9, 0], [5, 0], [0, 0]]])], "encloses nothing"),
    "tessera of nothing": ([field(tessera_mm=0)], "tessera is 0 mm"),
    "joint too wide": ([field(joint_mm=8)], "joint is 8 mm"),
    "not a number": ([field(tessera_mm="ten")], "tessera is the text 'ten'"),
    "no such laying": ([field(laying="basketwork")], "basketwork"),
    "no geometry": ([{"type": "Feature", "properties": {}}], "feature 1"),
    "infinite": ([field([[[0, 0], [1e999, 0], [9, 9], [0, 0]]])], "'Ground'"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_names_the_file_and_itself(tmp_path: Path, fault: str) -> None:
    features, words = FAULTS[fault]
    with pytest.raises(EmblemaError) as e:
        read_setting_out(written(tmp_path, *features))
    assert "wall.geojson" in str(e.value) and words in str(e.value)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"features": 3}', "\x00\x01"])
def test_what_is_no_setting_out(tmp_path: Path, text: str) -> None:
    with pytest.raises(EmblemaError, match=r"wall\.geojson"):
        read_setting_out(written(tmp_path, text=text))


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(EmblemaError, match="There is no file"):
        read_setting_out(tmp_path / "none.geojson")


def test_a_hole_that_shares_an_edge_or_a_point_with_the_outline_stays_a_hole(
    tmp_path: Path,
) -> None:
    socket = [[30, 0], [30, 20], [50, 20], [50, 0], [30, 0]]
    corner = [[0, 0], [10, 15], [15, 10], [0, 0]]
    over = [[70, 30], [70, 50], [99, 50], [99, 30], [70, 30]]
    doc, _ = read_setting_out(written(tmp_path, field([SQUARE[0], socket, corner, over])))
    shape = polygon_of(doc.fields[0].outline)
    assert shape.area == pytest.approx(80 * 60 - 20 * 20 - 62.5 - 10 * 20)
    assert not shape.intersects(shapely.Point(40, 10)) and shape.contains(shapely.Point(20, 10))


def test_where_fields_overlap_the_later_keeps_the_ground_and_it_is_said(tmp_path: Path) -> None:
    disc = [[[60, 10], [100, 10], [100, 50], [60, 50], [60, 10]]]
    beside = [[[100, 10], [140, 10], [140, 50], [100, 50], [100, 10]]]
    doc, notes = read_setting_out(
        written(tmp_path, field(), field(disc, name="Sun"), field(beside, name="Sea"))
    )
    ground, sun, sea = (polygon_of(f.outline) for f in doc.fields)
    assert (ground.area, sun.area, sea.area) == pytest.approx((80 * 60 - 20 * 40, 1600, 1600))
    assert ground.intersection(sun).area == pytest.approx(0, abs=1e-6)
    (note,) = notes
    assert "'Ground' and 'Sun'" in note and "800 mm²" in note and "'Sun', the later" in note


def test_a_field_that_later_ones_cover_is_left_out_with_its_lines(tmp_path: Path) -> None:
    under = [[[10, 10], [40, 10], [40, 40], [10, 40], [10, 10]]]
    path = written(
        tmp_path, field(under, name="Under"), field(), line([[0, 30], [80, 30]], "Under")
    )
    doc, notes = read_setting_out(path)
    assert [f.name for f in doc.fields] == ["Ground"] and not doc.flow_lines
    assert any("'Under' is wholly covered" in n for n in notes)


def test_heights_are_left_out_and_marks_of_encoding_read(tmp_path: Path) -> None:
    high = [[[x, y, 12.5] for x, y in SQUARE[0]]]
    path = written(tmp_path, field(high), line([[0, 30, 1], [80, 30, 2]]))
    for encoding in ("utf-8-sig", "utf-16"):
        path.write_text(path.read_text(encoding="utf-8-sig"), encoding="utf-8")
        text = path.read_text(encoding="utf-8")
        path.write_text(text, encoding=encoding)
        doc, notes = read_setting_out(path)
        assert polygon_of(doc.fields[0].outline).area == pytest.approx(4800)
        assert [w.points for w in doc.flow_lines] == [((0.0, 30.0), (80.0, 30.0))]
        assert notes == ("Heights (z) were left out: a setting out is flat.",)
        path.write_text(text, encoding="utf-8")


def test_several_lines_of_one_feature_are_a_flow_line_each(tmp_path: Path) -> None:
    both = [[[0, 10], [80, 10]], [[0, 50], [80, 50]]]
    lines = {"type": "MultiLineString", "coordinates": both}
    gathered = {
        "type": "GeometryCollection",
        "geometries": [{"type": "LineString", "coordinates": w} for w in both],
    }
    for geometry in (lines, gathered):
        feature = {"type": "Feature", "properties": {"field": "Ground"}, "geometry": geometry}
        doc, _ = read_setting_out(written(tmp_path, field(), feature))
        assert [(w.id, w.field_id) for w in doc.flow_lines] == [("l1", "f1"), ("l2", "f1")]
        assert [[list(p) for p in w.points] for w in doc.flow_lines] == both


def test_coordinates_stay_as_given_wherever_the_work_lies(tmp_path: Path) -> None:
    for dx, dy in ((-40.0, -1000.0), (2e6, 3e6)):
        away = [[[x + dx, y + dy] for x, y in SQUARE[0]]]
        doc, _ = read_setting_out(written(tmp_path, field(away)))
        assert polygon_of(doc.fields[0].outline).bounds == (dx, dy, dx + 80, dy + 60)
        assert (doc.width_mm, doc.height_mm) == (80.0, 60.0)


def test_every_choice_of_a_field_can_be_given(tmp_path: Path) -> None:
    given = {
        "laying": "vermiculatum",
        "motif": "heron",
        "hug": ["heron"],
        "hug_courses": 2,
        "pieces": "cut",
        "variation": 0.1,
        "wanted_lab": [50, 0, 0],
        "palette": ["S-1"],
        "at_most": 3,
        "strictness": None,
    }
    (f,) = read_setting_out(written(tmp_path, field(**given)))[0].fields
    assert (f.laying.hug, f.laying.hug_courses, f.laying.variation) == (("heron",), 2, 0.1)
    assert (f.colour.wanted_lab, f.colour.palette, f.colour.at_most) == ((50, 0, 0), ("S-1",), 3)
    assert f.laying.strictness == 0.7 and f.laying.hug_tessera_mm == 8.0


def shaped(geometry: Any, **properties: Any) -> dict[str, Any]:
    return {"type": "Feature", "properties": {"name": "x", **properties}, "geometry": geometry}


MORE_FAULTS: dict[str, tuple[Any, str]] = {
    "a point": (shaped({"type": "Point", "coordinates": [1, 2]}), "feature 1 is a Point; only"),
    "areas and lines": (
        shaped(
            {
                "type": "GeometryCollection",
                "geometries": [
                    {"type": "Polygon", "coordinates": SQUARE},
                    {"type": "LineString", "coordinates": [[0, 0], [1, 1]]},
                ],
            }
        ),
        "feature 1 holds both areas and lines",
    ),
    "no coordinates": (shaped({"type": "Polygon"}), "Polygon without coordinates"),
    "text in a ring": (
        field([[[0, 0], [9, "0"], [9, 9], [0, 0]]]),
        "field 'Ground': outline, part 1, ring 1, point 2, coordinate 2 is the text '0'",
    ),
    "one coordinate": (field([[[0, 0], [9], [9, 9], [0, 0]]]), "point 2 of 4 has no x and y"),
    "a huge whole number": (field([[[0, 0], [10**300, 0], [9, 9], [0, 0]]]), "a point at 1e+300"),
    "a motif that nothing has": (
        field(hug=["heron"]),
        "field 'Ground' is to hug 'heron', but no field has that motif",
    ),
    "yes for a number": (field(tessera_mm=True), "tessera is yes, which is not a number"),
    "a share of two": (field(accent_share=2), "the accent's share is 2; it must be 0 to 1"),
    "no table": ({**field(), "properties": [1]}, "feature 1: its properties are not a table"),
    "a name of lists": (field(name=[1]), "its name is neither text nor a number"),
    "not a feature": (7, "feature 1 has no geometry"),
    "a sign that is no letter": (field(name="a\u0000b"), "holds a sign that is no letter"),
}


@pytest.mark.parametrize("fault", MORE_FAULTS)
def test_each_fault_ends_in_one_sentence(tmp_path: Path, fault: str) -> None:
    feature, words = MORE_FAULTS[fault]
    with pytest.raises(EmblemaError) as e:
        read_setting_out(written(tmp_path, feature))
    assert str(e.value).startswith("'wall.geojson': ") and words in str(e.value)
    assert str(e.value).count("\n") == 0


def test_lists_within_lists_without_end_are_refused(tmp_path: Path) -> None:
    deep = '{"type": "FeatureCollection", "features": ' + "[" * 200_000 + "]" * 200_000 + "}"
    with pytest.raises(EmblemaError, match=r"wall\.geojson"):
        read_setting_out(written(tmp_path, text=deep))
