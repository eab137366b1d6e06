"""What an edit changed in one place of a repeat is done in all the others.

A place that an edit made unlike the rest in a way that they cannot follow, as when another field
is drawn over it, is parted from them, and that is said.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import shapely
from shapely import MultiPolygon

from core.commission import Commission, Field, Linked, Repeat
from core.coverage import polygons_of
from core.fields import whole_work
from core.geometry import LINKED_MM, SNAP_MM, lies_as, polygon_of
from core.moves import STILL, Move
from core.repeats.links import (
    is_alike,
    seen_from,
    spread_edits,
    spread_lines,
    spread_swaps,
    without,
)
from core.rounds import reshaped

PARTED = "A place that is not like the others any more is parted from them."


def carry(before: Commission, after: Commission) -> tuple[Commission, tuple[str, ...]]:
    """Return an edited document with what was changed in one place changed in all, and words.

    Parameters
    ----------
    before, after
        The document before an edit, and as the edit left it: a place may be unlike, or gone.
    """
    if not after.repeats or not _touched(before, after):
        return after, ()
    ids = {f.id for f in after.fields}
    doc = without(after, lambda place: not ids.issuperset(place.fields))
    spoilt = any(
        not ids.issuperset(p.fields) and not ids.isdisjoint(p.fields)
        for r in after.repeats
        for p in r.places
    )
    words = [PARTED] if spoilt else []
    # an opening is in one place of the wall alone, and so is what it takes of a place
    opened = before.openings != after.openings
    known = {} if opened else {r.id: r for r in before.repeats}
    for repeat in doc.repeats:
        was = known.get(repeat.id)
        if was is not None and {p.fields for p in repeat.places} <= {p.fields for p in was.places}:
            doc, told = _Change(before, after, repeat).carried(doc)
            words += told
    doc, told = _sound(doc)
    return doc, tuple(dict.fromkeys((*words, *told)))


def _touched(a: Commission, b: Commission) -> bool:
    kinds = ("fields", "flow_lines", "edits", "swaps", "repeats")
    return any(getattr(a, k) is not getattr(b, k) for k in kinds)


def _sound(doc: Commission) -> tuple[Commission, list[str]]:
    """Part places that are not as the others are, whatever the cause."""
    unlike: set[tuple[str, ...]] = set()
    for r in doc.repeats:
        like = [_alike(doc, seen_from(first, r.places)) for first in r.places[:2]]
        unlike |= {p.fields for p in r.places} - max(like, key=len)
    return without(doc, lambda place: place.fields in unlike), [PARTED] * bool(unlike)


def _alike(doc: Commission, places: Sequence[Linked]) -> set[tuple[str, ...]]:
    return {p.fields for p in places if is_alike(doc, places[0], p)}


class _Change:
    """What an edit did to the places of one repeat, and the same in the others."""

    def __init__(self, before: Commission, after: Commission, repeat: Repeat) -> None:
        self.before, self.after, self.repeat = before, after, repeat
        self.was = {f.id: f for f in before.fields}
        self.now = {f.id: f for f in after.fields}
        self.shifts = [self._shift(place) for place in repeat.places]
        self.carries = False

    def carried(self, doc: Commission) -> tuple[Commission, list[str]]:
        """Return a document with the places alike again as far as they can be, and words."""
        doc = self._choices(doc)
        odd = self._led(doc)
        if odd:
            return without(doc, lambda place: place in odd), [PARTED]
        doc = self._things(self._shapes(doc))
        many = f"Changed in all {len(self.repeat.places)} places."
        return doc, [many] if self.carries else []

    # choices

    def _choices(self, doc: Commission) -> Commission:
        """Return a document with the laying, colour and motif of the places alike."""
        new: dict[str, Field] = {}
        moves = [place.move for place in self.repeat.places]
        for same in zip(*(place.fields for place in self.repeat.places), strict=True):
            for name in ("laying", "colour", "motif"):
                lead = next((i for i in same if self._chosen(i, name)), None)
                if lead is None:
                    continue
                value = getattr(self.now[lead], name)
                back = moves[same.index(lead)].back()
                for i, move in zip(same, moves, strict=True):
                    f = new.get(i, self.now[i])
                    own = {"sketch_move": f.colour.sketch_move} if name == "colour" else {}
                    if own and f.colour.sketch_times != value.sketch_times:
                        own["sketch_move"] = move.after(back).after(value.sketch_move or STILL)
                    new[i] = replace(f, **{name: value}).with_choices(**own)
        self.carries |= any(new[i] != self.now[i] for i in new)
        return _with(doc, new)

    def _chosen(self, field_id: str, name: str) -> bool:
        """Return whether a choice was changed, wherever on the sketch it is coloured from."""
        was, now = (f[field_id].with_choices(sketch_move=None) for f in (self.was, self.now))
        return bool(getattr(was, name) != getattr(now, name))

    # shapes

    def _shift(self, place: Linked) -> tuple[float, float] | None:
        """Return by what a place was shifted as it is; None where its shape changed."""
        if all(self.was[i].outline == self.now[i].outline for i in place.fields):
            return 0.0, 0.0
        a, b = (_whole(f, place).centroid for f in (self.was, self.now))
        by = b.x - a.x, b.y - a.y
        move = Move(by) if max(map(abs, by)) > LINKED_MM else STILL
        same = all(lies_as(self.was[i].outline, self.now[i].outline, move) for i in place.fields)
        return move.origin_mm if same else None

    def _fit(self, first: Linked, other: Linked) -> Move | None:
        """Return the move from one place as it is now to another, None where they are unlike.

        Places are never turned, so that of what is alike in several ways none is taken for another.
        """
        move = other.move.after(first.move.back())
        a = shapely.transform(_whole(self.now, first).centroid, move.out)
        b = _whole(self.now, other).centroid
        if max(abs(b.x - a.x), abs(b.y - a.y)) > LINKED_MM:
            move = move.shifted(b.x - a.x, b.y - a.y)
        return move if is_alike(self.after, first, replace(other, move=move)) else None

    def _odd(self) -> list[Linked]:
        """Return the places whose shapes changed, unless all of them are still alike."""
        fits = (self._fit(self.repeat.places[0], place) for place in self.repeat.places)
        if all(fits):
            return []
        pairs = zip(self.repeat.places, self.shifts, strict=True)
        return [place for place, shift in pairs if shift is None]

    def _led(self, doc: Commission) -> list[Linked]:
        """Return the places that changed as the others cannot follow."""
        odd = self._odd()
        if not odd:
            return []
        follow = all(self._fit(odd[0], place) for place in odd) and self._may_lead(odd[0])
        return [] if follow and not any(any(s) for s in self.shifts if s) else odd

    def _may_lead(self, place: Linked) -> bool:
        """Return whether a place was given its shape, and not cut by something else."""
        before, after = self.before, self.after
        size = (before.width_mm, before.height_mm) == (after.width_mm, after.height_mm)
        if not size or self.was.keys() != self.now.keys():
            return False
        was, now = _whole(self.was, place), _whole(self.now, place)
        edge = whole_work(after).boundary
        if now.distance(edge) <= SNAP_MM < was.distance(edge):
            return False
        hair = SNAP_MM * was.length
        for f in after.fields:
            if f.id in place.fields or f.outline == self.was[f.id].outline:
                continue
            taken = shapely.intersection(polygon_of(f.outline), was).area
            if taken > hair and polygon_of(self.was[f.id].outline).distance(was) > 2 * SNAP_MM:
                return False
        return True

    def _shapes(self, doc: Commission) -> Commission:
        """Return a document with all places shaped as the one that changed, or moved as it was."""
        places, odd = self.repeat.places, self._odd()
        if not any(s is None or any(s) for s in self.shifts):
            return doc
        if not odd:
            return self._moved(doc, [self._fit(places[0], p) or p.move for p in places])
        lead, back = odd[0], odd[0].move.back()
        self.carries = True
        shapes = {
            i: shapely.transform(polygon_of(self.now[one].outline), place.move.after(back).out)
            for place in places
            if place not in odd
            for one, i in zip(lead.fields, place.fields, strict=True)
        }
        moves = [
            (self._fit(lead, place) or STILL).after(lead.move) if place in odd else place.move
            for place in places
        ]
        return self._moved(reshaped(doc, shapes).doc if shapes else doc, moves)

    def _moved(self, doc: Commission, moves: Sequence[Move]) -> Commission:
        """Return a document whose places lie where moves from (0, 0) carry them."""
        placed = [replace(p, move=m) for p, m in zip(self.repeat.places, moves, strict=True)]
        self.repeat = replace(self.repeat, places=seen_from(placed[0], placed))
        repeats = tuple(self.repeat if r.id == self.repeat.id else r for r in doc.repeats)
        fields = {f.id: f for f in doc.fields}
        new = {}
        for place in self.repeat.places[1:]:
            for one, i in zip(self.repeat.places[0].fields, place.fields, strict=True):
                if one in fields and i in fields:
                    seen = fields[one].colour.sketch_move or STILL
                    new[i] = fields[i].with_choices(sketch_move=place.move.after(seen))
        return _with(replace(doc, repeats=repeats), new)

    # lines, swaps, edits by hand

    def _things(self, doc: Commission) -> Commission:
        """Return a document with what the fields own alike in all places."""
        kinds: tuple[tuple[str, Spread], ...] = (
            ("flow_lines", spread_lines),
            ("swaps", spread_swaps),
            ("edits", spread_edits),
        )
        for name, spread in kinds:
            was, now = (_owned(getattr(d, name)) for d in (self.before, self.after))
            for k, _ in enumerate(self.repeat.places[0].fields):
                ids = [place.fields[k] for place in self.repeat.places]
                # what a place took along when it was moved is no change
                stood = [not (shift and any(shift)) for shift in self.shifts]
                new = [
                    stay and was.get(i) != now.get(i) for i, stay in zip(ids, stood, strict=True)
                ]
                if any(new):
                    doc = spread(doc, self.repeat, k, new.index(True))
                    self.carries |= not all(new)
        return doc


Spread = Callable[[Commission, Repeat, int, int], Commission]


def _whole(fields: dict[str, Field], place: Linked) -> MultiPolygon:
    return polygons_of(shapely.union_all([polygon_of(fields[i].outline) for i in place.fields]))


def _with(doc: Commission, new: dict[str, Field]) -> Commission:
    """Return a document with fields changed; the same one where none is."""
    if all(new.get(f.id, f) == f for f in doc.fields):
        return doc
    return replace(doc, fields=tuple(new.get(f.id, f) for f in doc.fields))


def _owned(items: Sequence[Any]) -> dict[str, list[Any]]:
    """Return what each field owns, in order."""
    out: dict[str, list[Any]] = {}
    for item in items:
        if item.field_id is not None:
            out.setdefault(item.field_id, []).append(item)
    return out
