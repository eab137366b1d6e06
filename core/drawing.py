"""A page as data: what is drawn, in mm from the page's upper left corner, in painting order.

Screens, printers and PDF all paint the same page, so what is seen is what is printed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray

Rgb = tuple[int, int, int]
BLACK: Rgb = (0, 0, 0)


@dataclass(frozen=True, slots=True)
class Paths:
    """Polylines or rings drawn alike.

    Attributes
    ----------
    points : ndarray (n, 2)
        All corners, one line after the other, mm.
    starts : ndarray (m,)
        Where each line begins in `points`.
    """

    points: NDArray[np.float64]
    starts: NDArray[np.int64]
    closed: bool = True
    pen_mm: float = 0.2
    pen: Rgb | None = BLACK
    fill: Rgb | None = None

    @staticmethod
    def of(lines: list[NDArray[np.float64]], **how: object) -> Paths:
        """Gather lines (n, 2) into one."""
        sizes = np.array([len(c) for c in lines], np.int64)
        points = np.concatenate(lines) if lines else np.empty((0, 2))
        return Paths(points, np.cumsum(sizes) - sizes, **how)  # type: ignore[arg-type]

    @staticmethod
    def around(shapes: NDArray[np.object_], **how: object) -> Paths:
        """Gather all rings of polygons, shape (n,), as many as there may be."""
        rings = shapely.get_rings(shapes)
        xy, ring = shapely.get_coordinates(rings, return_index=True)
        kept = np.r_[ring[1:] == ring[:-1], False][: len(ring)]  # none closed by its first corner
        starts = np.searchsorted(ring[kept], np.arange(len(rings)))
        return Paths(xy[kept], starts, **how)  # type: ignore[arg-type]


@dataclass(frozen=True, slots=True)
class Text:
    """Words at a place. `size_mm` is the height of a capital's line; `anchor` is "start",
    "middle" or "end" across; `turn_deg` turns clockwise about the place. The place is the middle
    of the line's height.
    """

    x_mm: float
    y_mm: float
    words: str
    size_mm: float = 3.0
    anchor: str = "start"
    turn_deg: float = 0.0
    colour: Rgb = BLACK
    bold: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """A picture of `pixels` (h, w, 3), sRGB, uint8, filling a box whose upper left corner is at
    the place.
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float
    pixels: NDArray[np.uint8]


Item = Paths | Text | Picture


@dataclass(frozen=True, slots=True)
class Page:
    """One sheet of paper. Items outside `clip_mm` (x0, y0, x1, y1) are cut off where it is set,
    but for those in `over`, which are drawn last and never clipped.
    """

    width_mm: float
    height_mm: float
    name: str
    items: tuple[Item, ...] = ()
    over: tuple[Item, ...] = ()
    clip_mm: tuple[float, float, float, float] | None = None


def scaled(page: Page, across: float, up: float) -> Page:
    """Return a page with all its places as much wider and higher; letters keep their shape."""
    by = np.array([across, up])

    def one(item: Item) -> Item:
        if isinstance(item, Paths):
            return replace(item, points=item.points * by)
        if isinstance(item, Picture):
            return replace(
                item,
                x_mm=item.x_mm * across,
                y_mm=item.y_mm * up,
                width_mm=item.width_mm * across,
                height_mm=item.height_mm * up,
            )
        size = item.size_mm * min(across, up)
        return replace(item, x_mm=item.x_mm * across, y_mm=item.y_mm * up, size_mm=size)

    clip = page.clip_mm
    return replace(
        page,
        width_mm=page.width_mm * across,
        height_mm=page.height_mm * up,
        items=tuple(one(i) for i in page.items),
        over=tuple(one(i) for i in page.over),
        clip_mm=clip and (clip[0] * across, clip[1] * up, clip[2] * across, clip[3] * up),
    )
