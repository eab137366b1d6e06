"""The direction of the courses everywhere in a field, from its flow lines and its border.

A line has no front, so angles are carried doubled, as (cos 2t, sin 2t), and spread by
Laplace's equation from where they are known.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import sparse

from core.geometry import unit
from core.laying.exact import FINE, SOLVED, angles, factored, quantised
from core.laying.field.grid import Array, Grid, across, along
from core.laying.spec import Setting

YIELDS = 3.0  # pitches from a flow line within which the border lets it lead, and a shorter line
LINE_LEADS = 3.5  # pitches beside a flow line that it leads
LINE_SIDE = 2.0  # how strongly, beside it
CREASE = 0.15  # change of the doubled angle in one pitch beyond which the flow may turn sharply
CREASE_ROUNDS = 6


@dataclass(frozen=True, slots=True)
class Direction:
    """The direction of flow as doubled-angle cosine and sine on a grid."""

    grid: Grid
    cos2: Array
    sin2: Array

    def angle(self, xy: Array) -> Array:
        """Return the flow's angle at points (n, 2) mm, in (-pi/2, pi/2]."""
        c = self.grid.sample(self.cos2, xy)
        s = self.grid.sample(self.sin2, xy)
        return angles(s, c) / 2

    def square(self) -> Direction:
        """Return the direction square to this one everywhere."""
        return Direction(self.grid, -self.cos2, -self.sin2)


def _neighbours(
    inside: NDArray[np.bool_],
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return pairs of neighbouring inside nodes, numbered in order, right and down."""
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(np.count_nonzero(inside))
    i, j = [], []
    for a, b in ((number[:, :-1], number[:, 1:]), (number[:-1], number[1:])):
        both = (a >= 0) & (b >= 0)
        i.append(a[both])
        j.append(b[both])
    return np.concatenate(i), np.concatenate(j)


def _laplacian(
    i: NDArray[np.int64], j: NDArray[np.int64], weight: Array, n: int
) -> sparse.csr_array:
    """Return the weighted graph Laplacian of n nodes."""
    w = sparse.coo_array((np.r_[weight, weight], (np.r_[i, j], np.r_[j, i])), shape=(n, n)).tocsr()
    return sparse.csr_array(sparse.diags_array(w.sum(axis=1)) - w)


def direction_field(setting: Setting) -> Direction:
    """Spread the directions of flow lines and, where followed, of the border over the field."""
    pitch = setting.pitch_mm
    outline = setting.outline
    x0, y0, x1, y1 = outline.bounds
    step = max(0.8 * setting.scale.finest_mm, float(np.sqrt((x1 - x0) * (y1 - y0) / 90_000)))
    grid = Grid.over(outline, step, 2 * step)
    known = np.zeros((3, *grid.shape))  # weight, cos, sin
    flow = shapely.MultiLineString(setting.flow) if setting.flow else None
    if flow is not None:
        near = shapely.intersection(flow, outline.buffer(3 * pitch))
        xy, t = along(near, step / 2)
        known += 10.0 * _known(grid, xy, t, np.ones(len(xy)))
        reach = LINE_LEADS * pitch
        known += LINE_SIDE * _beside(grid, setting.flow, reach, lambda d: 1 - d / reach)
    if setting.hug:
        # every course runs parallel to the hugged border, as far as the field goes
        known += _beside(grid, setting.hug, None, np.ones_like)
    elif setting.laying.follow_border:
        xy, t = along(outline.boundary, step / 2)
        weight = np.ones(len(xy))
        if flow is not None and not flow.is_empty:
            far = shapely.distance(shapely.points(xy), flow) / (YIELDS * pitch)
            weight = np.clip(far, 0.0, 1.0) ** 2
        known += _known(grid, xy, t, weight)
    if known[0].sum() < 1e-9:
        x, y = long_axis(setting)
        return Direction(grid, np.full(grid.shape, x * x - y * y), np.full(grid.shape, 2 * x * y))
    wide = grid.inside(outline.buffer(1.5 * step))
    i, j = _neighbours(wide)
    weight = known[0][wide] + 1e-9
    rhs = np.stack([known[1][wide], known[2][wide]], axis=1)
    bend, order = np.ones(len(i)), across(wide)
    for turn in range(CREASE_ROUNDS + 1):
        lap = _laplacian(i, j, bend, len(weight))
        solved = factored(sparse.csr_array(lap + sparse.diags_array(weight)), order)(rhs)
        solved = quantised(solved, SOLVED)
        if turn < CREASE_ROUNDS:
            way = unit(solved)
            change = np.hypot(*(way[i] - way[j]).T) * pitch / step
            bend = np.minimum(1.0, CREASE / np.maximum(change, 1e-9))
    cos2, sin2 = np.zeros(grid.shape), np.zeros(grid.shape)
    cos2[wide], sin2[wide] = solved[:, 0], solved[:, 1]
    return Direction(grid, cos2, sin2)


def _beside(
    grid: Grid,
    guides: tuple[shapely.LineString, ...],
    reach_mm: float | None,
    weight_at: Callable[[Array], Array],
) -> Array:
    """Return what lines ask of the nodes beside them: to run parallel, by distance."""
    out = np.zeros((3, *grid.shape))
    lines = np.array(guides, dtype=object)
    x, y = grid.nodes()
    node = np.asarray(shapely.points(x.ravel(), y.ravel()), dtype=object)
    who, line = shapely.STRtree(lines).query_nearest(node, max_distance=reach_mm, all_matches=False)
    if not len(who):
        return out
    line = lines[line]
    at = shapely.line_locate_point(line, node[who])
    step = 0.5 * grid.step_mm
    a = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at - step, 0)))
    b = shapely.get_coordinates(shapely.line_interpolate_point(line, at + step))
    t = unit(b - a)
    weight = weight_at(np.asarray(shapely.distance(node[who], line)))
    # past an open line's ends nothing is asked
    within = (at > 1e-6) & (at < shapely.length(line) - 1e-6)
    weight = weight * (within | shapely.is_closed(line))
    c, s = t[:, 0] ** 2 - t[:, 1] ** 2, 2 * t[:, 0] * t[:, 1]
    out.reshape(3, -1)[:, who] = np.stack([weight, weight * c, weight * s])
    return out


def _known(grid: Grid, xy: Array, tangent: Array, weight: Array) -> Array:
    c = tangent[:, 0] ** 2 - tangent[:, 1] ** 2
    s = 2 * tangent[:, 0] * tangent[:, 1]
    return grid.splat(xy, np.stack([weight, weight * c, weight * s], axis=1))


def long_axis(setting: Setting) -> Array:
    """Return a unit vector (2,) along a clearly long field, else one level on the wall.

    A twin of a long field, turned, is laid alike; one that is not long, turned by other than a
    quarter, is laid in level courses again, as a person at the wall expects.
    """
    level = np.array([-setting.up[1], setting.up[0]])
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(setting.outline))
    if len(box) < 4:
        return level
    a, b = box[1] - box[0], box[2] - box[1]
    la, lb = np.hypot(*a), np.hypot(*b)
    if max(la, lb) < 1.3 * min(la, lb):
        return level
    return quantised((a if la > lb else b) / max(la, lb), FINE)
