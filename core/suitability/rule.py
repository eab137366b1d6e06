"""What a rule of suitability is, and what it finds."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from core.material import Material
from core.place import Place

NAMED: Final = 6  # materials that a finding names in words
LEVELS: Final = {"no": "does not suit", "care": "with care", "ask": "ask first"}

Test = Callable[[Material], bool]


def _always(_: Material) -> bool:
    return True


@dataclass(frozen=True, slots=True)
class Rule:
    """What does not suit some places: of materials (of `kinds`, where named, that pass `when`), or
    of the "adhesive", the "grout" or the "substrate" of one of `classes` ("": not chosen).

    `cooker`: only beside a cooker, in any of `places`. `beneath`: only where one of these kinds of
    material is laid.
    """

    places: tuple[str, ...]
    level: str
    finding: str
    why: str
    source: str
    instead: str
    what: str = "material"
    kinds: tuple[str, ...] = ()
    when: Test = _always
    classes: tuple[str, ...] = ()
    beneath: tuple[str, ...] = ()
    cooker: bool = False

    def of(self, m: Material) -> bool:
        """Return whether it is about a material."""
        return (not self.kinds or m.kind in self.kinds) and self.when(m)

    def holds(self, place: Place) -> bool:
        """Return whether it holds in a place."""
        if self.cooker:
            return place.cooker
        return place.kind in self.places


@dataclass(frozen=True, slots=True)
class Unsuited:
    """One finding: `about` names the codes of the materials, or what is chosen; see `Rule`."""

    level: str
    what: str
    about: tuple[str, ...]
    finding: str
    why: str
    source: str
    instead: str

    @property
    def named(self) -> str:
        """What it is about, in words."""
        if self.what == "material":
            more = len(self.about) - NAMED
            return ", ".join(self.about[:NAMED]) + (f" and {more} more" if more > 0 else "")
        return f"{self.what} {', '.join(self.about)}".strip()
