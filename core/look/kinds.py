"""How the face of each kind and finish of material is made and takes the light.

The numbers are chosen by eye beside the materials themselves; none of them changes a material's
mean colour, which `core.look.colours` keeps.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final


@dataclass(frozen=True, slots=True)
class Face:
    """The face of a tessera.

    Attributes
    ----------
    block : str
        What its irregularity is cut from (`core.look.blocks`).
    relief : float
        Root mean square of the slope of its roughness.
    mottle : float
        Deviation of its tone, as a share of its light.
    spread : float
        Deviation of the light from piece to piece within a lot.
    tilt_deg : float
        Deviation of each way that a piece is tilted by the hand that set it.
    swell : float
        Slope at the edge of a face that swells or hollows, as a deviation.
    edge_mm, edge : float
        How broad an edge is rounded, and its slope at the rim.
    chips_mm : float
        How far an edge that was nipped strays from its line.
    round_mm : float
        Radius of the corners.
    shine, dull : float
        Strength of the lamp in its gloss, and how far the gloss is spread, as a slope.
    room : float
        How much of the room it mirrors.
    depth : float
        How much light passes through it: the far side glows.
    leaf : float
        0, or 1 where it mirrors as metal does.
    film : float
        Strength of the colours of thin layers.
    """

    block: str
    relief: float = 0.05
    mottle: float = 0.03
    spread: float = 0.03
    tilt_deg: float = 1.2
    swell: float = 0.02
    edge_mm: float = 0.5
    edge: float = 0.5
    chips_mm: float = 0.06
    round_mm: float = 0.4
    shine: float = 0.2
    dull: float = 0.2
    room: float = 0.1
    depth: float = 0.0
    leaf: float = 0.0
    film: float = 0.0


_KINDS: Final = {
    "smalti": Face(
        *("broken", 0.085, 0.04, 0.045, 1.7, 0.05),
        edge_mm=0.4,
        edge=0.6,
        chips_mm=0.09,
        depth=0.12,
    ),
    "gold glass": Face(
        *("leafed", 0.05, 0.05, 0.04, 2.3, 0.03),
        edge_mm=0.4,
        edge=0.5,
        chips_mm=0.07,
        depth=0.03,
    ),
    "vitreous": Face(
        *("pressed", 0.05, 0.065, 0.02, 1.1, 0.02),
        edge_mm=0.7,
        edge=0.45,
        chips_mm=0.05,
        round_mm=0.6,
        depth=0.05,
    ),
    "marble": Face(
        *("veined", 0.05, 0.085, 0.05, 1.2, 0.015),
        edge_mm=0.3,
        edge=0.6,
        chips_mm=0.08,
    ),
    "stone": Face(
        *("speckled", 0.07, 0.11, 0.06, 1.3, 0.03),
        edge_mm=0.6,
        edge=0.6,
        chips_mm=0.1,
    ),
    "ceramic": Face(
        *("glazed", 0.03, 0.04, 0.025, 1.0, 0.03),
        edge_mm=1.0,
        edge=0.5,
        chips_mm=0.05,
        round_mm=0.7,
    ),
    "shell": Face(
        *("grown", 0.08, 0.06, 0.06, 2.0, 0.1),
        edge_mm=0.4,
        edge=0.4,
        chips_mm=0.08,
        depth=0.08,
    ),
    "other": Face("glazed", 0.04, 0.04, 0.03),
}
_FINISHES: Final[Mapping[str, Mapping[str, Any]]] = {
    "matt": {"shine": 0.05, "dull": 0.5, "room": 0.0},
    "polished": {"shine": 0.9, "dull": 0.13, "room": 0.22},
    "metallic": {"shine": 1.2, "dull": 0.12, "room": 0.0, "leaf": 1.0},
    "iridescent": {"shine": 0.7, "dull": 0.16, "room": 0.18, "film": 0.13},
    "transparent": {"shine": 1.0, "dull": 0.1, "room": 0.2, "depth": 0.35},
}
BARE: Final = Face("glazed", 0.02, 0.02, 0.02, shine=0.05, dull=0.5, room=0.0)


def face_of(kind: str, finish: str) -> Face:
    """Return the face of a material by its kind and finish.

    Raises
    ------
    KeyError
        There is no such kind or finish.
    """
    face = replace(_KINDS[kind], **_FINISHES[finish])
    if kind == "gold glass" and finish != "transparent":  # it is leaf beneath whatever finish
        face = replace(face, leaf=1.0, room=0.0)
    if kind == "shell":  # lustrous without being iridescent
        face = replace(face, film=max(face.film, 0.02 if finish == "matt" else 0.035))
    return face
