"""Cells of given sizes: a power diagram, relaxed until each cell has the area it was given.

References
----------
Aurenhammer 1987, "Power diagrams", doi 10.1137/0216006 (cells by a convex hull one dimension up);
Balzer, Schlömer, Deussen 2009, "Capacity-constrained point distributions", doi
10.1145/1531326.1531392 (areas given to cells).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import ConvexHull
from shapely import MultiPolygon

from core.errors import Stopped
from core.laying.exact import angles, ways
from core.laying.field.grid import Array

ROUNDS = 28
ROUGH = 0.03  # of a cell's breadth by which the border is followed more coarsely at first
GAIN = 0.4  # of the missing area that a round adds to a cell's weight


def scattered(outline: MultiPolygon, n: int, rng: np.random.Generator) -> Array:
    """Return n points spread over a field, (n, 2) mm."""
    x0, y0, x1, y1 = outline.bounds
    shapely.prepare(outline)
    found = np.empty((0, 2))
    share = max(outline.area / max((x1 - x0) * (y1 - y0), 1e-9), 1e-3)
    while len(found) < n:
        some = rng.random((int(1.3 * n / share) + 16, 2)) * (x1 - x0, y1 - y0) + (x0, y0)
        inside = shapely.contains_xy(outline, some[:, 0], some[:, 1])
        found = np.concatenate([found, some[inside]])
    return found[:n]


def sized_cells(
    outline: MultiPolygon,
    sizes: Array,
    rng: np.random.Generator,
    stop: Callable[[], bool],
    rounds: int = ROUNDS,
) -> tuple[NDArray[np.object_], Array]:
    """Return cells that fill a field, of areas in proportion to `sizes`, and their middles.

    Where a cell reaches across what is no field, its largest part is its own; the others come
    after all cells.

    Parameters
    ----------
    sizes : ndarray (n,)

    Returns
    -------
    cells : ndarray of Polygon, shape (n + m,)
        Empty where a cell has found no room.
    sites : ndarray (n, 2)
    """
    n = len(sizes)
    target = sizes / sizes.sum() * outline.area
    sites = scattered(outline, n, rng)
    weight = np.zeros(n)
    rough = shapely.simplify(outline, ROUGH * np.sqrt(outline.area / n))
    shapely.prepare(outline)
    shapely.prepare(rough)
    cells = np.full(n, shapely.Polygon(), dtype=object)
    for turn in range(rounds + 1):
        if stop():
            raise Stopped
        field = outline if turn == rounds else rough
        cells, others = _clip(power_cells(sites, weight, outline), field)
        if turn == rounds:
            break
        area = shapely.area(cells)
        centre = shapely.get_coordinates(
            shapely.centroid(np.where(area > 0, cells, as_points(sites)))
        )
        sites = centre
        weight += GAIN * (target - area)
        weight -= weight.mean()
        # a weight beyond the neighbours' reach would swallow them
        limit = 0.9 * np.median(target)
        weight = weight.clip(-limit, limit)
    return np.concatenate([cells, others]), sites


def as_points(xy: Array) -> NDArray[np.object_]:
    """Return points as geometry, shape (n,)."""
    return np.asarray(shapely.points(xy), dtype=object)


def power_cells(sites: Array, weight: Array, outline: MultiPolygon) -> NDArray[np.object_]:
    """Return the power cell of each site, unclipped, as polygons (empty where there is none)."""
    n = len(sites)
    x0, y0, x1, y1 = outline.bounds
    far = 3 * max(x1 - x0, y1 - y0) + 1.0
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    turn = np.arange(12) * np.pi / 6
    ring = np.array([cx, cy]) + far * ways(turn)
    xy = np.concatenate([sites, ring]) - np.array([cx, cy])
    lift = (xy**2).sum(1) - np.concatenate([weight, np.zeros(len(ring))])
    hull = ConvexHull(np.column_stack([xy, lift]))
    lower = hull.equations[:, 2] < -1e-12
    normal = hull.equations[lower]
    vertex = -normal[:, :2] / (2 * normal[:, 2:3])
    tri = hull.simplices[lower]
    row, owner = np.repeat(np.arange(len(tri)), 3), tri.ravel()
    mine = owner < n
    row, owner = row[mine], owner[mine]
    d = vertex[row] - xy[owner]
    # about the cell's own middle, since a light site may lie outside its cell
    count = np.bincount(owner, minlength=n)
    middle = np.stack(
        [np.bincount(owner, vertex[row, k], n) / np.maximum(count, 1) for k in (0, 1)], axis=1
    )
    d = vertex[row] - middle[owner]
    order = np.lexsort((angles(d[:, 1], d[:, 0]), owner))
    owner, row = owner[order], row[order]
    good = count[owner] >= 3
    owner, row = owner[good], row[good]
    out = np.full(n, shapely.Polygon(), dtype=object)
    ids, start = np.unique(owner, return_index=True)
    if not len(ids):
        return out
    dense = np.searchsorted(ids, owner)
    points = np.concatenate([vertex[row], vertex[row][start]]) + np.array([cx, cy])
    index = np.concatenate([dense, np.arange(len(ids))])
    o = np.argsort(index, kind="stable")
    out[ids] = shapely.polygons(shapely.linearrings(points[o], indices=index[o]))
    return out


def _clip(
    cells: NDArray[np.object_], outline: MultiPolygon
) -> tuple[NDArray[np.object_], NDArray[np.object_]]:
    """Return cells cut to the field, the largest part of each, and all other parts."""
    out = cells.copy()
    edge = np.flatnonzero(~shapely.contains_properly(outline, cells) & ~shapely.is_empty(cells))
    whole = cells[edge]
    bad = ~shapely.is_valid(whole)
    whole[bad] = shapely.make_valid(whole[bad])
    parts, owner = shapely.get_parts(shapely.intersection(whole, outline), return_index=True)
    polygon = shapely.get_type_id(parts) == 3
    parts, owner = parts[polygon], owner[polygon]
    out[edge] = shapely.Polygon()
    order = np.lexsort((-shapely.area(parts), owner))
    parts, owner = parts[order], owner[order]
    first = np.r_[True, owner[1:] != owner[:-1]][: len(owner)]
    out[edge[owner[first]]] = parts[first]
    return out, parts[~first]
