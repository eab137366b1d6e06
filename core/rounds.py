"""A client's rounds of changes: more of a motif, fewer, bigger, smaller, elsewhere; another size.

What fields leave goes to their neighbours, what they cover gives way, and what is theirs goes with
them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import scale, translate

from core.commission import (
    Colour,
    Commission,
    HandEdit,
    Linked,
    Outline,
    Point,
    Ring,
    next_id,
    remove_field,
)
from core.coverage import fill, polygons_of
from core.errors import EmblemaError
from core.fields import (
    LEAST_MM2,
    Edited,
    add_area,
    areas,
    as_shaped,
    whole_work,
    with_shapes,
    without_orphans,
)
from core.geometry import polygon_of
from core.laying.field.frame import Frame
from core.moves import Move

PLACE_DIGITS = 6  # of a millimetre, that the place of a moved edit is kept to


def resize_work(doc: Commission, width_mm: float, height_mm: float | None = None) -> Commission:
    """Make the finished work so wide, everything drawn on it with it; tesserae keep their size.

    With a height of its own the work is only cropped or widened below; nothing is stretched.
    """
    if not 10 <= width_mm <= 100_000:
        raise EmblemaError(f"The work cannot be {width_mm:g} mm wide (10 mm to 100 m).")
    by = width_mm / doc.width_mm
    out = _scaled(doc, by)
    if height_mm is None:
        return out
    if not 10 <= height_mm <= 100_000:
        raise EmblemaError(f"The work cannot be {height_mm:g} mm high (10 mm to 100 m).")
    out = replace(out, height_mm=height_mm)
    frame = whole_work(out)
    return with_shapes(out, [polygons_of(shapely.intersection(a, frame)) for a in areas(out)])


def _scaled(doc: Commission, by: float) -> Commission:
    def p(q: Point) -> Point:
        return (q[0] * by, q[1] * by)

    def outline(o: Outline) -> Outline:
        return tuple(tuple(tuple(p(q) for q in ring) for ring in part) for part in o)

    sketch = doc.sketch and replace(
        doc.sketch, origin_mm=p(doc.sketch.origin_mm), mm_per_px=doc.sketch.mm_per_px * by
    )

    def colour(c: Colour) -> Colour:
        return replace(c, sketch_move=c.sketch_move.scaled(by)) if c.sketch_move else c

    def place(one: Linked) -> Linked:
        return replace(one, move=one.move.scaled(by))

    return replace(
        doc,
        width_mm=doc.width_mm * by,
        height_mm=doc.height_mm * by,
        sketch=sketch,
        fields=tuple(
            replace(f, outline=outline(f.outline), colour=colour(f.colour)) for f in doc.fields
        ),
        repeats=tuple(replace(r, places=tuple(map(place, r.places))) for r in doc.repeats),
        flow_lines=tuple(replace(w, points=tuple(p(q) for q in w.points)) for w in doc.flow_lines),
        edits=tuple(replace(e, at_mm=p(e.at_mm)) for e in doc.edits if not e.outline),
    )


def duplicate_field(doc: Commission, field_id: str, by_mm: Point) -> Edited:
    """Lay a second field of the same kind beside: more of a motif."""
    f = doc.field_by_id(field_id)
    made = add_area(doc, translate(polygon_of(f.outline), *by_mm), f"{f.name} again", f.motif)
    twin = made.doc.field_by_id(made.field_id)
    same = replace(f, id=twin.id, name=twin.name, outline=twin.outline)
    out = replace(made.doc, fields=tuple(same if g.id == twin.id else g for g in made.doc.fields))
    moved = tuple((x + by_mm[0], y + by_mm[1]) for w in doc.flow_lines for x, y in w.points)
    lines, k = list(out.flow_lines), 0
    for w in doc.flow_lines:
        n = len(w.points)
        if w.field_id == field_id:
            number = next_id("l", (line.id for line in lines))
            lines.append(replace(w, id=number, points=moved[k : k + n], field_id=twin.id))
        k += n
    return Edited(replace(out, flow_lines=tuple(lines)), twin.id, made.notes)


def move_fields(doc: Commission, field_ids: Iterable[str], by_mm: Point) -> Edited:
    """Move fields with their lines and work by hand.

    What they leave goes to their neighbours, what they cover gives way.
    """
    chosen = set(field_ids)
    made = _changed(doc, chosen, lambda g: translate(g, *by_mm))
    move = Move((float(by_mm[0]), float(by_mm[1])))
    edits = tuple(moved_edit(e, move) if e.field_id in chosen else e for e in made.doc.edits)
    return replace(made, doc=replace(made.doc, edits=edits))


def scale_fields(doc: Commission, field_ids: Iterable[str], by: float) -> Edited:
    """Make fields larger or smaller about their common middle."""
    if not 0.1 <= by <= 10:
        raise EmblemaError("A motif can be made 0.1 to 10 times as large at once.")
    ids = list(field_ids)
    middle = shapely.union_all([polygon_of(doc.field_by_id(i).outline) for i in ids]).centroid
    return _changed(doc, ids, lambda g: scale(g, by, by, origin=middle))


def _changed(doc: Commission, field_ids: Iterable[str], change: Any) -> Edited:
    chosen = set(field_ids)
    moving = [f for f in doc.fields if f.id in chosen]
    if not moving:
        raise EmblemaError("Choose a field first.")
    made = reshaped(doc, {f.id: change(polygon_of(f.outline)) for f in moving})

    def line(points: tuple[Point, ...]) -> tuple[Point, ...]:
        c = shapely.get_coordinates(change(shapely.multipoints(np.asarray(points))))
        return tuple((float(x), float(y)) for x, y in c)

    lines = tuple(
        replace(w, points=line(w.points)) if w.field_id in chosen else w
        for w in made.doc.flow_lines
    )
    return replace(made, doc=replace(made.doc, flow_lines=lines))


def reshaped(doc: Commission, shapes: Mapping[str, shapely.Geometry]) -> Edited:
    """Give fields new shapes; what they leave goes to neighbours, what they cover gives way.

    Linked fields (see `core.repeats`) take only what no other can.

    Raises
    ------
    EmblemaError
        Nothing of the new shapes lies within the work.
    """
    moving = [f for f in doc.fields if f.id in shapes]
    still = [f for f in doc.fields if f.id not in shapes]
    frame = whole_work(doc)
    before = shapely.union_all([polygon_of(f.outline) for f in moving])
    new = [polygons_of(shapely.intersection(shapes[f.id], frame)) for f in moving]
    if sum(s.area for s in new) < LEAST_MM2:
        raise EmblemaError("Nothing of it would be left within the work.")
    beneath = [polygon_of(f.outline) for f in still]
    gap = polygons_of(shapely.difference(before, shapely.union_all(new)))
    linked = doc.linked()
    may_grow = [False] * len(new) + [True] * len(beneath)
    knitted = fill([*new, *beneath], gap, may_grow, [f.id in linked for f in (*moving, *still)])
    fields, gone = as_shaped((*moving, *still), knitted)
    order = {f.id: k for k, f in enumerate(doc.fields)}
    out = replace(doc, fields=tuple(sorted(fields, key=lambda f: order[f.id])))
    notes = tuple(f"Field '{g}' was wholly covered and is gone." for g in gone)
    return Edited(without_orphans(out), moving[0].id, notes)


def remove_fields(doc: Commission, field_ids: Iterable[str]) -> Commission:
    """Take fields out; their room goes to the neighbours they share most border with."""
    chosen = set(field_ids)
    gap = polygons_of(
        shapely.union_all([polygon_of(f.outline) for f in doc.fields if f.id in chosen])
    )
    for i in chosen:
        doc = remove_field(doc, i)
    if not doc.fields:
        return doc
    linked = doc.linked()
    may_grow = [True] * len(doc.fields)
    return with_shapes(doc, fill(areas(doc), gap, may_grow, [f.id in linked for f in doc.fields]))


def moved_edit(edit: HandEdit, move: Move, field_id: str = "") -> HandEdit:
    """Return an edit as it is done where a move carries its field, for another field if named."""

    def carried(points: Iterable[Point]) -> Ring:
        xy = np.round(move.out(np.asarray(list(points), float).reshape(-1, 2)), PLACE_DIGITS) + 0.0
        return tuple((float(x), float(y)) for x, y in xy)

    line, other = edit.line, edit.other_mm
    turned = replace(move, origin_mm=(0.0, 0.0))
    by = turned.out(np.array([edit.move_mm]))[0]
    return replace(
        edit,
        field_id=field_id or edit.field_id,
        at_mm=carried([edit.at_mm])[0],
        line=None if line is None else (carried(line)[0], carried(line)[1]),
        other_mm=None if other is None else carried([other])[0],
        move_mm=(float(by[0]), float(by[1])),
        turn_rad=-edit.turn_rad if move.mirrored else edit.turn_rad,
        outline=_outline_of(edit, move),
    )


def _outline_of(edit: HandEdit, move: Move) -> Ring:
    """Return the outline of an edit, moved as pieces are: a pin is known by its very corners."""
    if not edit.outline:
        return ()
    frame = Frame(move.origin_mm, move.way, move.mirrored)
    shape = frame.rounded(np.array([Polygon(edit.outline)], dtype=object))[0]
    return tuple((float(x), float(y)) for x, y in shape.exterior.coords[:-1])
