"""Fields and motifs: drawn, cut out of what lies beneath, smoothed, pulled, joined and parted.

Every edit gives a new document in which fields still share their borders exactly. What was
mended on the way is told in plain words.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from core.commission import (
    Commission,
    Field,
    Point,
    check_field,
    field_of,
    next_id,
)
from core.coverage import SPECK, fill, give, knit, polygons_of, redrawn, room_left, slivers
from core.errors import EmblemaError
from core.flow import smooth_curve
from core.geometry import SNAP_MM, outline_of, polygon_of

LEAST_MM2 = 1.0
HAIR_MM = 1e-9  # by which the same point may differ


@dataclass(frozen=True, slots=True)
class Edited:
    """A new document, the field that the edit made or kept, and notes for the user.

    `lost` names the fields that it covered, wholly or for the most part.
    """

    doc: Commission
    field_id: str
    notes: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()


def whole_work(doc: Commission) -> MultiPolygon:
    """Return the finished work's rectangle."""
    return MultiPolygon([shapely.box(0, 0, doc.width_mm, doc.height_mm)])


def add_outline(
    doc: Commission,
    points: Sequence[Point],
    name: str = "",
    motif: str = "",
    *,
    smooth: bool = False,
    **choices: Any,
) -> Edited:
    """Draw a field; it is cut out of the fields beneath it.

    What the cut leaves of those too thin or too small for a tessera goes to their neighbours.

    Parameters
    ----------
    points : sequence of (x, y)
        Corners, mm; the last joins the first.
    smooth : bool
        Whether the outline runs as a smooth curve through the points.
    **choices
        Any other attributes of the field.

    Raises
    ------
    EmblemaError
        Nothing is left of the outline within the work.
    """
    if len(set(points)) < 3:
        raise EmblemaError("An outline needs at least three different points.")
    ring = closed_curve(points) if smooth else np.asarray(points, float)
    return add_area(doc, Polygon(ring), name, motif, **choices)


def add_area(
    doc: Commission, shape: shapely.Geometry, name: str = "", motif: str = "", **choices: Any
) -> Edited:
    """Add a field of any polygonal shape; see `add_outline`."""
    notes: list[str] = []
    shape = shapely.transform(shape, lambda xy: np.round(xy, 4) + 0.0)
    if not shapely.is_valid(shape):
        notes.append("The outline crossed itself and was mended.")
    area = polygons_of(shapely.intersection(shapely.make_valid(shape), whole_work(doc)))
    if area.area < LEAST_MM2:
        raise EmblemaError("Nothing of this outline lies within the work.")
    if area.area < 0.999 * shapely.area(shapely.make_valid(shape)):
        notes.append("What lay outside the work was cut off.")
    number = next_id("f", (f.id for f in doc.fields))
    new = field_of(number, name or f"Field {number[1:]}", (), motif, **choices)
    check_field(new)
    out, told = _on_top(doc, [new], [area], doc.linked())
    return Edited(out, number, (*notes, *told))


def add_fields(doc: Commission, new: Sequence[Field], shapes: Sequence[MultiPolygon]) -> Edited:
    """Lay several fields, apart from one another, over those beneath; they keep their shapes.

    Raises
    ------
    EmblemaError
        Nothing would be left of one of them.
    """
    fixed = doc.linked() | {f.id for f in new}
    out, told = _on_top(doc, new, shapes, fixed)
    return Edited(out, new[0].id, tuple(told))


def ground_left_open(doc: Commission, shape: MultiPolygon) -> tuple[Commission, tuple[str, ...]]:
    """Take the ground of a shape from the fields, as one drawn over them would, and say how."""
    number = next_id("f", (f.id for f in doc.fields))
    hole = field_of(number, "", ())
    out, told = _on_top(doc, [hole], [shape], doc.linked() | {number})
    left = tuple(f for f in out.fields if f.id != number)
    return replace(out, fields=left), tuple(told)


def _on_top(
    doc: Commission, new: Sequence[Field], shapes: Sequence[MultiPolygon], fixed: Collection[str]
) -> tuple[Commission, list[str]]:
    """Return a commission with fields on top; those that are fixed take no slivers."""
    area = polygons_of(shapely.union_all(shapes))
    out, told = _laid_over(doc, new, shapes, _fields_near(doc, area), fixed)
    if not _is_coverage(out) and _is_coverage(doc):
        # rounding moved a border by a hair that runs on where only fields farther off share it
        out, told = _laid_over(doc, new, shapes, range(len(doc.fields)), fixed)
    return without_orphans(out), told


def _is_coverage(doc: Commission) -> bool:
    return bool(shapely.coverage_is_valid(np.array(areas(doc), dtype=object)))


def _laid_over(
    doc: Commission,
    new: Sequence[Field],
    drawn: Sequence[MultiPolygon],
    near: Sequence[int],
    fixed: Collection[str],
) -> tuple[Commission, list[str]]:
    """Return a commission with fields on top, `near` the places of those whose borders change."""
    parts, givers = _left_too_thin(doc, polygons_of(shapely.union_all(drawn)))
    place = {k: n for n, k in enumerate(near, len(new))}
    touched = (*new, *(doc.fields[k] for k in near))
    shapes = [*drawn, *(polygon_of(doc.fields[k].outline) for k in near)]
    stiff = [f.id in fixed for f in touched]
    knitted, takers = give(shapes, parts, [place[k] for k in givers], stiff)
    stays = [s.area >= LEAST_MM2 for s in knitted]
    if not all(stays[: len(new)]):
        raise EmblemaError("Nothing is left of this outline: it is too small for a field.")
    hairs = [s for s, stay in zip(knitted, stays, strict=True) if not stay]
    if any(s.area for s in hairs):  # of fields that are covered but for a hair
        rest = [s if stay else MultiPolygon() for s, stay in zip(knitted, stays, strict=True)]
        knitted = fill(rest, polygons_of(shapely.union_all(hairs)), stays, stiff)
    fields, gone = as_shaped(touched, knitted)
    notes = [f"Field '{g}' was wholly covered and is gone." for g in gone]
    notes += _told(touched, parts, [place[k] for k in givers], takers)
    kept, nears = {f.id: f for f in fields}, {f.id for f in touched}
    below = (kept.get(f.id) if f.id in nears else f for f in doc.fields)
    on_top = (kept[f.id] for f in new)
    return replace(doc, fields=(*(f for f in below if f), *on_top)), notes


def _left_too_thin(doc: Commission, area: MultiPolygon) -> tuple[list[Polygon], list[int]]:
    """Return what an area laid over the fields leaves of them too thin, and whose each part is."""
    parts: list[Polygon] = []
    givers: list[int] = []
    shapely.prepare(area)
    for k, (f, whole) in enumerate(zip(doc.fields, areas(doc), strict=True)):
        cut = [p for p in whole.geoms if area.intersects(p) and not area.touches(p)]
        if not cut:
            continue
        left = [polygons_of(shapely.difference(p, area)) for p in cut]
        remains = whole.area - sum(p.area for p in cut) + sum(p.area for p in left)
        mine = [
            p
            for before, after in zip(cut, left, strict=True)
            for p in slivers(before, list(after.geoms), f.laying.tessera_mm)
        ]
        if remains - sum(p.area for p in mine) < LEAST_MM2:
            continue  # a narrow field stays rather than vanish
        parts += mine
        givers += [k] * len(mine)
    return parts, givers


def _fields_near(doc: Commission, area: shapely.Geometry) -> list[int]:
    """Return the places of the fields whose borders an area laid over them can change."""
    shapes = areas(doc)
    xy = shapely.get_coordinates(shapes)
    if len(xy) and np.abs(xy - np.round(xy / SNAP_MM) * SNAP_MM).max() > 1e-6 * SNAP_MM:
        return list(range(len(shapes)))  # knitting would round the borders of some, not of others
    return np.flatnonzero(shapely.dwithin(shapes, area, 3 * SNAP_MM)).tolist()


def _told(
    fields: Sequence[Field], parts: Sequence[Polygon], givers: Sequence[int], takers: Sequence[int]
) -> list[str]:
    """Say which field's slivers went to which; specks are not worth a word."""
    notes: dict[str, None] = {}
    for part, g, t in zip(parts, givers, takers, strict=True):
        if g != t and part.area > max(LEAST_MM2, SPECK * fields[g].laying.tessera_mm ** 2):
            a, b = fields[g].name, fields[t].name
            notes[f"A sliver of '{a}' too thin for a tessera went to '{b}'."] = None
    return list(notes)


def closed_curve(points: Sequence[Point], step_mm: float = 2.0) -> np.ndarray[Any, Any]:
    """Return a smooth closed curve through points, (n, 2) mm, first point not repeated."""
    p = np.asarray(points, float)
    p = p[:-1] if (p[0] == p[-1]).all() else p
    if len(p) < 3:
        raise EmblemaError("An outline needs at least three different points.")
    # two points more at either end, so that the curve is as smooth at the seam as elsewhere
    curve = smooth_curve([(x, y) for x, y in np.vstack([p[-2:], p, p[:2]])], step_mm)
    seam = np.flatnonzero(np.hypot(*(curve - p[0]).T) < 1e-9)
    return np.asarray(curve[seam[0] : seam[-1]])


def add_ground(doc: Commission, name: str = "Ground", **choices: Any) -> Edited:
    """Make one field of whatever no field covers, beneath all others; openings stay open."""
    number = next_id("f", (f.id for f in doc.fields))
    new = field_of(number, name, (), **choices)
    check_field(new)
    *knitted, ground = room_left([*areas(doc), *_open(doc)], whole_work(doc))
    if ground.area < LEAST_MM2:
        raise EmblemaError("The fields already cover the whole work.")
    fields, _ = as_shaped((*doc.fields, new), [*knitted[: len(doc.fields)], ground])
    return Edited(replace(doc, fields=(fields[-1], *fields[:-1])), number)


def areas(doc: Commission) -> list[MultiPolygon]:
    """Return every field's shape, in order."""
    return [polygon_of(f.outline) for f in doc.fields]


def _open(doc: Commission) -> list[MultiPolygon]:
    """Return the openings of the wall."""
    return [polygons_of(Polygon(o.outline)) for o in doc.openings]


def as_shaped(
    fields: Sequence[Field], shapes: Sequence[MultiPolygon]
) -> tuple[tuple[Field, ...], tuple[str, ...]]:
    """Return the fields with new shapes, and the names of those of which nothing is left."""
    out, gone = [], []
    for f, shape in zip(fields, shapes, strict=True):
        outline = outline_of(shape)
        if outline and shape.area >= LEAST_MM2:
            out.append(f if _is_drawn_as(f, shape) else replace(f, outline=outline))
        else:
            gone.append(f.name)
    return tuple(out), tuple(gone)


def _is_drawn_as(f: Field, shape: MultiPolygon) -> bool:
    """Return whether a field has a shape already, wherever its rings begin.

    Its pieces hang on the outline as it is written, so it is not written anew.
    """
    was = polygon_of(f.outline)
    if was.bounds != shape.bounds and np.abs(np.subtract(was.bounds, shape.bounds)).max() > HAIR_MM:
        return False
    a, b = shapely.normalize(was), shapely.normalize(shape)
    return bool(shapely.equals_exact(a, b, HAIR_MM))


def without_orphans(doc: Commission) -> Commission:
    """Drop lines, swaps and hand edits of fields that are gone."""
    ids = {f.id for f in doc.fields} | {None}
    return replace(
        doc,
        flow_lines=tuple(w for w in doc.flow_lines if w.field_id in ids),
        swaps=tuple(s for s in doc.swaps if s.field_id in ids),
        edits=tuple(e for e in doc.edits if e.field_id in ids),
        agreed=tuple(a for a in doc.agreed if a.field_id in ids),
    )


def with_shapes(doc: Commission, shapes: Sequence[MultiPolygon]) -> Commission:
    """Return the document with every field's shape, in order, and nothing of fields gone."""
    fields, _ = as_shaped(doc.fields, shapes)
    return without_orphans(replace(doc, fields=fields))


def knit_all(doc: Commission) -> Edited:
    """Mend gaps of no width and overlaps between fields; later fields keep what they cover."""
    order = list(reversed(doc.fields))
    fields, gone = as_shaped(order, knit([polygon_of(f.outline) for f in order]))
    out = without_orphans(replace(doc, fields=tuple(reversed(fields))))
    return Edited(out, "", tuple(f"Field '{g}' was wholly covered and is gone." for g in gone))


def smooth_borders(doc: Commission, field_ids: Iterable[str], rounds: int = 2) -> Commission:
    """Smooth the borders of some fields, for their neighbours too; corners of the work stay."""
    chosen = set(field_ids)
    touched = shapely.union_all(
        [shapely.boundary(polygon_of(f.outline)) for f in doc.fields if f.id in chosen]
    )
    frame = shapely.boundary(whole_work(doc))

    def change(arc: np.ndarray[Any, Any], closed: bool) -> np.ndarray[Any, Any]:
        line = LineString(arc)
        middle = line.interpolate(0.5, normalized=True)
        if middle.distance(touched) > 1e-3 or middle.distance(frame) < 1e-3:
            return arc
        return rounded(arc, closed, rounds)

    return with_shapes(doc, redrawn(areas(doc), change))


def rounded(arc: np.ndarray[Any, Any], closed: bool, rounds: int) -> np.ndarray[Any, Any]:
    """Cut the corners of an arc, its ends kept.

    References
    ----------
    Chaikin 1974, "An algorithm for high-speed curve generation".
    """
    c = arc[:-1] if closed else arc
    for _ in range(rounds):
        if len(c) < 3:
            break
        a, b = (c, np.roll(c, -1, 0)) if closed else (c[:-1], c[1:])
        cut = np.stack([0.75 * a + 0.25 * b, 0.25 * a + 0.75 * b], axis=1).reshape(-1, 2)
        c = cut if closed else np.vstack([c[:1], cut[1:-1], c[-1:]])
    return np.vstack([c, c[:1]]) if closed else np.asarray(c)


def pulled(
    line: np.ndarray[Any, Any], at_mm: Point, to_mm: Point, reach_mm: float
) -> np.ndarray[Any, Any]:
    """Return a line (n, 2) mm with what lies near a place pulled along, the less the farther."""
    by = np.subtract(to_mm, at_mm)
    reach = max(reach_mm, 1.6 * float(np.hypot(*by)))  # or the line would fold
    place = shapely.Point(at_mm)
    out = [line[:1]]
    for a, b in pairwise(line):
        if LineString([a, b]).distance(place) < reach:  # a straight stretch bends too
            n = max(1, int(np.ceil(np.hypot(*(b - a)) / (reach / 8))))
            out.append(a + np.linspace(0, 1, n + 1)[1:, None] * (b - a))
        else:
            out.append(b[None])
    c = np.concatenate(out)
    share = np.clip(1 - (np.hypot(*(c - at_mm).T) / reach) ** 2, 0, None) ** 2
    return np.asarray(c + share[:, None] * by)


def pull_border(doc: Commission, at_mm: Point, to_mm: Point, reach_mm: float) -> Commission:
    """Pull the borders near a place along with it, for all fields that share them.

    The work's own edge stays.

    Raises
    ------
    EmblemaError
        There is no border there, or a field would be pressed to nothing.
    """
    inner = shapely.union_all([shapely.boundary(a) for a in areas(doc)])
    if inner.is_empty or inner.distance(shapely.Point(at_mm)) > reach_mm / 2:
        raise EmblemaError("There is no border of a field here.")
    size = np.array([doc.width_mm, doc.height_mm])
    to = tuple(np.clip(to_mm, 0, size).tolist())
    reach = max(reach_mm, 1.6 * float(np.hypot(*np.subtract(to, at_mm))))

    def change(arc: np.ndarray[Any, Any], closed: bool) -> np.ndarray[Any, Any]:
        new, old = pulled(arc, at_mm, to, reach), pulled(arc, at_mm, at_mm, reach)
        for k in (0, 1):
            held = (old[:, k] < 1e-6) | (old[:, k] > size[k] - 1e-6)
            new[held, k] = old[held, k]
        return np.asarray(np.clip(new, 0, size))

    shapes = redrawn(areas(doc), change)
    fields, gone = as_shaped(doc.fields, shapes)
    if gone:
        raise EmblemaError(f"That would press '{gone[0]}' to nothing.")
    return replace(doc, fields=fields)


def merge(doc: Commission, field_ids: Sequence[str]) -> Edited:
    """Make one field of several; the first one's choices hold."""
    if len(set(field_ids)) < 2:
        raise EmblemaError("Choose two or more fields to join.")
    first = doc.field_by_id(field_ids[0])
    shape = polygons_of(
        shapely.union_all([polygon_of(doc.field_by_id(i).outline) for i in field_ids])
    )
    gone = set(field_ids) - {first.id}
    lines = tuple(
        replace(w, field_id=first.id) if w.field_id in gone else w for w in doc.flow_lines
    )
    fields = tuple(
        replace(f, outline=outline_of(shape)) if f.id == first.id else f
        for f in doc.fields
        if f.id not in gone
    )
    return Edited(without_orphans(replace(doc, fields=fields, flow_lines=lines)), first.id)


def split(doc: Commission, field_id: str, points: Sequence[Point]) -> Edited:
    """Cut a field in two along a line that crosses it; the larger part keeps the name.

    Raises
    ------
    EmblemaError
        The line does not cross the field from border to border.
    """
    f = doc.field_by_id(field_id)
    shape = polygon_of(f.outline)
    if len(set(points)) < 2:
        raise EmblemaError("A cut needs at least two different points.")
    cut = shapely.union(shape.boundary, LineString(smooth_curve(points)))
    faces = [
        g
        for g in shapely.get_parts(shapely.polygonize([cut]))
        if shape.contains(g.representative_point())
    ]
    if len(faces) <= len(shape.geoms):
        raise EmblemaError(f"The line does not cross '{f.name}' from border to border.")
    faces.sort(key=lambda g: -g.area)
    out = replace(
        doc,
        fields=tuple(
            replace(g, outline=outline_of(MultiPolygon([faces[0]]))) if g.id == field_id else g
            for g in doc.fields
        ),
    )
    place = next(k for k, g in enumerate(out.fields) if g.id == field_id)
    fields = list(out.fields)
    for n, face in enumerate(faces[1:], 2):
        number = next_id("f", (g.id for g in fields))
        part = replace(f, id=number, name=f"{f.name} {n}", outline=outline_of(MultiPolygon([face])))
        place += 1
        fields.insert(place, part)
    return Edited(knit_all(replace(out, fields=tuple(fields))).doc, field_id)


def gaps_and_overlaps(doc: Commission) -> tuple[tuple[str, float, MultiPolygon], ...]:
    """Return what no field covers, and what two cover: ("gap" or "overlap", mm2, where).

    What opens in the wall is no gap.
    """
    shapes = areas(doc)
    found = []
    covered = shapely.union_all([*shapes, *_open(doc)])
    gap = polygons_of(shapely.difference(whole_work(doc), covered))
    found += [("gap", p.area, MultiPolygon([p])) for p in gap.geoms if p.area > 1e-2]
    if shapes:
        a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
        for i, j in zip(a, b, strict=True):
            if i < j:
                both = polygons_of(shapely.intersection(shapes[i], shapes[j]))
                if both.area > 1e-2:
                    found.append(("overlap", both.area, both))
    return tuple(found)
