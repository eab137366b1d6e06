"""A setting out is read as it is meant, and each fault in one is named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

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
    "not a number": ([field(tessera_mm="ten")], "tessera_mm is 'ten'"),
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
