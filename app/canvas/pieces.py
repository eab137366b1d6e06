"""All laid pieces as one table, ready to be drawn and to be found under the hand."""

from __future__ import annotations

from functools import cached_property
from operator import is_
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import NDArray
from PySide6.QtGui import QImage

from core.colour.convert import bytes_from_lab
from core.colour.distance_view import VISIONS, lab_seen_with
from core.colour.shown import shown_lab
from core.commission import Commission
from core.export import whole_frame
from core.geometry import polygon_of
from core.look.light import Light
from core.look.render import Scene
from core.pieces import Layout, Pieces

# CIEDE2000 from "cannot be told apart" to "another colour", and the colours that show it
STEPS = np.array([0.0, 2.3, 6.0, 12.0, 24.0])
SCALE = np.array(
    [[236, 240, 236], [196, 221, 208], [238, 208, 140], [205, 110, 70], [110, 30, 50]], float
)
UNMATCHED = (255, 0, 160)


class Looked(NamedTuple):
    """A stretch of the work painted in its materials, from `left`, `top` mm on."""

    left: float
    top: float
    px_per_mm: float
    light: Light
    draft: bool
    image: QImage

    def covers(self, left: float, top: float, right: float, bottom: float) -> bool:
        """Whether a stretch of the work, mm, lies in it but for half a pixel."""
        half = 0.5 / self.px_per_mm
        return (
            self.left - half <= left
            and self.top - half <= top
            and self.left + self.image.width() / self.px_per_mm + half >= right
            and self.top + self.image.height() / self.px_per_mm + half >= bottom
        )


class PieceTable:
    """The pieces of a layout: outlines, colours, and which field and index each is."""

    def __init__(self, doc: Commission, layout: Layout, before: PieceTable | None = None) -> None:
        """Take the pieces in; of a table `before` that holds the same pieces only colours change.

        The shapes of 20,000 pieces take a second to look through; their colours take milliseconds.
        """
        some = [f for f in layout.fields if len(f.pieces)]
        self.doc, self.layout = doc, layout
        self.looked: Looked | None = None
        self._rgb: dict[str, NDArray[np.uint8]] = {}
        self.pieces = tuple(f.pieces for f in some)
        self.stock = _joined([f.stock for f in some], np.int64)
        self.delta_e = _joined([f.delta_e for f in some], np.float64)
        self.wanted = np.concatenate([f.wanted_lab for f in some] or [np.empty((0, 3))])
        self.lab = np.concatenate([shown_lab(doc, f) for f in some] or [np.empty((0, 3))])
        self.field_ids = tuple(f.field_id for f in some)
        if before is not None and self._same(before):
            for name in ("polygons", "field", "index", "points", "starts", "tree"):
                setattr(self, name, getattr(before, name))
            return
        self.polygons = _joined([p.polygons for p in self.pieces], object)
        counts = [len(f.pieces) for f in some]
        self.field = np.repeat(np.arange(len(some)), counts)
        self.index = np.concatenate([np.arange(n) for n in counts] or [np.empty(0, np.int64)])
        rings = shapely.get_exterior_ring(self.polygons)
        self.points, owner = shapely.get_coordinates(rings, return_index=True)
        self.starts = np.searchsorted(owner, np.arange(len(self.polygons) + 1))
        self.tree = shapely.STRtree(self.polygons)

    def __len__(self) -> int:
        return len(self.polygons)

    @cached_property
    def scene(self) -> Scene:
        """What the material look hangs on; made when it is first asked for, which takes a while."""
        return Scene(self.doc, self.layout)

    @cached_property
    def extent(self) -> tuple[float, float, float, float]:
        """The finished work with what is laid beyond it: x0, y0, x1, y1 mm."""
        return whole_frame(self.doc, self.layout)

    @cached_property
    def beyond(self) -> NDArray[np.int64]:
        """The rows of pieces that lie beyond their field's outline, in part or wholly."""
        out = [np.empty(0, np.int64)]
        for k, field_id in enumerate(self.field_ids):
            shape = polygon_of(self.doc.field_by_id(field_id).outline)
            shapely.prepare(shape)
            rows = np.flatnonzero(self.field == k)
            out.append(rows[~shapely.covers(shape, self.polygons[rows])])
        return np.concatenate(out)

    def _same(self, before: PieceTable) -> bool:
        return (
            self.field_ids == before.field_ids
            and len(self.pieces) == len(before.pieces)
            and all(_alike(a, b) for a, b in zip(self.pieces, before.pieces, strict=True))
        )

    def rgb(self, view: str) -> NDArray[np.uint8]:
        """Return each piece's colour (n, 3): as it is, by colour difference, or as another
        colour vision sees it.
        """
        if view not in self._rgb:
            self._rgb[view] = self._coloured(view)
        return self._rgb[view]

    def _coloured(self, view: str) -> NDArray[np.uint8]:
        if view == "difference":
            d = np.nan_to_num(self.delta_e, nan=0.0)
            out = np.stack([np.interp(d, STEPS, SCALE[:, k]) for k in range(3)], axis=1)
            out[self.stock < 0] = UNMATCHED
            return out.astype(np.uint8)
        if view in VISIONS and len(self):
            return bytes_from_lab(lab_seen_with(self.lab, view))
        return bytes_from_lab(self.lab)

    def at(self, x: float, y: float) -> int | None:
        """Return the row of the piece at a place on the work, mm."""
        found = self.tree.query(shapely.Point(x, y), predicate="intersects")
        return int(found[0]) if len(found) else None

    def within(self, x0: float, y0: float, x1: float, y1: float) -> NDArray[np.int64]:
        """Return the rows of all pieces that touch a rectangle."""
        return np.sort(self.tree.query(shapely.box(x0, y0, x1, y1)))

    def row(self, field_id: str, index: int) -> int | None:
        """Return the row of a field's piece."""
        if field_id not in self.field_ids:
            return None
        rows = np.flatnonzero(self.field == self.field_ids.index(field_id))
        return int(rows[index]) if index < len(rows) else None


def _alike(a: Pieces, b: Pieces) -> bool:
    """Return whether pieces are the very same ones, perhaps gathered anew by an edit."""
    return a is b or (len(a) == len(b) and all(map(is_, a.polygons, b.polygons)))


def _joined(parts: list[NDArray[object]], kind: object) -> NDArray[object]:
    return np.concatenate(parts) if parts else np.empty(0, kind)  # type: ignore[call-overload]
