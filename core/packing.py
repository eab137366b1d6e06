"""Pieces and their colours as few bytes, for the file and for undo.

Coordinates are whole micrometres, each as its difference from the one before; some 18 bytes a
piece, and 4 for what it is laid in.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import numpy as np
import shapely
from numpy.typing import NDArray

from core.errors import EmblemaError
from core.pieces import Pieces

UM = 1000.0  # micrometres a millimetre
URAD = 1e6  # microradians a radian
LAB = 100.0  # hundredths of a CIELAB unit
MOST_PIECES = 3_000_000  # of one field
MOST_CORNERS = 250  # of one piece, on the whole
FARTHEST_UM = 2**40  # from the origin: a thousand kilometres
_UNKNOWN = -(2**31)  # no colour is wanted

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


def packed(pieces: Pieces) -> bytes:
    """Return pieces as bytes; they come back in whole micrometres and microradians."""
    rings = shapely.get_exterior_ring(pieces.polygons)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    corners = np.bincount(ring, minlength=len(pieces)) - 1
    um = np.round(np.delete(xy, np.cumsum(corners + 1) - 1, axis=0) * UM).astype(np.int64)
    first = np.cumsum(corners) - corners
    step = _differences(um)
    step[first] = _differences(um[first])
    angle = np.round(pieces.angle_rad * URAD).astype(np.int64)
    columns = (pieces.course, pieces.piece, angle)
    return _pressed([len(pieces), len(um)], [corners, *(_differences(c) for c in columns), *step.T])


def unpacked(data: bytes) -> Pieces:
    """Return the pieces that were packed.

    Raises
    ------
    EmblemaError
        The bytes are damaged.
    """
    with _damaged():
        (n, c), columns = _opened(data, 2)
        if not (0 <= n <= MOST_PIECES and 3 * n <= c <= MOST_CORNERS * n):
            raise ValueError(f"{n} pieces of {c} corners cannot be")
        corners, course, piece, angle, *way = columns([n] * 4 + [c] * 2)
        if n == 0:
            return Pieces.empty()
        if corners.min() < 3 or corners.sum() != c:
            raise ValueError("a piece has fewer than three corners")
        first = np.cumsum(corners) - corners
        step = np.stack(way, axis=1)
        start = np.cumsum(step[first], axis=0)
        step[first] = 0
        # a corner is its piece's first one and all the steps since
        since = np.cumsum(step, axis=0)
        um = since + np.repeat(start - since[first], corners, axis=0)
        if np.abs(um).max() > FARTHEST_UM:
            raise ValueError("a corner lies nowhere")
        closed = np.insert(um, np.cumsum(corners), um[first], axis=0) / UM
        offsets = np.concatenate([[0], np.cumsum(corners + 1)])
        polygons = shapely.from_ragged_array(
            shapely.GeometryType.POLYGON, closed, (offsets, np.arange(n + 1))
        )
        angle_rad = np.cumsum(angle) / URAD
        return Pieces(polygons, np.cumsum(course), np.cumsum(piece), angle_rad)


def whole_um(polygons: NDArray[np.object_]) -> NDArray[np.object_]:
    """Return polygons (n,) in whole micrometres, as they are kept."""
    return np.asarray(shapely.transform(polygons, lambda xy: np.round(xy * UM) / UM))


def packed_colours(which: Ints, wanted_lab: Floats) -> bytes:
    """Return what each piece is laid in, -1 for nothing, and wanted colours (n, 3) as bytes."""
    lab = np.where(np.isfinite(wanted_lab), np.round(wanted_lab * LAB), _UNKNOWN)
    return _pressed([len(which)], [which, *(_differences(c) for c in lab.T.astype(np.int64))])


def unpacked_colours(data: bytes) -> tuple[Ints, Floats]:
    """Return what was packed by `packed_colours`.

    Raises
    ------
    EmblemaError
        The bytes are damaged.
    """
    with _damaged():
        (n,), columns = _opened(data, 1)
        if not 0 <= n <= MOST_PIECES:
            raise ValueError(f"{n} pieces cannot be")
        which, *lab = columns([n] * 4)
        hundredths = np.cumsum(np.stack(lab, axis=1), axis=0)
        return which, np.where(hundredths == _UNKNOWN, np.nan, hundredths / LAB)


@contextmanager
def _damaged() -> Iterator[None]:
    """Turn whatever goes wrong with bytes that were tampered with into words."""
    try:
        yield
    except (zlib.error, ValueError, IndexError, OverflowError, shapely.errors.ShapelyError) as e:
        raise EmblemaError(f"what is kept of its pieces is damaged ({e})") from e


def _differences(column: Ints) -> Ints:
    out = column.copy()
    out[1:] -= column[:-1]
    return out


def _pressed(head: list[int], columns: list[Ints]) -> bytes:
    """Return columns of whole numbers compressed, all first bytes of one together and so on.

    Most are small, so that most bytes are nothing, in long runs.
    """
    parts = [np.array(head, "<i8").tobytes()]
    for column in columns:
        folded = (column << 1) ^ (column >> 63)  # small numbers of either sign have small bytes
        parts.append(folded.astype("<i8").view(np.uint8).reshape(-1, 8).T.tobytes())
    return zlib.compress(b"".join(parts), 6)


def _opened(data: bytes, heads: int) -> tuple[list[int], Callable[[list[int]], list[Ints]]]:
    """Return the head of what was pressed, and what unpacks its columns of given lengths."""
    unzip, left = zlib.decompressobj(), data

    def some(size: int) -> bytes:  # no further than it is meant to go
        nonlocal left
        got = unzip.decompress(left, size) if size else b""
        left = unzip.unconsumed_tail
        if len(got) != size:
            raise ValueError("it does not hold as much as it says")
        return got

    def columns(lengths: list[int]) -> list[Ints]:
        return [_column(some(8 * n)) for n in lengths]

    return np.frombuffer(some(8 * heads), "<i8").tolist(), columns


def _column(data: bytes) -> Ints:
    folded = np.frombuffer(data, np.uint8).reshape(8, -1).T.copy().view("<u8").ravel()
    sign = (folded & np.uint64(1)).astype(np.int64)
    return np.asarray((folded >> np.uint64(1)).astype(np.int64) ^ -sign)
