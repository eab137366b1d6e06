"""The laying in courses, step by step: direction, phase, courses, cuts, territories, pieces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPoint, MultiPolygon, Polygon

from core.errors import Stopped
from core.geometry import unit
from core.laying.courses.bends import Bends
from core.laying.courses.trace import trace_courses
from core.laying.field.direction import Direction, direction_field
from core.laying.field.grid import Array
from core.laying.field.phase import Phase, phase_field
from core.laying.field.ribbon import ribbon_phase
from core.laying.opus.tries import Laid, best_try
from core.laying.pieces.border import cut_to
from core.laying.pieces.nip import line_angle, nipped
from core.laying.pieces.shape import blunted, shape_pieces
from core.laying.pieces.tips import sharp_corners
from core.laying.rooms.cuts import Ruler, Stretches, divide, evened, places, respaced
from core.laying.rooms.in_line import divide_in_line
from core.laying.rooms.pairs import evened_out
from core.laying.rooms.room import Rooms
from core.laying.rooms.split import split_rooms
from core.laying.rooms.strips import without_strips
from core.laying.rooms.territories import OUTSIDE, STRAIGHTEN, guards, territories
from core.laying.rooms.wedges import without_wedges
from core.laying.spec import Setting
from core.pieces import Pieces, together

SITES = 5  # Voronoi sites along a piece's stretch of its course
FEW_SITES = 3  # as many, where only the room is measured
EVENINGS = 6  # times cuts move between a large piece and a small one
HARDLY = 2  # rounds of straightening where the room is only guessed
MARGIN = 6.0  # pitches within which every site has all its neighbours
PASSES = 2  # times the courses are divided again by the room that was found


def lay_courses(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay a field of sound outline in courses; no pieces where it is too small for a course."""
    direction = direction_field(setting)
    _check(stop)

    def courses_of(width: float) -> list[Array]:
        """Return middle lines of courses as many pitches wide, each an ndarray (n, 2), mm."""
        wider = setting.wider(width)
        phase = ribbon_phase(wider) or phase_field(wider, direction, stop)
        courses = trace_courses(phase, setting)
        _check(stop)
        return _varied(courses, setting) if setting.laying.width_variation > 0 else courses

    courses = courses_of(1.0)
    if not courses:
        return Pieces.empty()
    if setting.laying.opus == "regulatum":
        joints = phase_field(setting, direction.square(), stop)
        laid = _laid_along(setting, courses, stop, joints)
    else:

        def lay(setting: Setting, courses: list[Array], bends: Bends | None) -> Laid:
            return _laid_along(setting, courses, stop, None, bends)

        laid = best_try(setting, courses, courses_of, lay, stop)
    return Pieces(*laid, flow_at(direction, laid[0]))


def lay_parts(
    setting: Setting, by_rule: Callable[[Polygon], list[Pieces]], stop: Callable[[], bool]
) -> Pieces:
    """Lay each part of a field by a rule of its own, those for which it has nothing in courses."""
    laid: list[Pieces] = []
    rest: list[Polygon] = []
    for part in setting.outline.geoms:
        pieces = by_rule(part)
        laid += pieces
        if not pieces:
            rest.append(part)
        _check(stop)
    if rest:
        laid.append(lay_courses(replace(setting, outline=MultiPolygon(rest)), stop))
    return together(laid)


def _laid_along(
    setting: Setting,
    courses: list[Array],
    stop: Callable[[], bool],
    joints: Phase | None = None,
    bends: Bends | None = None,
) -> Laid:
    rooms, ruler = rooms_along(setting, courses, stop, joints, bends)
    scale, joint = setting.scale, setting.laying.joint_mm
    if joints is None:
        tips = MultiPoint(sharp_corners(setting.outline, setting.pitch_mm)[0])
        rooms = without_wedges(rooms, ruler, tips, scale)
    _check(stop)
    rooms = split_rooms(rooms, scale, stop)
    _check(stop)
    if joints is None:
        rooms = evened_out(rooms, scale)
        _check(stop)
    polygons = shape_pieces(rooms.shape, joint)
    tessera = scale.tessera_of(rooms.shape)
    keep = shapely.area(polygons) > 0.05 * tessera**2
    polygons, owner = blunted(polygons[keep], tessera[keep]), rooms.owner[keep]
    if setting.flow:
        polygons = nipped(polygons, line_angle(setting, polygons), joint, stop)
    return _numbered(polygons, rooms.stretches, owner)


def rooms_along(
    setting: Setting,
    courses: list[Array],
    stop: Callable[[], bool],
    joints: Phase | None = None,
    bends: Bends | None = None,
) -> tuple[Rooms, Ruler]:
    """Return the rooms of the pieces along courses, and the ruler of their stretches.

    `bends` is where pieces are wanted shorter.
    """
    if not courses:
        return Rooms.none(), Ruler.of([])
    scale = setting.scale
    guard = guards(setting.outline, scale.coarsest_mm)
    ruler = Ruler.of(courses)

    def cells_of(
        ruler: Ruler, stretches: Stretches, each: int, straighten: int
    ) -> NDArray[np.object_]:
        sites = places(ruler, stretches, each)
        n = len(sites)
        cells = territories(
            np.concatenate([sites.reshape(-1, 2), guard]),
            np.concatenate([np.repeat(np.arange(n), each), np.full(len(guard), OUTSIDE)]),
            n,
            straighten,
            MARGIN * scale.coarsest_mm,
        )
        _check(stop)
        return cells

    def room_of(ruler: Ruler, stretches: Stretches, straighten: int) -> Array:
        cells = _clipped(cells_of(ruler, stretches, FEW_SITES, straighten), setting.outline)
        return np.nan_to_num(shapely.area(cells)) / pitch_at(ruler, stretches) ** 2

    def pitch_at(ruler: Ruler, stretches: Stretches) -> Array:
        return scale.pitch_at(places(ruler, stretches, 1)[:, 0])

    def lengths_at(xy: Array) -> Array:
        return np.ones(len(xy)) if bends is None else bends.at(xy)

    plain = np.ones(len(ruler.at))
    stretches = _divided(setting, ruler, plain, plain, joints)
    for _ in range(PASSES):
        room = room_of(ruler, stretches, HARDLY)
        ruler, room = respaced(ruler, stretches, room, pitch_at(ruler, stretches))
        if not len(ruler.at):
            return Rooms.none(), ruler
        want = lengths_at(ruler.xy)
        stretches = _divided(setting, ruler, room, want, joints)
    room = room_of(ruler, stretches, STRAIGHTEN)
    want = lengths_at(places(ruler, stretches, 1)[:, 0])
    pitch = pitch_at(ruler, stretches)
    stretches = evened(ruler, stretches, room, want, pitch, joints is not None, EVENINGS)

    def rooms_of(stretches: Stretches) -> Rooms:
        cells = cells_of(ruler, stretches, SITES, STRAIGHTEN)
        return Rooms(*_all_parts(cells, setting.outline), stretches)

    if joints is not None:
        return rooms_of(stretches), ruler
    return without_strips(rooms_of, stretches, scale), ruler


def _numbered(
    polygons: NDArray[np.object_], stretches: Stretches, owner: NDArray[np.int64]
) -> Laid:
    """Number the pieces along their courses again, since some were split or given up."""
    course = stretches.course[owner]
    order = np.lexsort((np.arange(len(owner)), stretches.piece[owner], course))
    course = course[order]
    piece = np.arange(len(order)) - np.searchsorted(course, course)
    return polygons[order], course, piece


def flow_at(direction: Direction, polygons: NDArray[np.object_]) -> Array:
    """Return the flow's angle at each piece's centre, shape (n,)."""
    return direction.angle(shapely.get_coordinates(shapely.centroid(polygons)))


def _divided(
    setting: Setting, ruler: Ruler, room: Array, want: Array, joints: Phase | None
) -> Stretches:
    if joints is not None:
        return divide_in_line(ruler, joints, setting.pitch_mm)
    pitch, own = setting.scale.pitch_at(ruler.xy), setting.pitch_mm
    return divide(ruler, room, want, pitch, own, setting.laying.variation, setting.seed)


def _check(stop: Callable[[], bool]) -> None:
    if stop():
        raise Stopped


def _varied(courses: list[Array], setting: Setting) -> list[Array]:
    """Move each course a little aside, so that courses are wider and narrower as by hand.

    A joint stands midway between two courses, so a course's width varies by half the difference
    of its neighbours' moves: by 0.71 of one move's spread.
    """
    rng = np.random.default_rng((setting.seed, 1))
    spread = setting.laying.width_variation * setting.pitch_mm / 0.71
    out = []
    for c, aside in zip(courses, rng.normal(0.0, spread, len(courses)), strict=True):
        limit = 0.3 * setting.pitch_mm
        ring = bool(np.hypot(*(c[0] - c[-1])) < 1e-9)
        ends = (c[1] - c[-2]) if ring else np.zeros(2)
        t = np.vstack([ends, c[2:] - c[:-2], ends]) if len(c) > 2 else np.diff(c, axis=0)[[0, 0]]
        if not ring:
            t[0], t[-1] = c[1] - c[0], c[-1] - c[-2]
        square = unit(np.stack([-t[:, 1], t[:, 0]], axis=1))
        out.append(c + np.clip(aside, -limit, limit) * square)
    return out


def _all_parts(
    cells: NDArray[np.object_], outline: MultiPolygon
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return every part of every territory that lies in the field, and whose it is."""
    owner = np.nonzero(~shapely.is_missing(cells))[0]
    whole = cells[owner]
    shapely.prepare(outline)
    inner = shapely.contains_properly(outline, whole)
    edge = whole[~inner]
    invalid = ~shapely.is_valid(edge)
    edge[invalid] = shapely.make_valid(edge[invalid])
    cut, which = cut_to(edge, outline)
    polygon = shapely.get_type_id(cut) == 3
    parts = np.r_[whole[inner], cut[polygon]]
    owner = np.r_[owner[inner], owner[~inner][which[polygon]]]
    order = np.argsort(owner, kind="stable")
    return parts[order], owner[order]


def _clipped(cells: NDArray[np.object_], outline: MultiPolygon) -> NDArray[np.object_]:
    """Return territories cut to the field, the largest part of each (None where nothing)."""
    out = np.full(len(cells), None, dtype=object)
    parts, owner = _all_parts(cells, outline)
    order = np.argsort(shapely.area(parts), kind="stable")
    out[owner[order]] = parts[order]
    return out
