"""More and fewer of a motif, by the things that it consists of.

A heron is one thing of many fields, a clump of reeds many things: fields whose names have a number
are things of their own, those without belong together where they touch. What has the same name and
number and touches a thing, as a rush's head its stem, goes with it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace
from itertools import count
from typing import Final

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.affinity import translate

from core.commission import Commission, Field, next_id, untaken
from core.coverage import polygons_of
from core.errors import EmblemaError
from core.fields import LEAST_MM2, Edited, add_fields, whole_work
from core.geometry import outline_of, polygon_of
from core.moves import Move
from core.rounds import carried, frames_of, remove_fields, whole_outline

MOST: Final = 50  # things at once
APART: Final = 1.12  # of a thing's width, from one to the next
TRIES: Final = 24  # places to either side that are looked at
COVERS: Final = 0.001  # of a thing may cover what does not lie beneath it
OFF: Final = 0.02  # of a thing may lie off the work
TOUCHING_MM: Final = 0.05
_NUMBERED = re.compile(r"^(.*?)\s*(\d+)$")

Thing = tuple[str, ...]  # ids of fields, in the order of the document


def things(doc: Commission, field_ids: Collection[str]) -> list[Thing]:
    """Return the things that fields are, each with what belongs to it, in the document's order."""
    chosen = [f for f in doc.fields if f.id in set(field_ids)]
    numbered: dict[tuple[str, str], list[Field]] = {}
    plain: list[Field] = []
    for f in chosen:
        of = _name_of(f)
        if of is None:
            plain.append(f)
        else:
            numbered.setdefault(of, []).append(f)
    groups = [*numbered.values(), *_touching(plain)]
    mine = {f.id for f in chosen}
    out = []
    for group in groups:
        name = _name_of(group[0])
        more = [f for f in doc.fields if f.id not in mine and name and _name_of(f) == name]
        out.append(_in_order(doc, [*group, *(f for f in more if _touch(f, group))]))
    place = {f.id: k for k, f in enumerate(doc.fields)}
    return sorted(out, key=lambda thing: place[thing[0]])


def more_of(doc: Commission, field_ids: Collection[str], count_: int) -> Edited:
    """Lay so many more of the things that fields are, each beside the one it is like.

    A thing is copied whole, also where something lies on it, with its lines and its part of the
    sketch. The copies lie on what lies there; they keep off borders and off what is no ground.

    Raises
    ------
    EmblemaError
        Nothing is chosen, or there is no room on the work.
    """
    some = things(doc, field_ids)
    if not some:
        raise EmblemaError("Choose a field or a motif first.")
    if not 1 <= count_ <= MOST:
        raise EmblemaError(f"Ask for 1 to {MOST} more at once.")
    out, first = doc, ""
    notes: list[str] = []
    for n in range(count_):
        thing = some[n % len(some)]
        made = _copied(out, thing)
        out, first = made.doc, first or made.field_id
        notes += made.notes
    return Edited(out, first, tuple(dict.fromkeys(notes)))


def fewer_of(doc: Commission, field_ids: Collection[str], count_: int) -> Commission:
    """Take so many of the things that fields are out, the uppermost first."""
    gone = [i for thing in things(doc, field_ids)[::-1][:count_] for i in thing]
    return remove_fields(doc, gone)


def _name_of(f: Field) -> tuple[str, str] | None:
    """Return the first word and the number of a field's name, None where it has no number."""
    found = _NUMBERED.match(f.name.strip())
    if found is None or not found[1]:
        return None
    return found[1].split()[0].lower(), found[2]


def _touch(f: Field, group: Iterable[Field]) -> bool:
    shape = polygon_of(f.outline)
    return any(shapely.dwithin(shape, polygon_of(g.outline), TOUCHING_MM) for g in group)


def _touching(fields: Sequence[Field]) -> list[list[Field]]:
    """Return fields in groups, each as far as its fields touch one another."""
    groups: list[list[Field]] = []
    for f in fields:
        near = [g for g in groups if _touch(f, g)]
        groups = [g for g in groups if g not in near]
        groups.append([*(x for g in near for x in g), f])
    return groups


def _in_order(doc: Commission, fields: Iterable[Field]) -> Thing:
    ids = {f.id for f in fields}
    return tuple(f.id for f in doc.fields if f.id in ids)


def _copied(doc: Commission, thing: Thing) -> Edited:
    """Return a document with a thing once more, where it has room."""
    fields = [doc.field_by_id(i) for i in thing]
    shapes = _whole(doc, fields)
    move = _place(doc, fields, polygons_of(shapely.union_all(shapes)))
    taken, names = [f.id for f in doc.fields], {f.name for f in doc.fields}
    work = whole_work(doc)
    new, drawn, same = [], [], {}
    for f, shape in zip(fields, shapes, strict=True):
        there = polygons_of(shapely.intersection(translate(shape, *move.origin_mm), work))
        if there.area < LEAST_MM2:
            continue
        copy = replace(f, id=next_id("f", taken), name=_next_name(f.name, names))
        colour = carried(f.colour, move) if doc.sketch is not None else f.colour
        new.append(replace(copy, outline=outline_of(there), colour=colour))
        drawn.append(there)
        taken.append(copy.id)
        names.add(copy.name)
        same[f.id] = copy.id
    made = add_fields(doc, new, drawn)
    lines = list(made.doc.flow_lines)
    for w in doc.flow_lines:
        if w.field_id in same:
            points = move.out(np.asarray(w.points, float))
            lines.append(
                replace(
                    w,
                    id=next_id("l", (x.id for x in lines)),
                    points=tuple((float(x), float(y)) for x, y in points),
                    field_id=same[w.field_id],
                )
            )
    swaps = [replace(s, field_id=same[s.field_id]) for s in doc.swaps if s.field_id in same]
    out = replace(made.doc, flow_lines=tuple(lines), swaps=(*made.doc.swaps, *swaps))
    return replace(made, doc=out)


def _whole(doc: Commission, fields: Sequence[Field]) -> list[MultiPolygon]:
    """Return the whole outlines of fields, apart from one another: the upper keeps its place."""
    out: list[MultiPolygon] = []
    over: shapely.Geometry = MultiPolygon()
    for f in reversed(fields):
        shape = polygons_of(shapely.difference(whole_outline(doc, f), over))
        over = shapely.union(over, shape)
        out.append(shape)
    return out[::-1]


def _place(doc: Commission, fields: Sequence[Field], shape: MultiPolygon) -> Move:
    """Return the move to the nearest place beside, on the work and off what is no ground."""
    ground = _grounds(doc, doc.fields.index(fields[0]))
    over = shapely.union_all([polygon_of(f.outline) for f in doc.fields if f.id not in ground])
    shapely.prepare(over)
    work = whole_work(doc)
    x0, _, x1, _ = shape.bounds
    best, least = None, np.inf
    for k in range(1, TRIES + 1):
        for side in (1, -1):
            by = side * k * APART / 2 * (x1 - x0)
            if abs(by) < x1 - x0 and k < 2:
                continue  # it would lie on itself
            there = translate(shape, by, 0.0)
            off = shape.area - shapely.area(shapely.intersection(there, work))
            if off > OFF * shape.area:
                continue
            covers = shapely.area(shapely.intersection(there, over)) / shape.area
            if covers <= COVERS:
                return Move((by, 0.0))
            if covers < least - 1e-6:
                best, least = by, covers
    if best is None:
        raise EmblemaError(f"There is no room for '{fields[0].name}' once more beside it.")
    return Move((best, 0.0))


def _grounds(doc: Commission, below: int) -> set[str]:
    """Return the fields beneath a place in the document that run to the work's edge or border."""
    frames = frames_of(doc)
    edge = shapely.union_all([whole_work(doc).boundary, *(polygon_of(f.outline) for f in frames)])
    return {
        f.id
        for f in doc.fields[:below]
        if f not in frames and shapely.dwithin(polygon_of(f.outline), edge, TOUCHING_MM)
    }


def _next_name(name: str, names: Collection[str]) -> str:
    """Return the name of one more: the next number, or the first one where it has none."""
    found = _NUMBERED.match(name)
    if found is None:
        return untaken(name, names)
    return next(n for k in count(int(found[2]) + 1) if (n := f"{found[1]} {k}") not in names)
