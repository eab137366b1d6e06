"""A client's rounds of changes: more of a motif, fewer, bigger, smaller, elsewhere; another size.

What fields leave goes to their neighbours, what they cover gives way, and what is theirs goes with
them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon
from shapely.affinity import scale, translate

from core.colour.seen import onto_sketch
from core.commission import (
    Colour,
    Commission,
    Field,
    HandEdit,
    Linked,
    Outline,
    Point,
    Ring,
    remove_field,
)
from core.coverage import fill, polygons_of, shared_out
from core.errors import EmblemaError
from core.fields import (
    LEAST_MM2,
    Edited,
    areas,
    as_shaped,
    whole_work,
    with_shapes,
    without_orphans,
)
from core.geometry import SNAP_MM, outline_of, polygon_of
from core.laying.field.frame import Frame
from core.moves import STILL, Move

PLACE_DIGITS = 6  # of a millimetre, that the place of a moved edit is kept to
LEAST_GROWTH: Final = 0.02  # of what was asked for: less than that is none
ROUND: Final = 0.9  # of the work's edge: a border runs along it
FRAME_SHARE: Final = 0.6  # of what a border surrounds it covers less itself
BRIDGED: Final = (4.0, 12.0)  # tesserae either way, beneath what parts a field in two
NEAR_MM: Final = 1.0
UNSEEN_MM: Final = 0.2
RUNS_OVER_MM: Final = 2.0  # over a motif's outline, where its paint does
MOST_LOST: Final = 0.5  # of a field: one that is covered further is named

Points = NDArray[np.float64]


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
        move = c.sketch_move and c.sketch_move.scaled(by)
        return replace(c, sketch_move=move, unseen=outline(c.unseen))

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


def move_fields(doc: Commission, field_ids: Iterable[str], by_mm: Point) -> Edited:
    """Move fields with their lines, their part of the sketch and work by hand.

    What they leave goes to their neighbours, what they cover gives way.
    """
    chosen = set(field_ids)
    moving = _chosen(doc, chosen)
    shapes = {f.id: translate(polygon_of(f.outline), *by_mm) for f in moving}
    move = Move((float(by_mm[0]), float(by_mm[1])))
    made = _redrawn(doc, moving, shapes, move.out, lambda c: carried(c, move))
    edits = tuple(moved_edit(e, move) if e.field_id in chosen else e for e in made.doc.edits)
    return replace(made, doc=replace(made.doc, edits=edits))


def scale_fields(doc: Commission, field_ids: Iterable[str], by: float) -> Edited:
    """Make fields larger or smaller about their common middle, their part of the sketch with them.

    They cover what lies beneath them, that is earlier in the document, and stop at what lies on
    them and at a border round the work. What that leaves of a field is told as `Edited.lost`.

    Raises
    ------
    EmblemaError
        There is nothing beneath them to grow over.
    """
    if not 0.1 <= by <= 10:
        raise EmblemaError("A motif can be made 0.1 to 10 times as large at once.")
    chosen = set(field_ids)
    moving = _chosen(doc, chosen)
    before = shapely.union_all([polygon_of(f.outline) for f in moving])
    at = before.centroid
    shapes = _grown(doc, chosen, lambda g: scale(g, by, by, origin=at))
    now = shapely.union_all(list(shapes.values())).intersection(whole_work(doc))
    if by > 1 and now.area < before.area * (1 + LEAST_GROWTH * (by**2 - 1)):
        raise EmblemaError(_lowest(moving, "grow over", "smaller"))
    if by < 1 and not _has_ground(doc, moving, before):
        raise EmblemaError(_lowest(moving, "take its room", "bigger"))

    def out(xy: Points) -> Points:
        return (xy - (at.x, at.y)) * by + (at.x, at.y)

    def colour(c: Colour) -> Colour:
        move = (c.sketch_move or STILL).scaled(by).shifted(at.x * (1 - by), at.y * (1 - by))
        return replace(c, sketch_move=move, sketch_times=c.sketch_times * by)

    return _redrawn(doc, moving, shapes, out, colour)


def _lowest(moving: Sequence[Field], use: str, else_: str) -> str:
    names = ", ".join(f.name for f in moving[:3]) + (", ..." if len(moving) > 3 else "")
    return (
        f"There is nothing beneath {names} to {use}. List it higher by 'To the top', or make what "
        f"lies on it {else_}."
    )


def _has_ground(doc: Commission, moving: Sequence[Field], before: shapely.Geometry) -> bool:
    """Return whether something beneath fields takes what they leave, or nothing touches them."""
    top = max(map(doc.fields.index, moving))
    frames, around = frames_of(doc), False
    for k, f in enumerate(doc.fields):
        if f in moving or not shapely.dwithin(polygon_of(f.outline), before, SNAP_MM):
            continue
        if k < top and f not in frames:
            return True
        around = True
    return not around


def _grown(
    doc: Commission, chosen: Collection[str], change: Callable[[MultiPolygon], MultiPolygon]
) -> dict[str, MultiPolygon]:
    """Return the chosen fields' shapes changed, each without what lies on it or is a border."""
    frames = frames_of(doc)
    reach = shapely.envelope(
        shapely.union_all([change(polygon_of(f.outline)) for f in doc.fields if f.id in chosen])
    )
    taken = shapely.union_all([polygon_of(f.outline) for f in frames if f.id not in chosen])
    shapes = {}
    for f in reversed(doc.fields):
        shape = polygon_of(f.outline)
        if f.id in chosen:
            shape = polygons_of(shapely.difference(change(whole_outline(doc, f)), taken))
            shapes[f.id] = shape
        if shape.intersects(reach):
            taken = shapely.union(taken, shape)
    return shapes


def frames_of(doc: Commission) -> list[Field]:
    """Return the fields that run round the work along all its edges: borders, whatever their name.

    A ground does so too; a border leaves the middle of the work free.
    """
    work = whole_work(doc)
    middle = shapely.Point(doc.width_mm / 2, doc.height_mm / 2)
    out = []
    for f in doc.fields:
        shape = polygon_of(f.outline)
        if np.abs(np.subtract(shape.bounds, work.bounds)).max() > SNAP_MM:
            continue  # it does not reach all edges
        inside = shapely.union_all([shapely.Polygon(p.exterior) for p in shape.geoms])
        along = shapely.length(shapely.intersection(shape.boundary, work.boundary))
        if (
            along > ROUND * work.length
            and inside.contains(middle)
            and shape.area < FRAME_SHARE * inside.area
        ):
            out.append(f)
    return out


def whole_outline(doc: Commission, f: Field) -> MultiPolygon:
    """Return a field's shape as it was before what lies on it cut it in parts.

    Parts are joined beneath what parts them, where that is narrow.
    """
    shape = polygon_of(f.outline)
    if len(shape.geoms) < 2:
        return shape
    above = doc.fields[doc.fields.index(f) + 1 :]
    over = [g for g in (polygon_of(h.outline) for h in above) if g.intersects(shape)]
    hides = shapely.union_all(over)
    for reach in (r * f.laying.tessera_mm for r in BRIDGED):
        if not over or len(shape.geoms) < 2:
            break
        closed = shapely.buffer(shapely.buffer(shape, reach, quad_segs=4), -reach, quad_segs=4)
        hidden = shapely.intersection(shapely.difference(closed, shape), hides)
        near = shapely.buffer(np.array(shape.geoms, dtype=object), SNAP_MM)
        bridges = [
            shapely.buffer(p, SNAP_MM)
            for p in polygons_of(hidden).geoms
            if np.count_nonzero(shapely.intersects(near, p)) > 1
        ]
        shape = polygons_of(shapely.union_all([shape, *bridges]))
    return shape


def carried(colour: Colour, move: Move) -> Colour:
    """Return the colour of a field that was moved: its part of the sketch goes along."""
    return replace(colour, sketch_move=move.after(colour.sketch_move or STILL))


def _chosen(doc: Commission, chosen: Collection[str]) -> list[Field]:
    found = [f for f in doc.fields if f.id in chosen]
    if not found:
        raise EmblemaError("Choose a field first.")
    return found


def _redrawn(
    doc: Commission,
    moving: Sequence[Field],
    shapes: Mapping[str, shapely.Geometry],
    out: Callable[[Points], Points],
    colour: Callable[[Colour], Colour],
) -> Edited:
    """Return a document with fields reshaped, their lines carried and their colours changed."""
    made = reshaped(doc, shapes)
    ids = {f.id for f in moving}

    def line(points: tuple[Point, ...]) -> tuple[Point, ...]:
        return tuple((float(x), float(y)) for x, y in out(np.asarray(points, float)))

    lines = tuple(
        replace(w, points=line(w.points)) if w.field_id in ids else w for w in made.doc.flow_lines
    )
    fields = made.doc.fields
    if doc.sketch is not None:
        fields = tuple(replace(f, colour=colour(f.colour)) if f.id in ids else f for f in fields)
    return replace(made, doc=replace(made.doc, flow_lines=lines, fields=fields))


def reshaped(doc: Commission, shapes: Mapping[str, shapely.Geometry]) -> Edited:
    """Give fields new shapes; what they leave goes to neighbours, what they cover gives way.

    What lies beneath takes what is left, each place by the nearest, and there its pieces take
    their colour from those around. Linked fields (see `core.repeats`) take only what no other can.

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
    gap = polygons_of(shapely.difference(before, shapely.union_all(new)))
    linked = doc.linked()
    beneath, rest = _taken(doc, still, gap, max(map(doc.fields.index, moving)))
    may_grow = [False] * len(new) + [True] * len(still)
    knitted = fill([*new, *beneath], rest, may_grow, [f.id in linked for f in (*moving, *still)])
    fields, gone = as_shaped((*moving, *still), knitted)
    if doc.sketch is not None:
        fields = tuple(_not_seeing(f, gap, moving) if f.id not in shapes else f for f in fields)
    order = {f.id: k for k, f in enumerate(doc.fields)}
    out = replace(doc, fields=tuple(sorted(fields, key=lambda f: order[f.id])))
    return Edited(without_orphans(out), moving[0].id, lost=(*gone, *_mostly_gone(still, fields)))


def _taken(
    doc: Commission, still: Sequence[Field], gap: MultiPolygon, top: int
) -> tuple[list[MultiPolygon], MultiPolygon]:
    """Return the shapes of fields with their shares of a gap, and what of it nobody took."""
    shapes = [polygon_of(f.outline) for f in still]
    if gap.is_empty:
        return shapes, gap
    frames, linked = frames_of(doc), doc.linked()
    below = {f.id for f in doc.fields[:top] if f not in frames} - linked
    shares = shared_out(shapes, gap, [f.id in below for f in still], NEAR_MM)
    grown = [
        polygons_of(shapely.union(a, s)) if not s.is_empty else a
        for a, s in zip(shapes, shares, strict=True)
    ]
    return grown, polygons_of(shapely.difference(gap, shapely.union_all(shares)))


def _not_seeing(f: Field, gap: MultiPolygon, gone: Sequence[Field]) -> Field:
    """Return a field, told where in its part of the sketch it shows what has left its place."""
    mine = shapely.intersection(polygon_of(f.outline), gap)
    if mine.area < LEAST_MM2:
        return f
    shown = [onto_sketch(g.colour, polygon_of(g.outline)) for g in gone]
    lies = shapely.intersection(onto_sketch(f.colour, mine), shapely.union_all(shown))
    if lies.area < LEAST_MM2:
        return f
    run_over = shapely.buffer(polygons_of(lies), RUNS_OVER_MM, join_style="mitre")
    whole = shapely.union(run_over.simplify(UNSEEN_MM), polygon_of(f.colour.unseen))
    return f.with_choices(unseen=outline_of(polygons_of(whole)))


def _mostly_gone(before: Sequence[Field], after: Sequence[Field]) -> tuple[str, ...]:
    was = {f.id: polygon_of(f.outline).area for f in before}
    return tuple(
        f.name
        for f in after
        if f.id in was and polygon_of(f.outline).area < (1 - MOST_LOST) * was[f.id]
    )


def remove_fields(doc: Commission, field_ids: Iterable[str]) -> Commission:
    """Take fields out; their room goes to what lies beneath, each place to the nearest.

    Where nothing beneath touches it, it goes to the neighbours they share most border with.
    """
    chosen = set(field_ids)
    going = [f for f in doc.fields if f.id in chosen]
    out = doc
    for f in going:
        out = remove_field(out, f.id)
    if not out.fields or not going:
        return out
    gap = polygons_of(shapely.union_all([polygon_of(f.outline) for f in going]))
    shapes, rest = _taken(doc, out.fields, gap, max(map(doc.fields.index, going)))
    linked, may_grow = doc.linked(), [True] * len(shapes)
    out = with_shapes(out, fill(shapes, rest, may_grow, [f.id in linked for f in out.fields]))
    if doc.sketch is None:
        return out
    return replace(out, fields=tuple(_not_seeing(f, gap, going) for f in out.fields))


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
