"""Work by hand on laid pieces: lift, set, nip, join, shift and turn, pin, lay in a material.

An edit is kept by its field and place. At every laying the edits are done again in the order in
which they were made; one whose place no longer exists, or that would make pieces touch, is left
out and named. A pinned piece is laid exactly as it was pinned: the others give way, and no other
edit moves it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate, translate

from core.commission import Commission, Field, HandEdit, Point, Ring
from core.coverage import polygons_of
from core.errors import EmblemaError
from core.geometry import polygon_of, polygons_in, unit
from core.laying.field.scale import Scale
from core.pieces import Layout, Pieces
from core.sizes import scale_for

TOUCH = 0.35  # joints; nearer than that is touching
SMALLEST = 0.2  # of a tessera's area: a smaller part cannot be held
LARGEST = 2.6  # tesserae's areas: more cannot be cut from one piece
CONVEX = 0.97  # of its hull that a joined piece must fill
SAME = 0.8  # of both pieces' common area: they are the same piece
INTO_PIN = 0.3  # of a piece that must be left for it to stay beside a pin


@dataclass(frozen=True, slots=True)
class Dropped:
    """A hand edit that could not be done again, and why."""

    edit: HandEdit
    reason: str


class _Refused(Exception):
    pass


class _Board:
    """A field's pieces while they are worked on."""

    def __init__(
        self, field: Field, pieces: Pieces, pins: Iterable[HandEdit], scale: Scale | None
    ) -> None:
        self.field = field
        self.scale = scale or Scale(field.laying.tessera_mm, field.laying.joint_mm)
        self.outline: MultiPolygon = polygon_of(field.outline)
        self.polygons: list[Polygon] = list(pieces.polygons)
        self.course, self.piece = list(pieces.course), list(pieces.piece)
        self.angle = list(pieces.angle_rad)
        self.material = [""] * len(pieces)
        self.alive = [True] * len(pieces)
        self.laid = len(pieces)
        self.tree = shapely.STRtree(pieces.polygons)
        self.pinned: set[int] = set()
        for pin in pins:
            if pin.kind == "pin" and pin.field_id == field.id:
                k = self.same(Polygon(pin.outline))
                self.pinned |= {k} if k is not None else set()

    def near(self, shape: shapely.Geometry, far: float) -> list[int]:
        """Return the living pieces within a distance of a shape, from left to right.

        Cuts done one after another depend on their order, which must not depend on how the
        pieces are numbered: that changes as edits are done.
        """
        found = [int(k) for k in self.tree.query(shape, predicate="dwithin", distance=far)]
        found += [
            k
            for k in range(self.laid, len(self.polygons))
            if shapely.dwithin(self.polygons[k], shape, far)
        ]
        return sorted((k for k in found if self.alive[k]), key=self._place)

    def _place(self, k: int) -> tuple[float, float]:
        c = self.polygons[k].centroid
        return c.x, c.y

    def same(self, shape: Polygon) -> int | None:
        """Return the living piece that is exactly this shape."""
        for k in self.near(shape, 0.0):
            if self.polygons[k].equals_exact(shape, 1e-9):
                return k
        return None

    def find(self, at: Point, free: bool = True) -> int:
        """Return the piece at a place, else the nearest within half a pitch.

        `free` asks for a piece that may be moved or cut, not a pinned one.
        """
        point = shapely.Point(at)
        half = self.field.laying.pitch_mm / 2
        best = [(shapely.distance(self.polygons[k], point), k) for k in self.near(point, half)]
        # a pin is never the next best: it was there when the edit was made, and not meant
        best = [(d, k) for d, k in best if d == 0 or k not in self.pinned]
        if not best:
            raise _Refused("there is no piece at its place any more")
        k = min(best)[1]
        if free and k in self.pinned:
            raise _Refused("the piece is pinned; take its pin out first")
        return k

    def check(self, shape: Polygon, instead_of: Iterable[int] = ()) -> None:
        """Refuse a shape that leaves the field, touches a neighbour, or cannot be cut."""
        f = self.field
        if not isinstance(shape, Polygon) or shape.is_empty or not shape.is_valid:
            raise _Refused("it would not be one whole piece")
        nominal = float(self.scale.tessera_of(np.array([shape], dtype=object))[0]) ** 2
        if shape.area < SMALLEST * nominal:
            raise _Refused("the piece would be too small to hold")
        before = max((self.polygons[k].area for k in instead_of), default=0.0)
        if shape.area > max(LARGEST * nominal, 1.01 * before):
            raise _Refused("the piece would be too large")
        if not self.outline.contains(shape):
            raise _Refused("it would lie outside its field")
        skip = set(instead_of)
        for k in self.near(shape, TOUCH * f.laying.joint_mm):
            if k not in skip:
                raise _Refused("it would touch its neighbour")

    def way(self, k: int) -> tuple[float, float]:
        """Return the direction in which a piece's course is numbered."""
        t = (float(np.cos(self.angle[k])), float(np.sin(self.angle[k])))
        here = self.polygons[k].centroid
        vote = 0.0
        for n in self.near(self.polygons[k], 2 * self.field.laying.joint_mm):
            if self.course[n] == self.course[k]:
                c = self.polygons[n].centroid
                along = (c.x - here.x) * t[0] + (c.y - here.y) * t[1]
                vote += float(np.sign(self.piece[n] - self.piece[k])) * along
        return t if vote >= 0 else (-t[0], -t[1])

    def like(self, shape: Polygon) -> int | None:
        """Return the piece, lifted or not, in whose place a shape lies, else the nearest."""
        near = sorted({int(k) for k in self.tree.query(shape)} | set(self.near(shape, 0.0)))
        near += [k for k in range(self.laid, len(self.polygons)) if not self.alive[k]]
        over = [(self.polygons[k].intersection(shape).area, k) for k in near]
        area, k = max(over, default=(0.0, -1))
        if area > 0:
            return k
        return int(self.tree.nearest(shape)) if self.laid else None

    def put(self, shape: Polygon, like: int | None, material: str = "") -> int:
        """Lay a piece down, numbered like another."""
        self.polygons.append(shape)
        self.course.append(self.course[like] if like is not None else -1)
        self.piece.append(self.piece[like] if like is not None else len(self.polygons))
        self.angle.append(self.angle[like] if like is not None else 0.0)
        self.material.append(material or (self.material[like] if like is not None else ""))
        self.alive.append(True)
        return len(self.polygons) - 1

    def lift(self, k: int) -> None:
        """Take a piece out."""
        self.alive[k] = False

    def result(self) -> tuple[Pieces, NDArray[np.object_]]:
        """Return the pieces as they now lie, numbered along their courses again."""
        keep = np.flatnonzero(self.alive)
        course = np.array(self.course, np.int64)[keep]
        piece = np.array(self.piece, np.int64)[keep]
        order = np.lexsort((keep, piece, course))
        keep, course = keep[order], course[order]
        polygons = np.empty(len(keep), object)
        polygons[:] = [self.polygons[k] for k in keep]
        number = np.arange(len(keep)) - np.searchsorted(course, course)
        pieces = Pieces(polygons, course, number, np.array(self.angle)[keep])
        return pieces, np.array(self.material, dtype=object)[keep]


def apply_edits(
    field: Field,
    pieces: Pieces,
    edits: Sequence[HandEdit],
    pins: Iterable[HandEdit] = (),
    scale: Scale | None = None,
) -> tuple[Pieces, NDArray[np.object_], tuple[Dropped, ...]]:
    """Do a field's edits on freshly laid pieces, in order.

    Parameters
    ----------
    pins : iterable of HandEdit
        Pins already among `pieces`, when these are not freshly laid.
    scale : Scale, optional
        How large pieces are meant to be, if not all of the field's tessera.

    Returns
    -------
    pieces : Pieces
    materials : ndarray of str, shape (n,)
        Codes laid by hand, "" for all others.
    dropped : tuple of Dropped
    """
    board = _Board(field, pieces, pins, scale)
    dropped = []
    for edit in edits:
        try:
            _DO[edit.kind](board, edit)
        except _Refused as e:
            dropped.append(Dropped(edit, str(e)))
    done, materials = board.result()
    return done, materials, tuple(dropped)


def _do_lift(b: _Board, e: HandEdit) -> None:
    k = b.find(e.at_mm)
    if e.outline:  # only this very piece was meant
        meant = polygons_of(Polygon(e.outline))
        common = b.polygons[k].intersection(meant).area
        if common < SAME * max(b.polygons[k].area, meant.area):
            raise _Refused("another piece lies there now")
    b.lift(k)


def _do_set(b: _Board, e: HandEdit) -> None:
    shape = _trimmed(b, Polygon(e.outline))
    b.check(shape)
    b.put(shape, b.like(shape), e.material)


def _trimmed(b: _Board, shape: Polygon) -> Polygon:
    """Cut a new piece back to keep a joint from its neighbours and half a one from the border."""
    joint = b.field.laying.joint_mm
    whole = polygons_of(shape)
    room = shapely.buffer(b.outline, -joint / 2 * 0.999, join_style="mitre", quad_segs=4)
    left = _largest(shapely.intersection(whole, room))
    for k in b.near(whole, joint):
        left = _cut_back(left, b.polygons[k], joint)
    if left.is_empty:
        raise _Refused("there is no room for it")
    return left


def _largest(shape: shapely.Geometry) -> Polygon:
    """Return the largest part of a shape without its holes; empty where it has no area."""
    best = max(polygons_in(shape), key=lambda g: float(g.area), default=Polygon())
    return Polygon(shapely.get_exterior_ring(best)) if best.area > 0 else Polygon()


def _cut_back(shape: Polygon, other: Polygon, joint: float) -> Polygon:
    """Cut a shape straight along one side of another, a joint away, so that most of it is left.

    A straight cut is what a nipper does, and keeps a convex piece convex.
    """
    if shape.is_empty or shape.distance(other) >= joint * (1 - 1e-9):
        return shape
    c = shapely.get_coordinates(shapely.normalize(shapely.convex_hull(other)))  # clockwise
    side = np.diff(c, axis=0)
    t = unit(side)
    out = np.stack([-t[:, 1], t[:, 0]], 1)
    far = 4 * (float(np.ptp(np.r_[c, shapely.get_coordinates(shape)], axis=0).max()) + joint)
    a = c[:-1] + joint * out
    halves = shapely.polygons(
        np.stack([a - far * t, a + far * t, a + far * (t + out), a + far * (out - t)], 1)
    )
    left = [_largest(shapely.intersection(g, shape)) for g in np.asarray(halves).tolist()]
    return max(left, key=lambda g: float(g.area))


def _do_nip(b: _Board, e: HandEdit) -> None:
    if e.line is None:
        raise _Refused("it has no line to cut along")
    k = b.find(e.at_mm)
    shape = b.polygons[k]
    (x0, y0), (x1, y1) = e.line
    d = np.array([x1 - x0, y1 - y0])
    if np.hypot(*d) < 1e-9:
        raise _Refused("the line has no length")
    far = d / np.hypot(*d) * 4 * np.sqrt(shape.area)
    knife = LineString([np.array([x0, y0]) - far, np.array([x1, y1]) + far])
    cut = shapely.difference(
        shape, shapely.buffer(knife, b.field.laying.joint_mm / 2, cap_style="flat", quad_segs=1)
    )
    parts = [g for g in shapely.get_parts(cut) if g.geom_type == "Polygon" and g.area > 0]
    if len(parts) != 2:
        raise _Refused("the line does not cross the piece from side to side")
    way = b.way(k)
    parts.sort(key=lambda g: g.centroid.x * way[0] + g.centroid.y * way[1])
    for p in parts:
        b.check(p, (k, *b.near(p, TOUCH * b.field.laying.joint_mm)))
    b.lift(k)
    for p in parts:
        b.put(p, k)


def _do_join(b: _Board, e: HandEdit) -> None:
    if e.other_mm is None:
        raise _Refused("it has no second piece")
    k, other = b.find(e.at_mm), b.find(e.other_mm)
    if k == other:
        raise _Refused("both places are now one piece")
    both = shapely.union(b.polygons[k], b.polygons[other])
    if shapely.distance(b.polygons[k], b.polygons[other]) > 2.5 * b.field.laying.joint_mm:
        raise _Refused("the two are not neighbours")
    shape = _largest(shapely.convex_hull(both))
    if both.area < (CONVEX - 0.12) * shape.area:
        raise _Refused("together they would not make a convex piece")
    # the hull must not push into neighbours: cut it back where it would
    for n in b.near(shape, b.field.laying.joint_mm * 0.9):
        if n not in (k, other):
            shape = _cut_back(shape, b.polygons[n], 0.9 * b.field.laying.joint_mm)
    shape = _largest(
        shapely.intersection(
            shape, shapely.buffer(b.outline, -0.45 * b.field.laying.joint_mm, join_style="mitre")
        )
    )
    if shape.area < CONVEX * shapely.convex_hull(shape).area:
        raise _Refused("together they would not make a convex piece")
    b.check(shape, (k, other))
    b.lift(k)
    b.lift(other)
    b.put(shape, k)


def _do_shift(b: _Board, e: HandEdit) -> None:
    k = b.find(e.at_mm)
    turned = rotate(b.polygons[k], e.turn_rad, origin="centroid", use_radians=True)
    shape = translate(turned, *e.move_mm)
    b.check(shape, (k,))
    b.lift(k)
    b.put(shape, k)


def _do_pin(b: _Board, e: HandEdit) -> None:
    shape = Polygon(e.outline)
    if not shape.is_valid or shape.area <= 0:
        raise _Refused("it would not be one whole piece")
    if not b.outline.contains(shape):
        raise _Refused("its place lies outside the field now")
    joint = b.field.laying.joint_mm
    k = b.same(shape)
    if k is None:
        near = b.near(shape, joint * 0.99)
        if any(n in b.pinned and b.polygons[n].intersects(shape) for n in near):
            raise _Refused("it would lie on another pinned piece")
        over = shapely.area(shapely.intersection(np.array([b.polygons[n] for n in near]), shape))
        like = near[int(over.argmax())] if len(near) and over.max() > 0 else None
        for n in near:
            if n in b.pinned:
                continue
            left = _cut_back(b.polygons[n], shape, joint)
            b.lift(n)
            if left.area >= INTO_PIN * b.polygons[n].area:
                b.put(left, n)
        k = b.put(shape, like, e.material)
    b.pinned.add(k)


def _do_stock(b: _Board, e: HandEdit) -> None:
    b.material[b.find(e.at_mm, free=False)] = e.material


_DO = {
    "lift": _do_lift,
    "set": _do_set,
    "nip": _do_nip,
    "join": _do_join,
    "shift": _do_shift,
    "pin": _do_pin,
    "stock": _do_stock,
}


# --- edits on the document --------------------------------------------------------------------


def _centre(layout: Layout, field_id: str, index: int) -> Point:
    x, y = shapely.get_coordinates(
        shapely.point_on_surface(layout.by_id(field_id).pieces.polygons[index])
    )[0]
    return float(x), float(y)


def _with(doc: Commission, layout: Layout, edit: HandEdit) -> Commission:
    """Add an edit, once it was tried on the layout as it lies."""
    field = doc.field_by_id(edit.field_id)
    laid = layout.by_id(edit.field_id).pieces
    board = _Board(field, laid, doc.edits, scale_for(doc, field))
    try:
        _DO[edit.kind](board, edit)
    except _Refused as e:
        raise EmblemaError(f"That cannot be done: {e}.") from e
    return replace(doc, edits=(*doc.edits, edit))


def _known(doc: Commission, material: str) -> None:
    if all(m.code != material for m in doc.materials):
        raise EmblemaError(f"There is no material '{material}' in this commission.")


def lift(doc: Commission, layout: Layout, field_id: str, index: int) -> Commission:
    """Take a piece out."""
    return _with(doc, layout, HandEdit("lift", field_id, _centre(layout, field_id, index)))


def set_piece(
    doc: Commission, layout: Layout, field_id: str, outline: Ring, material: str = ""
) -> Commission:
    """Set a new piece, trimmed to keep a joint from its neighbours.

    Raises
    ------
    EmblemaError
        There is no room for it, or no such material.
    """
    ring = tuple((float(x), float(y)) for x, y in outline)
    if len(set(ring)) < 3 or not np.isfinite(ring).all():
        raise EmblemaError("A piece needs three corners.")
    if material:
        _known(doc, material)
    shape = _largest(shapely.make_valid(Polygon(ring)))
    if shape.is_empty:
        raise EmblemaError("A piece needs some width.")
    x, y = shape.representative_point().coords[0]
    edit = HandEdit("set", field_id, (x, y), outline=ring, material=material)
    return _with(doc, layout, edit)


def nip(
    doc: Commission, layout: Layout, field_id: str, index: int, line: tuple[Point, Point]
) -> Commission:
    """Cut a piece in two along a line, a joint between the parts."""
    at = _centre(layout, field_id, index)
    return _with(doc, layout, HandEdit("nip", field_id, at, line=line))


def join(doc: Commission, layout: Layout, field_id: str, index: int, other: int) -> Commission:
    """Make one piece of two neighbours."""
    at, there = _centre(layout, field_id, index), _centre(layout, field_id, other)
    return _with(doc, layout, HandEdit("join", field_id, at, other_mm=there))


def shift(
    doc: Commission,
    layout: Layout,
    field_id: str,
    index: int,
    move_mm: Point = (0.0, 0.0),
    turn_rad: float = 0.0,
) -> Commission:
    """Move a piece and turn it about its middle."""
    edit = HandEdit(
        "shift",
        field_id,
        _centre(layout, field_id, index),
        move_mm=(float(move_mm[0]), float(move_mm[1])),
        turn_rad=float(turn_rad),
    )
    return _with(doc, layout, edit)


def pin(doc: Commission, layout: Layout, field_id: str, index: int) -> Commission:
    """Keep a piece as it lies at every new laying; the others are cut back to go around it."""
    laid = layout.by_id(field_id)
    c = shapely.get_coordinates(laid.pieces.polygons[index].exterior)[:-1]
    ring = tuple((float(x), float(y)) for x, y in c)
    edit = HandEdit("pin", field_id, _centre(layout, field_id, index), outline=ring)
    if any(e.kind == "pin" and e.field_id == field_id and e.outline == ring for e in doc.edits):
        return doc
    return replace(doc, edits=(*doc.edits, edit))


def unpin(doc: Commission, layout: Layout, field_id: str, index: int) -> Commission | None:
    """Take the pin out of a piece; None where it has none."""
    piece = layout.by_id(field_id).pieces.polygons[index]
    mine = [
        e
        for e in doc.edits
        if e.kind == "pin" and e.field_id == field_id and piece.contains(shapely.Point(e.at_mm))
    ]
    if not mine:
        return None
    return replace(doc, edits=tuple(e for e in doc.edits if e not in mine))


def lay_in(doc: Commission, layout: Layout, field_id: str, index: int, material: str) -> Commission:
    """Lay one piece in a material."""
    _known(doc, material)
    at = _centre(layout, field_id, index)
    kept = tuple(
        e for e in doc.edits if not (e.kind == "stock" and e.field_id == field_id and e.at_mm == at)
    )
    return replace(doc, edits=(*kept, HandEdit("stock", field_id, at, material=material)))


def undo_edit(doc: Commission, edit: HandEdit) -> Commission:
    """Take one edit back."""
    return replace(doc, edits=tuple(e for e in doc.edits if e is not edit and e != edit))
