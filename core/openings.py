"""Openings of the wall on a commission: put in, left open, taken away, and what is odd about them.

An opening is a mark on the drawing until the person leaves it open: then it takes the ground from
the fields beneath, as a field drawn over them would, and they are laid round it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import shapely
from shapely import MultiPolygon, Polygon

from core.bounds import shown
from core.commission import Commission, Point, Ring
from core.coverage import fill, polygons_of
from core.errors import EmblemaError
from core.fields import LEAST_MM2, areas, ground_left_open, whole_work, with_shapes
from core.geometry import SNAP_MM
from core.site import Opening

# of each kind the usual width and height, mm (common practice: a socket's plate is 80 to 90 mm)
USUAL_MM = {
    "socket": (80.0, 80.0),
    "switch": (80.0, 80.0),
    "window": (600.0, 800.0),
    "tap": (35.0, 35.0),
    "hood": (600.0, 400.0),
    "hob": (600.0, 100.0),
    "other": (100.0, 100.0),
}
# and between what sizes of a side nobody would ask again
SENSIBLE_MM = {
    "socket": (40.0, 500.0),
    "switch": (40.0, 500.0),
    "window": (150.0, 6000.0),
    "tap": (10.0, 200.0),
    "hood": (100.0, 2500.0),
    "hob": (30.0, 2500.0),
    "other": (5.0, 20_000.0),
}
ALL = 0.98  # of an opening: where a sheet holds less it is open to one side
ELECTRIC = ("socket", "switch", "hood", "hob")


def shape_of(opening: Opening) -> Polygon:
    """Return an opening's area, mm of the work."""
    return Polygon(opening.outline)


def box_of(doc: Commission, width: float, height: float, left: float, low: float) -> Ring:
    """Return a rectangle measured from the work's left and lower edge, as a ring, mm."""
    x0, y1 = round(left, 3), round(doc.height_mm - low, 3)
    x1, y0 = round(left + width, 3), round(doc.height_mm - low - height, 3)
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)


def measured(doc: Commission, ring: Ring) -> tuple[float, float, float, float]:
    """Return a ring's width, height, and distances from the work's left and lower edge, mm."""
    x0, y0, x1, y1 = Polygon(ring).bounds
    return x1 - x0, y1 - y0, x0, doc.height_mm - y1


def is_box(ring: Ring) -> bool:
    """Return whether a ring is an upright rectangle."""
    area = Polygon(ring)
    return bool(area.envelope.area - area.area <= SNAP_MM * area.length)


def lies_on_fields(doc: Commission, opening: Opening) -> bool:
    """Return whether there is ground of a field where an opening is."""
    shape = shape_of(opening)
    return any(a.intersects(shape) and a.intersection(shape).area > 1.0 for a in areas(doc))


def with_opening(
    doc: Commission, opening: Opening, leave_open: bool
) -> tuple[Commission, tuple[str, ...]]:
    """Return the commission with an opening, and notes for the user.

    Parameters
    ----------
    leave_open : bool
        Whether the fields beneath give up its ground.

    Raises
    ------
    EmblemaError
        It crosses itself or has no room.
    """
    check_opening(opening)
    doc = replace(doc, openings=(*doc.openings, opening))
    return left_open(doc, len(doc.openings) - 1) if leave_open else (doc, ())


def left_open(doc: Commission, k: int) -> tuple[Commission, tuple[str, ...]]:
    """Return the commission with the ground of its opening k taken from the fields, and notes.

    Raises
    ------
    EmblemaError
        A field would have nothing left: it is to be removed first, so that nothing goes unasked.
    """
    if not lies_on_fields(doc, doc.openings[k]):
        return doc, ()
    out, notes = ground_left_open(doc, polygons_of(shape_of(doc.openings[k])))
    gone = {f.id for f in doc.fields} - {f.id for f in out.fields}
    if gone:
        name = next(f.name for f in doc.fields if f.id in gone)
        raise EmblemaError(
            f"Field '{shown(name)}' lies wholly within '{shown(doc.openings[k].name)}'; remove the "
            "field first, or do not leave it open."
        )
    return out, notes


def without_opening(doc: Commission, k: int) -> Commission:
    """Return the commission without its opening k; ground that it took goes to what lies about it.

    To the field that it shares most border with, part by part; ground of other openings stays.
    """
    others = doc.openings[:k] + doc.openings[k + 1 :]
    shapes = areas(doc)
    hole = polygons_of(shapely.intersection(shape_of(doc.openings[k]), whole_work(doc)))
    taken = shapely.union_all([*shapes, *map(shape_of, others)])
    hole = polygons_of(shapely.difference(hole, taken))
    doc = replace(doc, openings=others)
    if hole.area < LEAST_MM2:
        return doc
    linked = doc.linked()
    stiff = [f.id in linked for f in doc.fields]
    return with_shapes(doc, fill(shapes, hole, [True] * len(shapes), stiff))


def changed_opening(
    doc: Commission, k: int, opening: Opening
) -> tuple[Commission, tuple[str, ...]]:
    """Return the commission with its opening k otherwise; open ground moves along with it."""
    was = doc.openings[k]
    check_opening(opening)
    if opening.outline == was.outline:
        said = tuple(opening if n == k else o for n, o in enumerate(doc.openings))
        return replace(doc, openings=said), ()
    is_open = not lies_on_fields(doc, was)
    out = without_opening(doc, k)
    # it keeps its place in the list
    out = replace(out, openings=(*out.openings[:k], opening, *out.openings[k:]))
    return left_open(out, k) if is_open else (out, ())


def check_opening(opening: Opening) -> None:
    """Raise EmblemaError where an opening's outline crosses itself or encloses nothing."""
    shape = shape_of(opening)
    if not shape.is_valid or shape.area < 1.0:
        raise EmblemaError(
            f"The outline of '{shown(opening.name)}' crosses itself or encloses nothing."
        )


def odd(doc: Commission) -> tuple[str, ...]:
    """Return in words what is odd about the wall and its openings; nothing of it is refused."""
    out = []
    wall = Polygon(doc.site) if doc.site else None
    if wall is not None and not shapely.covers(wall.buffer(SNAP_MM), whole_work(doc)):
        out.append("The work reaches beyond the wall.")
    for o in doc.openings:
        shape, name = shape_of(o), shown(o.name)
        if wall is not None and not shapely.covers(wall.buffer(SNAP_MM), shape):
            out.append(f"{name} does not lie within the wall.")
        if wall is None and not shape.intersects(whole_work(doc)):
            out.append(f"{name} lies beside the work.")
        least, most = SENSIBLE_MM[o.kind]
        x0, y0, x1, y1 = shape.bounds
        if min(x1 - x0, y1 - y0) < least or max(x1 - x0, y1 - y0) > most:
            out.append(f"{name} is {x1 - x0:.0f} x {y1 - y0:.0f} mm: rather odd for a {o.kind}.")
    for one, two in combinations(doc.openings, 2):
        if shape_of(one).intersection(shape_of(two)).area > 1.0:
            out.append(f"{shown(one.name)} and {shown(two.name)} overlap.")
    return tuple(out)


def gone_round(doc: Commission, room: MultiPolygon) -> tuple[Opening, ...]:
    """Return the openings that a sheet of some room goes all round, or lies over."""
    if not doc.openings:
        return ()
    filled = shapely.union_all([Polygon(p.exterior) for p in room.geoms])
    return tuple(o for o in doc.openings if goes_round(filled, shape_of(o)))


def goes_round(filled: shapely.Geometry, opening: Polygon) -> bool:
    """Return whether a room, its holes filled, holds an opening all but for a hair."""
    return bool(shapely.intersection(filled, opening).area > ALL * opening.area)


def corners(points: Sequence[Point]) -> Ring:
    """Return the rectangle between two corners as a ring, in tenths of a millimetre."""
    (a, b), (c, d) = points
    x0, x1 = sorted((round(a, 1), round(c, 1)))
    y0, y1 = sorted((round(b, 1), round(d, 1)))
    return (x0, y0), (x1, y0), (x1, y1), (x0, y1)
