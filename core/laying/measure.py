"""How well a small field is laid, to choose the best of several ways to divide its courses.

In a large field what is random evens out; in one of some dozen pieces it decides whether sizes are
alike and joints run on.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from core.geometry import unit
from core.laying.courses.bends import joint_turns
from core.laying.exact import dot
from core.laying.field.grid import Array
from core.laying.field.scale import Scale
from core.laying.pieces.axis import axis_rad, quarter_rad
from core.quality import (
    AT_RANDOM,
    BARE,
    IN_LINE,
    ODD,
    OFF_FLOW_DEG,
    TURN_LIMIT,
    TURNING,
    UNEVEN,
)

GOOD = 0.8  # share of a limit below which a hand would not lay a field again


@dataclass(frozen=True, slots=True)
class Quality:
    """How a field keeps its limits: what is wrong with it, each as a share of its limit."""

    uneven: float  # sizes unlike
    in_line: float  # joints that run on
    bare: float  # grout beyond the joints
    turning: float  # courses that turn from piece to piece
    odd: float  # pieces with other than four corners
    off_flow: float  # pieces beside a flow line that do not run along it

    @property
    def good(self) -> bool:
        """Whether a hand would leave it.

        Courses turn with the border: that alone is no cause to lay a field again in the same way.
        """
        return max(self.uneven, self.in_line) < GOOD and self.bare <= 1 and self.off_flow <= 1

    @property
    def poor(self) -> bool:
        """Whether it is worth a good many tries.

        Bare grout may be the outline's own doing, of which no other try is free.
        """
        return max(self.uneven, self.in_line, self.off_flow) > 1

    def better_than(self, other: Quality) -> bool:
        """Return whether less is wrong: fewer limits missed, or missed by less, or less in all."""
        return self._order() < other._order()

    @property
    def own(self) -> int:
        """How many limits are missed that may be the outline's own doing."""
        return (self.bare > 1) + (self.odd > 1)

    @property
    def missed(self) -> list[float]:
        """What goes beyond its limit, by how much."""
        return [v - 1.0 for v in self._each() if v > 1.0]

    def _each(self) -> tuple[float, ...]:
        return self.uneven, self.in_line, self.bare, self.turning, self.odd, self.off_flow

    def _order(self) -> tuple[int, float, float]:
        return len(self.missed), sum(self.missed), sum(v * v * v for v in self._each())


def quality_of(
    polygons: NDArray[np.object_],
    course: NDArray[np.int64],
    room_mm2: float,
    scale: Scale,
    wanted_rad: Array | None = None,
) -> Quality:
    """Return how pieces that lie in order along their courses keep their limits.

    `wanted_rad` is the angle of the flow line beside each, nan where there is none.
    """
    pitch, joint = scale.pitch_of(polygons), scale.joint_mm
    times = scale.tessera_of(polygons) / scale.tessera_mm
    # as pieces of the field's own size beside their joints
    wide = (1 - joint / scale.pitch_mm) / (1 - joint / pitch)
    covered = float((shapely.area(polygons) * wide**2).sum()) / room_mm2
    covered /= (1 - joint / scale.pitch_mm) ** 2
    area = shapely.area(polygons) / times**2
    bare = max(1 - covered, 0.0) / BARE
    if len(polygons) < 3:
        return Quality(0.0, 0.0, bare, 0.0, 0.0, 0.0)
    middle = shapely.get_coordinates(shapely.centroid(polygons))
    _, turn = joint_turns(polygons, course, pitch)
    off = (
        np.zeros(1)
        if wanted_rad is None
        else quarter_rad(axis_rad(polygons, wanted_rad) - wanted_rad)
    )
    off = off[np.isfinite(off)]
    return Quality(
        uneven=float(area.std() / area.mean()) / UNEVEN,
        in_line=_in_line(middle, course, pitch) / AT_RANDOM,
        bare=bare,
        turning=float(np.percentile(turn, 100 * (1 - TURNING)) / TURN_LIMIT) if len(turn) else 0.0,
        odd=float(np.mean(shapely.get_num_coordinates(polygons) != 5)) / ODD,
        off_flow=float(np.sqrt(np.mean(off**2)) / np.radians(OFF_FLOW_DEG)) if len(off) else 0.0,
    )


def _in_line(middle: Array, course: NDArray[np.int64], pitch: Array) -> float:
    """Return the share of joints, seen from either side, in line with one of the next course."""
    left = np.flatnonzero(course[1:] == course[:-1])
    joint = (middle[left] + middle[left + 1]) / 2
    if not len(joint):
        return 0.0
    near = 1.35 * pitch[left]
    pairs = cKDTree(joint).query_pairs(near.max(), output_type="ndarray")
    along = unit(middle[left + 1] - middle[left])
    i, j = np.concatenate([pairs, pairs[:, ::-1]]).T
    d = joint[j] - joint[i]
    i, j, d = (v[np.hypot(*d.T) <= near[i]] for v in (i, j, d))
    off = np.abs(dot(d, along[i]))
    across = d[:, 1] * along[i, 0] - d[:, 0] * along[i, 1]
    beside = (course[left[i]] != course[left[j]]) & (np.abs(across) > 0.6 * pitch[left[i]])
    nearest = np.full((2, len(joint)), np.inf)
    off = off / pitch[left[i]]
    np.minimum.at(nearest, ((across > 0).astype(int)[beside], i[beside]), off[beside])
    seen = nearest[np.isfinite(nearest)]
    return float(np.mean(seen < IN_LINE)) if len(seen) else 0.0
