"""A setting out: fields and flow lines drawn elsewhere, read from GeoJSON in mm.

Polygons are fields (properties name, motif, laying, tessera_mm, joint_mm, follow_border and the
other choices of a field); line strings are flow lines (properties.field: a field's name, or null
for all fields; tessera_mm: how large pieces are along it, which then leads no courses unless
`leads` is true). Where fields overlap, the later lies above, as on the bench. A polygon with the
property `opening` (a kind, such as socket) is no field but an opening of the wall, which fields are
left open for unless `leave_open` is false; one whose `site` is true is the wall itself.

References
----------
RFC 7946, "The GeoJSON Format" (the geometry; coordinates here are mm, x right and y down).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from dataclasses import fields as attributes
from pathlib import Path
from typing import Any

import shapely
from shapely import MultiPolygon, Polygon

from core.bounds import one_of
from core.checks import check_document, check_points
from core.commission import Colour, Commission, Field, FlowLine, Laying, Ring, check_field
from core.coverage import SPECK, polygons_of
from core.errors import EmblemaError, lowered
from core.geometry import outline_of, polygon_of
from core.members import read_json
from core.openings import with_opening
from core.plaintext import decoded
from core.site import OPENINGS, Opening
from core.typed import typed

_LAYING = {f.name for f in attributes(Laying)}
_COLOUR = {f.name for f in attributes(Colour)}
_APART = 1e-3  # mm2; fields that overlap by less only touch

_Place = tuple[float, ...]  # x, y and, in some drawings, a height


@dataclass(frozen=True)
class _Areas:
    outline: tuple[tuple[tuple[_Place, ...], ...], ...]


@dataclass(frozen=True)
class _Line:
    points: tuple[_Place, ...]


@dataclass(frozen=True)
class _Said:
    tessera_mm: float | None
    leads: bool | None


@dataclass(frozen=True)
class _Feature:
    """One feature as it is written: its number in the file, and its areas or its lines."""

    number: int
    properties: dict[str, Any]
    areas: tuple[Any, ...] = ()
    lines: tuple[Any, ...] = ()


def read_setting_out(path: str | Path) -> tuple[Commission, tuple[str, ...]]:
    """Return a commission of the fields and lines in a file, and what was repaired, in words.

    Coordinates stay as they are given, below zero too; the finished size is that of the fields.

    Raises
    ------
    EmblemaError
        The file cannot be read as a setting out; one sentence names the file and the place.
    """
    path = Path(path)
    if not path.exists():
        raise EmblemaError(f"There is no file '{path}'.")
    notes: dict[str, None] = {}
    try:
        features = [_feature(k, raw) for k, raw in enumerate(_features(path), 1)]
        fields: list[Field] = []
        for f in features:
            if f.areas and not _is_site(f):
                fields.append(_field(f, len(fields) + 1, notes))
        if not fields:
            raise EmblemaError("It holds no field: no Polygon among its features.")
        names = [f.name for f in fields]
        twice = next((n for n in names if names.count(n) > 1), None)
        if twice is not None:
            raise EmblemaError(f"Two fields are called '{twice}'.")
        motifs = {f.motif for f in fields if f.motif}
        for field in fields:
            toward = field.laying.finer_toward
            if toward and toward not in motifs:
                raise EmblemaError(
                    f"Field '{field.name}' is to be finer toward '{toward}', but no field has that "
                    "motif."
                )
            unknown = [m for m in field.laying.hug if m not in motifs]
            if unknown:
                raise EmblemaError(
                    f"Field '{field.name}' is to hug '{unknown[0]}', but no field has that motif."
                )
        laid = _one_above_another(fields, notes)
        doc = _commission(path.stem, laid, _flow(features, fields, laid, notes))
        doc = _with_site(doc, [f for f in features if _is_site(f)], notes)
        check_document(doc)
    except EmblemaError as e:
        raise EmblemaError(f"'{path.name}': {lowered(e)}") from e
    return doc, tuple(notes)


def _is_site(f: _Feature) -> bool:
    """Return whether a feature is the wall or one of its openings, and no field."""
    return bool(f.properties.get("opening") or f.properties.get("site"))


def _with_site(doc: Commission, of_site: Sequence[_Feature], notes: dict[str, None]) -> Commission:
    """Return a commission with the wall and its openings, fields left open for those."""
    count = 0
    for f in of_site:
        if f.properties.get("site") is True:
            doc = replace(doc, site=_one_ring("The wall", f, notes))
            continue
        count += 1
        kind = _label(f.properties, "opening")
        one_of(f"Opening {count}: its kind", kind, OPENINGS)
        name = _label(f.properties, "name") or f"{kind.capitalize()} {count}"
        leave = f.properties.get("leave_open", True)
        if not isinstance(leave, bool):
            raise EmblemaError(f"Opening '{name}': leave_open is neither true nor false.")
        opening = Opening(kind, name, _one_ring(f"Opening '{name}'", f, notes))
        doc, told = with_opening(doc, opening, leave)
        notes |= dict.fromkeys(told)
    return doc


def _one_ring(who: str, feature: _Feature, notes: dict[str, None]) -> Ring:
    """Return the outline of what is one area without holes."""
    try:
        rings = [r for area in typed(_Areas, {"outline": feature.areas}).outline for r in area]
        if len(rings) != 1:
            raise EmblemaError("It is not one area without holes.")
        xy = _flat(rings[0], notes)
        xy = xy[:-1] if len(xy) > 1 and xy[0] == xy[-1] else xy
        check_points("Its outline", xy, 3)
    except EmblemaError as e:
        raise EmblemaError(f"{who}: {lowered(e)}") from e
    return tuple(xy)


def _commission(title: str, fields: Sequence[Field], lines: Sequence[FlowLine]) -> Commission:
    x0, y0, x1, y1 = shapely.total_bounds([polygon_of(f.outline) for f in fields])
    size = (max(float(x1 - x0), 1.0), max(float(y1 - y0), 1.0))
    return Commission(title, *size, fields=tuple(fields), flow_lines=tuple(lines))


def _features(path: Path) -> list[Any]:
    try:
        text = decoded(path.read_bytes())
        body = read_json(text.encode()) if text is not None else None
    except OSError as e:
        raise EmblemaError(f"It could not be read: {e.strerror or e}.") from e
    except ValueError as e:
        raise EmblemaError(f"It is not GeoJSON: {e}.") from e
    features = body.get("features") if isinstance(body, dict) else None
    if not isinstance(features, list):
        raise EmblemaError("It is not a GeoJSON FeatureCollection.")
    return features


def _feature(number: int, raw: Any) -> _Feature:
    who = f"Feature {number}"
    geometry = raw.get("geometry") if isinstance(raw, dict) else None
    if not isinstance(geometry, dict):
        raise EmblemaError(f"{who} has no geometry.")
    properties = raw.get("properties")
    if not isinstance(properties, dict | None):
        raise EmblemaError(f"{who}: its properties are not a table.")
    parts = [geometry]
    if geometry.get("type") == "GeometryCollection":
        parts = geometry.get("geometries")  # type: ignore[assignment]
        if not isinstance(parts, list) or not all(isinstance(g, dict) for g in parts):
            raise EmblemaError(f"{who} is a GeometryCollection of nothing.")
    areas: list[Any] = []
    lines: list[Any] = []
    for g in parts:
        kind, coordinates = g.get("type"), g.get("coordinates")
        if not isinstance(coordinates, list):
            raise EmblemaError(f"{who} is {kind or 'nothing'} without coordinates.")
        if kind in ("Polygon", "MultiPolygon"):
            areas += coordinates if kind == "MultiPolygon" else [coordinates]
        elif kind in ("LineString", "MultiLineString"):
            lines += coordinates if kind == "MultiLineString" else [coordinates]
        else:
            raise EmblemaError(
                f"{who} is a {kind}; only polygons (fields) and line strings (flow lines) can be "
                "read."
            )
    if bool(areas) == bool(lines):
        what = "both areas and lines" if areas else "nothing"
        raise EmblemaError(f"{who} holds {what}; it must be a field or flow lines.")
    return _Feature(number, properties or {}, tuple(areas), tuple(lines))


def _field(feature: _Feature, count: int, notes: dict[str, None]) -> Field:
    who = f"field {count}"
    try:
        name = _label(feature.properties, "name") or f"Field {count}"
        who = f"field '{name}'"
        motif = _label(feature.properties, "motif")
        shape = _shape(name, feature.areas, notes)
        given = {
            ("opus" if k == "laying" else k): v
            for k, v in feature.properties.items()
            if v is not None
        }
        # one tessera is given for the whole field, so hugging courses take it too
        if "hug_tessera_mm" not in feature.properties:
            given["hug_tessera_mm"] = given.get("tessera_mm", Laying().tessera_mm)
        f = Field(
            f"f{count}",
            name,
            outline_of(shape),
            motif,
            typed(Laying, {k: v for k, v in given.items() if k in _LAYING}),
            typed(Colour, {k: v for k, v in given.items() if k in _COLOUR}),
        )
    except EmblemaError as e:
        raise EmblemaError(f"{who[0].upper()}{who[1:]}: {lowered(e)}") from e
    check_field(f)
    if not f.outline:
        raise EmblemaError(f"Field '{name}': the outline encloses nothing.")
    if shape.area < f.laying.tessera_mm**2:
        notes[
            f"Field '{name}' is smaller than one tessera of {f.laying.tessera_mm:g} mm; it is laid "
            "as one smaller piece."
        ] = None
    return f


def _shape(name: str, areas: Sequence[Any], notes: dict[str, None]) -> MultiPolygon:
    """Return what an outline encloses: in each part the first ring, without the others.

    A hole is a hole also where it touches its outline, as a socket does.
    """
    parts = []
    for area in typed(_Areas, {"outline": areas}).outline:
        rings = [_ring(name, r, notes) for r in area]
        if rings:
            parts.append(shapely.difference(rings[0], shapely.union_all(rings[1:])))
    whole = polygons_of(shapely.union_all(parts))
    if whole.area <= 0:
        raise EmblemaError("The outline encloses nothing.")
    if whole.area < sum(p.area for p in parts) - _APART:
        notes[f"Field '{name}': its parts overlapped and were joined."] = None
    return whole


def _ring(name: str, places: Sequence[_Place], notes: dict[str, None]) -> shapely.Geometry:
    xy = _flat(places, notes)
    xy = xy[:-1] if len(xy) > 1 and xy[0] == xy[-1] else xy
    check_points("A ring of its outline", xy, 3)
    ring = Polygon(xy)
    if not ring.is_valid:
        fault = shapely.is_valid_reason(ring)
        notes[f"Field '{name}': the outline crossed itself and was mended ({fault})."] = None
    return polygons_of(ring)


def _flat(places: Sequence[_Place], notes: dict[str, None]) -> list[tuple[float, float]]:
    for k, p in enumerate(places, 1):
        if len(p) < 2:
            raise EmblemaError(f"Point {k} of {len(places)} has no x and y.")
        if len(p) > 2:
            notes["Heights (z) were left out: a setting out is flat."] = None
    return [(p[0], p[1]) for p in places]


def _one_above_another(fields: Sequence[Field], notes: dict[str, None]) -> list[Field]:
    """Cut out of each field what the later ones cover, and say so."""
    shapes = [polygon_of(f.outline) for f in fields]
    above: dict[int, list[int]] = {}
    for i, j in shapely.STRtree(shapes).query(shapes, predicate="intersects").T.tolist():
        if i < j:
            above.setdefault(i, []).append(j)
    out = []
    for i, f in enumerate(fields):
        common = {
            j: area
            for j in sorted(above.get(i, ()))
            if (area := shapely.intersection(shapes[i], shapes[j]).area) > _APART
        }
        if not common:
            out.append(f)
            continue
        left = outline_of(
            shapely.difference(shapes[i], shapely.union_all([shapes[j] for j in common]))
        )
        for j, area in common.items():
            if area > SPECK * min(f.laying.tessera_mm, fields[j].laying.tessera_mm) ** 2:
                notes[
                    f"Fields '{f.name}' and '{fields[j].name}' overlap by {area:,.0f} mm²; "
                    f"'{fields[j].name}', the later in the file, keeps the common ground."
                ] = None
        if left:
            out.append(replace(f, outline=left))
        else:
            notes[f"Field '{f.name}' is wholly covered by later ones and is not laid."] = None
    return out


def _flow(
    features: Sequence[_Feature],
    fields: Sequence[Field],
    laid: Sequence[Field],
    notes: dict[str, None],
) -> list[FlowLine]:
    ids, stands = {f.name: f.id for f in fields}, {f.id for f in laid}
    lines: list[FlowLine] = []
    count = 0
    for f in features:
        for raw in f.lines:
            count += 1
            try:
                owner = _label(f.properties, "field")
                if owner and owner not in ids:
                    raise EmblemaError(f"There is no field called '{owner}'.")
                points = _flat(typed(_Line, {"points": raw}).points, notes)
                check_points("It", points, 1)
                if len(set(points)) < 2:
                    raise EmblemaError("It needs at least two different points.")
                said = typed(_Said, {k: f.properties.get(k) for k in ("tessera_mm", "leads")})
            except EmblemaError as e:
                raise EmblemaError(f"Flow line {count}: {lowered(e)}") from e
            if not owner or ids[owner] in stands:
                whose = ids[owner] if owner else None
                leads = said.tessera_mm is None if said.leads is None else said.leads
                lines.append(
                    FlowLine(f"l{count}", tuple(points), whose, False, said.tessera_mm, leads)
                )
    return lines


def _label(properties: dict[str, Any], key: str) -> str:
    """Return a name, which other programs may have written as a number."""
    value = properties.get(key)
    if value is None:
        return ""
    if isinstance(value, bool) or not isinstance(value, str | int):
        raise EmblemaError(f"Its {key} is neither text nor a number.")
    return str(value)
