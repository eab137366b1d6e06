"""Pieces packed for the file and for undo come back as they were, and damage is told."""

from __future__ import annotations

import zlib

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import EmblemaError
from core.packing import packed, packed_colours, unpacked, unpacked_colours
from core.pieces import Pieces


@st.composite
def laid(draw: st.DrawFn) -> Pieces:
    """Return pieces of whole micrometres anywhere."""
    n = draw(st.integers(0, 12))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    shapes = []
    for _ in range(n):
        angle = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(3, 9)))
        at = rng.uniform(-1e6, 1e6, 2)
        size = rng.uniform(1, 50)
        ring = at + size * np.stack([np.cos(angle), np.sin(angle)], axis=1)
        shapes.append(shapely.Polygon(np.round(ring, 3)))
    return Pieces(
        np.array(shapes, dtype=object),
        rng.integers(-1, 10**6, n),
        rng.integers(0, 10**6, n),
        np.round(rng.uniform(-1.57, 1.57, n), 6),
    )


@given(laid())
@settings(max_examples=60, deadline=None)
def test_pieces_come_back_as_they_were(pieces: Pieces) -> None:
    again = unpacked(packed(pieces))
    assert shapely.equals_exact(again.polygons, pieces.polygons, 1e-9).all()
    for name in ("course", "piece"):
        np.testing.assert_array_equal(getattr(again, name), getattr(pieces, name))
    np.testing.assert_allclose(again.angle_rad, pieces.angle_rad, atol=1e-9)
    assert packed(again) == packed(pieces)


@given(
    st.lists(
        st.tuples(
            st.integers(-1, 300),
            st.none() | st.tuples(*[st.integers(-20_000, 20_000)] * 3),
        ),
        max_size=40,
    )
)
def test_colours_come_back_to_a_hundredth(rows: list[tuple[int, tuple[int, ...] | None]]) -> None:
    which = np.array([r[0] for r in rows], np.int64)
    lab = np.array([r[1] or (np.nan,) * 3 for r in rows], float).reshape(-1, 3) / 100
    again = unpacked_colours(packed_colours(which, lab))
    np.testing.assert_array_equal(again[0], which)
    np.testing.assert_allclose(again[1], lab, atol=1e-9)


def even(n: int) -> Pieces:
    """Return a grid of like squares."""
    x, y = np.divmod(np.arange(n), 40)
    squares = shapely.box(11.5 * x, 11.5 * y, 11.5 * x + 10, 11.5 * y + 10)
    return Pieces(squares, y, x, np.zeros(n))


def test_a_piece_takes_less_than_sixty_bytes_however_it_is_shaped() -> None:
    pieces = even(2000)
    rng = np.random.default_rng(5)
    rings = shapely.get_coordinates(pieces.polygons).reshape(2000, 5, 2)
    rings = np.round(rings + rng.normal(0, 1, rings.shape), 3)
    rings[:, 4] = rings[:, 0]
    odd = Pieces(shapely.polygons(rings), pieces.course, pieces.piece, rng.uniform(-1.5, 1.5, 2000))
    assert len(packed(odd)) < 40 * 2000
    assert len(packed(pieces)) < 5 * 2000
    assert len(packed_colours(rng.integers(0, 40, 2000), rng.uniform(0, 90, (2000, 3)))) < 20_000


@given(st.integers(0, 10**6), st.integers(1, 255), st.booleans())
@settings(max_examples=200, deadline=None)
def test_damaged_bytes_are_told_or_read_never_worse(at: int, by: int, short: bool) -> None:
    for data, read in (
        (packed(even(50)), unpacked),
        (packed_colours(np.arange(50), np.full((50, 3), 7.0)), unpacked_colours),
    ):
        k = at % len(data)
        broken = data[:k] if short else data[:k] + bytes([data[k] ^ by]) + data[k + 1 :]
        try:
            read(broken)
        except EmblemaError as e:
            assert "damaged" in str(e)


def test_what_claims_to_be_endless_is_refused_at_once() -> None:
    huge = np.array([2_900_000, 9_000_000], "<i8").tobytes()
    with pytest.raises(EmblemaError, match="does not hold as much"):
        unpacked(zlib.compress(huge))
    with pytest.raises(EmblemaError, match="cannot be"):
        unpacked(zlib.compress(np.array([2**60, 2**62], "<i8").tobytes()))
