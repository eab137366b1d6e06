"""The Delaunay triangles of many points, tile by tile: its time then grows with the points alone.

A triangle belongs to the tile that holds the centre of its circle. Where all circles are smaller
than the margin round a tile, the tiles together give the triangles of the whole; this is checked
at every point that matters, and where it fails all points are taken at once.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from core.geometry import cross
from core.laying.exact import angles, dot
from core.laying.field.grid import Array

TILE = 12_000  # points
LEAST_POINTS = 14_000  # points below which one mesh is as quick
MOST_HANDS = 4  # tiles made at once
Triangles = tuple[NDArray[np.int64], Array]


def triangles(sites: Array, matters: NDArray[np.bool_], margin_mm: float) -> Triangles:
    """Return triangles (n, 3) of points, and the centres of their circles (n, 2) mm.

    Parameters
    ----------
    sites : ndarray (m, 2)
        Points, mm.
    matters : ndarray (m,)
        Points all of whose triangles are needed; of those with no such corner some may be left out.
    margin_mm : float
        More than the radius of any circle at a point that matters, as far as can be guessed.
    """
    if len(sites) >= LEAST_POINTS:
        found = _tiled(sites, matters, margin_mm)
        if _whole(sites, matters, found[0]):
            return found
    return _mesh(sites)


def _mesh(sites: Array) -> Triangles:
    tri = Delaunay(sites).simplices.astype(np.int64)
    return tri, circumcentres(sites[tri])


def _tiled(sites: Array, matters: NDArray[np.bool_], margin: float) -> Triangles:
    def one(tile: tuple[Array, Array]) -> Triangles | None:
        low, high = tile
        near = np.flatnonzero(((sites > low - margin) & (sites < high + margin)).all(1))
        if len(near) < 4:
            return None
        tri, centre = _mesh(sites[near])
        tri = near[tri]
        keep = ((centre >= low) & (centre < high)).all(1)
        keep &= np.hypot(*(centre - sites[tri[:, 0]]).T) < margin
        return tri[keep], centre[keep]

    # meshing lets go of the interpreter, so that tiles are made side by side
    with ThreadPoolExecutor(min(MOST_HANDS, os.cpu_count() or 1)) as hands:
        parts = [p for p in hands.map(one, _tiles(sites[matters])) if p is not None]
    return np.concatenate([p[0] for p in parts]), np.concatenate([p[1] for p in parts])


def _tiles(points: Array) -> list[tuple[Array, Array]]:
    """Return the low and the high corner of tiles that share out the plane, TILE points each."""
    tiles = []
    todo = [(points, np.full(2, -np.inf), np.full(2, np.inf))]
    while todo:
        mine, low, high = todo.pop()
        if len(mine) <= TILE:
            tiles.append((low, high))
            continue
        axis = int(np.argmax(np.ptp(mine, axis=0)))
        cut = float(np.median(mine[:, axis]))
        left = mine[:, axis] < cut
        up, down = low.copy(), high.copy()
        up[axis] = down[axis] = cut
        todo += [(mine[left], low, down), (mine[~left], up, high)]
    return tiles


def _whole(sites: Array, matters: NDArray[np.bool_], tri: NDArray[np.int64]) -> bool:
    """Return whether the triangles close round every point that matters."""
    p = sites[tri]
    turn = np.zeros(len(sites))
    for k in range(3):
        a, b = p[:, k - 2] - p[:, k], p[:, k - 1] - p[:, k]
        turn += np.bincount(tri[:, k], np.abs(angles(cross(a, b), dot(a, b))), len(sites))
    return bool(np.abs(turn[matters] - 2 * np.pi).max(initial=0.0) < 1e-6)


def circumcentres(t: Array) -> Array:
    """Return the circumcentres (n, 2) of triangles (n, 3, 2)."""
    o = t[:, 0]
    b, c = t[:, 1] - o, t[:, 2] - o
    d = 2 * cross(b, c)
    d = np.where(np.abs(d) < 1e-12, 1e-12, d)
    bb, cc = dot(b, b), dot(c, c)
    ux = (c[:, 1] * bb - b[:, 1] * cc) / d
    uy = (b[:, 0] * cc - c[:, 0] * bb) / d
    centre: Array = o + np.stack([ux, uy], axis=1)
    return centre
