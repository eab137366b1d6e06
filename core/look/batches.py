"""Gathers pieces into patches that are painted together: of one face, side count and size."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from core.look.faces import RIM, Patches
from core.look.shapes import Shapes

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]

MOST_PX: Final = 120_000  # of a batch: its arrays stay in the processor's cache
_STEPS: Final = 4  # classes of patch size an octave


class Windows(NamedTuple):
    """What is to be painted of pieces: pixels from `left`, `top` on, `wide` and `high`.

    Pixel (0, 0)'s upper left corner lies at `origin_mm`; `rows` are the pieces.
    """

    rows: Ints
    left: Ints
    top: Ints
    wide: Ints
    high: Ints
    px_per_mm: float
    origin_mm: tuple[float, float]


def windows(
    shapes: Shapes,
    rows: Ints,
    px_per_mm: float,
    origin_mm: tuple[float, float],
    box: tuple[int, int, int, int] | None = None,
    spare_px: int = 2,
) -> Windows:
    """Return the windows about pieces, as far as they lie in a box of pixels (x0, y0, x1, y1)."""
    px = (shapes.box_mm[rows] - np.tile(origin_mm, 2)) * px_per_mm
    lower = np.floor(px[:, :2]).astype(np.int64) - spare_px
    upper = np.ceil(px[:, 2:]).astype(np.int64) + spare_px
    if box is not None:
        lower, upper = np.maximum(lower, box[:2]), np.minimum(upper, box[2:])
        seen = (upper > lower).all(1)
        rows, lower, upper = rows[seen], lower[seen], upper[seen]
    (left, top), (wide, high) = lower.T, (upper - lower).T
    return Windows(rows, left, top, wide, high, px_per_mm, origin_mm)


def _size_class(px: Ints) -> Ints:
    """Return sizes made up to the next of a few, a quarter of an octave apart."""
    step = 2 ** np.maximum(np.floor(np.log2(np.maximum(px, 1))).astype(np.int64) - 2, 1)
    return np.asarray(-(-px // step) * step)


def batches(shapes: Shapes, face: Ints, w: Windows) -> Iterator[tuple[Ints, Patches]]:
    """Yield batches: which of the windows, and their patches.

    Parameters
    ----------
    face : ndarray of int, shape (n,)
        The face of every piece.
    """
    wide, high = _size_class(w.wide), _size_class(w.high)
    keys = np.stack([face[w.rows], shapes.sides[w.rows], wide, high], axis=1)
    _, group = np.unique(keys, axis=0, return_inverse=True)
    order = np.argsort(group, kind="stable")
    edges = np.flatnonzero(np.diff(group[order], prepend=-1, append=-1))
    for a, b in pairwise(edges.tolist()):
        size = int(wide[order[a]]), int(high[order[a]])
        most = max(1, MOST_PX // (size[0] * size[1]))
        for k in range(a, b, most):
            some = order[k : min(k + most, b)]
            yield some, _patches(shapes, w, some, *size)


def _patches(shapes: Shapes, w: Windows, some: Ints, wide: int, high: int) -> Patches:
    rows = w.rows[some]
    from_middle = w.origin_mm - shapes.middle_mm[rows]
    x, y = (
        ((first[some][:, None] + np.arange(-RIM, n + RIM)) + 0.5) / w.px_per_mm + off[:, None]
        for first, n, off in ((w.left, wide, from_middle[:, 0]), (w.top, high, from_middle[:, 1]))
    )
    return Patches(
        rows, x.astype(np.float32)[:, None, :], y.astype(np.float32)[:, :, None], w.px_per_mm
    )
