"""Areas that share their borders: knit together, taken apart into arcs, and put together again.

Fields lie side by side like the parts of a map. Whatever is done to one border is done once, for
both its sides, so that there is never a gap or an overlap between them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon, Polygon

from core.geometry import SNAP_MM, lines_in, polygons_in, valid

Areas = Sequence[MultiPolygon]
Line = NDArray[np.float64]

CRUMB = 1 / 3  # of a tessera's area: a part by itself that is smaller cannot be laid
RAN_ON = 1e-3  # of a gap: an area that takes so much of it runs on in it
HAIR_MM = 0.2  # twice as wide at least is a part that an area takes as its own
NEAR, STRAIGHT = 0.5, 6.0  # times a gap: how far off parts are looked at, and how straight all runs
ROUND = 48  # corners of a quarter circle
SPECK = 0.06  # of a tessera's area: less than this is not worth a change of border


def knit(areas: Areas) -> list[MultiPolygon]:
    """Return the areas without overlaps, borders shared point for point.

    Where two overlap, the earlier in the list keeps the place.
    """
    faces, owner = _faces(areas)
    return [_joined(faces[owner == k]) for k in range(len(areas))]


def room_left(areas: Areas, whole: MultiPolygon) -> list[MultiPolygon]:
    """Return the areas knit, and as one more at the end what of `whole` none of them covers."""
    return knit([*areas, whole])


def fill(
    areas: Areas,
    gaps: MultiPolygon,
    may_grow: Sequence[bool],
    rather_not: Sequence[bool] | None = None,
) -> list[MultiPolygon]:
    """Give each part of the gaps to the area with which it shares most border.

    Parameters
    ----------
    rather_not : sequence of bool, optional
        Areas that take only what no other can.
    """
    knitted = knit([*areas, *(MultiPolygon([p]) for p in gaps.geoms)])
    grown, parts = knitted[: len(areas)], knitted[len(areas) :]
    if rather_not is not None:
        rather = [may and not no for may, no in zip(may_grow, rather_not, strict=True)]
        takers = _hand_out(grown, parts, [rather] * len(parts))
        parts = [p for p, taker in zip(parts, takers, strict=True) if taker < 0]
    _hand_out(grown, parts, [may_grow] * len(parts))
    return knit(grown)


def shared_out(
    areas: Areas, gaps: MultiPolygon, may_take: Sequence[bool], step_mm: float
) -> list[MultiPolygon]:
    """Divide gaps among the areas round them, as if these ran on beneath what was there.

    An area takes what lies between its own parts, as a horizon runs on behind a tree, the later
    in the list before the earlier. What is left goes to the nearest of those that took nothing, or
    else to the earliest.

    Parameters
    ----------
    step_mm : float
        How far apart the places along the borders are from which nearness is told.

    Returns
    -------
    list of MultiPolygon
        What each area takes; hairs, and what touches none that may take, are left.
    """
    out: list[list[Polygon]] = [[] for _ in areas]
    for gap in gaps.geoms:
        edges = {
            k: shapely.intersection(gap.boundary, a.boundary)
            for k, (a, may) in enumerate(zip(areas, may_take, strict=True))
            if may and a.intersects(gap)
        }
        edges = {k: e for k, e in edges.items() if shapely.length(e) > SNAP_MM}
        if len(edges) == 1:
            out[next(iter(edges))].append(gap)
        elif edges:
            left: shapely.Geometry = gap
            for k in sorted(edges, reverse=True):
                between = _between(areas[k], left, gap)
                out[k] += between
                left = shapely.difference(left, MultiPolygon(between))
            ran_on = {k for k in edges if sum(p.area for p in out[k]) > RAN_ON * gap.area}
            some = {k: e for k, e in edges.items() if k not in ran_on} or {min(edges): gap}
            if len(some) == 1:
                out[next(iter(some))] += _no_hairs(left)
            else:
                for k, cell in _nearest(gap, some, step_mm).items():
                    out[k] += _no_hairs(shapely.intersection(left, cell))
    return [polygons_of(shapely.union_all(parts)) for parts in out]


def _no_hairs(geometry: shapely.Geometry) -> list[Polygon]:
    return [p for p in _polygons(geometry) if p.area > HAIR_MM * p.length]


def _between(area: MultiPolygon, left: shapely.Geometry, gap: Polygon) -> list[Polygon]:
    """Return what of a gap lies between parts of an area, in whatever is left of the gap."""
    x0, y0, x1, y1 = gap.bounds
    size = max(x1 - x0, y1 - y0)
    far, reach = NEAR * size, STRAIGHT * size
    near = shapely.clip_by_rect(area, x0 - far, y0 - far, x1 + far, y1 + far)
    out = shapely.buffer(near, reach, quad_segs=ROUND)
    closed = shapely.buffer(out, -reach, quad_segs=ROUND)
    return _no_hairs(shapely.intersection(left, closed))


def _nearest(
    gap: Polygon, edges: Mapping[int, shapely.Geometry], step_mm: float
) -> dict[int, shapely.Geometry]:
    """Return of each edge the region that is nearer to it than to any other."""
    places, owner = [], []
    for k, edge in edges.items():
        for line in lines_in(shapely.line_merge(edge)):
            n = max(2, int(np.ceil(line.length / step_mm)))
            places.append(line.interpolate((np.arange(n) + 0.5) / n, normalized=True))
            owner.append(np.full(n, k))
    at, of = np.concatenate(places), np.concatenate(owner)
    cells = shapely.get_parts(shapely.voronoi_polygons(shapely.multipoints(at), extend_to=gap))
    which, cell = shapely.STRtree(cells).query(at, predicate="intersects")
    return {k: shapely.union_all(cells[cell[of[which] == k]]) for k in edges}


def give(
    areas: Areas, parts: Sequence[Polygon], givers: Sequence[int], fixed: Sequence[bool]
) -> tuple[list[MultiPolygon], list[int]]:
    """Knit areas, each part given to the neighbour with which it shares most border.

    Parameters
    ----------
    parts, givers
        Parts, and whose each is: the place of an area in the list.
    fixed : sequence of bool
        Areas that take nothing.

    Returns
    -------
    areas, takers
        A part that has no neighbour stays with its giver.
    """
    knitted = knit([*(MultiPolygon([p]) for p in parts), *areas])
    grown, parts_now = knitted[len(parts) :], knitted[: len(parts)]
    takers = _hand_out(
        grown, parts_now, [[k != g and not fixed[k] for k in range(len(areas))] for g in givers]
    )
    for j, giver in enumerate(givers):
        if takers[j] < 0:
            takers[j] = giver
            grown[giver] = polygons_of(shapely.union(grown[giver], parts_now[j]))
    return grown, takers


def _hand_out(
    grown: list[MultiPolygon], parts: Areas, may_take: Sequence[Sequence[bool]]
) -> list[int]:
    """Join parts to the areas they share most border with; return each part's (-1 for none)."""
    takers = [-1] * len(parts)
    todo = [j for j, p in enumerate(parts) if not p.is_empty]
    while todo and grown:
        left = []
        for j in todo:
            edge = parts[j].boundary
            shared = [
                shapely.length(shapely.intersection(edge, g.boundary)) if may else 0.0
                for g, may in zip(grown, may_take[j], strict=True)
            ]
            best = int(np.argmax(shared))
            if shared[best] > SNAP_MM:
                grown[best] = polygons_of(shapely.union(grown[best], parts[j]))
                takers[j] = best
            else:
                left.append(j)
        if len(left) == len(todo):
            break
        todo = left
    return takers


def slivers(before: Polygon, after: Sequence[Polygon], tessera_mm: float) -> list[Polygon]:
    """Return what a cut has made too thin or too small for a tessera.

    Parameters
    ----------
    before, after
        A connected area, and what a cut has left of it. What was as thin before the cut stays.
    """
    out = []
    was_wide = None
    for piece in after:
        if piece.area < CRUMB * tessera_mm**2:
            out.append(piece)
            continue
        thin = _specks_left_out(shapely.difference(piece, opened(piece, tessera_mm)), tessera_mm)
        if thin:
            was_wide = was_wide or opened(before, tessera_mm)
            thin = [q for p in thin for q in _polygons(shapely.intersection(p, was_wide))]
            thin = _specks_left_out(MultiPolygon(thin), tessera_mm)
        if thin:
            rest = _polygons(shapely.difference(piece, MultiPolygon(thin)))
            out += thin + [p for p in rest if p.area < CRUMB * tessera_mm**2]
    return out


def opened(area: Polygon, tessera_mm: float) -> shapely.Geometry:
    """Return an area without its parts narrower than half a tessera; blunt corners stay."""
    r = tessera_mm / 4
    # a little farther out than in: buffers are true to about a hundredth of their distance
    core = shapely.buffer(area, -0.98 * r)
    # a mitred buffer may cross itself by a hair
    return polygons_of(shapely.buffer(core, 1.02 * r, join_style="mitre", mitre_limit=3))


def _specks_left_out(geometry: shapely.Geometry, tessera_mm: float) -> list[Polygon]:
    return [p for p in _polygons(geometry) if p.area > SPECK * tessera_mm**2]


def redrawn(areas: Areas, change: Callable[[Line, bool], Line]) -> list[MultiPolygon]:
    """Return the areas with every border arc changed once for both its sides.

    Parameters
    ----------
    change : callable
        Takes an arc (n, 2) mm and whether it is closed; gives the new arc. An open arc must keep
        its two ends, a closed one its first point last.
    """
    lines = shapely.union_all([shapely.boundary(a) for a in areas])
    arcs = [shapely.get_coordinates(w) for w in lines_in(shapely.line_merge(lines))]
    changed = [change(c, bool((c[0] == c[-1]).all())) for c in arcs]
    drawn = shapely.union_all([shapely.LineString(c) for c in changed], grid_size=SNAP_MM)
    faces = np.array(_polygons(shapely.polygonize([drawn])), dtype=object)
    owner = _by_overlap(faces, areas)
    return [_joined(faces[owner == k]) for k in range(len(areas))]


def polygons_of(geometry: shapely.Geometry) -> MultiPolygon:
    """Return the polygonal parts of any geometry, made valid."""
    return MultiPolygon(_polygons(valid(geometry)))


def _faces(areas: Areas) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
    """Return all faces between the borders, and the first area that covers each (-1 for none)."""
    lines = shapely.union_all([shapely.boundary(a) for a in areas], grid_size=SNAP_MM)
    faces = np.array(_polygons(shapely.polygonize([lines])), dtype=object)
    owner = np.full(len(faces), -1)
    if len(faces):
        inside = shapely.point_on_surface(faces)
        for k in range(len(areas) - 1, -1, -1):
            if not areas[k].is_empty:
                owner[shapely.intersects(areas[k], inside)] = k
        # a hair thinner than the rounding would be lost by itself: it goes with what it lies along
        hair = shapely.area(faces) < SNAP_MM * shapely.length(faces)
        for j in np.flatnonzero(hair):
            edge = shapely.intersection(shapely.boundary(faces[j]), shapely.boundary(faces[~hair]))
            if shapely.length(edge).any():
                owner[j] = owner[~hair][shapely.length(edge).argmax()]
    return faces, owner


def _by_overlap(faces: NDArray[np.object_], areas: Areas) -> NDArray[np.int64]:
    owner = np.full(len(faces), -1)
    if not len(faces):
        return owner
    most = np.zeros(len(faces))
    for k, area in enumerate(areas):
        shared = shapely.area(shapely.intersection(faces, area))
        better = shared > most
        owner[better], most[better] = k, shared[better]
    return owner


def _joined(faces: NDArray[np.object_]) -> MultiPolygon:
    return polygons_of(shapely.coverage_union_all(faces)) if len(faces) else MultiPolygon()


def _polygons(geometry: shapely.Geometry) -> list[Polygon]:
    return polygons_in(geometry, SNAP_MM**2)
