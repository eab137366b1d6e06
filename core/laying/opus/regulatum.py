"""Regulatum: a true grid where all sides of the outline lie along two axes, else in courses.

The grid's lines run straight through every corner of the outline, so that joints are in line past
re-entrant corners. Between two such lines there are as many cells as fit best, all alike, so what
is left over is spread evenly; an outline drawn on the pitch is laid in whole squares. Where corners
lie so oddly that cells would be of unlike sizes, a field that is not to follow its border keeps the
pitch instead.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.laying.field.direction import long_axis
from core.laying.field.grid import Array
from core.laying.opus.coursed import lay_parts
from core.laying.spec import Setting
from core.pieces import Pieces
from core.quality import UNEVEN

Whole = NDArray[np.int64]

MERGED = 0.5  # pitches within which two corners are on one line
STRAY = 0.25  # joints that a cell or an arm may stray from the outline
OFF_AXIS = 0.03  # tangent of the angle by which a flow line may stray from its axis
MOST_BLOCKS = 1_000_000  # between lines through corners; what has more is a staircase
MOST_MOVED = 0.15  # pitches that a line is moved aside as by hand


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines across one axis: those through corners, and how many cells lie between them."""

    corner: Array  # mm, ascending
    count: Whole  # one less

    @property
    def first(self) -> Whole:
        """The number of the first cell after each line through a corner."""
        return np.concatenate([[0], np.cumsum(self.count)])

    @property
    def interval(self) -> Whole:
        """Between which two lines through corners each cell lies."""
        return np.repeat(np.arange(len(self.count)), self.count)

    def places(self) -> Array:
        """Return where all lines are, mm: one more than there are cells."""
        which = self.interval
        step = (np.diff(self.corner) / self.count)[which]
        inner = self.corner[which] + (np.arange(len(which)) - self.first[which]) * step
        return np.append(inner, self.corner[-1])


def lay_regulatum(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay each part of a field of sound outline in a grid, what is no grid in courses."""
    along_axes = _flow_along_axes(setting)

    def in_grid(part: Polygon) -> list[Pieces]:
        pieces = _in_grid(setting, part) if along_axes else None
        return [] if pieces is None else [pieces]

    return lay_parts(setting, in_grid, stop)


def _flow_along_axes(setting: Setting) -> bool:
    d = np.abs(_steps(setting.flow))
    return bool((d.min(1) <= OFF_AXIS * d.max(1)).all()) if len(d) else True


def _steps(lines: tuple[shapely.LineString, ...]) -> Array:
    """Return the steps from point to point of lines, (n, 2) mm."""
    steps = [np.diff(shapely.get_coordinates(line), axis=0) for line in lines]
    return np.concatenate(steps) if steps else np.empty((0, 2))


def _in_grid(setting: Setting, part: Polygon) -> Pieces | None:
    """Lay one part in a grid along the axes; None where its outline is not made of cells."""
    joint = setting.laying.joint_mm
    axes = _corner_lines(part, setting.pitch_mm, 2 * STRAY * joint)
    if axes is None:
        return None
    column, row, room = _cells(part, axes, setting)
    if not len(column):
        return None
    low, high = room[:, :2], room[:, 2:]
    if not fills(np.asarray(shapely.box(*room.T)), part, STRAY * joint):
        return None
    boxes = shapely.box(*np.concatenate([low + joint / 2, high - joint / 2], axis=1).T)
    size = shapely.area(boxes)
    if not setting.laying.follow_border and size.std() > UNEVEN * size.mean():
        return None
    along, across = column, row
    upright = _upright(setting, part)
    if upright:
        along, across = across, along
    order = np.lexsort((along, across))
    along, across = along[order], across[order]
    new = np.r_[True, (np.diff(across) != 0) | (np.diff(along) != 1)]
    course = np.cumsum(new) - 1
    piece = np.arange(len(order)) - np.flatnonzero(new)[course]
    angle = np.full(len(order), np.pi / 2 if upright else 0.0)
    return Pieces(np.asarray(boxes, dtype=object)[order], course, piece, angle)


def _corner_lines(part: Polygon, pitch: float, slant: float) -> tuple[Lines, Lines] | None:
    """Return the lines across x and across y; None where a side lies along neither axis."""
    rings = map(shapely.get_coordinates, shapely.get_rings(part))
    ends = np.concatenate([np.stack([c[:-1], c[1:]], axis=1) for c in rings])
    size = np.abs(ends[:, 1] - ends[:, 0])
    upright, level = (size <= slant).T
    if not (upright | level).all():
        return None
    out = []
    for k, side in ((0, upright & ~level), (1, level & ~upright)):
        at = _merged(ends[side, :, k].sum(1) / 2, size[side, 1 - k], MERGED * pitch)
        if len(at) < 2:
            return None
        out.append(Lines(at, best_number(np.diff(at) / pitch)))
    x, y = out
    return (x, y) if len(x.count) * len(y.count) <= MOST_BLOCKS else None


def best_number(pitches: Array) -> Whole:
    """Return how many pieces fit best into lengths, at least one.

    n give way to n + 1 at sqrt(n (n + 1)) pitches, where either misses by as much.
    """
    number = np.ceil(np.sqrt(pitches * pitches + 0.25) - 0.5 - 1e-6)
    return np.maximum(number, 1).astype(np.int64)


def _merged(at: Array, weight: Array, least: float) -> Array:
    """Return places in order, the nearest two made one as long as they are nearer than allowed."""
    at, which = np.unique(at, return_inverse=True)
    weight = np.asarray(np.bincount(which.ravel(), weight), dtype=np.float64)
    while len(at) > 1:
        k = int(np.diff(at).argmin())
        if at[k + 1] - at[k] >= least:
            break
        both = weight[k : k + 2].sum()
        at[k] += (at[k + 1] - at[k]) * (weight[k + 1] / both)
        weight[k] = both
        at, weight = np.delete(at, k + 1), np.delete(weight, k + 1)
    return at


def _cells(
    part: Polygon, axes: tuple[Lines, Lines], setting: Setting
) -> tuple[Whole, Whole, Array]:
    """Return the column and the row of every cell of a field and its sides: low x and y, high."""
    x, y = axes
    # a block lies between lines through corners, so it is in the field or not as a whole
    middle = [(a.corner[:-1] + a.corner[1:]) / 2 for a in axes]
    shapely.prepare(part)
    block = np.zeros((len(x.count) + 2, len(y.count) + 2), bool)
    block[1:-1, 1:-1] = shapely.contains_xy(part, *np.meshgrid(*middle, indexing="ij"))
    bx, by = np.nonzero(block[1:-1, 1:-1])
    n = x.count[bx] * y.count[by]
    own = np.repeat(np.arange(len(n)), n)
    bx, by = bx[own], by[own]
    k = np.arange(len(own)) - (np.cumsum(n) - n)[own]
    column, row = x.first[bx] + k % x.count[bx], y.first[by] + k // x.count[bx]
    places = [a.places() for a in axes]
    if setting.laying.width_variation > 0:
        across = 0 if _upright(setting, part) else 1
        places[across] = _varied(places[across], axes[across], setting)
    at = np.stack([places[0][column], places[1][row]], axis=1)
    to = np.stack([places[0][column + 1], places[1][row + 1]], axis=1)
    room = np.concatenate([at, to], axis=1)
    edge = shapely.boundary(part)
    shapely.prepare(edge)
    # which block a cell's neighbour is in, beyond the outline's ends the empty ones round about
    ix, iy = (np.pad(a.interval + 1, 1, constant_values=(0, len(a.count) + 1)) for a in axes)
    own_x, own_y = ix[column + 1], iy[row + 1]
    centre, half = (at + to) / 2, (to - at) / 2
    for side, way in enumerate(np.array([[-1, 0], [0, -1], [1, 0], [0, 1]])):
        next_x, next_y = ix[column + 1 + way[0]], iy[row + 1 + way[1]]
        on_line = np.flatnonzero((next_x != own_x) | (next_y != own_y))
        bare = ~block[next_x, next_y][on_line]
        # a side of the outline may lie off the line it was merged with
        reach = half[on_line] + np.where(bare, MERGED * setting.pitch_mm, 0.0)[:, None]
        here = centre[on_line]
        rays = shapely.linestrings(np.stack([here, here + reach * way], axis=1))
        off = shapely.distance(shapely.points(here), shapely.intersection(rays, edge))
        met = np.isfinite(off)
        axis = side % 2
        room[on_line[met], side] = here[met, axis] + way[axis] * off[met]
    return column, row, room


def _varied(places: Array, lines: Lines, setting: Setting) -> Array:
    """Move the lines between corners a little aside, so that courses are unlike as by hand."""
    pitch = setting.pitch_mm
    # a course lies between two lines, so its width varies by 1.41 of one line's spread
    spread = setting.laying.width_variation * pitch / 1.41
    aside = np.random.default_rng((setting.seed, 1)).normal(0.0, spread, len(places))
    aside[lines.first] = 0.0
    return places + np.clip(aside, -MOST_MOVED * pitch, MOST_MOVED * pitch)


def fills(rooms: NDArray[np.object_], part: Polygon, stray: float) -> bool:
    """Return whether shapes are all of a field and no more, to twice a stray."""
    wrong = shapely.symmetric_difference(shapely.union_all(rooms), part)
    return bool(shapely.buffer(wrong, -stray, join_style="mitre").is_empty)


def _upright(setting: Setting, part: Polygon) -> bool:
    """Return whether courses run along y: along the flow lines, or else the field's long way."""
    d = np.abs(_steps(setting.flow)).sum(0)
    if not len(setting.flow):
        d = np.abs(long_axis(replace(setting, outline=MultiPolygon([part]))))
    return bool(d[1] > d[0])
