"""A setting out: fields and flow lines drawn elsewhere, read from GeoJSON in mm.

Polygon features are fields (properties name, motif, laying, tessera_mm, joint_mm, follow_border
and the other choices of a field); LineString features are flow lines (properties.field: a
field's name, or null for all fields).

References
----------
RFC 7946, "The GeoJSON Format" (the geometry; coordinates here are mm, x right and y down).
"""

from __future__ import annotations

import json
import math
from dataclasses import fields as attributes
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from core.commission import (
    Colour,
    Commission,
    Field,
    FlowLine,
    Laying,
    check_field,
    field_of,
)
from core.errors import EmblemaError
from core.geometry import outline_of

# the choices of a field by the names that they have in the file: the opus is called its laying
_CHOICES = {
    ("laying" if f.name == "opus" else f.name): f
    for f in (*attributes(Laying), *attributes(Colour))
}


def read_setting_out(path: str | Path) -> tuple[Commission, tuple[str, ...]]:
    """Return a commission of the fields and lines in a file, and what was repaired, in words.

    Raises
    ------
    EmblemaError
        The file cannot be read as a setting out.
    """
    path = Path(path)
    features = _features(path)
    notes: list[str] = []
    laid: list[Field] = []
    for number, feature in enumerate(features, 1):
        kind = _geometry(path, number, feature).get("type")
        if kind in ("Polygon", "MultiPolygon"):
            laid.append(_field(path, number, feature, len(laid) + 1, notes))
    if not laid:
        raise EmblemaError(f"'{path.name}' holds no field: no Polygon among its features.")
    names = [f.name for f in laid]
    if len(set(names)) < len(names):
        twice = next(n for n in names if names.count(n) > 1)
        raise EmblemaError(f"'{path.name}': two fields are called '{twice}'.")
    ids = {f.name: f.id for f in laid}
    lines: list[FlowLine] = []
    for number, feature in enumerate(features, 1):
        if feature["geometry"].get("type") == "LineString":
            lines.append(_line(path, number, feature, ids, len(lines) + 1))
    every = [p for f in laid for part in f.outline for ring in part for p in ring]
    x, y = np.array(every).max(axis=0)
    doc = Commission(
        path.stem,
        float(max(x, 1.0)),
        float(max(y, 1.0)),
        fields=tuple(laid),
        flow_lines=tuple(lines),
    )
    return doc, tuple(notes)


def _features(path: Path) -> list[dict[str, Any]]:
    try:
        body = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as e:
        raise EmblemaError(f"There is no file '{path}'.") from e
    except OSError as e:
        raise EmblemaError(f"'{path.name}' could not be read: {e.strerror or e}.") from e
    except ValueError as e:
        raise EmblemaError(f"'{path.name}' is not GeoJSON: {e}.") from e
    features = body.get("features") if isinstance(body, dict) else None
    if not isinstance(features, list) or not all(isinstance(f, dict) for f in features):
        raise EmblemaError(f"'{path.name}' is not a GeoJSON FeatureCollection.")
    return features


def _geometry(path: Path, number: int, feature: dict[str, Any]) -> dict[str, Any]:
    geometry = feature.get("geometry")
    if not isinstance(geometry, dict):
        raise EmblemaError(f"'{path.name}', feature {number}: it has no geometry.")
    return geometry


def _shape(path: Path, number: int, feature: dict[str, Any], what: str) -> Any:
    try:
        shape = shapely.from_geojson(json.dumps(feature["geometry"]))
    except (shapely.errors.GEOSException, ValueError, TypeError) as e:
        raise EmblemaError(f"'{path.name}', {what}: its outline cannot be read ({e}).") from e
    if not np.isfinite(shapely.get_coordinates(shape)).all():
        raise EmblemaError(f"'{path.name}', {what}: a coordinate is not a number.")
    return shape


def _field(path: Path, number: int, feature: dict[str, Any], count: int, notes: list[str]) -> Field:
    p = feature.get("properties") or {}
    name = str(p.get("name") or f"Field {count}")
    what = f"field '{name}'"
    shape = _shape(path, number, feature, what)
    if not shape.is_valid:
        fault = shapely.is_valid_reason(shape)
        shape = shapely.make_valid(shape)
        notes.append(f"Field '{name}': the outline crossed itself and was mended ({fault}).")
    if shape.area <= 0:
        raise EmblemaError(f"'{path.name}', {what}: the outline encloses nothing.")
    given = {_CHOICES[k].name: _plain(path, what, k, p[k]) for k in _CHOICES.keys() & p.keys()}
    # one tessera is given for the whole field, so hugging courses take it too
    given.setdefault("hug_tessera_mm", given.get("tessera_mm", 10.0))
    f = field_of(f"f{count}", name, outline_of(shape), str(p.get("motif") or ""), **given)
    try:
        check_field(f)
    except EmblemaError as e:
        raise EmblemaError(f"'{path.name}': {e}") from e
    if shape.area < f.laying.tessera_mm**2:
        notes.append(
            f"Field '{name}' is smaller than one tessera of {f.laying.tessera_mm:g} mm; it is laid "
            "as one smaller piece."
        )
    return f


def _plain(path: Path, what: str, key: str, value: Any) -> Any:
    default = _CHOICES[key].default
    if isinstance(default, bool):
        good: Any = value if isinstance(value, bool) else None
    elif isinstance(default, float) or key == "hug_tessera_mm":
        number = isinstance(value, int | float) and not isinstance(value, bool)
        good = float(value) if number and math.isfinite(value) else None
    elif isinstance(default, int):
        good = value if isinstance(value, int) and not isinstance(value, bool) else None
    elif isinstance(default, tuple) or key == "wanted_lab":
        good = tuple(value) if isinstance(value, list) else None
    else:
        good = value if isinstance(value, str) else None
    if good is None and value is not None:
        raise EmblemaError(f"'{path.name}', {what}: {key} is {value!r}, which cannot be used.")
    return default if good is None else good


def _line(
    path: Path, number: int, feature: dict[str, Any], ids: dict[str, str], count: int
) -> FlowLine:
    what = f"flow line {count}"
    shape = _shape(path, number, feature, what)
    owner = (feature.get("properties") or {}).get("field")
    if owner is not None and owner not in ids:
        raise EmblemaError(f"'{path.name}', {what}: there is no field called '{owner}'.")
    points = tuple((float(x), float(y)) for x, y in shapely.get_coordinates(shape))
    if len(set(points)) < 2:
        raise EmblemaError(f"'{path.name}', {what}: it needs at least two different points.")
    return FlowLine(f"l{count}", points, None if owner is None else ids[owner], smooth=False)
