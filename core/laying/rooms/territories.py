"""Territories: the Voronoi cells of each piece's sites, joined, as polygons that share corners.

A corner is a point where three pieces meet (or two and the outside); between two corners the
territory runs straight, the same for both neighbours, so territories never overlap.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.geometry import round_each, unit
from core.laying.exact import PLACE_MM, angles, dot, quantised
from core.laying.field.grid import Array, along
from core.laying.pieces.clip import polygons_of
from core.laying.rooms.mesh import triangles

OUTSIDE = -1
NEARLY_STRAIGHT = -0.80  # cosine of the angle beyond which a corner is drawn straight
STILL_SQUARE = 0.5  # cosine of the sharpest angle that may meet a straight side
STRAIGHTEN = 8  # rounds of it


def guards(outline: shapely.MultiPolygon, pitch: float) -> Array:
    """Return sites outside the field that bound the territories at its border, (n, 2) mm."""
    ring = shapely.buffer(outline, 1.6 * pitch, quad_segs=6).boundary
    xy, _ = along(ring, 0.4 * pitch)
    x0, y0, x1, y1 = outline.bounds
    far = 4 * max(x1 - x0, y1 - y0)
    cx, cy = (x0 + x1) / 2, (y0 + y1) / 2
    box = np.array(
        [
            [cx - far, cy - far],
            [cx + far, cy - far],
            [cx + far, cy + far],
            [cx - far, cy + far],
        ]
    )
    return np.concatenate([xy, box])


def territories(
    sites: Array, owner: NDArray[np.int64], n: int, straighten: int, margin_mm: float
) -> NDArray[np.object_]:
    """Return the territory of each of n owners as a polygon (None where it has none).

    Parameters
    ----------
    sites : ndarray (m, 2)
        Points, mm.
    owner : ndarray (m,)
        Whose site each is, 0 to n - 1, or OUTSIDE.
    straighten : int
        Rounds in which sides are drawn straight; few where only the room counts.
    margin_mm : float
        Several times as far as sites lie from one another (see `core.laying.rooms.mesh`).
    """
    # of sites on one circle any mesh will do: the centres of its triangles are one point
    tri, centre = triangles(quantised(sites, PLACE_MM), owner != OUTSIDE, margin_mm)
    centre = quantised(centre, PLACE_MM)
    who = owner[tri]
    a, b, c = who[:, 0], who[:, 1], who[:, 2]
    pieces = 1 + (b != a) + ((c != a) & (c != b))
    # corners: three owners; and all along the outside, where no neighbour shares the edge
    corner = (pieces == 3) | ((pieces == 2) & (who == OUTSIDE).any(1))
    at = np.nonzero(corner)[0]
    mine = np.sort(who[at], axis=1)
    first = np.ones(mine.shape, bool)
    first[:, 1:] = mine[:, 1:] != mine[:, :-1]
    first &= mine != OUTSIDE
    row, _ = np.nonzero(first)
    piece = mine[first]
    xy = centre[at[row]]
    hub = np.stack(
        [
            np.bincount(owner[owner >= 0], sites[owner >= 0, k], n)
            / np.maximum(np.bincount(owner[owner >= 0], minlength=n), 1)
            for k in (0, 1)
        ],
        axis=1,
    )
    d = xy - hub[piece]
    order = np.lexsort((angles(d[:, 1], d[:, 0]), piece))
    piece, vertex = piece[order], at[row][order]
    good = np.bincount(piece, minlength=n)[piece] >= 3
    piece, vertex = piece[good], vertex[good]
    out = np.full(n, None, dtype=object)
    index = np.unique(piece)
    if len(index):
        dense = np.searchsorted(index, piece)
        free = (who[vertex] != OUTSIDE).all(1)
        xy = _straightened(centre, vertex, dense, len(index), free, straighten)
        out[index] = polygons_of(xy, dense)
    return out


def _straightened(
    centre: Array,
    vertex: NDArray[np.int64],
    piece: NDArray[np.int64],
    n: int,
    free: NDArray[np.bool_],
    rounds: int,
) -> Array:
    """Draw corners that lie almost on a neighbour's side onto that side; return (m, 2) mm.

    A corner belongs to three pieces. Where one of them hardly turns there, the corner is the end
    of a joint on that piece's side, and the side is made straight for all three at once.
    """
    m = len(vertex)
    before, after = round_each(piece)
    ids, where = np.unique(vertex, return_inverse=True)
    place = centre[ids].copy()
    # the two or three pieces of each corner, as places in `where`
    order = np.argsort(where, kind="stable")
    start = np.searchsorted(where[order], np.arange(len(ids)))
    count = np.diff(np.r_[start, m])
    members = order[start[:, None] + np.minimum(np.arange(3), count[:, None] - 1)]
    for _ in range(rounds):
        xy = place[where]
        a, b = xy[before] - xy, xy[after] - xy
        la, lb = np.hypot(*a.T), np.hypot(*b.T)
        cosine = dot(a, b) / np.maximum(la * lb, 1e-12)
        theirs = cosine[members]
        every = np.arange(len(ids))
        top, least = members[every, theirs.argmin(1)], members[every, theirs.argmax(1)]
        square = cosine[least] < STILL_SQUARE
        whole = free[top] & free[before[top]] & free[after[top]]
        flat = top[(cosine[top] < NEARLY_STRAIGHT) & square & whole]
        chord = b[flat] - a[flat]
        # slide along the joint that ends here, so that it keeps its direction
        other = least[where[flat]]
        one, two = where[before[other]], where[after[other]]
        shared = (one == where[before[flat]]) | (one == where[after[flat]])
        joint = place[np.where(shared, two, one)] - xy[flat]
        normal = unit(np.stack([-chord[:, 1], chord[:, 0]], axis=1))
        rise = dot(joint, normal)
        steep = np.abs(rise) > 0.5 * np.hypot(*joint.T)
        run = np.where(steep[:, None], joint / np.where(steep, rise, 1.0)[:, None], normal)
        place[where[flat]] += 0.7 * dot(a[flat], normal)[:, None] * run
    moved: Array = place[where]
    return moved
