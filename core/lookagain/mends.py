"""What to do about a finding: done by hand edits, tried first, and refused where it mends nothing.

A mend is a few edits of `core.handwork`. It is kept only if the finding is gone after it and no
finding lies about the place that did not lie there before.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from core.colour.fieldmatch import palette_of
from core.commission import Commission, Field, HandEdit, Point
from core.errors import Stopped
from core.geometry import polygon_of
from core.handwork import apply_edits
from core.lookagain.finding import Finding
from core.lookagain.grout import Ground, ground_about
from core.lookagain.rules import Look, some_of, tree_of
from core.pieces import LaidField, Layout, Pieces
from core.quantities import fitting
from core.sizes import scale_for

AROUND = 4.0  # pitches about a finding that are looked at again
APART = 6.0  # pitches between two mends tried on the same pieces
TURNS = 4
WORSE = 1.05  # times as far beyond its limit: a fault left standing must not grow
Edits = tuple[HandEdit, ...]


@dataclass(frozen=True, slots=True)
class Mended:
    """A mend as tried: the document with it if it was `done`, else the old one and the reason."""

    doc: Commission
    done: bool
    reason: str


def mend(doc: Commission, layout: Layout, finding: Finding) -> Mended:
    """Try the mends that suit a finding, and keep the first that mends it."""
    field = doc.field_by_id(finding.field_id)
    laid = layout.by_id(finding.field_id)
    part = _About(doc, field, laid, finding.at_mm)
    found = part.like(finding)
    if found is None:
        return Mended(doc, False, "it is no longer there")
    reason = "nothing that a hand could do here would make it better"
    for edits in _ways(part, found):
        after, refused = relaid(doc, part.field, part.laid, edits)
        if refused:
            reason = refused
            continue
        if part.better(after, found):
            return Mended(replace(doc, edits=(*doc.edits, *edits)), True, "")
        reason = "it would only change one fault for another"
    return Mended(doc, False, reason)


def mend_all(
    doc: Commission,
    layout: Layout,
    findings: Iterable[Finding],
    stop: Callable[[], bool] = lambda: False,
    progress: Callable[[float, str], None] = lambda share, what: None,
) -> tuple[Commission, int]:
    """Mend what can be mended, never two findings that lie close together in one turn.

    Returns the new document and how many were mended.
    """
    todo = list(findings)
    laid = {f.field_id: layout.by_id(f.field_id) for f in todo}
    count = 0
    for turn in range(TURNS):
        fields = dict.fromkeys(f.field_id for f in todo)
        before, mended = count, dict[str, list[Point]]()
        for k, field_id in enumerate(fields):
            progress((turn + k / len(fields)) / TURNS, "Mending")
            field, near = doc.field_by_id(field_id), Layout((laid[field_id],))
            start = len(doc.edits)
            done = mended[field_id] = list[Point]()
            for f in (f for f in todo if f.field_id == field_id):
                if stop():
                    raise Stopped
                if _near(f, done, APART * _pitch(field)):
                    continue
                tried = mend(doc, near, f)
                if tried.done:
                    doc, count = tried.doc, count + 1
                    done.append(f.at_mm)
            if done:
                laid[field_id] = relaid(doc, field, laid[field_id], doc.edits[start:])[0]
        if count == before or turn == TURNS - 1:
            break
        # what could not be mended is tried again only where something has changed
        todo = [
            f
            for field_id in fields
            if mended[field_id]
            for f in _look_near(doc, laid[field_id], mended[field_id])
        ]
    return doc, count


def _look_near(doc: Commission, laid: LaidField, places: list[Point]) -> list[Finding]:
    """Return the findings of a field that lie near some places."""
    field = doc.field_by_id(laid.field_id)
    far = APART * _pitch(field)
    spots = shapely.points(places)
    _, rows = tree_of(laid.pieces).query(spots, predicate="dwithin", distance=far)
    about = shapely.union_all(shapely.buffer(spots, far + _pitch(field), quad_segs=4))
    look = Look(doc, field, laid, np.unique(rows), lambda: ground_about(field, about))
    return [f for rule in look.rules for f in look.of(rule) if _near(f, places, far)]


@lru_cache(maxsize=8)
def _shape(field: Field) -> MultiPolygon:
    shape = polygon_of(field.outline)
    shapely.prepare(shape)
    return shape


def _pitch(field: Field) -> float:
    return field.laying.pitch_mm


def _close(a: Finding, b: Finding, far: float) -> bool:
    return math.dist(a.at_mm, b.at_mm) < far


def _near(f: Finding, places: list[Point], far: float) -> bool:
    return any(math.dist(f.at_mm, at) < far for at in places)


def _badness(f: Finding) -> float:
    """Return how far a finding lies beyond its limit, as a ratio, whichever way is worse."""
    by = max(f.measured, 1e-3) / max(f.limit, 1e-3)
    return max(by, 1 / by)


def _none_new(after: list[Finding], before: list[Finding], far: float) -> bool:
    """Say whether each finding was there before, one for one, and no better then."""
    left = list(before)
    for f in after:
        like = [
            g
            for g in left
            if g.rule == f.rule and _close(f, g, far) and _badness(f) <= WORSE * _badness(g)
        ]
        if not like:
            return False
        left.remove(min(like, key=lambda g: math.dist(f.at_mm, g.at_mm)))
    return True


def relaid(doc: Commission, field: Field, laid: LaidField, edits: Edits) -> tuple[LaidField, str]:
    """Return a field after some edits more, and why one could not be done, if one could not.

    Each piece keeps the colour wanted and the material of the piece that lay in its place.
    """
    from core.colour.difference import ciede2000
    from core.colour.wanted import stocked_lab

    scale = scale_for(doc, field)
    pieces, by_hand, dropped = apply_edits(field, laid.pieces, edits, doc.edits, scale)
    # most pieces are the very ones that were there
    row = {id(g): k for k, g in enumerate(laid.pieces.polygons)}
    places = np.array([row.get(id(g), -1) for g in pieces.polygons], np.int64)
    new = places < 0
    places[new] = tree_of(laid.pieces).nearest(shapely.point_on_surface(pieces.polygons[new]))
    wanted, stock, delta = laid.wanted_lab[places], laid.stock[places], laid.delta_e[places]
    codes = {m.code: k for k, m in enumerate(doc.materials)}
    hand = np.array([codes.get(c, -1) for c in by_hand], np.int64)
    changed = hand >= 0
    if changed.any():
        stock[changed] = hand[changed]
        delta[changed] = ciede2000(wanted[changed], stocked_lab(doc.materials)[hand[changed]])
    done = LaidField(field.id, pieces, wanted, stock, delta)
    return done, dropped[0].reason if dropped else ""


def _other_than(after: Pieces, before: Pieces) -> bool:
    """Say whether any piece lies otherwise."""
    was, now = ({id(g): g for g in p.polygons} for p in (before, after))
    gone = [was[k] for k in was.keys() - now.keys()]
    come = [now[k] for k in now.keys() - was.keys()]
    return set(gone) != set(come)


class _About:
    """The pieces about a finding, so that a mend is tried on a few instead of on all."""

    def __init__(self, doc: Commission, field: Field, laid: LaidField, at: Point) -> None:
        self.doc, self.at, self.pitch = doc, at, _pitch(field)
        # only as much of the field as can matter; the new border is out of sight
        seen = shapely.Point(at).buffer((AROUND + 2) * self.pitch, quad_segs=4)
        parts = shapely.get_parts([shapely.intersection(_shape(field), seen)])
        self.field = replace(
            field,
            outline=tuple(
                tuple(tuple(ring.coords[:-1]) for ring in (g.exterior, *g.interiors))
                for g in parts.tolist()
                if g.geom_type == "Polygon"
            ),
        )
        self.rows = np.sort(
            tree_of(laid.pieces).query(
                shapely.Point(at), predicate="dwithin", distance=AROUND * self.pitch
            )
        )
        self.pieces = some_of(laid.pieces, self.rows)
        self.laid = LaidField(
            field.id,
            self.pieces,
            laid.wanted_lab[self.rows],
            laid.stock[self.rows],
            laid.delta_e[self.rows],
        )
        # the only piece of a colour is a matter of the whole field, not of a few pieces
        self.local = replace(doc, limits=replace(doc.limits, lone_piece=False))
        self.before = self._look(self.laid)

    def _look(self, laid: LaidField) -> Look:
        # those farther out miss their neighbours
        near = np.hypot(*(laid.pieces.centre_mm - self.at).T) < (AROUND - 1.6) * self.pitch
        return Look(self.local, self.field, laid, np.flatnonzero(near), lambda: self._ground)

    @cached_property
    def _ground(self) -> tuple[Ground, ...]:
        disc = shapely.Point(self.at).buffer((AROUND - 1.2) * self.pitch, quad_segs=8)
        return ground_about(self.field, disc)

    def _of(self, look: Look, rule: str) -> list[Finding]:
        """Return findings near the place."""
        far = (AROUND - 1.6) * self.pitch
        return [f for f in look.of(rule) if math.dist(f.at_mm, self.at) < far]

    def like(self, finding: Finding) -> Finding | None:
        """Return the same finding among the few, or itself where only the whole field shows it."""
        if finding.rule == "lone colour":
            rows = np.flatnonzero(self.rows == finding.index)
            return replace(finding, index=int(rows[0])) if len(rows) else None
        if finding.rule in self.before.rules:
            for f in self._of(self.before, finding.rule):
                if _close(f, finding, 0.5 * self.pitch):
                    return f
        return None

    def better(self, laid: LaidField, mended: Finding) -> bool:
        """Say whether a finding is gone once the pieces are laid so, and none is there anew.

        Rule by rule, so that most mends that fail do so before the slower rules were looked at:
        the finding's own first, spots of grout last. Where every piece lies as before, only its
        colour can have been mended.
        """
        look = self._look(laid)
        rules = look.rules
        if not _other_than(laid.pieces, self.pieces):
            if mended.rule not in ("colour", "lone colour", "too large"):
                return False
            rules = ("too large", "colour")
        order = {mended.rule: -1, "grout pool": 1}
        for rule in sorted(rules, key=lambda rule: order.get(rule, 0)):
            after = self._of(look, rule)
            if after:
                before = [f for f in self._of(self.before, rule) if f is not mended]
                if not _none_new(after, before, 0.8 * self.pitch):
                    return False
        return True

    def inside(self, k: int) -> Point:
        """Return a place within a piece."""
        x, y = shapely.get_coordinates(shapely.point_on_surface(self.pieces.polygons[k]))[0]
        return float(x), float(y)

    def lift(self, k: int) -> HandEdit:
        """Take out this very piece: a mend is not for another that lies there some day."""
        c = shapely.get_coordinates(self.pieces.polygons[k])[:-1]
        ring = tuple((float(x), float(y)) for x, y in c)
        return HandEdit("lift", self.field.id, self.inside(k), outline=ring)

    def neighbours(self, k: int) -> list[int]:
        """Return the pieces next to one, the longest joint first."""
        p = self.pieces.polygons
        near = np.flatnonzero(shapely.dwithin(p, p[k], 1.7 * self.field.laying.joint_mm))
        wide = shapely.buffer(p[k], 1.4 * self.field.laying.joint_mm, join_style="mitre")
        near = near[near != k]
        shared = shapely.area(shapely.intersection(p[near], wide))
        return [int(n) for n in near[np.argsort(-shared)]]


def _ways(part: _About, f: Finding) -> Iterator[Edits]:
    """Give the edits to try, the likeliest first."""
    if f.rule in ("colour", "lone colour"):
        yield from _recolour(part, f)
    elif f.rule == "too large":
        yield from _recolour(part, f)
        yield from _nip(part, f.index)
    elif f.rule == "joints in line":
        yield from _move_joint(part, f)
    elif f.rule in ("too big", "not convex"):
        yield from _nip(part, f.index)
        yield from _trim(part, f.index)
    elif f.rule == "off the flow":
        yield from _turn(part, f.index)
    elif f.rule in ("wide joint", "grout pool"):
        yield from _grow(part, f)
    elif f.rule == "touching":
        yield from _trim(part, f.index)
    else:
        yield from _join(part, f.index)
        yield from _trim(part, f.index)


def _join(part: _About, k: int) -> Iterator[Edits]:
    for n in part.neighbours(k)[:5]:
        yield (HandEdit("join", part.field.id, part.inside(k), other_mm=part.inside(n)),)
    # or share the two out anew: one cut, moved
    for n in part.neighbours(k)[:3]:
        yield from _shared_out(part, k, n)


def _shared_out(part: _About, k: int, n: int) -> Iterator[Edits]:
    """Lift two neighbours and set two even ones in their room."""
    one, two = part.pieces.polygons[k], part.pieces.polygons[n]
    hull = shapely.convex_hull(shapely.union(one, two))
    a, b = shapely.get_coordinates(shapely.centroid(np.array([one, two])))
    yield from _halves(part, k, n, hull, b - a, 0.0)


def _halves(
    part: _About, k: int, n: int, hull: shapely.Geometry, along: np.ndarray, shift: float
) -> Iterator[Edits]:
    size = float(np.hypot(*along))
    if size < 1e-9:
        return
    t = along / size
    middle = shapely.get_coordinates(shapely.centroid(hull))[0] + shift * t
    across = np.array([-t[1], t[0]]) * 4 * part.pitch
    knife = shapely.buffer(
        LineString([middle - across, middle + across]),
        part.field.laying.joint_mm / 2,
        cap_style="flat",
    )
    halves = [g for g in shapely.get_parts(shapely.difference(hull, knife)) if g.area > 0]
    if len(halves) != 2:
        return
    yield (
        part.lift(k),
        part.lift(n),
        *(_set(part, g) for g in halves),
    )


def _set(part: _About, shape: shapely.Geometry) -> HandEdit:
    c = shapely.get_coordinates(shapely.get_exterior_ring(shape))[:-1]
    x, y = shapely.get_coordinates(shapely.point_on_surface(shape))[0]
    ring = tuple((float(a), float(b)) for a, b in c)
    return HandEdit("set", part.field.id, (float(x), float(y)), outline=ring)


def _move_joint(part: _About, f: Finding) -> Iterator[Edits]:
    k, n = f.index, f.other
    if k < 0 or n < 0:
        return
    hull = shapely.convex_hull(shapely.union(part.pieces.polygons[k], part.pieces.polygons[n]))
    c = shapely.get_coordinates(shapely.centroid(part.pieces.polygons[[k, n]]))
    for shift in (0.24, -0.24, 0.3, -0.3):
        yield from _halves(part, k, n, hull, c[1] - c[0], shift * part.pitch)


def _nip(part: _About, k: int) -> Iterator[Edits]:
    shape = part.pieces.polygons[k]
    c = shapely.get_coordinates(shapely.oriented_envelope(shape))
    one, two = c[1] - c[0], c[2] - c[1]
    long, short = (one, two) if np.hypot(*one) >= np.hypot(*two) else (two, one)
    middle = shapely.get_coordinates(shapely.centroid(shape))[0]
    for d in (short, long):
        a, b = middle - d, middle + d
        line = ((float(a[0]), float(a[1])), (float(b[0]), float(b[1])))
        yield (HandEdit("nip", part.field.id, part.inside(k), line=line),)
    # or let a smaller neighbour have some of it
    for n in part.neighbours(k)[:4]:
        if part.pieces.polygons[n].area < 0.9 * shape.area:
            yield from _shared_out(part, k, n)


def _trim(part: _About, k: int) -> Iterator[Edits]:
    """Lift the piece and set its convex hull again, trimmed to keep its joints."""
    hull = shapely.convex_hull(part.pieces.polygons[k])
    yield (part.lift(k), _set(part, hull))
    less = shapely.buffer(hull, -0.3 * part.field.laying.joint_mm, join_style="mitre")
    if isinstance(less, Polygon) and less.area > 0:
        yield (part.lift(k), _set(part, less))


def _turn(part: _About, k: int) -> Iterator[Edits]:
    shape = part.pieces.polygons[k]
    c = shapely.get_coordinates(shapely.oriented_envelope(shape))
    axis = math.atan2(c[1][1] - c[0][1], c[1][0] - c[0][0])
    off = axis - float(part.pieces.angle_rad[k])
    off = (off + math.pi / 4) % (math.pi / 2) - math.pi / 4
    for share in (1.0, 0.6):
        yield (HandEdit("shift", part.field.id, part.inside(k), turn_rad=-share * off),)
    # or square it up: a straight piece of its size, trimmed to fit
    angle = float(part.pieces.angle_rad[k])
    x, y = shapely.get_coordinates(shapely.centroid(shape))[0]
    half = math.sqrt(shape.area) / 2 * 1.08
    square = shapely.affinity.rotate(
        shapely.box(x - half, y - half, x + half, y + half), angle, use_radians=True
    )
    yield (part.lift(k), _set(part, square))


def _grow(part: _About, f: Finding) -> Iterator[Edits]:
    """Let a piece beside the bare place grow into it, or set a new one there."""
    p = part.pieces.polygons
    spot = shapely.Point(f.at_mm).buffer(1.2 * part.field.laying.joint_mm, quad_segs=4)
    order = np.argsort(shapely.distance(p, shapely.Point(f.at_mm)))[:4]
    first = [f.index] if f.index >= 0 else []
    for k in dict.fromkeys([*first, *(int(n) for n in order)]):
        wide = shapely.buffer(p[k], 0.9 * part.field.laying.joint_mm, join_style="mitre")
        hull = shapely.convex_hull(shapely.union(wide, spot) if f.index < 0 else wide)
        yield (part.lift(k), _set(part, hull))
    tessera = scale_for(part.doc, part.field).tessera_at(np.array([f.at_mm]))[0]
    size = 0.6 * float(tessera)
    yield (_set(part, shapely.Point(f.at_mm).buffer(size, quad_segs=2)),)


def _recolour(part: _About, f: Finding) -> Iterator[Edits]:
    from core.colour.difference import ciede2000
    from core.colour.wanted import stocked_lab

    if f.index < 0:
        return
    at = part.inside(f.index)
    near = [n for n in part.neighbours(f.index) if part.laid.stock[n] >= 0]
    codes = [part.doc.materials[part.laid.stock[n]].code for n in near]
    if f.rule == "lone colour":
        for code in dict.fromkeys(codes):
            yield (HandEdit("stock", part.field.id, at, material=code),)
        return
    materials = part.doc.materials
    off = ciede2000(part.laid.wanted_lab[f.index], stocked_lab(materials))
    fits = fitting(materials, part.doc.rates, part.laid.pieces.box_mm[[f.index]])[0]
    may = palette_of(part.doc, part.field)
    off = np.where(fits & [m.code in may for m in materials], off, np.inf)
    best = int(off.argmin())
    limit = part.doc.limits.colour_delta_e if f.rule == "too large" else f.limit
    if off[best] < limit:
        yield (HandEdit("stock", part.field.id, at, material=materials[best].code),)
