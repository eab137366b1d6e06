"""Repeats made and parted, and what is a linked field's own spread from one place to the others.

Fields, flow lines, swaps and edits by hand of every place are ordinary ones of the document.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
import shapely

from core.commission import (
    Commission,
    Field,
    FlowLine,
    HandEdit,
    Linked,
    Repeat,
    Swap,
    next_id,
    untaken,
)
from core.coverage import polygons_of
from core.errors import EmblemaError
from core.fields import Edited, add_fields, whole_work
from core.geometry import SNAP_MM, lies_as, outline_of, polygon_of
from core.moves import Move
from core.repeats.arrange import Arranged
from core.rounds import carried, move_fields, moved_edit

LINE_DIGITS = 4  # of a millimetre, that points of lines are kept to

Owned = TypeVar("Owned", FlowLine, HandEdit, Swap)


def add_repeat(doc: Commission, field_ids: Iterable[str], where: Arranged) -> Edited:
    """Repeat fields with all that is theirs, laid over the fields beneath.

    Raises
    ------
    EmblemaError
        One is linked already, or a place cannot be like the first.
    """
    chosen, linked = set(field_ids), doc.linked()
    first = [f for f in doc.fields if f.id in chosen]
    if not first:
        raise EmblemaError("Choose what is to be repeated first.")
    for f in first:
        if f.id in linked:
            raise EmblemaError(f"'{f.name}' is repeated already: part its place first.")
    if max(map(abs, where.shift.origin_mm)) > SNAP_MM:
        doc = move_fields(doc, chosen, where.shift.origin_mm).doc
        first = [f for f in doc.fields if f.id in chosen]
    places = [Linked(tuple(f.id for f in first))]
    new: list[Field] = []
    for move in where.moves:
        here = _copied(first, move, (*doc.fields, *new))
        places.append(Linked(tuple(f.id for f in here), move))
        new += here
    work = whole_work(doc)
    shapes = [polygons_of(shapely.intersection(polygon_of(f.outline), work)) for f in new]
    made = add_fields(doc, new, shapes)
    repeat = Repeat(next_id("r", (r.id for r in doc.repeats)), tuple(places))
    out = made.doc
    for k in range(len(first)):
        out = spread_all(out, repeat, k)
    if not all(is_alike(out, places[0], place) for place in places):
        raise EmblemaError("A place would be cut off, so that it would not be like the others.")
    out = replace(out, repeats=(*out.repeats, repeat))
    return Edited(out, first[0].id, (*where.words, *made.notes))


def _copied(first: Sequence[Field], move: Move, known: Sequence[Field]) -> list[Field]:
    """Return fields of their own, moved."""
    taken, names = [f.id for f in known], {f.name for f in known}
    out = []
    for f in first:
        shape = shapely.transform(polygon_of(f.outline), move.out)
        copy = replace(f, id=next_id("f", taken), name=untaken(f.name, names))
        colour = carried(f.colour, move)
        out.append(replace(copy, outline=outline_of(shape), colour=colour))
        taken.append(copy.id)
        names.add(copy.name)
    return out


def part_places(doc: Commission, field_ids: Iterable[str]) -> Commission:
    """Return the document with the places of some fields linked to no others; all stays."""
    chosen = set(field_ids)
    return without(doc, lambda place: not chosen.isdisjoint(place.fields))


def without(doc: Commission, goes: Callable[[Linked], bool]) -> Commission:
    """Return the document with places parted; of those that are left, one is the first."""
    kept = []
    for r in doc.repeats:
        stay = [p for p in r.places if not goes(p)]
        if len(stay) == len(r.places):
            kept.append(r)
        elif len(stay) > 1:
            kept.append(replace(r, places=seen_from(stay[0], stay)))
    return replace(doc, repeats=tuple(kept))


def seen_from(first: Linked, places: Iterable[Linked]) -> tuple[Linked, ...]:
    """Return places with their moves from one of them, that one first."""
    back = first.move.back()
    rest = (replace(p, move=p.move.after(back)) for p in places if p is not first)
    return (Linked(first.fields), *rest)


def is_alike(doc: Commission, first: Linked, place: Linked) -> bool:
    """Return whether a place's fields are those of the first, moved."""
    fields = {f.id: f.outline for f in doc.fields}
    return all(
        a in fields and b in fields and lies_as(fields[a], fields[b], place.move)
        for a, b in zip(first.fields, place.fields, strict=True)
    )


# --- what is a field's own --------------------------------------------------------------------


def spread_all(doc: Commission, repeat: Repeat, k: int) -> Commission:
    """Return the document with lines, swaps and edits of the first place's field k in all."""
    for spread in (spread_lines, spread_swaps, spread_edits):
        doc = spread(doc, repeat, k, 0)
    return doc


def spread_lines(doc: Commission, repeat: Repeat, k: int, source: int) -> Commission:
    """Return the document with the flow lines of a place's field k in all the others."""
    lines = _in_all(doc.flow_lines, repeat, k, source, _moved_line)
    before: dict[str | None, list[str]] = {}
    for w in doc.flow_lines:
        before.setdefault(w.field_id, []).append(w.id)
    taken = [w.id for w in doc.flow_lines]
    out = []
    for w in lines:
        known = before.get(w.field_id, [])
        number = known.pop(0) if known else next_id("l", taken)
        taken.append(number)
        out.append(replace(w, id=number))
    return replace(doc, flow_lines=tuple(out))


def spread_swaps(doc: Commission, repeat: Repeat, k: int, source: int) -> Commission:
    """Return the document with the swaps in a place's field k in all the others."""
    return replace(doc, swaps=_in_all(doc.swaps, repeat, k, source, _same_swap))


def spread_edits(doc: Commission, repeat: Repeat, k: int, source: int) -> Commission:
    """Return the document with the edits by hand of a place's field k in all the others."""
    return replace(doc, edits=_in_all(doc.edits, repeat, k, source, moved_edit))


def _in_all(
    items: tuple[Owned, ...],
    repeat: Repeat,
    k: int,
    source: int,
    moved: Callable[[Owned, Move, str], Owned],
) -> tuple[Owned, ...]:
    """Return what fields own, a place's field k and the same field of the others alike.

    It is brought to the first place, and from there to all others, so that all are rounded alike.
    """
    first, *others = repeat.places
    if source:
        lead = repeat.places[source]
        to_first = [(first.fields[k], lead.move.back())]
        items = _instead(items, lead.fields[k], to_first, moved)
    to_others = [(place.fields[k], place.move) for place in others]
    return _instead(items, first.fields[k], to_others, moved)


def _instead(
    items: Iterable[Owned],
    source: str,
    targets: Sequence[tuple[str, Move]],
    moved: Callable[[Owned, Move, str], Owned],
) -> tuple[Owned, ...]:
    """Return items with those of the targets replaced by those of a source, in its order."""
    gone = {field_id for field_id, _ in targets}
    out: list[Owned] = []
    for item in items:
        if item.field_id not in gone:
            out.append(item)
        if item.field_id == source:
            out += [moved(item, move, field_id) for field_id, move in targets]
    return tuple(out)


def _moved_line(line: FlowLine, move: Move, field_id: str) -> FlowLine:
    xy = np.round(move.out(np.asarray(line.points, float)), LINE_DIGITS) + 0.0
    points = tuple((float(x), float(y)) for x, y in xy)
    return replace(line, points=points, field_id=field_id)


def _same_swap(swap: Swap, move: Move, field_id: str) -> Swap:
    return replace(swap, field_id=field_id)
