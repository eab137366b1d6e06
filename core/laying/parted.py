"""Territories that something pokes into are parted there, as a hand would nip the tessera in two.

The tip of a leaf in the ground about it, or a corner of a socket, would else leave one piece
that keeps clear of it and a pool of grout beside it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.ops import split

from core.laying.grid import Array

HOLLOW = 0.12  # share of its hull that a territory may lack before it is parted
TURNS = 12  # directions tried
LEAST = 0.5  # squares of the pitch below which a part is not worth a piece of its own
WORTH = 0.6  # squares of the pitch below which a territory's second part is left to the grout
LONG = 2.4  # pitches beyond which a strip is cut across
THINNEST = 0.55  # pitches; a narrower strip is grout


def parted(
    ground: NDArray[np.object_], owner: NDArray[np.int64], pitch: float
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Part long and hollow territories.

    Parameters
    ----------
    ground : ndarray of Polygon, shape (n,)
    owner : ndarray of int, shape (n,)
        The course piece that each belongs to.

    Returns
    -------
    ground, owner
        Of all territories after parting.
    """
    area = shapely.area(ground)
    # of a piece that reaches into several places, the largest stays and others must be worth it
    first = np.zeros(len(ground), bool)
    order = np.lexsort((-area, owner))
    first[order[np.r_[True, owner[order][1:] != owner[order][:-1]]]] = True
    keep = first | (area > WORTH * pitch**2)
    ground, owner = ground[keep], owner[keep]
    ground, owner = _some(ground, owner, _long(ground, pitch), lambda g: _across(g, pitch))
    return _some(ground, owner, _hollow(ground, pitch), lambda g: _best(g, pitch))


def _some(
    ground: NDArray[np.object_],
    owner: NDArray[np.int64],
    which: NDArray[np.bool_],
    part: Callable[[Polygon], list[Polygon]],
) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return all territories, some of them parted."""
    chosen = np.flatnonzero(which)
    if not len(chosen):
        return ground, owner
    parts = [part(ground[k]) for k in chosen]
    new = np.array([g for p in parts for g in p], dtype=object)
    who = np.repeat(owner[chosen], [len(p) for p in parts])
    ground = np.concatenate([ground[~which], new])
    owner = np.concatenate([owner[~which], who])
    order = np.argsort(owner, kind="stable")
    return ground[order], owner[order]


def _hollow(ground: NDArray[np.object_], pitch: float) -> NDArray[np.bool_]:
    hull = shapely.area(shapely.convex_hull(ground))
    lacks = hull - shapely.area(ground)
    return np.asarray(lacks > np.maximum(HOLLOW * hull, 0.05 * pitch**2))


def _long(ground: NDArray[np.object_], pitch: float) -> NDArray[np.bool_]:
    """Say which territories are a strip that wants several pieces."""
    if not len(ground):
        return np.zeros(0, bool)
    boxes = shapely.oriented_envelope(ground)
    whole = shapely.get_type_id(boxes) == 3
    out = np.zeros(len(ground), bool)
    c = shapely.get_coordinates(boxes[whole]).reshape(-1, 5, 2)
    one = np.hypot(*(c[:, 1] - c[:, 0]).T)
    two = np.hypot(*(c[:, 2] - c[:, 1]).T)
    length = np.maximum(one, two)
    mean = shapely.area(ground[whole]) / np.maximum(length, 1e-9)
    out[whole] = (length > LONG * pitch) & (mean > THINNEST * pitch)
    return out


def _across(shape: Polygon, pitch: float) -> list[Polygon]:
    """Cut a strip across its length into pieces about as long as a tessera."""
    c = shapely.get_coordinates(shape.minimum_rotated_rectangle)
    one, two = c[1] - c[0], c[2] - c[1]
    run, side = (one, two) if np.hypot(*one) >= np.hypot(*two) else (two, one)
    start = c[0] if run is one else c[1]
    n = max(2, round(float(np.hypot(*run)) / (1.15 * pitch)))
    parts = [shape]
    for k in range(1, n):
        at = start + run * k / n
        knife = LineString([at - 2 * side, at + 2 * side])
        parts = [g for p in parts for g in _cut(p, knife)]
    return [g for g in parts if g.area > 0.1 * pitch**2] or [shape]


def _cut(shape: Polygon, knife: LineString) -> list[Polygon]:
    return [g for g in split(shape, knife).geoms if isinstance(g, Polygon) and g.area > 0]


def _best(shape: Polygon, pitch: float) -> list[Polygon]:
    """Return the territory as it is, or in the two parts that lose least."""
    whole = _loss([shape], pitch)
    best, least = [shape], whole
    for corner in _reflex(shape):
        for turn in np.arange(TURNS) * np.pi / TURNS:
            d = 4 * pitch * np.array([np.cos(turn), np.sin(turn)])
            parts = _cut(shape, LineString([corner - d, corner + d]))
            if len(parts) != 2:
                continue
            loss = _loss(parts, pitch)
            if loss < least - 0.02 * pitch**2:
                best, least = parts, loss
    return list(best)


def _loss(parts: list[Polygon], pitch: float) -> float:
    """Return the area that pieces of these parts would leave bare, a price for each part added."""
    lost = 0.05 * pitch**2 * (len(parts) - 1)
    for g in parts:
        if g.area < LEAST * pitch**2:
            lost += 2.0 * g.area
        else:
            lost += float(shapely.area(shapely.convex_hull(g))) - g.area
            # thin parts waste themselves
            lost += max(0.0, 0.25 * pitch**2 - g.area)
    return lost


def _reflex(shape: Polygon) -> Array:
    """Return the corners that point inwards, the deepest few, (n, 2)."""
    c = shapely.get_coordinates(shape.exterior)[:-1]
    if not shape.exterior.is_ccw:
        c = c[::-1]
    a, b = c - np.roll(c, 1, 0), np.roll(c, -1, 0) - c
    turn = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    inward = np.flatnonzero(turn < -1e-9)
    depth = np.asarray(
        shapely.distance(shapely.points(c[inward]), shapely.boundary(shapely.convex_hull(shape)))
    )
    return np.asarray(c[inward[np.argsort(-depth)[:3]]])
