"""Published ways of filling a field with tesserae, written for comparison only.

Each takes a setting and returns pieces as the program's own laying does.

References
----------
Lloyd 1982, "Least squares quantization in PCM" (plain relaxation).
Hausner 2001, "Simulating decorative mosaics" (squares on an oriented Manhattan relaxation).
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import cKDTree

from core.laying import Setting
from core.laying.field.direction import direction_field
from core.pieces import Pieces

STEPS = 30
PIXELS = 8  # across a pitch: a pixel no wider than a usual joint
NEAREST = 8  # sites that a pixel is compared with, under the oriented metric


def grid(s: Setting) -> Pieces:
    """Squares on a level grid, cut off at the border."""
    x0, y0, x1, y1 = s.outline.bounds
    p = s.pitch_mm
    rows, columns = int((y1 - y0) / p) + 1, int((x1 - x0) / p) + 1
    r, c = (v.ravel() for v in np.mgrid[:rows, :columns])
    x, y = x0 + c * p + s.laying.joint_mm / 2, y0 + r * p + s.laying.joint_mm / 2
    return _cut(s, shapely.box(x, y, x + s.laying.tessera_mm, y + s.laying.tessera_mm), r, c)


def plain_relaxation(s: Setting, steps: int = STEPS) -> Pieces:
    """Voronoi cells after Lloyd's relaxation, half a joint inside."""
    sites, pixels = _begun(s)
    for _ in range(steps):
        _, owner = cKDTree(sites).query(pixels)
        sites = _centres(pixels, owner, sites)
    cells = shapely.get_parts(
        shapely.voronoi_polygons(shapely.multipoints(sites), extend_to=s.outline, ordered=True)
    )
    shapely.prepare(s.outline)
    edge = ~shapely.contains_properly(s.outline, cells)
    cells[edge] = shapely.intersection(cells[edge], s.outline)
    cells = shapely.buffer(cells, -s.laying.joint_mm / 2, join_style="mitre")
    return _cut(s, cells, np.full(len(cells), -1), np.arange(len(cells)))


def oriented_squares(s: Setting, steps: int = STEPS, across: int = PIXELS) -> Pieces:
    """Squares turned along the flow, on a relaxation whose unit circle is that square."""
    sites, pixels = _begun(s, across)
    direction = direction_field(s)
    for _ in range(steps):
        owner = _nearest_square(sites, direction.angle(sites), pixels)
        sites = _centres(pixels, owner, sites)
    angle, half = direction.angle(sites), s.laying.tessera_mm / 2
    t = np.stack([np.cos(angle), np.sin(angle)], 1) * half
    n = np.stack([-t[:, 1], t[:, 0]], 1)
    corners = np.stack([sites - t - n, sites + t - n, sites + t + n, sites - t + n], 1)
    return _cut(s, shapely.polygons(corners), np.full(len(sites), -1), np.arange(len(sites)))


def _begun(s: Setting, across: int = PIXELS) -> tuple[np.ndarray, np.ndarray]:
    """Return one random site a square of the pitch, and the pixels of the field."""
    rng = np.random.default_rng(s.seed)
    x0, y0, x1, y1 = s.outline.bounds
    step = s.pitch_mm / across
    x, y = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
    shapely.prepare(s.outline)
    inside = shapely.contains_xy(s.outline, x.ravel(), y.ravel())
    pixels = np.stack([x.ravel(), y.ravel()], 1)[inside]
    n = max(1, round(s.outline.area / s.pitch_mm**2))
    sites = pixels[rng.choice(len(pixels), n, replace=False)]
    return sites + rng.uniform(-step / 2, step / 2, sites.shape), pixels


def _nearest_square(sites: np.ndarray, angle: np.ndarray, pixels: np.ndarray) -> np.ndarray:
    """Return for each pixel the site whose square, grown from nothing, meets it first."""
    c, sn = np.cos(angle), np.sin(angle)
    along, across = c * sites[:, 0] + sn * sites[:, 1], c * sites[:, 1] - sn * sites[:, 0]
    x, y = np.ascontiguousarray(pixels.T)
    _, near = cKDTree(sites).query(pixels, k=min(NEAREST, len(sites)))
    best, owner = np.full(len(pixels), np.inf), np.zeros(len(pixels), np.int64)
    # one candidate at a time: quicker than an array of all, which outgrows the processor's cache
    for k in near.reshape(len(pixels), -1).T:
        ck, sk = c[k], sn[k]
        far = np.maximum(np.abs(ck * x + sk * y - along[k]), np.abs(ck * y - sk * x - across[k]))
        closer = far < best
        best, owner = np.where(closer, far, best), np.where(closer, k, owner)
    return owner


def _centres(pixels: np.ndarray, owner: np.ndarray, sites: np.ndarray) -> np.ndarray:
    count = np.bincount(owner, minlength=len(sites))
    total = np.stack([np.bincount(owner, pixels[:, k], len(sites)) for k in (0, 1)], 1)
    return np.where(count[:, None] > 0, total / np.maximum(count, 1)[:, None], sites)


def _cut(s: Setting, shapes: np.ndarray, course: np.ndarray, piece: np.ndarray) -> Pieces:
    """Keep of each shape its largest part within the field."""
    shapely.prepare(s.outline)
    edge = ~shapely.contains_properly(s.outline, shapes)
    shapes = shapes.copy()
    inside = shapely.buffer(s.outline, -s.laying.joint_mm / 2, join_style="mitre")
    shapes[edge] = shapely.intersection(shapes[edge], inside)
    parts, owner = shapely.get_parts(shapes, return_index=True)
    order = np.argsort(shapely.area(parts), kind="stable")
    largest = np.full(len(shapes), shapely.Polygon(), dtype=object)
    largest[owner[order]] = parts[order]
    keep = shapely.area(largest) > 0.05 * s.laying.tessera_mm**2
    return Pieces(largest[keep], course[keep], piece[keep], np.zeros(int(keep.sum())))
