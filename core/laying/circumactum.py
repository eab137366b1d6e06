"""Circumactum: fans laid over one another like scales, each filled with concentric courses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from shapely import MultiPolygon
from shapely.affinity import rotate, translate
from shapely.geometry.base import BaseGeometry

from core.errors import Stopped
from core.laying.coursed import lay_along
from core.laying.grid import Array
from core.laying.hugging import together
from core.laying.spec import Setting
from core.pieces import Pieces

RISE = 0.5  # modules from one row of fans to the next
Seen = tuple[Array, BaseGeometry]
SCRAP = 0.8  # squares of the pitch below which a fan cut by the border goes to its neighbour


def lay_circumactum(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay a field in fans that open against the flow's mean direction (upwards without one)."""
    angle = _axis(setting)
    parts = []
    for middle, region in fans(setting, angle):
        if stop():
            raise Stopped
        own = replace(setting, outline=region, laying="tessellatum", flow=(), hug=())
        courses = _courses(middle, region, setting)
        polygons, course, piece = lay_along(own, courses, stop)
        c = shapely.get_coordinates(shapely.centroid(polygons)) - middle
        turn = np.arctan2(c[:, 0], -c[:, 1])
        turn = (turn + np.pi / 2) % np.pi - np.pi / 2
        parts.append(Pieces(polygons, course, piece, turn))
    return together(parts)


def _axis(setting: Setting) -> float:
    """Return how far the fans are turned, clockwise, rad: their middle line follows the flow."""
    z = 0j
    for line in setting.flow:
        d = np.diff(shapely.get_coordinates(line), axis=0)
        z += np.sum(np.hypot(*d.T) * np.exp(2j * np.arctan2(d[:, 1], d[:, 0])))
    if abs(z) < 1e-9:
        return 0.0
    along = float(np.angle(z) / 2)
    return (along + np.pi / 2 + np.pi / 2) % np.pi - np.pi / 2


def fans(setting: Setting, angle: float = 0.0) -> list[tuple[Array, MultiPolygon]]:
    """Return each fan's middle and the part of the field that is seen of it."""
    m = max(setting.module_mm, 2.5 * setting.pitch_mm)
    radius = m / 2
    origin = setting.outline.centroid
    turned = rotate(setting.outline, -angle, origin=origin, use_radians=True)
    x0, y0, x1, y1 = turned.bounds
    rise = RISE * m
    rows = range(-1, int(np.ceil((y1 - y0) / rise)) + 3)
    columns = range(-1, int(np.ceil((x1 - x0) / m)) + 2)
    disc = shapely.Point(0, 0).buffer(radius, quad_segs=24)
    centres, shapes = [], []
    for r in rows:
        for c in columns:
            x = x0 + (c + 0.5 * (r % 2)) * m
            y = y0 + r * rise
            centres.append((x, y))
            shapes.append(translate(disc, x, y))
    all_shapes = np.array(shapes, dtype=object)
    tree = shapely.STRtree(all_shapes)
    at = np.array(centres)
    seen: list[Seen] = []
    for k, shape in enumerate(shapes):
        if not shape.intersects(turned):
            continue
        over = [i for i in tree.query(shape, predicate="intersects") if at[i, 1] > at[k, 1] + 1e-6]
        left = shapely.difference(shape, shapely.union_all(all_shapes[over]))
        left = shapely.intersection(left, turned)
        if left.area > 1e-6:
            seen.append((at[k], left))
    merged = _scraps(seen, SCRAP * setting.pitch_mm**2)
    out = []
    for middle, left in merged:
        back = rotate(left, angle, origin=origin, use_radians=True)
        place = rotate(shapely.Point(middle), angle, origin=origin, use_radians=True)
        out.append((np.array(place.coords[0]), _polygons(back)))
    return out


def _scraps(seen: list[Seen], least_mm2: float) -> list[Seen]:
    """Give what is too small for a piece to the fan it shares most border with."""
    big = [s for s in seen if s[1].area >= least_mm2]
    for middle, scrap in seen:
        if scrap.area >= least_mm2:
            continue
        shared = [scrap.buffer(1e-6).intersection(b).area for _, b in big]
        best = int(np.argmax(shared)) if shared else -1
        if best >= 0 and shared[best] > 0:
            joined = shapely.union(big[best][1].buffer(1e-6), scrap.buffer(1e-6)).buffer(-1e-6)
            big[best] = (big[best][0], joined)
        elif not big:
            big.append((middle, scrap))
    return big


def _polygons(shape: shapely.Geometry) -> MultiPolygon:
    parts = shapely.get_parts(shapely.get_parts([shape]))
    return MultiPolygon([p for p in parts if p.geom_type == "Polygon" and p.area > 1e-6])


def _courses(middle: Array, region: MultiPolygon, setting: Setting) -> list[Array]:
    """Return concentric arcs of a fan, from its rim inwards, cut to what is seen of it."""
    radius = max(setting.module_mm, 2.5 * setting.pitch_mm) / 2
    n = max(1, round(radius / setting.pitch_mm - 0.5))
    # a round keystone in the middle of half a pitch, whole courses from there to the rim
    step = radius / (n + 0.5)
    circle = shapely.Point(middle)
    out: list[Array] = []
    for k in range(n):
        ring = circle.buffer(radius - (k + 0.5) * step, quad_segs=32).exterior
        inside = shapely.intersection(ring, region)
        merged = shapely.line_merge(inside) if inside.geom_type != "LineString" else inside
        for w in shapely.get_parts(shapely.get_parts([merged])):
            if w.geom_type in ("LineString", "LinearRing") and w.length > 0.4 * setting.pitch_mm:
                out.append(shapely.get_coordinates(w))
    dot = 0.2 * setting.pitch_mm
    if region.contains(circle.buffer(dot)):
        x, y = middle
        out.append(np.array([[x - dot, y], [x, y], [x + dot, y]]))
    return out
