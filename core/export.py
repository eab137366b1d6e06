"""Writes a layout for other programs and for the eye: CSV, SVG, PNG and GeoJSON, all in mm."""

from __future__ import annotations

import json
import struct
from dataclasses import asdict
from functools import cache
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageCms

from core.colour.convert import bytes_from_lab
from core.colour.distance_view import bytes_of, linear_picture
from core.colour.shown import shown_lab
from core.commission import Commission
from core.errors import EmblemaError
from core.files import write_text, write_whole
from core.flow import curve_of
from core.geometry import lines_in, polygon_of
from core.look.light import Light
from core.look.render import picture as look
from core.openings import lies_on_fields, shape_of
from core.pieces import Layout
from core.plaintext import csv_text, xml_text
from core.sheets.made import sheet_of
from core.sizes import smallest_mm

COLUMNS = [
    "field",
    "motif",
    "course",
    "piece",
    "stock",
    "x_mm",
    "y_mm",
    "angle_deg",
    "area_mm2",
    "delta_e",
    "wkt",
]
MOST_PX = 25_000_000  # painting takes some 50 bytes a pixel
MOST_SIDE_PX = 30_000  # many programs open no longer side
PX_A_TESSERA = 12

Frame = tuple[float, float, float, float]


def write_tesserae_csv(
    path: str | Path, doc: Commission, layout: Layout, sheet: NDArray[np.int64] | None = None
) -> None:
    """Write one row a tessera; `wkt` holds its outline in mm, true to 0.000001 mm.

    Parameters
    ----------
    sheet : ndarray of int, shape (n,), optional
        On which sheet each piece is, 0 for none, in a last column; where left out, by the
        commission's sheets, if it has any.
    """
    if sheet is None and doc.sheets:
        sheet = sheet_of(doc.sheets, layout.polygons)
    rows: list[list[object]] = [[*COLUMNS]]
    for laid in layout.fields:
        f = doc.field_by_id(laid.field_id)
        p = laid.pieces
        centre, area, angle = p.centre_mm, p.area_mm2, np.degrees(p.angle_rad)
        outlines = shapely.to_wkt(p.polygons, rounding_precision=6)
        for k in range(len(p)):
            code = doc.materials[laid.stock[k]].code if laid.stock[k] >= 0 else ""
            delta = laid.delta_e[k]
            rows.append(
                [
                    f.name,
                    f.motif,
                    int(p.course[k]) if p.course[k] >= 0 else "",
                    int(p.piece[k]),
                    code,
                    f"{centre[k, 0]:.3f}",
                    f"{centre[k, 1]:.3f}",
                    f"{angle[k]:.2f}",
                    f"{area[k]:.3f}",
                    f"{delta:.3f}" if np.isfinite(delta) else "",
                    outlines[k],
                ]
            )
    if sheet is not None:
        rows[0].append("sheet")
        for row, number in zip(rows[1:], sheet.tolist(), strict=True):
            row.append(number or "")
    write_text(path, csv_text(rows))


def whole_frame(doc: Commission, layout: Layout) -> Frame:
    """Return the finished work as x0, y0, x1, y1 mm, with what is laid beyond it."""
    polygons = [laid.pieces.polygons for laid in layout.fields if len(laid.pieces)]
    laid = np.concatenate([*polygons, [shapely.box(0, 0, doc.width_mm, doc.height_mm)]])
    return _bounds(laid)


def fields_frame(doc: Commission) -> Frame:
    """Return what the fields lie in, wherever that is, as x0, y0, x1, y1 mm."""
    return _bounds(np.array([polygon_of(f.outline) for f in doc.fields], dtype=object))


def _bounds(shapes: NDArray[np.object_]) -> Frame:
    x0, y0, x1, y1 = shapely.total_bounds(shapes).tolist()
    return x0, y0, x1, y1


def write_svg(
    path: str | Path, doc: Commission, layout: Layout, frame: Frame | None = None
) -> None:
    """Write pieces in their colours on the grout, grouped by field, in true mm.

    What is not laid has groups of its own, not shown until they are switched on: the fields'
    borders, the flow lines and, where the work is divided, the sheets.

    Parameters
    ----------
    frame : tuple of float
        What is shown, x0, y0, x1, y1 mm; see `whole_frame` where left out.
    """
    x0, y0, x1, y1 = frame or whole_frame(doc, layout)
    box = [f"{v:.12g}" for v in (x0, y0, x1 - x0, y1 - y0)]
    grout = _hex(bytes_from_lab(doc.grout_lab))
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{box[2]}mm" height="{box[3]}mm" '
        f'viewBox="{" ".join(box)}">',
        f"<title>{_text(doc.title)}</title>",
        f'<rect x="{box[0]}" y="{box[1]}" width="{box[2]}" height="{box[3]}" fill="{grout}"/>',
    ]
    for laid in layout.fields:
        lines.append(f"<g id={quoteattr(xml_text(laid.field_id))}>")
        lines.append(f"<title>{_text(doc.field_by_id(laid.field_id).name)}</title>")
        colours = bytes_from_lab(shown_lab(doc, laid))
        for polygon, colour in zip(laid.pieces.polygons, colours, strict=True):
            xy = shapely.get_coordinates(polygon.exterior)[:-1]
            points = " ".join(f"{x:.4f},{y:.4f}" for x, y in xy)
            lines.append(f'<polygon points="{points}" fill="{_hex(colour)}"/>')
        lines.append("</g>")
    lines += _not_laid(doc)
    lines.append("</svg>\n")
    write_text(path, "\n".join(lines))


def _not_laid(doc: Commission) -> list[str]:
    kinds: dict[str, list[shapely.Geometry]] = {
        "borders": [polygon_of(f.outline).boundary for f in doc.fields],
        "flow lines": [curve_of(line) for line in doc.flow_lines],
        "sheets": [polygon_of(s.outline).boundary for s in doc.sheets],
        "openings": [shape_of(o).exterior for o in doc.openings],
    }
    out = []
    for kind, shapes in kinds.items():
        drawn = [line for shape in shapes for line in lines_in(shape)]
        if not drawn:
            continue
        out.append(
            f'<g id="{kind.replace(" ", "-")}" display="none" fill="none" stroke="#000000" '
            'stroke-width="0.5">'
        )
        for line in drawn:
            points = " ".join(f"{x:.4f},{y:.4f}" for x, y in line.coords)
            out.append(f'<polyline points="{points}"/>')
        out.append("</g>")
    return out


def write_png(
    path: str | Path,
    doc: Commission,
    layout: Layout,
    px_per_mm: float | None = None,
    frame: Frame | None = None,
    light: Light | None = None,
) -> None:
    """Write a picture of the laid work in sRGB, and say so in it.

    Parameters
    ----------
    px_per_mm : float, optional
        Where left out, 2 or as many as give a tessera `PX_A_TESSERA`, brought down to what a
        picture can hold.
    frame : tuple of float, optional
        As for `write_svg`.
    light : Light, optional
        Show the materials as they look in this light; flat in their colours where left out.

    Raises
    ------
    EmblemaError
        A picture as fine as was asked for would be larger than one can be.
    """
    x0, y0, x1, y1 = frame or whole_frame(doc, layout)
    w, h = x1 - x0, y1 - y0
    finest_mm_per_px = max(float(np.sqrt(w * h / MOST_PX)), max(w, h) / MOST_SIDE_PX)
    if px_per_mm is None:
        tessera = min((smallest_mm(doc, f) for f in doc.fields), default=PX_A_TESSERA)
        mm_per_px = max(1 / max(2.0, PX_A_TESSERA / tessera), finest_mm_per_px)
    else:
        mm_per_px = 1 / px_per_mm
        if mm_per_px < finest_mm_per_px:
            raise EmblemaError(
                f"At {px_per_mm:g} pixels a mm the picture would be {w * px_per_mm:,.0f} x "
                f"{h * px_per_mm:,.0f} pixels, more than many programs open; "
                f"{int(10 / finest_mm_per_px) / 10:g} a mm are the most for this work."
            )
    box = (x0, y0, x1, y1)
    if light is None:
        pixels = picture(doc, layout, mm_per_px, box)
    else:
        pixels = look(doc, layout, 1 / mm_per_px, box_mm=box, light=light)
    image = Image.fromarray(pixels)
    dpi = 25.4 / mm_per_px
    write_whole(
        path,
        lambda out: image.save(out, "PNG", dpi=(dpi, dpi), icc_profile=srgb_profile()),
    )


@cache
def srgb_profile() -> bytes:
    """Return sRGB as an ICC profile, the same bytes whenever it is asked for."""
    made = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    # its day and time (ICC.1:2022, 7.2.1: bytes 24 to 35) would make each picture another
    return made[:24] + struct.pack(">6H", 2000, 1, 1, 0, 0, 0) + made[36:]


def picture(
    doc: Commission, layout: Layout, mm_per_px: float, frame: Frame | None = None
) -> NDArray[np.uint8]:
    """Return the laid work as sRGB (height, width, 3), each pixel the mean light within it."""
    x0, y0, x1, y1 = frame or whole_frame(doc, layout)
    some = [laid for laid in layout.fields if len(laid.pieces)]
    polygons = np.concatenate([f.pieces.polygons for f in some] or [np.empty(0, object)])
    polygons = shapely.transform(polygons, lambda xy: xy - (x0, y0)) if x0 or y0 else polygons
    lab = np.concatenate([shown_lab(doc, f) for f in some] or [np.empty((0, 3))])
    return bytes_of(linear_picture(polygons, lab, doc.grout_lab, (x1 - x0, y1 - y0), mm_per_px))


def write_geojson(path: str | Path, doc: Commission, layout: Layout) -> None:
    """Write every piece as a GeoJSON polygon (RFC 7946; coordinates in mm, y down).

    With the number of its sheet, where the work is divided into sheets.
    """
    features = []
    for laid in layout.fields:
        name = doc.field_by_id(laid.field_id).name
        sheet = sheet_of(doc.sheets, laid.pieces.polygons)
        for k, shape in enumerate(shapely.to_geojson(laid.pieces.polygons)):
            code = doc.materials[laid.stock[k]].code if laid.stock[k] >= 0 else None
            properties = {
                "field": name,
                "course": int(laid.pieces.course[k]),
                "piece": int(laid.pieces.piece[k]),
                "stock": code,
            }
            if doc.sheets:
                properties["sheet"] = int(sheet[k]) or None
            features.append(
                {"type": "Feature", "properties": properties, "geometry": json.loads(shape)}
            )
    write_text(path, json.dumps({"type": "FeatureCollection", "features": features}))


def write_setting_out(path: str | Path, doc: Commission) -> None:
    """Write fields, flow lines, openings and the wall in the form that `core.setting_out` reads."""
    features = []
    for f in doc.fields:
        properties: dict[str, object] = {"name": f.name, "motif": f.motif}
        properties |= {"laying" if k == "opus" else k: v for k, v in asdict(f.laying).items()}
        shape = polygon_of(f.outline)
        geometry = shape.geoms[0] if len(shape.geoms) == 1 else shape
        features.append(_feature(properties, geometry))
    names = {f.id: f.name for f in doc.fields}
    for line in doc.flow_lines:
        owner = None if line.field_id is None else names[line.field_id]
        properties = {"field": owner}
        if line.tessera_mm is not None:
            properties |= {"tessera_mm": line.tessera_mm, "leads": line.leads}
        features.append(_feature(properties, curve_of(line)))
    for o in doc.openings:
        properties = {"opening": o.kind, "name": o.name, "leave_open": not lies_on_fields(doc, o)}
        features.append(_feature(properties, shape_of(o)))
    if doc.site:
        features.append(_feature({"site": True}, shapely.Polygon(doc.site)))
    write_text(path, json.dumps({"type": "FeatureCollection", "features": features}, indent=1))


def _feature(properties: dict[str, object], geometry: shapely.Geometry) -> dict[str, object]:
    shape = json.loads(shapely.to_geojson(geometry))
    return {"type": "Feature", "properties": properties, "geometry": shape}


def _hex(rgb: NDArray[np.uint8]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def _text(words: str) -> str:
    return escape(xml_text(words))
