"""Ornaments of a disc: rays and the rosette, round an eye and rings that are laid by themselves.

The eye is a core and one ring of pieces, and round it lie rings one course wide: courses in the
middle of a larger disc would turn too much, and end there anyhow.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import LineString, Polygon
from shapely.affinity import rotate
from shapely.geometry.base import BaseGeometry

from core.errors import EmblemaError
from core.ornament.fit import Module, assembled
from core.ornament.parts import Figure, Ornament, carried, ground, guides

STEP = 0.35  # pitches from point to point of a curve
EYE = 1.9  # pitches: radius up to which a round thing is a core and one ring of pieces
RAY = 1.9  # pitches: least width of a ray, where it begins
PETAL = 2.35  # pitches: least room of a petal, where it begins
RIVER = 2.0  # pitches of ground between petals at least: two tesserae
BLUNT = 0.3  # pitches: half the width of a heart where it ends
FULL = 0.35  # of its length that half a petal is wide at most


def rays(
    centre_mm: tuple[float, float], radius_mm: float, module: Module, count: int = 8
) -> Ornament:
    """Return so many rays and as many ways between them, all alike, round an eye.

    Raises
    ------
    EmblemaError
        The disc is too small for so many.
    """
    core = _core(RAY * 2 * count)
    radius = _roomy(radius_mm, module, core + 2, f"{count} rays")
    inner, outer = _rim(core, 2 * count), _rim(radius, 2 * count)
    sectors = [Polygon([*a, *b[::-1]]) for a, b in zip(inner[::2], outer[::2], strict=True)]
    middle = core + round(radius - core) / 2 + (0.0 if round(radius - core) % 2 else 0.5)
    line = LineString(_arc(middle, 0, 2 * np.pi))
    figures = (
        *_middle(core, count),
        Figure("rays", shapely.union_all(sectors), (line,)),
        Figure("ground", Polygon(), (line,)),
    )
    return _on_disc("rays", centre_mm, _disc(radius, count), module, figures, ground())


def rosette(
    centre_mm: tuple[float, float], radius_mm: float, module: Module, petals: int = 8
) -> Ornament:
    """Return a rosette of so many petals between two arcs each, round an eye.

    A course hugs each petal's heart, which is one, three or five courses wide. The ground runs
    round about between the petals, in courses of two pieces or more, up to a rim of one course.

    Raises
    ------
    EmblemaError
        The disc is too small for so many.
    """
    core = _core(PETAL * petals)
    radius = _roomy(radius_mm, module, core + 5, f"{petals} petals")
    tip = radius - 1  # a course runs round outside, where petals end
    half = _half(core, tip, np.pi / petals)
    one = shapely.difference(_lens(core, tip, half), _disc(core, petals))
    # its tips cut off where they would be too slim for a tessera
    heart = shapely.buffer(one, -1 - BLUNT, join_style="mitre", mitre_limit=10)
    heart = shapely.buffer(heart, BLUNT, join_style="bevel")
    whole = _disc(radius, petals)
    figures = (
        *_middle(core, petals),
        Figure("hearts", _all_round(heart, petals)),
        Figure("petals", _all_round(shapely.difference(one, heart), petals)),
        Figure("rim", shapely.difference(whole, _disc(tip, petals))),
        guides(*(LineString(_arc(r, 0, 2 * np.pi)) for r in _courses(core, tip))),
    )
    return _on_disc("rosette", centre_mm, whole, module, figures, ground("tessellatum", False))


def _core(rim: float) -> int:
    """Return the radius of the least core with a rim so long, an eye with whole rings round it."""
    return max(3, int(np.ceil(rim / (2 * np.pi))))


def _middle(core: int, turns: int) -> list[Figure]:
    """Return the eye and the rings round it, each one course wide."""
    discs = [_disc(r, turns) for r in np.linspace(EYE, core, core - 1)]
    rings = [shapely.difference(b, a) for a, b in pairwise(discs)]
    return [
        Figure("eye", discs[0]),
        *(Figure(f"ring {k}", ring) for k, ring in enumerate(rings, 1)),
    ]


def _half(core: float, tip: float, share_rad: float) -> float:
    """Return half the width of a petal, in its middle, that leaves a river to the next.

    `share_rad` is the angle from its middle to that of the river.
    """
    along = np.linspace(0, 1, 41)[1:-1]
    room = (core + along * (tip - core)) * np.tan(share_rad) - RIVER / 2 / np.cos(share_rad)
    most = float(min((room / (4 * along * (1 - along))).min(), FULL * (tip - core)))
    return np.floor(most - 0.5) + 0.5 if most >= 1.5 else most


def _courses(inner: float, outer: float) -> NDArray[np.float64]:
    """Return the radii of the middles of courses round about, every third."""
    count = max(1, round(outer - inner))
    return inner + (np.arange(0, count, 3) + 0.5) * (outer - inner) / count


def _all_round(shape: BaseGeometry, turns: int) -> BaseGeometry:
    """Return what points to the right turned to the top, and by so many turns from there."""
    return shapely.union_all(
        [rotate(shape, 360 * k / turns - 90, origin=(0, 0)) for k in range(turns)]
    )


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
    bed: Figure,
) -> Ornament:
    pitch = module.pitch_mm
    put = [(f, lambda xy: np.asarray(centre_mm) + xy * pitch) for f in figures]
    radius = -whole.bounds[1]
    best = max(1, round(radius))
    words = f"{radius * pitch:.1f} mm from middle to edge: {radius:.1f} courses."
    if abs(radius - best) * pitch > 0.05:
        words += f" {best * pitch:.1f} mm would be just {best}."
    return assembled(name, bed, module, put, carried(whole, put[0][1]), [words])


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
