"""Paths for a cutting machine, read back with the library of the format."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from sheet_rig import wall

from core.commission import Commission
from core.cutting import write_dxf
from core.errors import EmblemaError
from core.material import Material
from core.pieces import Layout


def work() -> tuple[Commission, Layout]:
    doc, layout = wall(120, 80, 20.0, 2)
    codes = ("Sky blue/2", "sky blue 2", "ochre" * 9)
    materials = tuple(Material(c, "", "marble", (50.0, 0.0, 0.0)) for c in codes)
    sectile = replace(doc.fields[0], laying=replace(doc.fields[0].laying, opus="sectile"))
    doc = replace(doc, materials=materials, fields=(sectile, doc.fields[1]))
    fields = [
        replace(f, stock=np.arange(len(f.pieces)) % 4 - 1) for f in layout.fields
    ]  # one in four without a material
    return doc, Layout(tuple(fields))


def paths_in(path: Path) -> list[tuple[str, shapely.Polygon]]:
    drawing = ezdxf.readfile(path)
    assert drawing.dxfversion == "AC1009"  # R12
    return [
        (p.dxf.layer, shapely.Polygon([(v.dxf.location.x, v.dxf.location.y) for v in p.vertices]))
        for p in drawing.modelspace().query("POLYLINE")
        if p.is_closed
    ]


def test_a_piece_cut_along_its_path_comes_out_as_it_is_laid(tmp_path: Path) -> None:
    doc, layout = work()
    cut = 0.9
    number = write_dxf(tmp_path / "cut.dxf", doc, layout, cut)
    found = paths_in(tmp_path / "cut.dxf")
    pieces = layout.fields[0].pieces.polygons  # only what is laid in sectile
    assert number == len(found) == len(pieces)
    for (_, path), piece in zip(found, pieces, strict=True):
        left = shapely.buffer(path, -cut / 2, join_style="mitre")
        up = shapely.transform(left, lambda xy: np.c_[xy[:, 0], doc.height_mm - xy[:, 1]])
        assert shapely.hausdorff_distance(up, piece) < 0.001


def test_each_material_has_a_layer_that_the_format_allows(tmp_path: Path) -> None:
    doc, layout = work()
    write_dxf(tmp_path / "cut.dxf", doc, layout, 0.0, [f.id for f in doc.fields])
    found = paths_in(tmp_path / "cut.dxf")
    assert len(found) == len(layout)
    layers = {layer for layer, _ in found}
    assert len(layers) == 4
    assert all(len(name) <= 31 and name == name.upper() for name in layers)
    words = ezdxf.readfile(tmp_path / "cut.dxf").modelspace().query("TEXT")
    assert {w.dxf.layer for w in words} == {"NAMES"}
    assert {w.dxf.text for w in words} == {m.code for m in doc.materials} | {"?"}


def test_what_cannot_be_cut_says_so(tmp_path: Path) -> None:
    doc, layout = work()
    with pytest.raises(EmblemaError, match="The width of the cut is 11 mm"):
        write_dxf(tmp_path / "cut.dxf", doc, layout, 11.0)
    with pytest.raises(EmblemaError, match="nothing to cut by machine"):
        write_dxf(tmp_path / "cut.dxf", replace(doc, fields=doc.fields[1:]), layout)
    assert not (tmp_path / "cut.dxf").exists()
