"""Laid tesserae as columns: one row a piece, ready for bulk work in numpy and shapely."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray

from core.geometry import box_sides

if TYPE_CHECKING:
    from core.kept import Kept


@dataclass(frozen=True, eq=False)
class Pieces:
    """The tesserae of one field.

    Attributes
    ----------
    polygons : ndarray of Polygon, shape (n,)
        In mm, without holes, inside the field by half a joint.
    course, piece : ndarray of int, shape (n,)
        The course a piece belongs to (-1 for none) and its place along it.
    angle_rad : ndarray of float, shape (n,)
        Direction of the flow at the piece, in (-pi/2, pi/2], x right and y down.
    """

    polygons: NDArray[np.object_]
    course: NDArray[np.int64]
    piece: NDArray[np.int64]
    angle_rad: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.polygons)

    @cached_property
    def area_mm2(self) -> NDArray[np.float64]:
        """Area of each piece, shape (n,), mm2."""
        return shapely.area(self.polygons)

    @cached_property
    def centre_mm(self) -> NDArray[np.float64]:
        """Centroid of each piece, shape (n, 2), mm."""
        return shapely.get_coordinates(shapely.centroid(self.polygons))

    @cached_property
    def box_mm(self) -> NDArray[np.float64]:
        """Sides of the smallest box about each piece, the longer first, shape (n, 2), mm.

        In whole micrometres, so that the last digits decide nothing.
        """
        sides = np.hypot(*np.moveaxis(box_sides(self.polygons), 2, 0))
        out: NDArray[np.float64] = np.round(np.sort(sides, axis=1)[:, ::-1], 3)
        return out

    @staticmethod
    def empty() -> Pieces:
        """No pieces at all."""
        return Pieces(
            np.empty(0, object), np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0)
        )


def together(parts: list[Pieces]) -> Pieces:
    """Return the pieces of several parts as one, their courses numbered on."""
    parts = [p for p in parts if len(p)]
    if not parts:
        return Pieces.empty()
    courses, reach = [], 0
    for p in parts:
        courses.append(np.where(p.course >= 0, p.course + reach, -1))
        reach = int(courses[-1].max(initial=reach - 1)) + 1
    return Pieces(
        np.concatenate([p.polygons for p in parts]),
        np.concatenate(courses),
        np.concatenate([p.piece for p in parts]),
        np.concatenate([p.angle_rad for p in parts]),
    )


@dataclass(frozen=True, slots=True)
class LaidField:
    """A field's pieces with the material each was matched to.

    `stock` indexes the commission's materials, -1 where nothing could be matched;
    `wanted_lab` (n, 3) is the colour asked for; `delta_e` (n,) is CIEDE2000 between
    the two (NaN where unmatched). `unswapped` says how many pieces a swap asked for in vain
    since only what is in hand may be laid: (code, pieces).
    """

    field_id: str
    pieces: Pieces
    wanted_lab: NDArray[np.float64]
    stock: NDArray[np.int64]
    delta_e: NDArray[np.float64]
    unswapped: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Layout:
    """Everything derived from a commission, in the order of its fields.

    `dropped` names the hand edits that could not be done again: (field's name, what, why);
    `kept` is what stands of each field, `broken` the fields whose kept pieces could not be read.
    """

    fields: tuple[LaidField, ...]
    dropped: tuple[tuple[str, str, str], ...] = ()
    kept: Kept = field(default_factory=dict)
    broken: tuple[str, ...] = ()

    def __len__(self) -> int:
        return sum(len(f.pieces) for f in self.fields)

    @property
    def polygons(self) -> NDArray[np.object_]:
        """All pieces, field by field, shape (n,)."""
        return np.concatenate([f.pieces.polygons for f in self.fields] or [np.empty(0, object)])

    @property
    def unswapped(self) -> dict[str, int]:
        """Pieces that swaps asked for in vain (see `LaidField`), by code."""
        found: dict[str, int] = {}
        for f in self.fields:
            for code, pieces in f.unswapped:
                found[code] = found.get(code, 0) + pieces
        return found

    def by_id(self, field_id: str) -> LaidField:
        """Return one field's layout, or raise KeyError."""
        for f in self.fields:
            if f.field_id == field_id:
                return f
        raise KeyError(field_id)
