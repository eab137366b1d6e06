"""How many courses go into a narrow gap: a whole number by its width, their height stretched.

Between two borders n courses give way to n + 1 where the width is sqrt(n (n + 1)) pitches: there
a course's height misses the pitch by as much either way. Flow lines have no say in it.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from core.geometry import cross, stretches
from core.laying.field.grid import Array, Grid
from core.laying.spec import Setting
from core.quality import HIGH

MOST = 4.6  # pitches; a wider gap takes up what is left over by itself
RUN = 3.0  # pitches along the flow for which a number of courses must hold
LEAST = 2.0  # pitches across that a gap must be long
SIDEWAYS, ALONG = 0.75, 0.94  # cosines between a gap's side and the flow: not, and wholly, a gap


def wave_numbers(setting: Setting, grid: Grid, normal: Array) -> Array:
    """Return by how much the phase turns in a mm across the flow at each node, radians.

    Parameters
    ----------
    normal : ndarray (2, rows, columns)
        Unit normals of the flow at the nodes.
    """
    pitch, scale = setting.pitch_mm, setting.scale
    x, y = grid.nodes()
    nodes = np.stack([x.ravel(), y.ravel()], axis=1)
    out = (2 * np.pi / scale.pitch_at(nodes)).reshape(grid.shape)
    if setting.laying.opus == "regulatum":
        return out
    inside = grid.inside(setting.outline)
    near = _near(setting, grid, inside)
    r, c = np.nonzero(near)
    if not len(r):
        return out
    xy = np.stack([x[r, c], y[r, c]], axis=1)
    wide, count, sure = (np.zeros(grid.shape) for _ in range(3))
    wide[r, c], count[r, c], sure[r, c] = _gaps(setting, xy, normal[:, r, c].T)
    if not sure.any():
        return out
    # past the border, and where no gap is, as in the next gap
    count = count[_nearest(sure > 0)]
    sure, wide = sure[_nearest(inside)], wide[_nearest(inside)]
    # a course begins for a good few pieces or not at all
    run = _disc(RUN * pitch / grid.step_mm / 2)
    count = ndimage.grey_closing(ndimage.grey_opening(count, footprint=run), footprint=run)
    sure = ndimage.grey_opening(sure, footprint=_disc(LEAST * pitch / grid.step_mm / 2))
    height = np.clip(wide / np.maximum(count, 1.0), *HIGH)
    return np.asarray(out * (1 + sure * (1 / height - 1)))


def _nearest(known: NDArray[np.bool_]) -> tuple[NDArray[np.int64], ...]:
    """Return for every node the row and column of the nearest that is known."""
    return tuple(
        ndimage.distance_transform_edt(~known, return_distances=False, return_indices=True)
    )


def _disc(radius: float) -> NDArray[np.bool_]:
    n = int(radius)
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    return np.asarray(x**2 + y**2 <= radius**2 + 0.5)


def _near(setting: Setting, grid: Grid, inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the nodes that may stand in a gap."""
    x, y = grid.nodes()
    scale, xy = setting.scale, np.stack([x[inside], y[inside]], axis=1)
    points = np.asarray(shapely.points(xy), dtype=object)
    edge = setting.outline.boundary
    shapely.prepare(edge)
    out = np.zeros(grid.shape, bool)
    out[inside] = shapely.distance(points, edge) <= MOST * scale.pitch_at(xy)
    return out


def _gaps(setting: Setting, xy: Array, normal: Array) -> tuple[Array, Array, Array]:
    """Return the width of the gap at each point, in pitches, how many courses it takes, and how
    surely a gap is there, 0 to 1.
    """
    scale = setting.scale
    reach = (MOST * scale.pitch_at(xy))[:, None]
    sides = stretches(setting.outline.boundary)
    a, b = np.moveaxis(sides, 1, 0)
    rays = shapely.linestrings(np.stack([xy - reach * normal, xy + reach * normal], axis=1))
    lines = np.asarray(shapely.linestrings(sides), dtype=object)
    ray, side = shapely.STRtree(lines).query(rays, predicate="intersects")
    d = b[side] - a[side]
    turn = cross(normal[ray], d)
    from_ray = a[side] - xy[ray]
    size = np.hypot(*d.T)
    along = np.abs(turn) / np.maximum(size, 1e-12)  # cosine between the side and the flow
    met = along > 1e-6
    ray, side, along = ray[met], side[met], along[met]
    t = (cross(from_ray, d) / np.where(met, turn, 1.0))[met]
    ends = np.stack([xy, xy])  # of the gap, ahead and behind
    wide = np.zeros(len(xy))
    sure = np.ones(len(xy))
    for ahead in (True, False):
        mine = np.flatnonzero(t >= 0 if ahead else t < 0)
        order = mine[np.lexsort((np.abs(t[mine]), ray[mine]))]
        first = order[np.r_[True, ray[order][1:] != ray[order][:-1]]] if len(order) else order
        hit = np.zeros(len(xy), bool)
        hit[ray[first]] = True
        wide[ray[first]] += np.abs(t[first])
        ends[int(ahead), ray[first]] += t[first, None] * normal[ray[first]]
        fit = np.clip((along[first] - SIDEWAYS) / (ALONG - SIDEWAYS), 0.0, 1.0)
        sure[ray[first]] = np.minimum(sure[ray[first]], fit)
        sure[~hit] = 0.0
    wide /= scale.pitch_between(*ends)
    sure[(wide > MOST) | (wide < 0.3)] = 0.0
    # n to n + 1 at sqrt(n (n + 1)): the root of n^2 + n = wide^2
    count = np.ceil(np.sqrt(wide**2 + 0.25) - 0.5 - 1e-9)
    return wide, np.maximum(count, 1.0), sure
