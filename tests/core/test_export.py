"""What is written for others can be read again by others, and is the layout."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image, ImageCms

from core.commission import Commission, FlowLine, Sheet, field_of
from core.errors import EmblemaError
from core.export import (
    COLUMNS,
    picture,
    write_geojson,
    write_png,
    write_setting_out,
    write_svg,
    write_tesserae_csv,
)
from core.flow import curve_of
from core.geometry import polygon_of
from core.look.light import STANDARD
from core.look.render import picture as look
from core.material import Material
from core.pieces import Layout
from core.plaintext import unguarded
from core.plan import Planner
from core.setting_out import read_setting_out

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def work() -> tuple[Commission, Layout]:
    ring = ((0.0, 0.0), (150.0, 0.0), (150.0, 90.0), (0.0, 90.0))
    hole = ((60.0, 30.0), (60.0, 60.0), (100.0, 60.0), (100.0, 30.0))
    fields = (
        field_of(
            "f1", 'Ground, "the wide one"', ((ring, hole),), "water", wanted_lab=(40.0, 0, -30)
        ),
        field_of("f2", "Sun & <light>", (((hole),),), "sun", wanted_lab=(80.0, 5, 70)),
    )
    materials = (
        Material("B-1", "blue", "smalti", (41.0, 0.0, -31.0), length_mm=90, width_mm=90),
        Material("Y-1", "yellow", "smalti", (79.0, 6.0, 68.0), length_mm=90, width_mm=90),
    )
    line = FlowLine("l1", ((5.0, 20.0), (70.0, 15.0), (145.0, 22.0)), "f1")
    doc = Commission("Wall & step", 150.0, 90.0, fields=fields, materials=materials)
    doc = replace(doc, flow_lines=(line,))
    planner = Planner()
    try:
        return doc, planner.layout(doc, {})
    finally:
        planner.close()


def polygons(layout: Layout) -> np.ndarray:
    return np.concatenate([f.pieces.polygons for f in layout.fields])


def test_csv_holds_every_tessera(work: tuple[Commission, Layout], tmp_path: Path) -> None:
    doc, layout = work
    write_tesserae_csv(tmp_path / "t.csv", doc, layout)
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == COLUMNS and len(rows) == len(layout)
    read = shapely.from_wkt([r["wkt"] for r in rows])
    laid = polygons(layout)
    assert shapely.hausdorff_distance(read, laid).max() < 2e-6
    assert np.allclose([float(r["area_mm2"]) for r in rows], shapely.area(laid), atol=6e-4)
    centre = shapely.get_coordinates(shapely.centroid(laid))
    assert np.allclose([[float(r["x_mm"]), float(r["y_mm"])] for r in rows], centre, atol=6e-4)
    assert {r["field"] for r in rows} == {f.name for f in doc.fields}
    assert {r["stock"] for r in rows} == {"B-1", "Y-1"}
    # a course and a place in it name one piece of a field
    keys = {(r["field"], r["course"], r["piece"]) for r in rows if r["course"]}
    assert len(keys) == sum(bool(r["course"]) for r in rows)


def test_svg_is_drawn_in_mm(work: tuple[Commission, Layout], tmp_path: Path) -> None:
    doc, layout = work
    write_svg(tmp_path / "l.svg", doc, layout)
    root = ET.parse(tmp_path / "l.svg").getroot()
    assert (root.get("width"), root.get("height")) == ("150mm", "90mm")
    assert root.get("viewBox") == "0 0 150 90"
    drawn = [
        shapely.Polygon([tuple(map(float, xy.split(","))) for xy in p.get("points", "").split()])
        for p in root.iter(f"{SVG}polygon")
    ]
    assert shapely.hausdorff_distance(np.array(drawn), polygons(layout)).max() < 1e-4
    assert all(re.fullmatch("#[0-9a-f]{6}", p.get("fill", "")) for p in root.iter(f"{SVG}polygon"))
    titles = [t.text for t in root.iter(f"{SVG}title")]
    assert titles == ["Wall & step", 'Ground, "the wide one"', "Sun & <light>"]
    # a layer for each kind of line, hidden until it is wanted
    layers = {g.get("id"): g for g in root.iter(f"{SVG}g") if g.get("display") == "none"}
    assert list(layers) == ["borders", "flow-lines"]
    (line,) = layers["flow-lines"].iter(f"{SVG}polyline")
    xy = [tuple(map(float, p.split(","))) for p in line.get("points", "").split()]
    assert shapely.LineString(xy).hausdorff_distance(curve_of(doc.flow_lines[0])) < 1e-3


def test_pieces_name_their_sheet_where_there_are_sheets(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    write_geojson(tmp_path / "l.geojson", doc, layout)
    assert '"sheet"' not in (tmp_path / "l.geojson").read_text()
    half = (((0.0, 0.0), (70.0, 0.0), (70.0, 90.0), (0.0, 90.0)),)
    rest = (((70.0, 0.0), (150.0, 0.0), (150.0, 90.0), (70.0, 90.0)),)
    doc = replace(doc, sheets=(Sheet(1, (half,)), Sheet(7, (rest,))))
    write_geojson(tmp_path / "l.geojson", doc, layout)
    for f in json.loads((tmp_path / "l.geojson").read_text())["features"]:
        x = shapely.from_geojson(json.dumps(f["geometry"])).centroid.x
        assert f["properties"]["sheet"] == (1 if x < 70 else 7)


def test_a_picture_finer_than_can_be_is_refused_with_what_can_be(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    with pytest.raises(EmblemaError, match=r"15,000 x 9,000 pixels.* 43 a mm are the most"):
        write_png(tmp_path / "l.png", doc, layout, px_per_mm=100.0)
    assert not (tmp_path / "l.png").exists()


def test_png_has_the_works_size_and_colours(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    write_png(tmp_path / "l.png", doc, layout, px_per_mm=4.0)
    with Image.open(tmp_path / "l.png") as image:
        assert image.size == (600, 360)
        assert image.info["dpi"] == pytest.approx((101.6, 101.6), abs=0.02)
        pixels = np.asarray(image).reshape(-1, 3)
    found = {tuple(c) for c in pixels}
    from core.colour.convert import bytes_from_lab

    for m in doc.materials:
        assert tuple(bytes_from_lab(m.lab)) in found
    assert tuple(bytes_from_lab(doc.grout_lab)) in found


def test_picture_is_mean_light(work: tuple[Commission, Layout]) -> None:
    """One pixel of the whole is the area-weighted mean in linear light (IEC 61966-2-1)."""
    doc, layout = work
    fine, coarse = picture(doc, layout, 0.25), picture(doc, layout, 30.0)
    assert coarse.shape == (3, 5, 3)
    linear = np.where(
        fine / 255 <= 0.04045, fine / 255 / 12.92, ((fine / 255 + 0.055) / 1.055) ** 2.4
    )
    mean = linear.reshape(3, 120, 5, 120, 3).mean(axis=(1, 3))
    back = np.where(mean <= 0.0031308, 12.92 * mean, 1.055 * mean ** (1 / 2.4) - 0.055) * 255
    assert np.abs(back - coarse).max() < 2.0


def test_geojson_is_the_layout(work: tuple[Commission, Layout], tmp_path: Path) -> None:
    doc, layout = work
    write_geojson(tmp_path / "l.geojson", doc, layout)
    body = json.loads((tmp_path / "l.geojson").read_text(encoding="utf-8"))
    assert body["type"] == "FeatureCollection"
    read = shapely.from_geojson([json.dumps(f["geometry"]) for f in body["features"]])
    assert shapely.equals_exact(read, polygons(layout), 1e-9).all()


def test_a_setting_out_written_and_read_is_the_same(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, _ = work
    write_setting_out(tmp_path / "s.geojson", doc)
    again, notes = read_setting_out(tmp_path / "s.geojson")
    assert not notes
    assert [f.name for f in again.fields] == [f.name for f in doc.fields]
    assert again.flow_lines[0].field_id == again.fields[0].id
    for one, two in zip(doc.fields, again.fields, strict=True):
        outlines = polygon_of(one.outline), polygon_of(two.outline)
        assert shapely.hausdorff_distance(*outlines) < 1e-4
        assert (one.motif, one.laying) == (two.motif, two.laying)
    curves = curve_of(doc.flow_lines[0]), curve_of(again.flow_lines[0])
    assert shapely.hausdorff_distance(*curves) < 1e-4


def test_names_can_neither_be_run_by_a_spreadsheet_nor_spoil_a_drawing(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    names = {"f1": "=HYPERLINK(A1)", "f2": "sun\x00\x0b\ufffe\ud800 & sky"}
    fields = tuple(replace(f, name=names[f.id], motif="-2+3") for f in doc.fields)
    doc = replace(doc, title="\x1bWall", fields=fields)
    write_tesserae_csv(tmp_path / "t.csv", doc, layout)
    with (tmp_path / "t.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert {r["motif"] for r in rows} == {"'-2+3"}
    assert {unguarded(r["motif"]) for r in rows} == {"-2+3"}
    assert "'=HYPERLINK(A1)" in {r["field"] for r in rows}
    write_svg(tmp_path / "l.svg", doc, layout)
    root = ET.parse(tmp_path / "l.svg").getroot()
    titles = [t.text for t in root.iter(f"{SVG}title")]
    assert titles == ["Wall", "=HYPERLINK(A1)", "sun & sky"]


def test_a_file_that_cannot_be_written_is_named(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    for write in (write_tesserae_csv, write_svg, write_png, write_geojson):
        with pytest.raises(EmblemaError, match="nowhere"):
            write(tmp_path / "nowhere" / "x", *work)


def test_png_says_that_it_is_srgb_and_is_the_same_whenever_it_is_written(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    for name in ("a.png", "b.png"):
        write_png(tmp_path / name, doc, layout, px_per_mm=2.0)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()
    with Image.open(tmp_path / "a.png") as image:
        profile = ImageCms.ImageCmsProfile(io.BytesIO(image.info["icc_profile"]))
        assert "sRGB" in ImageCms.getProfileDescription(profile)
        here = ImageCms.profileToProfile(image, profile, ImageCms.createProfile("sRGB"))
        assert here is not None
        off = np.abs(np.asarray(here).astype(int) - np.asarray(image))
    assert off.max() <= 1  # taken to sRGB it stays what it is


def test_png_shows_materials_as_they_look_where_it_is_asked_to(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    write_png(tmp_path / "real.png", doc, layout, px_per_mm=4.0, light=STANDARD)
    with Image.open(tmp_path / "real.png") as image:
        np.testing.assert_array_equal(np.asarray(image), look(doc, layout, 4.0))
        assert "icc_profile" in image.info
