"""Palladianum: irregular pieces like broken stone, of sizes by a chosen spread."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from core.laying.power import sized_cells
from core.laying.shape import shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

SHORT = 0.24  # pitches below which a side is closed up to a corner
LEAST = 0.1  # squares of the pitch; a smaller piece is left to the grout


def lay_palladianum(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in irregular convex pieces.

    The pieces' areas have the setting's `spread` (standard deviation over mean) about the square
    of the pitch.
    """
    rng = np.random.default_rng(setting.seed)
    pitch = setting.pitch_mm
    n = max(1, round(setting.outline.area / pitch**2))
    sizes = graded_sizes(n, setting.spread, rng)
    cells, _ = sized_cells(setting.outline, sizes, rng, stop)
    cells = closed_up(cells, SHORT * pitch, setting.outline)
    pieces = shape_pieces(cells, setting.joint_mm)
    pieces = pieces[shapely.area(pieces) > LEAST * setting.tessera_mm**2]
    k = len(pieces)
    return Pieces(pieces, np.full(k, -1), np.arange(k), np.zeros(k))


def graded_sizes(n: int, spread: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Return n sizes of mean 1, log-normal with a given standard deviation over mean."""
    sigma = np.sqrt(np.log1p(spread**2))
    out: NDArray[np.float64] = np.exp(rng.normal(0.0, sigma, n).clip(-2.2 * sigma, 2.2 * sigma))
    out /= out.mean()
    return out


def closed_up(
    cells: NDArray[np.object_], short_mm: float, outline: MultiPolygon
) -> NDArray[np.object_]:
    """Close short sides up to one corner, for all cells that meet there alike.

    Corners on the border stay, so that the field keeps its outline.
    """
    some = np.flatnonzero(~shapely.is_empty(cells))
    if not len(some):
        return cells
    rings = shapely.get_exterior_ring(cells[some])
    xy, owner = shapely.get_coordinates(rings, return_index=True)
    open_ring = np.r_[owner[1:] == owner[:-1], False]
    xy, owner = xy[open_ring], owner[open_ring]
    key, where = np.unique(np.round(xy, 6), axis=0, return_inverse=True)
    where = where.reshape(-1)
    first = np.searchsorted(owner, np.arange(len(some)))
    after = np.arange(len(xy)) + 1
    after[np.r_[first[1:], len(xy)] - 1] = first
    a, b = where, where[after]
    length = np.hypot(*(key[a] - key[b]).T)
    # shortest first, and no corner moved twice: a chain of short sides must not collapse
    order = np.argsort(length, kind="stable")
    moved = np.zeros(len(key), bool)
    border = np.asarray(shapely.distance(shapely.points(key), outline.boundary) < 1e-5)
    at = key.copy()
    target = np.arange(len(key))
    for k in order[length[order] < short_mm]:
        i, j = (a[k], b[k]) if border[a[k]] else (b[k], a[k])
        if i != j and not (moved[i] or moved[j] or border[j]):
            moved[i] = moved[j] = True
            at[i] = at[j] = key[i] if border[i] else (key[i] + key[j]) / 2
            target[j] = i
    new = at[where]
    same = target[where] == target[where[after]]  # two corners become one: keep the first
    keep = ~same
    count = np.bincount(owner[keep], minlength=len(some))
    out = cells.copy()
    good = count[owner] >= 3
    use = keep & good
    ids, start = np.unique(owner[use], return_index=True)
    dense = np.searchsorted(ids, owner[use])
    points = np.concatenate([new[use], new[use][start]])
    index = np.concatenate([dense, np.arange(len(ids))])
    o = np.argsort(index, kind="stable")
    made = np.asarray(shapely.polygons(shapely.linearrings(points[o], indices=index[o])), object)
    sound = shapely.is_valid(made) & (shapely.area(made) > 0)
    out[some[ids[sound]]] = made[sound]
    return out
