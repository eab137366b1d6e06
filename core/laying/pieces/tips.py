"""Lets the last piece of a leaf, a beak or a blade reach into the tip.

Half a joint kept from both sides of a sharp tip would leave its end bare for several joints.
A hand lets the last tessera run on into the point; the joint beside it narrows there, and what
lies across the border still keeps its own half.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import cross, unit, ways_round
from core.laying.exact import FINE, dot, quantised, ways
from core.laying.field.grid import Array
from core.laying.field.scale import Scale
from core.quality import TIP_DEG

ENDS = 1.0  # joints from the tip at which its piece ends
BLUNT = 0.04  # tesserae: the width of that end, so that the glass holds
NEAREST = 0.1  # joints that a piece keeps from the border there
STEP = 0.02  # pitches of detail in an outline that do not count: a drawn tip is a little round
FURTHEST = np.arange(1.0, 0.2, -0.04)  # shares of the way there that are tried
GAIN = 0.05  # tesserae that a piece must win
REACH = 1.5  # pitches from a tip within which its piece must end already


def into_tips(
    polygons: NDArray[np.object_], outline: MultiPolygon, scale: Scale
) -> NDArray[np.object_]:
    """Return the pieces, those at sharp tips of the outline drawn out into them."""
    joint_mm = scale.joint_mm
    corners, inward, slopes = sharp_corners(outline, scale.pitch_mm)
    if not len(corners) or not len(polygons):
        return polygons
    out = polygons.copy()
    tree = shapely.STRtree(polygons)
    shapely.prepare(outline)
    each = scale.tessera_at(corners).tolist()
    for tip, way, slope, tessera_mm in zip(corners, inward, slopes, each, strict=True):
        point = shapely.Point(tip)
        near = tree.query_nearest(point, max_distance=REACH * (tessera_mm + joint_mm))
        if not len(near):
            continue
        k = int(near[0])
        # where the tip is as wide as a blunt end and the least joint on both its sides
        end = (BLUNT * tessera_mm / 2 + 1.2 * NEAREST * joint_mm) / max(slope, 1e-6)
        sides = _sides_left(outline, tip, joint_mm)
        for share in FURTHEST.tolist():
            # where the sides of a tip are hollow a long piece cannot reach quite so far
            drawn = _drawn_out(out[k], tip, way, max(end, ENDS * joint_mm), share, tessera_mm)
            if drawn is None:
                break
            if not outline.covers(drawn) or drawn.distance(sides) < NEAREST * joint_mm:
                continue
            others = tree.query(drawn, predicate="dwithin", distance=0.9 * joint_mm)
            if all(n == k or out[n].distance(drawn) >= 0.9 * joint_mm for n in others):
                out[k] = drawn
                break
    return out


def sharp_corners(outline: MultiPolygon, pitch: float) -> tuple[Array, Array, Array]:
    """Return each sharp corner of an outline (n, 2), the unit way into the field from it, and the
    tangent of half its angle.
    """
    tips, inward, slopes = [], [], []
    for part in outline.geoms:
        plain = shapely.simplify(part, STEP * pitch)
        if not isinstance(plain, Polygon) or plain.is_empty:
            continue
        for ring in (plain.exterior, *plain.interiors):
            c = shapely.get_coordinates(ring)[:-1]
            # the field lies to the left
            if ring.is_ccw != (ring is plain.exterior or ring.equals(plain.exterior)):
                c = c[::-1]
            come, b = ways_round(c)
            a = -come
            left = cross(come, b) > 0  # the corner points outwards
            sharp = left & (quantised(dot(a, b), FINE) > ways(np.radians(TIP_DEG))[0])
            way = unit(a + b)
            tips.append(c[sharp])
            inward.append(way[sharp])
            # half an angle's tangent, from its cosine alone
            cosine = np.clip(dot(a, b)[sharp], -1, 1)
            slopes.append(np.sqrt((1 - cosine) / (1 + cosine)))
    if not tips:
        return np.empty((0, 2)), np.empty((0, 2)), np.empty(0)
    return np.concatenate(tips), np.concatenate(inward), np.concatenate(slopes)


def _drawn_out(
    piece: Polygon, tip: Array, way: Array, end: float, share: float, tessera: float
) -> Polygon | None:
    """Return a piece drawn out this share of the way to just before a tip.

    None where that would win next to nothing.
    """
    c = shapely.get_coordinates(piece.exterior)[:-1]
    along = dot(c - tip, way)
    far = float(along.min())
    end = far - share * (far - end)
    if far <= end + GAIN * tessera:
        return None
    # the blunt end it has now makes way for the new one
    keep = along > along.min() + 0.15 * tessera
    if np.count_nonzero(keep) < 2:
        return None
    side = np.array([-way[1], way[0]]) * BLUNT * tessera / 2
    new = tip + end * way
    drawn = shapely.convex_hull(shapely.MultiPoint(np.vstack([c[keep], new + side, new - side])))
    return drawn if isinstance(drawn, Polygon) else None


def _sides_left(outline: MultiPolygon, tip: Array, joint: float) -> shapely.Geometry:
    """Return the border but for what lies right at the tip."""
    return shapely.difference(outline.boundary, shapely.Point(tip).buffer(2.5 * joint))
