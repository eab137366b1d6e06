"""Small round things, a grape or an eye: a core, and one ring of pieces round it.

Courses that follow so short a border turn too much to be courses; a hand sets the core first.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

from core.laying.exact import PLACE_MM, angles, logarithm, quantised
from core.laying.field.grid import Array
from core.laying.pieces.shape import blunted, shape_pieces
from core.laying.spec import Setting
from core.pieces import Pieces

SMALLEST, LARGEST = 1.1, 2.0  # pitches: less is cut in two or four, more has several rings
ROUND = 0.93  # 4 pi area / length^2: an octagon has 0.948, an ellipse of 4 to 3 0.96
RINGS = (4, 5, 6, 8)  # pieces in a ring: the core has as many sides, or half, and never seven


def is_small_round(setting: Setting) -> bool:
    """Return whether a field that follows its border is one small round thing."""
    parts = setting.outline.geoms
    if not setting.laying.follow_border or setting.hug or len(parts) != 1:
        return False
    (part,) = parts
    radius = _radius(part) / setting.pitch_mm
    if part.interiors or not SMALLEST <= radius < LARGEST:
        return False
    if 4 * np.pi * part.area < ROUND * part.length**2:
        return False
    return not any(line.intersects(part) for line in setting.flow)


def lay_round(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay a ring and a core; see `is_small_round`."""
    (part,) = setting.outline.geoms
    number = _ring_of(part.area / setting.pitch_mm**2)
    core, ring = _rooms(part, number)
    rooms = np.array([*ring, core], dtype=object)
    polygons = shape_pieces(rooms, setting.laying.joint_mm)
    polygons = blunted(polygons, setting.laying.tessera_mm)
    middle = shapely.get_coordinates(shapely.centroid(part))[0]
    at = shapely.get_coordinates(shapely.centroid(rooms)) - middle
    angle = angles(at[:, 0], -at[:, 1])  # along the ring
    angle[-1] = angle[0]
    piece = np.r_[np.arange(number), 0]
    return Pieces(polygons, np.r_[np.zeros(number, np.int64), 1], piece, angle)


def _radius(part: Polygon) -> float:
    return float(np.sqrt(part.area / np.pi))


def _ring_of(area: float) -> int:
    """Return of how many pieces a ring is best, all as large as the core; `area` in pitches^2."""
    n = np.array(RINGS, float)
    each = area / (n + 1)
    core, whole = np.sqrt(each / np.pi), np.sqrt(area / np.pi)
    slim = np.pi * (core + whole) / n / (whole - core)
    off = logarithm(slim) ** 2 + logarithm(each) ** 2
    return RINGS[int(quantised(off, PLACE_MM).argmin())]


def _rooms(part: Polygon, number: int) -> tuple[Polygon, NDArray[np.object_]]:
    """Return the room of the core and those of the ring, in order round it."""
    middle = shapely.get_coordinates(shapely.centroid(part))[0]
    rim = shapely.normalize(part).exterior
    at = (np.arange(number) / number) * rim.length
    corner = shapely.get_coordinates(shapely.line_interpolate_point(rim, at)) - middle
    sides = number if number <= 6 else number // 2
    # the core as large as a piece of the ring, whatever its sides
    flat = _area(corner[:: number // sides]) * (number + 1)
    core = Polygon(middle + corner[:: number // sides] * np.sqrt(part.area / flat))
    reach = 2 * corner
    between = np.roll(reach, -1, axis=0)
    wedges = [
        Polygon([middle, middle + a, middle + b]) for a, b in zip(reach, between, strict=True)
    ]
    ring = shapely.difference(shapely.intersection(np.array(wedges, dtype=object), part), core)
    return core, np.asarray(ring)


def _area(corners: Array) -> float:
    return float(Polygon(corners).area)
