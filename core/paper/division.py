"""How a work is divided over pages of a paper.

Pages are alike in size and lap evenly, by 10 to 20 mm, so that none ends in a narrow strip. The
grid hangs on the size of the work alone, so pages that were printed keep their place whatever is
drawn later; those that show nothing of their own are left out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import shapely

from core.paper.sizes import LYING, UPRIGHT, WHOLE, Paper, Size

LEAST_LAP_MM, MOST_LAP_MM = 10.0, 20.0
FIRST_PAPERS = ("A4", "A3", "A1", "A0")  # that were printed before pages lapped evenly


@dataclass(frozen=True, slots=True)
class Tile:
    """One page's part of the work: its place in the page map and what it shows, mm of the work."""

    row: int
    column: int
    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def letters(self) -> str:
        """Its row in the page map: A to Z, then AA."""
        letters, row = "", self.row
        while row >= 0:
            letters, row = chr(65 + row % 26) + letters, row // 26 - 1
        return letters

    @property
    def name(self) -> str:
        """Row by letter, column by number, such as B3."""
        return f"{self.letters}{self.column + 1}"

    @property
    def box(self) -> shapely.Polygon:
        """What it shows."""
        return shapely.box(self.x0, self.y0, self.x1, self.y1)


@dataclass(frozen=True, slots=True)
class Division:
    """A work over pages: the paper with its way, the pages, and places left out as bare."""

    paper: Paper
    work_mm: Size
    tiles: tuple[Tile, ...]
    bare: tuple[Tile, ...] = ()
    mirrored: bool = False

    @property
    def word(self) -> str:
        """What a print's note says of it, from which the same grid is found again."""
        return self.paper.word

    @property
    def places(self) -> tuple[Tile, ...]:
        """Its pages and the places left out."""
        return (*self.tiles, *self.bare)

    @property
    def laps_mm(self) -> tuple[float, float]:
        """How far pages lap across and down, mm; 0 where there is but one."""
        at = {(t.row, t.column): t for t in self.places}
        first, right, below = (at.get(place) for place in ((0, 0), (0, 1), (1, 0)))
        if first is None:
            return 0.0, 0.0
        return first.x1 - right.x0 if right else 0.0, first.y1 - below.y0 if below else 0.0

    def on_map(self, t: Tile) -> Tile:
        """Return a page as a page map shows it: from the middle of one lap to that of the next."""
        across, down = (lap / 2 for lap in self.laps_mm)
        wide, high = self.work_mm
        return replace(
            t,
            x0=t.x0 + across * (t.x0 > 0),
            y0=t.y0 + down * (t.y0 > 0),
            x1=t.x1 - across * (t.x1 < wide),
            y1=t.y1 - down * (t.y1 < high),
        )

    @property
    def area_mm2(self) -> float:
        """The area of paper that its pages take."""
        wide, high = self.paper.page_mm(self.work_mm)
        return len(self.tiles) * wide * high


Shown = Callable[[shapely.Geometry], bool]  # whether anything is drawn in a part of the work


def divided(work: Size, paper: Paper, shown: Shown, mirrored: bool = False) -> Division:
    """Divide a work; where the paper's way is open, take the one that takes less paper.

    Parameters
    ----------
    shown : callable
        Tells whether anything is drawn in a part of the work, as seen from the side printed.
    """
    if paper.name == WHOLE:
        return Division(paper, work, (Tile(0, 0, 0.0, 0.0, *work),), (), mirrored)
    ways = (paper.way,) if paper.way else (LYING, UPRIGHT)
    found = []
    for way in ways:
        own = replace(paper, way=way)
        grid = _grid(work, own)
        kept = _with_something(grid, shown)
        bare = tuple(t for t in grid if t not in kept)
        found.append(Division(own, work, tuple(kept), bare, mirrored))
    return min(found, key=lambda d: (round(d.area_mm2), len(d.tiles)))


def as_first_divided(work: Size, name: str, mirrored: bool = False) -> Division:
    """Return the division that prints noted by a paper's bare name have.

    Every page lapped the next by 10 mm and the last showed what was left, all were printed, and of
    the ways that took as few pages the paper lay.
    """

    def grid(way: str) -> Division:
        paper = Paper(name, way)
        room = paper.room_mm(work)
        across, down = (_first_starts(w, r) for w, r in zip(work, room, strict=True))
        tiles = tuple(
            Tile(r, c, x, y, min(x + room[0], work[0]), min(y + room[1], work[1]))
            for r, y in enumerate(down)
            for c, x in enumerate(across)
        )
        return Division(paper, work, tiles, (), mirrored)

    return min((grid(LYING), grid(UPRIGHT)), key=lambda d: len(d.tiles))


def _grid(work: Size, paper: Paper) -> list[Tile]:
    room = paper.room_mm(work)
    across, down = (_spread(w, r) for w, r in zip(work, room, strict=True))
    return [
        Tile(r, c, x0, y0, x1, y1)
        for r, (y0, y1) in enumerate(down)
        for c, (x0, x1) in enumerate(across)
    ]


def _pages(whole: float, room: float) -> int:
    return max(1, math.ceil((whole - LEAST_LAP_MM) / (room - LEAST_LAP_MM) - 1e-9))


def _spread(whole: float, room: float) -> list[tuple[float, float]]:
    """Return from where to where each page shows: as few as can be, alike, lapping evenly."""
    n = _pages(whole, room)
    if n == 1:
        return [(0.0, whole)]
    lap = min(max((n * room - whole) / (n - 1), LEAST_LAP_MM), MOST_LAP_MM)
    size = (whole + (n - 1) * lap) / n
    starts = [k * (size - lap) for k in range(n)]
    return [*((x, x + size) for x in starts[:-1]), (starts[-1], whole)]


def _first_starts(whole: float, room: float) -> list[float]:
    return [k * (room - LEAST_LAP_MM) for k in range(_pages(whole, room))]


def _amid(t: Tile) -> shapely.Polygon:
    """Return the middle of a page, which no other shows, whichever lie beside it."""
    x, y = (min(MOST_LAP_MM + 1.0, size / 3) for size in (t.x1 - t.x0, t.y1 - t.y0))
    return shapely.box(t.x0 + x, t.y0 + y, t.x1 - x, t.y1 - y)


def _with_something(grid: Iterable[Tile], shown: Shown) -> list[Tile]:
    """Return the pages that show something which none of the others does, in their order."""
    kept = {(t.row, t.column): t for t in grid}
    for (r, c), tile in reversed(list(kept.items())):
        beside = [
            kept[at].box
            for dr in (-1, 0, 1)
            for dc in (-1, 0, 1)
            if (at := (r + dr, c + dc)) in kept and at != (r, c)
        ]
        # most pages show something amid all laps
        if not shown(_amid(tile)) and not shown(
            shapely.difference(tile.box, shapely.union_all(beside))
        ):
            del kept[r, c]
    return list(kept.values())
