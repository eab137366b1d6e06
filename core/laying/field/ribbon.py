"""The phase in a ribbon: a field between two sides, as many courses wide all along.

Where two borders run on side by side they say all that there is to say: each course keeps its
share of the way from one to the other. Solved for, courses in a bend come out of unlike heights.
"""

from __future__ import annotations

import numpy as np
import shapely
import shapely.ops
from numpy.typing import NDArray
from shapely import LineString, Polygon

from core.geometry import cross, unit
from core.laying.exact import PLACE_MM, quantised, turns
from core.laying.field.corners import corners_of
from core.laying.field.grid import Array, Grid, straight_parts
from core.laying.field.phase import Phase
from core.laying.spec import Setting
from core.quality import THIN

WIDEST = 4.6  # pitches, as of a gap
STEP = 0.25  # pitches from node to node
LONG = 1.5  # widths that a ribbon is long
ENDS = 1.7  # times as long as the ribbon is wide there that an end may be, at a slant
BEYOND = 2.0  # pitches that a side is drawn on past its end
NEAR_END = 1.0  # pitches from an end within which the width does not tell
EVERYWHERE = 0.98  # share of a ribbon in which one number of courses is the best
TIGHTEST = 3.0  # pitches; in bends of a smaller radius joints between courses are drawn inwards
MIDDLE = 0.2  # share of the width to either side of the middle where bends are seen
ASKEW = 0.2  # tangent of the angle by which a flow line may stray from a ribbon
ACROSS = 0.6  # widths for which it may run across

Sides = tuple[LineString, LineString]


def ribbon_phase(setting: Setting) -> Phase | None:
    """Return the phase of a field that is a ribbon, None of one that is none.

    A ribbon has two ends, each a tip or little longer than it is wide, and between them everywhere
    the same best number of courses. It follows its border, or flow lines in it run along.
    """
    laying, parts = setting.laying, setting.outline.geoms
    if len(parts) != 1 or setting.hug or setting.sizes or laying.opus == "regulatum":
        return None
    found = _sides(parts[0], setting.pitch_mm)
    if found is None:
        return None
    sides, ends = found
    grid = Grid.over(setting.outline, STEP * setting.pitch_mm, setting.pitch_mm)
    near = grid.inside(shapely.buffer(setting.outline, 2 * grid.step_mm))
    x, y = grid.nodes()
    xy = np.stack([x[near], y[near]], axis=1)
    share, way, wide = _between(sides, xy)
    number = _number(parts[0], ends, xy, wide / setting.pitch_mm, setting.pitch_mm)
    if not number or not _led(setting, sides):
        return None
    psi = np.zeros(grid.shape, complex)
    psi[near] = turns(2 * np.pi * number * share - np.pi)
    normal, wave = np.zeros((2, *grid.shape)), np.zeros(grid.shape)
    normal[:, near], wave[near] = way.T, 2 * np.pi * number / wide
    middle = np.zeros(grid.shape, bool)
    middle[near] = np.abs(share - 0.5) < MIDDLE
    if number > 1 and _bends(normal, middle) > STEP / TIGHTEST:
        return None
    return Phase(grid, psi, normal, near, wave)


def _sides(part: Polygon, pitch: float) -> tuple[Sides, shapely.Geometry] | None:
    """Return the two sides of a ribbon, drawn on past its ends, and these."""
    mean = 2 * part.area / part.length
    if part.interiors or mean > WIDEST * pitch:
        return None
    corner, way = corners_of(part, pitch, inward=False)
    if not 2 <= len(corner) <= 4 or len(corners_of(part, pitch, inward=True)[0]):
        return None
    ring = shapely.orient_polygons(part).exterior
    at = np.asarray(shapely.line_locate_point(ring, shapely.points(corner)))
    order = np.argsort(at, kind="stable")
    at, way = at[order], way[order]
    ends = _ends(quantised(np.diff(at, append=at[0] + ring.length), PLACE_MM))
    lines = [_stretch(ring, at[a], at[b]) for a, b in ends]
    wide = np.array([_across(corner[[a, b]], way[[a, b]]) for a, b in ends])
    if (shapely.length(lines) > ENDS * wide).any():
        return None
    if part.length < 2 * LONG * max(mean, *wide.tolist()):
        return None
    (a, b), (c, d) = ends
    one, other = (
        _drawn_on(
            _stretch(ring, at[first], at[last]),
            -BEYOND * pitch * (a != b if first == b else c != d) * way[first, 1],
            -BEYOND * pitch * (c != d if last == c else a != b) * way[last, 0],
        )
        for first, last in ((b, c), (d, a))
    )
    return (one, other), shapely.union_all(lines)


def _ends(stretch: Array) -> list[tuple[int, int]]:
    """Return the corners at which each end begins and stops, one where it is a tip.

    Parameters
    ----------
    stretch : ndarray (2 to 4,)
        How long the border is from each corner to the next, mm.
    """
    if len(stretch) == 2:
        return [(0, 0), (1, 1)]
    if len(stretch) == 3:
        k = int(stretch.argmin())
        return [(k, (k + 1) % 3), ((k + 2) % 3,) * 2]
    k = int(stretch[0] + stretch[2] > stretch[1] + stretch[3])
    return [(k, k + 1), (k + 2, (k + 3) % 4)]


def _across(corner: Array, way: Array) -> float:
    """Return how wide a ribbon is at an end, square to its sides, mm.

    Parameters
    ----------
    corner : ndarray (2, 2)
        Where one side comes to the end and the other leaves it.
    way : ndarray (2, 2, 2)
        The ways back and on along the border from each.
    """
    axis = unit(way[1:, 1] + way[:1, 0])
    return abs(float(cross(axis, corner[1:] - corner[:1])[0]))


def _stretch(ring: LineString, start: float, stop: float) -> shapely.Geometry:
    """Return a ring's stretch from one place on it to another, a point where both are one."""
    if start <= stop:
        return shapely.ops.substring(ring, start, stop)
    parts = [shapely.ops.substring(ring, a, b) for a, b in ((start, ring.length), (0.0, stop))]
    return LineString(np.vstack([shapely.get_coordinates(p) for p in parts]))


def _drawn_on(side: shapely.Geometry, before: Array, after: Array) -> LineString:
    xy = shapely.get_coordinates(side)
    longer = np.vstack([xy[:1] + before, xy, xy[-1:] + after])
    return shapely.remove_repeated_points(LineString(longer))


def _between(sides: Sides, xy: Array) -> tuple[Array, Array, Array]:
    """Return what share of the way from one side to the other points (n, 2) lie at, the unit way
    across there, and how far it is, mm.
    """
    points = np.asarray(shapely.points(xy), dtype=object)
    foot = []
    for side in sides:
        parts = straight_parts(side)
        who, part = shapely.STRtree(parts).query_nearest(points, all_matches=False)
        link = shapely.get_coordinates(shapely.shortest_line(points[who], parts[part]))
        foot.append(link.reshape(-1, 2, 2)[:, 1])
    far = [np.hypot(*(f - xy).T) for f in foot]
    wide: Array = np.maximum(far[0] + far[1], PLACE_MM)
    return far[0] / wide, unit(foot[1] - foot[0]), wide


def _number(part: Polygon, ends: shapely.Geometry, xy: Array, wide: Array, pitch: float) -> int:
    """Return of how many courses a ribbon is, none where that is not the same all along."""
    points = np.asarray(shapely.points(xy), dtype=object)
    shapely.prepare(part)
    inner = shapely.contains(part, points) & (shapely.distance(points, ends) > NEAR_END * pitch)
    if not inner.any() or not THIN < wide[inner].max() < WIDEST:  # nor where no course has room
        return 0
    # n to n + 1 at sqrt(n (n + 1)): the root of n^2 + n = wide^2
    best = np.maximum(np.ceil(np.sqrt(wide[inner] ** 2 + 0.25) - 0.5 - 1e-9), 1.0).astype(int)
    number = int(np.bincount(best).argmax())
    return number if np.mean(best == number) >= EVERYWHERE else 0


def _bends(normal: Array, middle: NDArray[np.bool_]) -> float:
    """Return by how much normals turn from node to node where they turn most, radians."""
    most = 0.0
    for axis in (0, 1):
        both = np.diff(middle.astype(int), axis=axis) == 0
        both &= np.delete(middle, -1, axis=axis)
        turn = np.hypot(*np.diff(normal, axis=axis + 1))[both]
        most = max(most, float(np.percentile(turn, 98)) if len(turn) else 0.0)
    return most


def _led(setting: Setting, sides: Sides) -> bool:
    """Return whether courses are to run along a ribbon: flow lines do, or none says otherwise."""
    (part,) = setting.outline.geoms
    mean, along = 2 * part.area / part.length, 0.0
    for line in shapely.get_parts([w.intersection(part) for w in setting.flow]):
        if line.geom_type != "LineString" or line.is_empty:
            continue
        xy = shapely.get_coordinates(shapely.segmentize(line, 0.25 * setting.pitch_mm))
        share, _, wide = _between(sides, xy)
        size = np.hypot(*np.diff(xy, axis=0).T)
        askew = np.abs(np.diff(share * wide)) > ASKEW * size
        if size[askew].sum() > ACROSS * mean:
            return False
        along += float(size[~askew].sum())
    return setting.laying.follow_border or along > part.length / 4
