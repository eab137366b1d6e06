"""Fits ornaments to a frame, a strip or a disc: a whole number of repeats, the misfit spread.

What is laid on the module seldom comes out at the size that is asked for. Each repeat then takes
its share of what is over or short, and that is said, with the sizes at which nothing would be.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString
from shapely.geometry.base import BaseGeometry

from core.coverage import knit, polygons_of
from core.errors import EmblemaError
from core.flow import smooth_curve
from core.geometry import SNAP_MM
from core.ornament.parts import HAIR, Band, Figure, Ornament, Part, carried

Array = NDArray[np.float64]
Place = Callable[[Array], Array]

MOST_STRETCH = 0.25  # of the module: beyond it the figure would no longer be the same
SEEN_MM = 0.05  # a misfit of a repeat below this is none
BEND_STEP = 0.35  # pitches from point to point of what is bent
CIRCLE_STEPS = 720


@dataclass(frozen=True, slots=True)
class Module:
    """The tessera and the joint that an ornament is drawn on."""

    tessera_mm: float
    joint_mm: float

    @property
    def pitch_mm(self) -> float:
        """Tessera and joint together."""
        return self.tessera_mm + self.joint_mm


@dataclass(frozen=True, slots=True)
class Run:
    """So many repeats along a length; `stretch` is what one takes over its module."""

    repeats: int
    module_mm: float
    stretch: float

    @property
    def words(self) -> str:
        """How it fits, for the person who lays it."""
        real, off = self.module_mm * self.stretch, self.module_mm * (self.stretch - 1)
        some = f"{self.repeats} repeats" if self.repeats > 1 else "1 repeat"
        if abs(off) < SEEN_MM:
            return f"{some} of {real:.1f} mm: just the module."
        more = "more" if off > 0 else "less"
        return f"{some} of {real:.1f} mm: {abs(off):.1f} mm {more} than the module each."


def run_along(
    band: Band, length_mm: float, module: Module, ends: bool, repeats: int | None = None
) -> Run:
    """Return how a band fits along a length, in as many repeats as stray least from the module.

    Raises
    ------
    EmblemaError
        Not even one repeat would keep its shape.
    """
    pitch = module.pitch_mm
    extra = band.length(0, ends)
    fits = (length_mm / pitch - extra) / band.repeat
    n = max(1, round(fits)) if repeats is None else repeats
    stretch = length_mm / (band.length(n, ends) * pitch)
    if not 1 - MOST_STRETCH <= stretch <= 1 + MOST_STRETCH:
        sizes = [band.length(k, ends) * pitch for k in (n, n + 1)]
        raise EmblemaError(
            f"{length_mm:.0f} mm is no length for whole repeats of the {band.name}; "
            f"{sizes[0]:.0f} or {sizes[1]:.0f} mm would be."
        )
    return Run(n, band.repeat * pitch, stretch)


def frame(
    band: Band,
    box_mm: tuple[float, float, float, float],
    module: Module,
    repeats: int | None = None,
) -> Ornament:
    """Fit a band round the inside of a rectangle, its four corners alike.

    Parameters
    ----------
    box_mm : tuple of float
        Left, top, right and bottom of the outer edge.
    repeats : int, optional
        Along each level side; as many as fit best where left out, as on the others.

    Raises
    ------
    EmblemaError
        The rectangle is too small for the band.
    """
    x0, y0, x1, y1 = box_mm
    pitch = module.pitch_mm
    wide = band.width * pitch
    level, upright = x1 - x0 - 2 * wide, y1 - y0 - 2 * wide
    if min(level, upright) <= 0:
        least = 2 * wide + band.length(1, True) * pitch
        raise EmblemaError(
            f"A frame of this {band.name} is {wide:.0f} mm wide: its outer edge must be "
            f"{least:.0f} mm or more each way."
        )
    runs = [
        run_along(band, level, module, True, repeats),
        run_along(band, upright, module, True),
    ]
    east, south = np.array([1.0, 0.0]), np.array([0.0, 1.0])
    sides = (
        ((x0 + wide, y0), east, south, runs[0]),
        ((x1, y0 + wide), south, -east, runs[1]),
        ((x1 - wide, y1), -east, -south, runs[0]),
        ((x0, y1 - wide), -south, east, runs[1]),
    )
    put: list[tuple[Figure, Place]] = []
    for origin, along, inward, run in sides:
        length = band.length(run.repeats, True) * run.stretch * pitch
        side = _straight(origin, along * run.stretch * pitch, inward * pitch)
        corner = _straight(np.add(origin, length * along), along * pitch, inward * pitch)
        put += [(f, side) for f in band.draw(run.repeats, True)]
        put += [(f, corner) for f in band.corner]
    outer = shapely.box(x0, y0, x1, y1)
    whole = shapely.difference(outer, shapely.box(x0 + wide, y0 + wide, x1 - wide, y1 - wide))
    words = [f"Level sides: {runs[0].words}", f"Upright sides: {runs[1].words}"]
    if runs[0] == runs[1]:
        words = [f"Each side: {runs[0].words}"]
    if any(abs(r.stretch - 1) * r.module_mm >= SEEN_MM for r in runs):
        size = [2 * wide + band.length(r.repeats, True) * pitch for r in runs]
        words.append(f"It would fit exactly at {size[0]:.1f} x {size[1]:.1f} mm.")
    made = assembled(band.name, band.ground, module, put, whole, words)
    return replace(made, parts=tuple(_in_grid(p) for p in made.parts))


def _in_grid(part: Part) -> Part:
    """Return a part of level and upright sides with its grid tied to them, however stretched."""
    if part.opus != "regulatum":
        return part
    rings = shapely.get_rings(shapely.get_parts(part.outline))
    step = np.concatenate([np.diff(shapely.get_coordinates(r), axis=0) for r in rings])
    return replace(part, follow_border=bool((np.abs(step).min(axis=1) <= SNAP_MM).all()))


def strip(
    band: Band,
    points: Sequence[tuple[float, float]],
    module: Module,
    repeats: int | None = None,
    *,
    closed: bool = False,
) -> Ornament:
    """Fit a band along a smooth curve through points, mm, its middle on the curve.

    Its outer edge lies to the left of the way as seen on the screen.

    Raises
    ------
    EmblemaError
        The curve is too short, or bends too sharply.
    """
    ring = [*points, points[0]] if closed else list(points)
    line = smooth_curve(ring, module.pitch_mm / 4)
    if len(line) < 2:
        raise EmblemaError("A strip needs at least two different points.")
    return _bent(band, Bent(line, band.width * module.pitch_mm), module, repeats, closed)


def ring(
    band: Band,
    centre_mm: tuple[float, float],
    radius_mm: float,
    module: Module,
    repeats: int | None = None,
) -> Ornament:
    """Fit a band round inside a circle, its outer edge on it."""
    middle = radius_mm - band.width * module.pitch_mm / 2
    t = np.linspace(0, 2 * np.pi, CIRCLE_STEPS + 1) - np.pi / 2
    line = np.asarray(centre_mm) + max(middle, 0.0) * np.stack([np.cos(t), np.sin(t)], axis=1)
    return _bent(band, Bent(line, band.width * module.pitch_mm), module, repeats, True)


class Bent:
    """Carries a band to a curve: along it by its length, across it square to it."""

    def __init__(self, line: Array, wide_mm: float) -> None:
        step = np.hypot(*np.diff(line, axis=0).T)
        self.at = np.r_[0.0, np.cumsum(step)]
        self.line, self.wide = line, wide_mm
        self.closed = bool(np.hypot(*(line[0] - line[-1])) < 1e-9)
        way = np.gradient(line, self.at, axis=0) if len(line) > 2 else np.diff(line, axis=0)
        if len(line) == 2:
            way = np.vstack([way, way])
        if self.closed:
            way[0] = way[-1] = line[1] - line[-2]
        self.way = way / np.hypot(*way.T)[:, None]

    @property
    def tightest_mm(self) -> float:
        """Least radius of its bends, as a stretch of an eighth of the band's width feels them."""
        turn = np.unwrap(np.arctan2(self.way[:, 1], self.way[:, 0]))
        stretch = self.wide / 8
        begin = np.arange(0.0, max(self.at[-1] - stretch, stretch), stretch / 2)
        bent = np.interp(begin + stretch, self.at, turn) - np.interp(begin, self.at, turn)
        return float(stretch / max(np.abs(bent).max(), 1e-12))

    def along(self, along_mm: Array) -> tuple[Array, Array]:
        """Return places on the curve (n, 2) mm, and the way that it has there."""
        xy = np.stack([np.interp(along_mm, self.at, self.line[:, k]) for k in (0, 1)], axis=1)
        way = np.stack([np.interp(along_mm, self.at, self.way[:, k]) for k in (0, 1)], axis=1)
        return xy, way / np.hypot(*way.T)[:, None]

    def place(self, along_mm: Array, across_mm: Array) -> Array:
        """Return places (n, 2) mm; `across_mm` counts from the outer edge."""
        xy, way = self.along(along_mm)
        off = (across_mm - self.wide / 2)[:, None]
        return np.asarray(xy + off * np.stack([-way[:, 1], way[:, 0]], axis=1))


def _bent(band: Band, curve: Bent, module: Module, repeats: int | None, closed: bool) -> Ornament:
    pitch = module.pitch_mm
    run = run_along(band, float(curve.at[-1]), module, not closed, repeats)
    straight = len(curve.line) == 2
    if not straight and curve.tightest_mm < band.tightest * pitch:
        raise EmblemaError(
            f"The curve bends too sharply for this {band.name}: a radius of "
            f"{band.tightest * pitch:.0f} mm is the least at this size."
        )

    def place(xy: Array) -> Array:
        return curve.place(xy[:, 0] * run.stretch * pitch, xy[:, 1] * pitch)

    length = band.length(run.repeats, not closed)
    figures = band.draw(run.repeats, not closed)
    whole: BaseGeometry = shapely.box(0, 0, length, band.width)
    bed = band.ground
    if not straight:
        figures, whole = _fine([_off_grid(f) for f in figures], whole)
        bed = _off_grid(bed)
    bent = [(f, place) for f in figures]
    return assembled(band.name, bed, module, bent, carried(whole, place), [run.words])


def _straight(origin: Sequence[float] | Array, along: Array, inward: Array) -> Place:
    return lambda xy: np.asarray(origin) + xy[:, :1] * along + xy[:, 1:] * inward


def _fine(
    figures: Sequence[Figure], whole: BaseGeometry
) -> tuple[tuple[Figure, ...], BaseGeometry]:
    """Return figures and the whole with points enough to bend, the same on either side of a border.

    Otherwise arcs of one and the same border would differ, and hairs would be left between them.
    """
    borders = [whole.boundary, *(f.shape.boundary for f in figures)]
    lines = shapely.segmentize(shapely.union_all(borders, grid_size=HAIR), BEND_STEP)
    cells = shapely.get_parts(shapely.polygonize([lines]))
    inside = shapely.point_on_surface(cells)

    def drawn(shape: BaseGeometry) -> BaseGeometry:
        return shapely.coverage_union_all(cells[shapely.contains(shape, inside)])

    bent = (
        replace(
            f,
            shape=drawn(f.shape),
            flow=tuple(shapely.segmentize(g, BEND_STEP) for g in f.flow),
        )
        for f in figures
    )
    return tuple(bent), drawn(whole)


def _off_grid(f: Figure) -> Figure:
    """Return a figure in courses along its border, for no grid is left once it is bent."""
    return replace(f, opus="tessellatum", follow_border=True) if f.opus == "regulatum" else f


def assembled(
    name: str,
    ground: Figure,
    module: Module,
    put: Sequence[tuple[Figure, Place]],
    whole: BaseGeometry,
    words: Sequence[str],
) -> Ornament:
    """Return the parts by role, and what is left of the whole as the ground."""
    roles = {f.role: f for f, _ in reversed(put) if f.role != ground.role}
    shapes: dict[str, list[BaseGeometry]] = {role: [] for role in roles}
    flow: dict[str, list[LineString]] = {role: [] for role in (*roles, ground.role)}
    for f, place in put:
        if f.role in shapes:
            shapes[f.role].append(carried(f.shape, place))
        flow[f.role] += [carried(g, place) for g in f.flow]
    areas = [polygons_of(shapely.union_all(s, grid_size=SNAP_MM)) for s in shapes.values()]
    *drawn, left = knit([*areas, polygons_of(whole)])
    parts = [
        Part(role, area, tuple(flow[role]), roles[role].opus, roles[role].follow_border)
        for role, area in zip(shapes, drawn, strict=True)
        if not area.is_empty
    ]
    if not left.is_empty:
        guides = tuple(flow[ground.role])
        parts.append(Part(ground.role, left, guides, ground.opus, ground.follow_border))
    return Ornament(name, module.tessera_mm, module.joint_mm, tuple(parts), tuple(words))
