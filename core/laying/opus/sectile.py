"""Sectile: the field is one shaped piece, or a few, cut along lines that the user draws."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from shapely import LineString, Polygon
from shapely.ops import split

from core.geometry import onwards
from core.laying.spec import Setting
from core.pieces import Pieces
from core.quality import LEAST_PIECE

LEAST = 0.15  # squares of the tessera; a smaller part goes to its neighbour
ONWARDS = 2.0  # pitches that a cut is drawn on past its ends, so that it reaches the border


def lay_sectile(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Cut a field along its flow lines; each part is one piece, half a joint inside."""
    parts: list[Polygon] = []
    for whole in setting.outline.geoms:
        parts += _without_holes(_cut(whole, setting))
    parts = _joined(parts, LEAST * setting.laying.tessera_mm**2)
    inset = shapely.buffer(
        np.array(parts, dtype=object),
        -setting.laying.joint_mm / 2,
        join_style="mitre",
        mitre_limit=2.5,
        quad_segs=8,
    )
    pieces = shapely.get_parts(inset)
    pieces = pieces[shapely.get_type_id(pieces) == 3]
    pieces = pieces[shapely.area(pieces) > LEAST_PIECE * setting.laying.tessera_mm**2]
    n = len(pieces)
    return Pieces(pieces, np.full(n, -1), np.arange(n), np.zeros(n))


def _cut(whole: Polygon, setting: Setting) -> list[Polygon]:
    lines = [onwards(w, ONWARDS * setting.pitch_mm) for w in setting.flow]
    lines = [w for w in lines if w.intersects(whole)]
    if not lines:
        return [whole]
    drawn = shapely.union_all([whole.boundary, *lines])
    faces = [g for g in shapely.get_parts(shapely.polygonize([drawn])) if isinstance(g, Polygon)]
    return [g for g in faces if whole.contains(g.representative_point())] or [whole]


def _without_holes(parts: list[Polygon]) -> list[Polygon]:
    """Cut a part with a hole in it through the hole: a piece of stone has none."""
    out: list[Polygon] = []
    todo = list(parts)
    while todo:
        p = todo.pop()
        if not p.interiors:
            out.append(p)
            continue
        hole = Polygon(p.interiors[0])
        y = hole.centroid.y
        x0, _, x1, _ = p.bounds
        halves = split(p, LineString([(x0 - 1, y), (x1 + 1, y)])).geoms
        todo += [g for g in halves if isinstance(g, Polygon) and g.area > 0]
    return out


def _joined(parts: list[Polygon], least_mm2: float) -> list[Polygon]:
    """Give small parts to the neighbour with which they share most border."""
    parts = sorted(parts, key=lambda g: g.area)
    k = 0
    while k < len(parts):
        small = parts[k]
        if small.area >= least_mm2 or len(parts) == 1:
            break
        others = parts[:k] + parts[k + 1 :]
        shared = [small.boundary.intersection(g.boundary).length for g in others]
        best = int(np.argmax(shared))
        both = shapely.union(small, others[best])
        if shared[best] <= 1e-6 or not isinstance(both, Polygon):
            k += 1
            continue
        others[best] = both
        parts, k = sorted(others, key=lambda g: g.area), 0
    return parts
