"""Lays a field step by step: direction, phase, courses, cuts, territories, pieces."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiPolygon

from core.errors import EmblemaError, Stopped
from core.laying.cells import OUTSIDE, guards, territories
from core.laying.courses import trace_courses
from core.laying.cuts import Ruler, divide, places, respaced
from core.laying.direction import direction_field
from core.laying.phase import phase_field
from core.laying.shape import blunted, shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

SITES = 6  # Voronoi sites along a piece's stretch of its course
PASSES = 2  # times the courses are divided again by the room that was found
MOST_PIECES = 200_000


def lay_field(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay one field. The same setting gives the same pieces, to the last bit on one machine.

    Raises
    ------
    core.errors.EmblemaError
        The outline or the numbers cannot be laid.
    core.errors.Stopped
        `stop` answered True; it is asked at least twice a second.
    """
    outline = _sound(setting)
    setting = replace(setting, outline=outline)
    pitch = setting.tessera_mm + setting.joint_mm
    _check(stop)
    direction = direction_field(setting)
    _check(stop)
    phase = phase_field(setting, direction, stop)
    courses = trace_courses(phase, setting)
    _check(stop)
    if not courses:
        return Pieces.empty()
    guard = guards(outline, pitch)
    ruler = Ruler.of(courses)
    room = np.ones(len(ruler.at))
    for turn in range(PASSES + 1):
        stretches = divide(ruler, room, pitch, pitch, setting.variation, setting.seed)
        sites = places(ruler, stretches, SITES)
        n = len(sites)
        ground = _clipped(
            territories(
                np.concatenate([sites.reshape(-1, 2), guard]),
                np.concatenate([np.repeat(np.arange(n), SITES), np.full(len(guard), OUTSIDE)]),
                n,
            ),
            outline,
        )
        _check(stop)
        if turn < PASSES:
            area = np.nan_to_num(shapely.area(ground)) / pitch**2
            ruler, room = respaced(ruler, stretches, area, pitch)
            if not len(ruler.at):
                return Pieces.empty()
    polygons = shape_pieces(ground, setting.joint_mm)
    keep = shapely.area(polygons) > 0.05 * setting.tessera_mm**2
    polygons = blunted(polygons[keep], setting.tessera_mm)
    centre = shapely.get_coordinates(shapely.centroid(polygons))
    return Pieces(polygons, stretches.course[keep], stretches.piece[keep], direction.angle(centre))


def _check(stop: Callable[[], bool]) -> None:
    if stop():
        raise Stopped


def _sound(setting: Setting) -> MultiPolygon:
    """Return the outline made valid, or say why it cannot be laid."""
    pitch = setting.tessera_mm + setting.joint_mm
    if not (np.isfinite(pitch) and 0 < setting.joint_mm < setting.tessera_mm):
        raise EmblemaError("The joint must be more than nothing and less than the tessera.")
    outline = shapely.make_valid(setting.outline)
    parts = [p for g in shapely.get_parts([outline]) for p in shapely.get_parts([g])]
    parts = [p for p in parts if p.geom_type == "Polygon" and p.area > 0]
    if not parts:
        raise EmblemaError("The outline encloses nothing.")
    sound = MultiPolygon(parts)
    if sound.area > MOST_PIECES * pitch**2:
        raise EmblemaError(
            f"A field of {sound.area / pitch**2:,.0f} pieces is more than can be laid at once "
            f"({MOST_PIECES:,}); divide the field or take larger tesserae."
        )
    return sound


def _clipped(ground: NDArray[np.object_], outline: MultiPolygon) -> NDArray[np.object_]:
    """Return territories cut to the field, the largest part of each (None where nothing)."""
    out = ground.copy()
    some = np.nonzero(~shapely.is_missing(out))[0]
    shapely.prepare(outline)
    edge = some[~shapely.contains_properly(outline, out[some])]
    edge = edge[~shapely.is_missing(out[edge])]
    invalid = edge[~shapely.is_valid(out[edge])]
    out[invalid] = shapely.make_valid(out[invalid])
    cut = shapely.intersection(out[edge], outline)
    parts, index = shapely.get_parts(cut, return_index=True)
    polygon = shapely.get_type_id(parts) == 3
    parts, index = parts[polygon], index[polygon]
    out[edge] = None
    order = np.argsort(shapely.area(parts), kind="stable")
    out[edge[index[order]]] = parts[order]
    return out
