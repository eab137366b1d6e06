"""What a person chooses for the proof: words, price, light, and the photograph of the wall."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from core.bounds import FAR_MM, one_of, within, written
from core.errors import EmblemaError

PRICES: Final = ("none", "total", "parts")
# How much light walls throw back, as shares (common practice, as lighting is planned with).
WALLS: Final = {"white": 0.80, "light": 0.60, "middle": 0.40, "dark": 0.20}
LONGEST_WORDS: Final = 4000
FURTHEST_PX: Final = 1_000_000.0
LEAST_TURN: Final = 1.0  # px2: twice the area that two sides enclose

Point = tuple[float, float]
Corners = tuple[Point, Point, Point, Point]


@dataclass(frozen=True, slots=True)
class InPlace:
    """How the work hangs in a photograph of its wall.

    Attributes
    ----------
    image : str
        The photograph, kept beside the document as the sketch is.
    corners_px : four points
        Of the finished size, in pixels of the photograph: upper left, upper right, lower right,
        lower left.
    wall : str
        One of `WALLS`: how light the wall itself is, which tells the room's light from it.
    light_deg : float
        Where the room's light comes from, clockwise from above, as seen before the wall.
    room_light : float
        How much of the room's light falls on the work: 0 shows its own colours, 1 all of it.
    floor_mm : float
        How high the work's lower edge is above the floor, where the figure stands.
    figure : bool
        Whether a figure stands beside it.
    """

    image: str
    corners_px: Corners
    wall: str = "white"
    light_deg: float = -45.0
    room_light: float = 0.8
    floor_mm: float = 900.0
    figure: bool = True


@dataclass(frozen=True, slots=True)
class Proof:
    """What the client is shown besides the picture.

    Attributes
    ----------
    words, care : str
        The studio's own words to the client, and on care; the program's where `care` is empty.
    price : str
        One of `PRICES`: not shown, the whole, or what it is made of.
    close_mm : point or None
        The middle of the part that is shown at its true size; found where the work is finest if
        None.
    light_deg, light_high_deg : float
        Where the light of the picture comes from, clockwise from above, and how high it stands
        before the wall.
    """

    words: str = ""
    care: str = ""
    price: str = "total"
    close_mm: Point | None = None
    light_deg: float = -45.0
    light_high_deg: float = 42.0


AS_IT_IS: Final = Proof()


def check_corners(corners_px: Sequence[Point]) -> None:
    """Refuse corners that are not the view of a rectangle.

    Raises
    ------
    EmblemaError
        They are not four, or do not go round a convex figure clockwise.
    """
    n = len(corners_px)
    turns = []
    for k in range(n):
        (x0, y0), (x1, y1), (x2, y2) = (corners_px[(k + j) % n] for j in range(3))
        turns.append((x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1))
    if n != 4 or not all(math.isfinite(t) and t > LEAST_TURN for t in turns):
        raise EmblemaError(
            "The four corners must go round the work: upper left, upper right, lower right, lower "
            "left."
        )


def check_proof(proof: Proof, in_place: InPlace | None) -> None:
    """Raise EmblemaError where a proof cannot be made as it is asked for."""
    written("The words to the client", proof.words, LONGEST_WORDS, lines=True)
    written("The notes on care", proof.care, LONGEST_WORDS, lines=True)
    one_of("How the price is shown", proof.price, PRICES)
    for v in proof.close_mm or ():
        within("The place that is shown closely", v, -FAR_MM, FAR_MM, " mm")
    within("The way that the light comes from", proof.light_deg, -360, 360, "°")
    within("The height of the light", proof.light_high_deg, 5, 90, "°")
    if in_place is None:
        return
    one_of("The wall in the photograph", in_place.wall, tuple(WALLS))
    for point in in_place.corners_px:
        for v in point:
            within("A corner in the photograph", v, -FURTHEST_PX, FURTHEST_PX, " px")
    check_corners(in_place.corners_px)
    within("The way that the room's light comes from", in_place.light_deg, -360, 360, "°")
    within("The room's light on the work", in_place.room_light, 0, 1)
    within("The height above the floor", in_place.floor_mm, 0, 20_000, " mm")
