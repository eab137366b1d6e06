"""Measures of a laid field from its finished pieces alone, for tests and benches.

Every measure is computed from the polygons, not from anything the solver knows. `BOUNDS` holds
what a careful hand keeps to (common practice): (limit, whether it is a most or a least).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from shapely import LineString, MultiPolygon
from skimage.draw import polygon as fill_polygon

from core.pieces import Pieces

Array = NDArray[np.float64]

BOUNDS: dict[str, tuple[float, str]] = {
    "overlap": (1e-6, "most"),
    "outside": (1e-6, "most"),
    "coverage": (0.97, "least"),
    "joint_even": (0.985, "least"),
    "pools": (0.002, "most"),
    "convex": (0.995, "least"),
    "sides_3_to_6": (0.99, "least"),
    "quads": (0.80, "least"),
    "acute": (0.002, "most"),
    "narrow": (0.002, "most"),
    "area_cv": (0.14, "most"),
    "oversize": (0.002, "most"),
    "along_flow_deg": (4.0, "most"),
    "course_turn_deg": (10.0, "most"),
    "aligned_joints": (0.30, "most"),
}


def kept(name: str, value: float) -> bool:
    limit, side = BOUNDS[name]
    return value <= limit if side == "most" else value >= limit


def measure(
    outline: MultiPolygon,
    tessera: float,
    joint: float,
    pieces: Pieces,
    lines: Sequence[LineString] = (),
) -> dict[str, float]:
    """Return every measure that applies."""
    p = pieces.polygons
    area = shapely.area(p)
    sides = shapely.get_num_coordinates(p) - 1
    free = _away_from_tips(outline, p, 1.2 * (tessera + joint))
    out = {
        "overlap": overlap_mm2(p) / area.sum(),
        "outside": float(shapely.area(shapely.difference(p, outline)).sum() / area.sum()),
        "coverage": area.sum() / outline.area / (tessera / (tessera + joint)) ** 2,
        "convex": np.mean(area / shapely.area(shapely.convex_hull(p)) > 0.985),
        "sides_3_to_6": np.mean((sides >= 3) & (sides <= 6)),
        "area_cv": area.std() / area.mean(),
        "oversize": np.mean(area > 1.7 * tessera**2),
        "joint_even": _even_joints(outline, joint, p),
        "pools": _pools(outline, joint, p),
    }
    if free.any():
        out["quads"] = np.mean(sides[free] == 4)
        out["acute"] = np.mean(smallest_corner_deg(p[free]) < 40)
        out["narrow"] = np.mean(least_width(p[free]) < 0.4 * tessera)
    out |= _directions(outline, tessera, joint, pieces, lines)
    return {k: float(v) for k, v in out.items()}


def overlap_mm2(p: NDArray[np.object_]) -> float:
    a, b = shapely.STRtree(p).query(p, predicate="intersects")
    a, b = a[a < b], b[a < b]
    return float(shapely.area(shapely.intersection(p[a], p[b])).sum()) if len(a) else 0.0


def lie_clear(p: NDArray[np.object_], outline: MultiPolygon, joint: float) -> None:
    """Assert that pieces are whole, lie apart, and half a joint from a field's border."""
    assert shapely.is_valid(p).all() and (shapely.get_num_interior_rings(p) == 0).all()
    assert (shapely.get_type_id(p) == 3).all()
    if len(p):
        assert overlap_mm2(p) <= 1e-6 * shapely.area(p).sum()
        assert shapely.distance(p, outline.boundary).min() > joint / 2 - 1e-5
        assert shapely.covers(outline.buffer(1e-6), p).all()


def corners(p: NDArray[np.object_]) -> tuple[Array, Array, Array, NDArray[np.int64]]:
    """Return each corner, the one before and after it, and whose it is."""
    xy, owner = shapely.get_coordinates(shapely.get_exterior_ring(p), return_index=True)
    open_ring = np.r_[owner[1:] == owner[:-1], False]
    xy, owner = xy[open_ring], owner[open_ring]
    first = np.searchsorted(owner, np.arange(len(p)))
    last = np.r_[first[1:], len(xy)] - 1
    before, after = np.arange(len(xy)) - 1, np.arange(len(xy)) + 1
    before[first], after[last] = last, first
    return xy, xy[before], xy[after], owner


def smallest_corner_deg(p: NDArray[np.object_]) -> Array:
    xy, before, after, owner = corners(p)
    a, b = before - xy, after - xy
    c = (a * b).sum(1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-12)
    out = np.full(len(p), 180.0)
    np.minimum.at(out, owner, np.degrees(np.arccos(c.clip(-1, 1))))
    return out


def least_width(p: NDArray[np.object_]) -> Array:
    out = np.empty(len(p))
    for k, hull in enumerate(shapely.convex_hull(p)):
        c = shapely.get_coordinates(hull)[:-1]
        e = np.roll(c, -1, 0) - c
        n = np.stack([-e[:, 1], e[:, 0]], 1)
        size = np.hypot(*n.T)
        out[k] = np.ptp(c @ (n[size > 1e-9] / size[size > 1e-9, None]).T, axis=0).min()
    return out


def axis_rad(p: NDArray[np.object_], along: Array) -> Array:
    """Return the angle of each piece's smallest box; where several are as small to a thousandth,
    as all three round an acute triangle are, of that which lies best along its course."""
    out = np.empty(len(p))
    for k, piece in enumerate(p):
        c = shapely.get_coordinates(piece.exterior)
        side = np.diff(c, axis=0)
        angle = np.arctan2(side[:, 1], side[:, 0])[np.hypot(*side.T) > 1e-9]
        x, y = c.T[:, None, :]
        cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
        room = np.ptp(x * cos + y * sin, axis=1) * np.ptp(y * cos - x * sin, axis=1)
        off = np.abs(quarter_deg(angle - along[k]))
        out[k] = angle[np.where(room <= 1.001 * room.min(), off, np.inf).argmin()]
    return out


def quarter_deg(angle: Array) -> Array:
    """Fold a difference of angles to -45 to 45 degrees: a square has four equal directions."""
    return np.degrees((angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)


def _away_from_tips(outline: MultiPolygon, p: NDArray[np.object_], far: float) -> NDArray[np.bool_]:
    tips = []
    for part in outline.geoms:
        for ring in (part.exterior, *part.interiors):
            c = shapely.get_coordinates(ring)[:-1]
            u, v = np.roll(c, 1, 0) - c, np.roll(c, -1, 0) - c
            cosine = (u * v).sum(1) / np.maximum(np.hypot(*u.T) * np.hypot(*v.T), 1e-12)
            tips.append(c[cosine > 0.5])
    sharp = np.concatenate(tips)
    if not len(sharp):
        return np.ones(len(p), bool)
    return np.asarray(shapely.distance(p, shapely.multipoints(sharp)) > far)


def _even_joints(outline: MultiPolygon, joint: float, p: NDArray[np.object_]) -> float:
    """Return the share of inner edge, sampled each mm, whose gap is 0.6 to 1.6 joints."""
    ring = shapely.get_exterior_ring(p)
    count = np.maximum(np.ceil(shapely.length(ring) - 0.5), 1).astype(int)
    own = np.repeat(np.arange(len(p)), count)
    at = np.arange(len(own)) - np.repeat(np.cumsum(count) - count, count) + 0.5
    xy = shapely.line_interpolate_point(ring[own], at)
    a, b = shapely.STRtree(p).query(xy, predicate="dwithin", distance=4 * joint)
    other = own[a] != b
    gap = np.full(len(xy), np.inf)
    np.minimum.at(gap, a[other], shapely.distance(xy[a[other]], p[b[other]]))
    inner = shapely.distance(xy, outline.boundary) > 1.5 * joint
    gap = gap[inner]
    return float(np.mean((gap > 0.6 * joint) & (gap < 1.6 * joint))) if len(gap) else 1.0


def _pools(outline: MultiPolygon, joint: float, p: NDArray[np.object_]) -> float:
    """Return the share of the field in spots of grout wider than 2.2 joints."""
    x0, y0, x1, y1 = outline.bounds
    px = max(joint / 4, float(np.sqrt((x1 - x0) * (y1 - y0) / 6e7)))
    shape = (int((y1 - y0) / px) + 3, int((x1 - x0) / px) + 3)

    def fill(image: NDArray[np.bool_], ring: shapely.Geometry, value: bool) -> None:
        c = shapely.get_coordinates(ring)
        image[fill_polygon((c[:, 1] - y0) / px + 1, (c[:, 0] - x0) / px + 1, shape)] = value

    inside, laid = np.zeros(shape, bool), np.zeros(shape, bool)
    for part in outline.geoms:
        fill(inside, part.exterior, True)
        for hole in part.interiors:
            fill(inside, hole, False)
    for ring in shapely.get_exterior_ring(p):
        fill(laid, ring, True)
    far = ndimage.distance_transform_edt(~laid) * px
    core = (far > 1.1 * joint + 0.7 * px) & inside
    if not core.any():
        return 0.0
    spot = (ndimage.distance_transform_edt(~core) * px < 1.1 * joint) & inside & ~laid
    return float(np.count_nonzero(spot) / np.count_nonzero(inside))


def _directions(
    outline: MultiPolygon,
    tessera: float,
    joint: float,
    pieces: Pieces,
    lines: Sequence[LineString],
) -> dict[str, float]:
    out: dict[str, float] = {}
    p, pitch = pieces.polygons, tessera + joint
    centre = shapely.centroid(p)
    xy = shapely.get_coordinates(centre)
    order = np.lexsort((pieces.piece, pieces.course))
    step = np.hypot(*np.diff(xy[order], axis=0).T)
    same = (np.diff(pieces.course[order]) == 0) & (step < 2 * pitch)
    left, right = order[:-1][same], order[1:][same]
    run = np.zeros_like(xy)
    np.add.at(run, left, xy[right] - xy[left])
    np.add.at(run, right, xy[right] - xy[left])
    angle = axis_rad(p, np.arctan2(run[:, 1], run[:, 0]))
    if lines:
        guide = np.asarray(lines, dtype=object)
        near, far = shapely.STRtree(guide).query_nearest(
            centre, return_distance=True, all_matches=False
        )
        line = guide[near[1]]
        at = shapely.line_locate_point(line, centre)
        half = tessera / 2
        a = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(at - half, 0)))
        b = shapely.get_coordinates(
            shapely.line_interpolate_point(line, np.minimum(at + half, shapely.length(line)))
        )
        off = quarter_deg(angle - np.arctan2(*(b - a).T[::-1]))
        use = (shapely.distance(centre, outline.boundary) > pitch) & (far < 2.5 * pitch)
        use &= (at > half) & (at < shapely.length(line) - half)
        if use.any():
            out["along_flow_deg"] = np.sqrt(np.mean(off[use] ** 2))
    if len(left):
        turn = np.abs(quarter_deg(angle[left] - angle[right]))
        out["course_turn_deg"] = np.percentile(turn, 80)
        aligned = _aligned(pieces.course, xy, left, right, pitch)
        if len(aligned):
            out["aligned_joints"] = np.mean(aligned)
    return out


def _aligned(
    course: NDArray[np.int64],
    xy: Array,
    left: NDArray[np.int64],
    right: NDArray[np.int64],
    pitch: float,
) -> list[bool]:
    """Return for each cross joint and side whether a joint of the course beside runs on."""
    mid = (xy[left] + xy[right]) / 2
    t = xy[right] - xy[left]
    t = t / np.maximum(np.hypot(*t.T), 1e-9)[:, None]
    pairs = cKDTree(mid).query_pairs(1.35 * pitch, output_type="ndarray")
    i, j = np.concatenate([pairs, pairs[:, ::-1]]).T
    other = course[left[i]] != course[left[j]]
    i, j = i[other], j[other]
    v = mid[j] - mid[i]
    along = np.abs((v * t[i]).sum(1))
    across = v[:, 1] * t[i, 0] - v[:, 0] * t[i, 1]
    beside = (np.abs(across) > 0.6 * pitch) & (np.abs(across) < 1.35 * pitch)
    key = 2 * i[beside] + (across[beside] > 0)
    nearest = np.full(2 * len(mid), np.inf)
    np.minimum.at(nearest, key, along[beside])
    return list(nearest[np.isfinite(nearest)] < 0.15 * pitch)
