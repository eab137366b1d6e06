"""The ornaments by name, as a person chooses them: a kind, its width, and where it is to lie."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from core.errors import EmblemaError
from core.ornament.bands import chequer, dentils, lozenges, meander, scales, triangles, wave
from core.ornament.discs import rays, rosette
from core.ornament.fit import Module, frame, ring, strip
from core.ornament.parts import Band, Ornament
from core.ornament.strands import guilloche

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of ornament: in words, and its band k courses to the figure; `least` is the least k
    and `usual` what it is begun with. Kinds of a disc have no band.
    """

    words: str
    band: Callable[[int], Band] | None
    least: int = 1
    usual: int = 2


KINDS = {
    "meander": Kind("Meander", lambda k: meander(k, 2), 1, 1),
    "long meander": Kind("Meander, three turns", lambda k: meander(k, 3), 1, 1),
    "plait": Kind("Guilloche, two strands", lambda k: guilloche(k, 2, True)),
    "bare plait": Kind("Guilloche, two, no contour", lambda k: guilloche(k, 2, False)),
    "plait of three": Kind("Guilloche, three strands", lambda k: guilloche(k, 3, True)),
    "bare plait of three": Kind("Guilloche, three, no contour", lambda k: guilloche(k, 3, False)),
    "wave": Kind("Running wave", wave, 2, 3),
    "lozenges": Kind("Lozenges", lozenges, 2, 5),
    "triangles": Kind("Triangles", triangles, 2, 6),
    "dentils": Kind("Dentils", dentils),
    "chequer": Kind("Chequer", lambda k: chequer(k, 2)),
    "chequer of three": Kind("Chequer, three rows", lambda k: chequer(k, 3)),
    "scales": Kind("Scales", lambda k: scales(k, 2), 3, 4),
    "rays": Kind("Rays", None),
    "rosette": Kind("Rosette", None),
}
PLACES = ("frame", "strip", "disc")
PETALS = {"rays": 8, "rosette": 8}


@dataclass(frozen=True, slots=True)
class Wish:
    """An ornament as it is asked for.

    Attributes
    ----------
    place : str
        One of `PLACES`; rays and rosette are always a disc.
    courses : int
        Courses to the figure, on which its width hangs.
    repeats : int
        How many along a strip, round a disc, or along each level side of a frame; 0 for as many as
        fit best.
    """

    kind: str = "meander"
    place: str = "frame"
    courses: int = 1
    tessera_mm: float = 10.0
    joint_mm: float = 1.5
    repeats: int = 0

    @property
    def module(self) -> Module:
        """Tessera and joint."""
        return Module(self.tessera_mm, self.joint_mm)

    @property
    def band(self) -> Band | None:
        """The band, or None where the kind is a disc's own."""
        return band_of(self.kind, self.courses) if KINDS[self.kind].band is not None else None

    @property
    def width_mm(self) -> float:
        """Width of the band on the module; nothing for what fills a disc."""
        return self.band.width * self.module.pitch_mm if self.band is not None else 0.0

    @property
    def lies(self) -> str:
        """Where it lies: as asked for, or in a disc where it is made for one."""
        return self.place if self.band is not None else "disc"


@lru_cache(maxsize=64)
def band_of(kind: str, courses: int) -> Band:
    """Return a band of a kind; see `KINDS`."""
    made = KINDS[kind].band
    assert made is not None
    return made(max(courses, KINDS[kind].least))


def fitted(wish: Wish, points: Sequence[Point]) -> Ornament:
    """Return the ornament that is asked for, fitted to its place.

    Parameters
    ----------
    points : sequence of (x, y)
        mm: two corners of a frame, the way of a strip, or middle and edge of a disc.

    Raises
    ------
    EmblemaError
        It has no room there.
    """
    if len(points) < 2:
        raise EmblemaError("Draw where the ornament is to lie first.")
    number = wish.repeats or None
    first, last = points[0], points[-1]
    if wish.lies == "disc":
        radius = math.dist(first, last)
        if wish.band is not None:
            return ring(wish.band, first, radius, wish.module, number)
        made = rays if wish.kind == "rays" else rosette
        return made(first, radius, wish.module, number or PETALS[wish.kind])
    assert wish.band is not None
    if wish.lies == "strip":
        return strip(wish.band, points, wish.module, number)
    (x0, x1), (y0, y1) = (sorted((first[k], last[k])) for k in (0, 1))
    return frame(wish.band, (x0, y0, x1, y1), wish.module, number)
