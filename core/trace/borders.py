"""The borders between areas of a picture, each found and smoothed once, for both its sides."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from shapely import LineString, MultiPolygon

from core.coverage import polygons_of

Array = NDArray[np.float64]
Ints = NDArray[np.int64]


def outlines(regions: Ints, smooth: float) -> tuple[list[MultiPolygon], list[int]]:
    """Return each region's shape in pixel coordinates, borders shared, and its number."""
    h, w = regions.shape
    arcs = []
    for line in _borders(regions):
        c = shapely.get_coordinates(line)
        on_frame = ((c[:, 0] == 0) | (c[:, 0] == w)).all() or (
            (c[:, 1] == 0) | (c[:, 1] == h)
        ).all()
        arcs.append(LineString(c if on_frame else _steady(c, smooth)))
    frame = shapely.box(0, 0, w, h)
    drawn = shapely.union_all([*arcs, frame.boundary], grid_size=1e-3)
    faces = shapely.get_parts(shapely.polygonize([drawn]))
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    column = np.clip(inside[:, 0].astype(int), 0, w - 1)
    row = np.clip(inside[:, 1].astype(int), 0, h - 1)
    owner = regions[row, column]
    numbers = [int(k) for k in np.unique(owner)]
    return [polygons_of(shapely.coverage_union_all(faces[owner == k])) for k in numbers], numbers


def _borders(regions: Ints) -> list[LineString]:
    """Return the lines between regions along pixel edges, from junction to junction."""
    r, c = np.nonzero(regions[:, :-1] != regions[:, 1:])
    upright = np.stack([np.stack([c + 1, r], 1), np.stack([c + 1, r + 1], 1)], 1)
    r, c = np.nonzero(regions[:-1] != regions[1:])
    level = np.stack([np.stack([c, r + 1], 1), np.stack([c + 1, r + 1], 1)], 1)
    edges = np.concatenate([upright, level]).astype(float)
    if not len(edges):
        return []
    merged = shapely.line_merge(
        shapely.multilinestrings(list(np.asarray(shapely.linestrings(edges), dtype=object)))
    )
    return list(shapely.get_parts(merged))


def _steady(c: Array, smooth: float) -> Array:
    """Draw a stair of pixel edges as a steady line, its ends kept."""
    if smooth <= 0 or len(c) < 4:
        return c
    closed = bool((c[0] == c[-1]).all())
    sigma = 2.0 * smooth + 0.5
    if closed:
        body = ndimage.gaussian_filter1d(c[:-1], sigma, axis=0, mode="wrap")
        out = np.vstack([body, body[:1]])
    else:
        # reflected through its ends, so that the line keeps them and its direction there
        n = min(len(c) - 1, int(4 * sigma))
        wide = np.vstack([2 * c[0] - c[n:0:-1], c, 2 * c[-1] - c[-2 : -n - 2 : -1]])
        out = ndimage.gaussian_filter1d(wide, sigma, axis=0, mode="nearest")[n : n + len(c)]
        out[0], out[-1] = c[0], c[-1]
    return shapely.get_coordinates(LineString(out).simplify(0.12, preserve_topology=False))
