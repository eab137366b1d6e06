"""How large the pieces of a field are at each place: one size, or graded from lines of others.

A piece g larger than the one before it, as a share of its size, is what a grade g gives: the size
grows by g in every mm. Across the courses they simply grow wider by g from one to the next. Along
them n courses must become fewer: in the room of one piece g courses end, so one piece in 1 / g
ends a course, and a course runs on for 1 / g pieces between two that end beside it. At a tenth
the ends are as few as a good hand has them, and neighbours look alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import MultiLineString, MultiPolygon

from core.geometry import LINKED_MM
from core.laying.exact import PLACE_MM, quantised
from core.laying.field.grid import Array, Grid

GRADE = 0.1  # of a piece that the next is larger or smaller, where nothing else is asked for
STEEPEST = 0.14  # at most: beyond, one piece in seven would end a course
STEP = 0.5  # of the smallest pitch, between two nodes
MOST_NODES = 90_000


@dataclass(frozen=True, slots=True)
class Size:
    """Lines along which pieces are of one size, mm, and the grade at which it gives way."""

    lines: MultiLineString
    tessera_mm: float
    grade: float = GRADE

    def reach_mm(self, own_mm: float) -> float:
        """Return how far from the lines it tells, in a field of pieces of its own size."""
        return self.tessera_mm + abs(own_mm - self.tessera_mm) / self.grade


@dataclass(frozen=True, slots=True)
class Scale:
    """The field's own tessera and the joint, mm; and where it varies, the tessera at the nodes."""

    tessera_mm: float
    joint_mm: float
    grid: Grid | None = None
    nodes: Array | None = None

    @property
    def pitch_mm(self) -> float:
        """The field's own tessera and joint together."""
        return self.tessera_mm + self.joint_mm

    @property
    def finest_mm(self) -> float:
        """The smallest pitch."""
        return self.pitch_mm if self.nodes is None else float(self.nodes.min()) + self.joint_mm

    @property
    def coarsest_mm(self) -> float:
        """The largest pitch."""
        return self.pitch_mm if self.nodes is None else float(self.nodes.max()) + self.joint_mm

    def tessera_at(self, xy: Array) -> Array:
        """Return the tessera at points (n, 2) mm, shape (n,)."""
        if self.grid is None or self.nodes is None:
            return np.full(len(xy), self.tessera_mm)
        return quantised(self.grid.sample(self.nodes, xy), PLACE_MM)

    def tessera_of(self, shapes: NDArray[np.object_]) -> Array:
        """Return the tessera at the middle of shapes (n,), the field's own where one is empty."""
        out = np.full(len(shapes), self.tessera_mm)
        if self.nodes is not None:
            there = ~(shapely.is_missing(shapes) | shapely.is_empty(shapes))
            out[there] = self.tessera_at(shapely.get_coordinates(shapely.centroid(shapes[there])))
        return out

    def pitch_at(self, xy: Array) -> Array:
        """Return tessera and joint together at points (n, 2) mm, shape (n,)."""
        return self.tessera_at(xy) + self.joint_mm

    def pitch_of(self, shapes: NDArray[np.object_]) -> Array:
        """Return the pitch at the middle of shapes (n,), the field's own where one is empty."""
        return self.tessera_of(shapes) + self.joint_mm

    def pitch_between(self, a: Array, b: Array) -> Array:
        """Return the pitch by which a straight way from a to b, each (n, 2) mm, is counted."""
        if self.nodes is None:
            return np.full(len(a), self.pitch_mm)
        share = (np.arange(_STEPS) + 0.5) / _STEPS
        each = [1 / self.pitch_at(a + s * (b - a)) for s in share.tolist()]
        out: Array = _STEPS / np.sum(each, axis=0)
        return out

    def number_in(self, outline: MultiPolygon) -> float:
        """Return about how many pieces an outline takes."""
        if self.grid is None or self.nodes is None:
            return float(outline.area / self.pitch_mm**2)
        inside = self.grid.inside(outline)
        if not inside.any():
            return float(outline.area / self.pitch_mm**2)
        return float(outline.area * np.mean(1 / (self.nodes[inside] + self.joint_mm) ** 2))


_STEPS = 6  # along a way that is counted


def sizes_felt(outline: MultiPolygon, own_mm: float, sizes: Sequence[Size]) -> tuple[Size, ...]:
    """Return the sizes that tell somewhere in an outline."""
    return tuple(
        s
        for s in sizes
        if s.tessera_mm != own_mm
        and shapely.dwithin(outline, s.lines, s.reach_mm(own_mm) - LINKED_MM)
    )


def scale_over(
    outline: MultiPolygon, tessera_mm: float, joint_mm: float, sizes: tuple[Size, ...]
) -> Scale:
    """Return the scale of a field.

    Within a piece of its lines each size is itself; from there it gives way at its grade. Where
    lines ask for more change than that between them, the smaller size keeps its place.
    """
    plain = Scale(tessera_mm, joint_mm)
    return _graded(plain, outline, sizes) if sizes and not outline.is_empty else plain


@lru_cache(maxsize=32)
def _graded(plain: Scale, outline: MultiPolygon, sizes: tuple[Size, ...]) -> Scale:
    own = plain.tessera_mm
    finest = min(own, *(s.tessera_mm for s in sizes)) + plain.joint_mm
    x0, y0, x1, y1 = outline.bounds
    step = max(STEP * finest, float(np.sqrt((x1 - x0) * (y1 - y0) / MOST_NODES)))
    grid = Grid.over(outline, step, 2 * plain.pitch_mm)
    x, y = grid.nodes()
    points = np.asarray(shapely.points(x, y), dtype=object)
    low, high = np.full(grid.shape, np.inf), np.full(grid.shape, -np.inf)
    for s in sizes:
        shapely.prepare(s.lines)
        beyond = np.maximum(shapely.distance(s.lines, points) - s.tessera_mm, 0.0)
        low = np.minimum(low, s.tessera_mm + s.grade * beyond)
        high = np.maximum(high, s.tessera_mm - s.grade * beyond)
    nodes = quantised(np.minimum(np.maximum(own, high), low), PLACE_MM)
    return replace(plain, grid=grid, nodes=nodes)
