"""What an ornament is made of: figures on the module of the tessera, and parts in mm.

A figure is drawn in pitches (tessera and joint together), so that whatever is meant to hold a
whole number of courses has a whole number for its size; `core.ornament.fit` carries it to the work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, MultiPolygon
from shapely.geometry.base import BaseGeometry

HAIR = 1e-6  # pitches: what arithmetic alone makes of one and the same place
GROUND = "ground"


@dataclass(frozen=True, slots=True)
class Figure:
    """What is laid as one field: its role, its shape and its guides, in pitches.

    `opus` and `follow_border` are as in `core.commission.Laying`.
    """

    role: str
    shape: BaseGeometry
    flow: tuple[LineString, ...] = ()
    opus: str = "tessellatum"
    follow_border: bool = True


@dataclass(frozen=True, slots=True)
class Band:
    """An ornament that runs on, in pitches.

    `draw(n, ends)` gives the figures of n repeats over x from 0 to `length(n, ends)` and y from 0
    (the outer edge) to `width`; whatever they leave is ground, laid as `ground` is, and a figure of
    that role only guides it. With ends they begin and end as a side between corners does, else the
    last repeat runs on into the first.

    Attributes
    ----------
    repeat, extra : float
        Pitches along that one repeat takes, and what a side takes beyond whole repeats.
    frieze : str
        The frieze group of its parts, each role carried onto itself and all strands taken alike,
        as in the International Tables for Crystallography, volume E (names from memory).
    corner : tuple of Figure
        The block where one side ends: x on from its end, y from the outer edge, 0 to `width`.
    """

    name: str
    width: float
    repeat: float
    frieze: str
    draw: Callable[[int, bool], tuple[Figure, ...]]
    corner: tuple[Figure, ...]
    ground: Figure
    extra: float = 0.0

    def length(self, repeats: int, ends: bool) -> float:
        """Return the length of so many repeats, pitches."""
        return repeats * self.repeat + (self.extra if ends else 0.0)

    @property
    def tightest(self) -> float:
        """Radius of its middle line, pitches, below which the band cannot be bent."""
        return 1.5 * self.width


@dataclass(frozen=True, slots=True)
class Part:
    """One field of an ornament on the work, mm."""

    role: str
    outline: MultiPolygon
    flow: tuple[LineString, ...] = ()
    opus: str = "tessellatum"
    follow_border: bool = True


@dataclass(frozen=True, slots=True)
class Ornament:
    """Parts that tile the ornament without gap or overlap, and what is to be said of the fit."""

    name: str
    tessera_mm: float
    joint_mm: float
    parts: tuple[Part, ...]
    notes: tuple[str, ...] = ()

    @property
    def outline(self) -> MultiPolygon:
        """All that it covers."""
        whole = shapely.coverage_union_all([p.outline for p in self.parts])
        return MultiPolygon(shapely.get_parts(whole).tolist())


def ground(opus: str = "tessellatum", follow_border: bool = True) -> Figure:
    """Return how what no figure covers is laid."""
    return Figure(GROUND, shapely.Polygon(), (), opus, follow_border)


def guides(*flow: LineString) -> Figure:
    """Return what guides the ground."""
    return Figure(GROUND, shapely.Polygon(), flow)


def joined(shapes: Iterable[BaseGeometry]) -> BaseGeometry:
    """Return shapes as one, with no hair between those that meet."""
    return shapely.union_all(list(shapes), grid_size=HAIR)


G = TypeVar("G", bound=BaseGeometry)


def moved(shape: G, x: float, y: float = 0.0) -> G:
    """Return a shape moved."""
    return carried(shape, lambda xy: xy + np.array([x, y]))


def enlarged(shape: G, by: float) -> G:
    """Return a shape as many times as large, the origin in its place."""
    return carried(shape, lambda xy: xy * by)


def carried(shape: G, place: Callable[[NDArray[np.float64]], NDArray[np.float64]]) -> G:
    """Return a shape with its points (n, 2) carried elsewhere."""
    out: G = shapely.transform(shape, place)
    return out


def seen(lines: Iterable[LineString], shape: BaseGeometry) -> tuple[LineString, ...]:
    """Return what is seen of guides in a shape, as far as it is longer than a tessera."""
    inside = shapely.get_parts([shapely.intersection(g, shape) for g in lines])
    parts = shapely.get_parts(shapely.line_merge(inside))
    return tuple(g for g in parts if isinstance(g, LineString) and g.length > 1)


def rows(x0: float, y0: float, x1: float, y1: float, apart: int = 6) -> tuple[LineString, ...]:
    """Return guides along a box, each in the middle of a course, all near enough to lead."""
    count = max(1, round(y1 - y0))
    step = (y1 - y0) / count
    at = [y0 + (k + 0.5) * step for k in range(0, count, apart)]
    return tuple(LineString([(x0, y), (x1, y)]) for y in at)
