"""Rigid moves: shifts, turns and mirrorings, which carry a shape to where it lies again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Move:
    """A place, a unit vector along the x axis, and whether y runs the other way about."""

    origin_mm: tuple[float, float] = (0.0, 0.0)
    way: tuple[float, float] = (1.0, 0.0)
    mirrored: bool = False

    def into(self, xy: Array) -> Array:
        """Return points (n, 2), mm, from where the move carries them to."""
        return self._turned(xy - np.asarray(self.origin_mm))

    def out(self, xy: Array) -> Array:
        """Return points (n, 2), mm, where the move carries them."""
        c, s = self.way
        x, y = xy[:, 0], -xy[:, 1] if self.mirrored else xy[:, 1]
        out: Array = np.stack([c * x - s * y, s * x + c * y], axis=1) + self.origin_mm
        return out

    def _turned(self, d: Array) -> Array:
        c, s = self.way
        y = c * d[:, 1] - s * d[:, 0]
        out: Array = np.stack([c * d[:, 0] + s * d[:, 1], -y if self.mirrored else y], axis=1)
        return out

    def after(self, first: Move) -> Move:
        """Return both moves as one: `first`, then this."""
        place, way = complex(*first.origin_mm), complex(*first.way)
        if self.mirrored:
            place, way = place.conjugate(), way.conjugate()
        turn = complex(*self.way)
        return move_of(
            complex(*self.origin_mm) + turn * place, turn * way, self.mirrored != first.mirrored
        )

    def back(self) -> Move:
        """Return the move that undoes this one."""
        place, way = complex(*self.origin_mm), complex(*self.way)
        if self.mirrored:
            return move_of(-way * place.conjugate(), way, True)
        return move_of(-way.conjugate() * place, way.conjugate(), False)

    def shifted(self, x: float, y: float) -> Move:
        """Return the move with a shift after it."""
        return Move((self.origin_mm[0] + x, self.origin_mm[1] + y), self.way, self.mirrored)

    def scaled(self, by: float) -> Move:
        """Return the move between shapes made so many times as large about (0, 0)."""
        return Move((self.origin_mm[0] * by, self.origin_mm[1] * by), self.way, self.mirrored)


STILL = Move()


def move_of(origin: complex, way: complex, mirrored: bool = False) -> Move:
    """Return the move to a place (x + iy, mm), along a way of any length."""
    way /= abs(way)
    return Move((origin.real, origin.imag), (way.real, way.imag), mirrored)
