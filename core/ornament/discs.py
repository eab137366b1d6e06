"""Ornaments of a disc: rays and the rosette, round a core that is laid by itself."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.affinity import rotate

from core.errors import EmblemaError
from core.ornament.fit import Module, assembled
from core.ornament.parts import Figure, Ornament, carried, ground

STEP = 0.35  # pitches from point to point of a curve
CORE = 2.0  # pitches: radius below which a round thing is all wedges
RAY = 2.0  # pitches: least width of a ray, where it leaves the core
FULL = 0.9  # of its sector that a petal fills where it is widest


def rays(
    centre_mm: tuple[float, float], radius_mm: float, module: Module, count: int = 12
) -> Ornament:
    """Return so many rays and as many ways between them, all alike, round a core.

    Raises
    ------
    EmblemaError
        The disc is too small for so many.
    """
    core = max(CORE, RAY * count / np.pi)
    radius = _roomy(radius_mm, module, core + 2, f"{count} rays")
    inner, outer = _rim(core, 2 * count), _rim(radius, 2 * count)
    sectors = [Polygon([*a, *b[::-1]]) for a, b in zip(inner[::2], outer[::2], strict=True)]
    middle = core + round(radius - core) / 2 + (0.0 if round(radius - core) % 2 else 0.5)
    line = LineString(_arc(middle, 0, 2 * np.pi))
    figures = (
        Figure("core", _disc(core, count)),
        Figure("rays", shapely.union_all(sectors), (line,)),
        Figure("ground", Polygon(), (line,)),
    )
    return _on_disc("rays", centre_mm, _disc(radius, count), module, figures)


def rosette(
    centre_mm: tuple[float, float], radius_mm: float, module: Module, petals: int = 8
) -> Ornament:
    """Return a rosette of so many petals between two arcs each, round a core.

    Raises
    ------
    EmblemaError
        The disc is too small for so many.
    """
    core = max(CORE, RAY * petals / (2 * np.pi))
    radius = _roomy(radius_mm, module, core + 5, f"{petals} petals")
    tip = radius - 1  # a course of ground runs round outside
    reach = tip - core / 2
    half = min(FULL * np.sin(np.pi / petals) * (tip + core / 2) / 2, 0.35 * reach)
    middle = _disc(core, petals)
    one = shapely.difference(_lens(core / 2, tip, half), middle)
    shapes = [rotate(one, 360 * k / petals - 90, origin=(0, 0)) for k in range(petals)]
    figures = (
        Figure("core", middle),
        Figure("petals", shapely.union_all(shapes)),
    )
    return _on_disc("rosette", centre_mm, _disc(radius, petals), module, figures)


def _roomy(radius_mm: float, module: Module, least: float, what: str) -> float:
    """Return a radius in pitches, or say that it is less than the least."""
    pitch = module.pitch_mm
    if radius_mm < least * pitch:
        raise EmblemaError(f"{what} need a disc of {2 * least * pitch:.0f} mm or more across.")
    return radius_mm / pitch


def _on_disc(
    name: str,
    centre_mm: tuple[float, float],
    whole: Polygon,
    module: Module,
    figures: tuple[Figure, ...],
) -> Ornament:
    pitch = module.pitch_mm
    put = [(f, lambda xy: np.asarray(centre_mm) + xy * pitch) for f in figures]
    radius = -whole.bounds[1]
    best = max(1, round(radius))
    words = f"{radius * pitch:.1f} mm from middle to edge: {radius:.1f} courses."
    if abs(radius - best) * pitch > 0.05:
        words += f" {best * pitch:.1f} mm would be just {best}."
    return assembled(name, ground(), module, put, carried(whole, put[0][1]), [words])


def _arc(radius: float, begin: float, end: float) -> NDArray[np.float64]:
    count = max(2, int(np.ceil(abs(end - begin) * radius / STEP)))
    t = np.linspace(begin, end, count + 1)
    return radius * np.stack([np.cos(t), np.sin(t)], axis=1)


def _rim(radius: float, parts: int) -> NDArray[np.float64]:
    """Return a circle from its top in so many arcs (parts, n, 2), each with both its ends.

    Borders on it are drawn with the same points on either side, and turn onto one another.
    """
    each = max(2, int(np.ceil(2 * np.pi / parts * radius / STEP)))
    t = np.linspace(0, 2 * np.pi, parts * each + 1) - np.pi / 2
    xy = radius * np.stack([np.cos(t), np.sin(t)], axis=1)
    arcs: NDArray[np.float64] = xy[np.arange(parts)[:, None] * each + np.arange(each + 1)]
    return arcs


def _disc(radius: float, turns: int) -> Polygon:
    """Return a disc that so many turns carry onto itself, and the mirror through each."""
    return Polygon(np.vstack([arc[:-1] for arc in _rim(radius, 2 * turns)]))


def _lens(begin: float, end: float, half: float) -> Polygon:
    """Return a petal along x between two arcs, `half` to either side in its middle."""
    length = end - begin
    radius = (length**2 / 4 + half**2) / (2 * half)
    reach = np.arcsin(length / 2 / radius)
    arc = _arc(radius, np.pi / 2 - reach, np.pi / 2 + reach) - np.array([0, radius - half])
    middle = np.array([(begin + end) / 2, 0])
    return Polygon([*(arc + middle), *(-arc[1:-1] + middle)])
