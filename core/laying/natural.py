"""Natural pieces: rounds and ovals (pebbles, small shells), and long tapered ones (tusk shells)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from core.errors import Stopped
from core.laying.cells import OUTSIDE, guards, territories
from core.laying.coursed import flow_at, ground_along
from core.laying.courses import trace_courses
from core.laying.cuts import Stretches
from core.laying.direction import Direction, direction_field
from core.laying.grid import Array
from core.laying.palladianum import graded_sizes
from core.laying.phase import phase_field
from core.laying.power import as_points, sized_cells
from core.laying.shape import shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

ROUNDS = 14  # of relaxation with the pieces drawn out along the flow
ROUNDED = 0.36  # of its least width that a pebble's corners are rounded by
TAPER = 0.3  # of its mean width that a tusk is wider at one end and narrower at the other
LEAST = 0.12  # squares of the tessera; a smaller piece is left to the grout


def lay_natural(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in rounds or in tapers, as the setting's `pieces` says."""
    return _tapers(setting, stop) if setting.pieces == "tapers" else _rounds(setting, stop)


def _rounds(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Pack ovals of graded sizes: first by a power diagram, then drawn out along the flow."""
    rng = np.random.default_rng(setting.seed)
    pitch = setting.pitch_mm
    n = max(1, round(setting.outline.area / pitch**2))
    sizes = graded_sizes(n, setting.spread, rng)
    cells, middle = sized_cells(setting.outline, sizes, rng, stop, rounds=18)
    direction = direction_field(setting)
    stray = rng.normal(0.0, 0.9, n) * (1 - setting.strictness)
    slender = max(setting.slenderness, 1.0)
    if slender > 1.02 and n > 2:
        guard = guards(setting.outline, pitch)
        shapely.prepare(setting.outline)
        reach = np.sqrt(sizes) * pitch * 0.5
        for _ in range(ROUNDS):
            if stop():
                raise Stopped
            angle = direction.angle(middle) + stray
            sites = _spread_out(middle, angle, reach, slender)
            each = sites.shape[1]
            ground = territories(
                np.concatenate([sites.reshape(-1, 2), guard]),
                np.r_[np.repeat(np.arange(n), each), np.full(len(guard), OUTSIDE)],
                n,
            )
            cells = _inside(ground, setting)
            area = shapely.area(cells)
            centre = shapely.get_coordinates(
                shapely.centroid(np.where(area > 0, cells, as_points(middle)))
            )
            middle = centre
    shapes = shape_pieces(cells, setting.joint_mm)
    shapes = _rounded(shapes)
    keep = shapely.area(shapes) > LEAST * setting.tessera_mm**2
    shapes = shapes[keep]
    k = len(shapes)
    return Pieces(shapes, np.full(k, -1), np.arange(k), flow_at(direction, shapes))


def _spread_out(middle: Array, angle: Array, reach: Array, slender: float) -> Array:
    """Return five sites a piece, in a cross drawn out along its axis, (n, 5, 2)."""
    long, short = 0.62 * np.sqrt(slender), 0.62 / np.sqrt(slender)
    t = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    n = np.stack([-t[:, 1], t[:, 0]], axis=1)
    r = reach[:, None]
    return np.stack(
        [
            middle,
            middle + long * r * t,
            middle - long * r * t,
            middle + short * r * n,
            middle - short * r * n,
        ],
        axis=1,
    )


def _inside(ground: NDArray[np.object_], setting: Setting) -> NDArray[np.object_]:
    """Return territories cut to the field, the largest part of each, empty where none."""
    out = np.full(len(ground), shapely.Polygon(), dtype=object)
    some = np.flatnonzero(~shapely.is_missing(ground))
    whole = ground[some]
    bad = ~shapely.is_valid(whole)
    whole[bad] = shapely.make_valid(whole[bad])
    edge = ~shapely.contains_properly(setting.outline, whole)
    out[some[~edge]] = whole[~edge]
    parts, owner = shapely.get_parts(
        shapely.intersection(whole[edge], setting.outline), return_index=True
    )
    polygon = shapely.get_type_id(parts) == 3
    parts, owner = parts[polygon], owner[polygon]
    order = np.argsort(shapely.area(parts), kind="stable")
    out[some[edge][owner[order]]] = parts[order]
    return out


def _rounded(shapes: NDArray[np.object_], share: float = ROUNDED) -> NDArray[np.object_]:
    """Round the corners of convex pieces; what is left lies within each."""
    some = np.flatnonzero(~shapely.is_empty(shapes))
    out = shapes.copy()
    if not len(some):
        return out
    boxes = shapely.oriented_envelope(shapes[some])
    whole = shapely.get_type_id(boxes) == 3
    some, boxes = some[whole], boxes[whole]
    c = shapely.get_coordinates(boxes).reshape(-1, 5, 2)
    width = np.minimum(np.hypot(*(c[:, 1] - c[:, 0]).T), np.hypot(*(c[:, 2] - c[:, 1]).T))
    radius = share * width
    less = shapely.buffer(shapes[some], -radius, quad_segs=3)
    round_ = shapely.buffer(less, radius, quad_segs=4)
    # a chord of the rounding stays within the piece; where nothing is left the piece stays as it is
    good = shapely.get_type_id(round_) == 3
    good &= shapely.area(round_) > 0.5 * shapely.area(shapes[some])
    out[some[good]] = round_[good]
    return out


def _tapers(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay long pieces side by side in rows across the flow, thick ends turn about."""
    long = setting.tessera_mm * max(setting.slenderness, 1.2)
    row = replace(setting, tessera_mm=long, laying="tessellatum", pieces="cut")
    direction = direction_field(setting)
    across = direction.square()
    phase = phase_field(replace(row, follow_border=False, flow=()), across, stop)
    courses = trace_courses(phase, row)
    if not courses:
        return Pieces.empty()
    ground, owner, stretches = ground_along(row, courses, stop, length=setting.pitch_mm)
    keep = shapely.area(ground) > LEAST * setting.tessera_mm * long
    ground, owner = ground[keep], owner[keep]
    shapes = shape_pieces(_slanted(ground, owner, stretches, across, setting), setting.joint_mm)
    shapes = _rounded(shapes, 0.25)
    some = _apart(shapes) & (shapely.area(shapes) > LEAST * setting.tessera_mm**2)
    return Pieces(
        shapes[some],
        stretches.course[owner[some]],
        stretches.piece[owner[some]],
        flow_at(direction, shapes[some]),
    )


def _apart(shapes: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Say which pieces stay when of two that overlap the smaller is lifted."""
    keep = ~shapely.is_empty(shapes)
    a, b = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    a, b = a[a < b], b[a < b]
    area = shapely.area(shapes)
    keep[np.where(area[a] < area[b], a, b)] = False
    return keep


def _slanted(
    ground: NDArray[np.object_],
    owner: NDArray[np.int64],
    stretches: Stretches,
    across: Direction,
    setting: Setting,
) -> NDArray[np.object_]:
    """Slant the joints between neighbours of a row, to and fro, so that each piece tapers."""
    course, piece = stretches.course[owner], stretches.piece[owner]
    order = np.lexsort((piece, course))
    ground, course, piece = ground[order], course[order], piece[order]
    n = len(ground)
    before = np.r_[False, (course[1:] == course[:-1]) & (piece[1:] == piece[:-1] + 1)]
    after = np.r_[before[1:], False]
    centre = shapely.get_coordinates(shapely.centroid(ground))
    angle = across.angle(centre)
    t = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    # the row's own sense, so that all slants of one row are told apart alike
    step = np.zeros((n, 2))
    step[:-1] = centre[1:] - centre[:-1]
    step[-1] = step[-2] if n > 1 else 1.0
    step[after == 0] = centre[after == 0] - centre[np.maximum(np.flatnonzero(after == 0) - 1, 0)]
    t *= np.where((t * step).sum(1) < 0, -1.0, 1.0)[:, None]
    up = np.stack([-t[:, 1], t[:, 0]], axis=1)
    far = 2.2 * setting.tessera_mm * max(setting.slenderness, 1.2)
    lean = TAPER * setting.tessera_mm / (setting.tessera_mm * max(setting.slenderness, 1.2))
    sign = np.where(piece % 2, 1.0, -1.0)
    # the joint after piece k leans by sign k, the one before it the other way
    middle = np.zeros((n, 2))
    middle[:-1] = (centre[:-1] + centre[1:]) / 2

    def edge(at: Array, of: Array, u: Array, v: Array) -> tuple[Array, Array]:
        lean_by = (of * lean * far)[:, None] * v
        return at - far * u - lean_by, at + far * u + lean_by

    right_low, right_high = edge(middle, sign, up, t)
    left_low, left_high = np.roll(right_low, 1, 0), np.roll(right_high, 1, 0)
    free_right = centre + far * t
    free_left = centre - far * t
    right_low[~after] = (free_right - far * up)[~after]
    right_high[~after] = (free_right + far * up)[~after]
    left_low[~before] = (free_left - far * up)[~before]
    left_high[~before] = (free_left + far * up)[~before]
    quads = shapely.polygons(np.stack([left_low, right_low, right_high, left_high], axis=1))
    prev = np.where(before, np.roll(ground, 1), ground)
    following = np.where(after, np.roll(ground, -1), ground)
    room = shapely.union_all(np.stack([prev, ground, following]), axis=0)
    cut = shapely.intersection(room, shapely.make_valid(quads))
    parts, index = shapely.get_parts(cut, return_index=True)
    polygon = shapely.get_type_id(parts) == 3
    parts, index = parts[polygon], index[polygon]
    out = np.full(n, shapely.Polygon(), dtype=object)
    by = np.argsort(shapely.area(parts), kind="stable")
    out[index[by]] = parts[by]
    back = np.empty(n, dtype=object)
    back[order] = out
    return back
