"""The rooms of a field's pieces: what each has of the field, before its joint is taken off."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.laying.rooms.cuts import Stretches


@dataclass(frozen=True, slots=True)
class Rooms:
    """Every part of every piece's room, (n,), and along which stretch of a course each lies.

    `owner` numbers the `stretches`; a piece that reaches into several places has several parts.
    """

    shape: NDArray[np.object_]
    owner: NDArray[np.int64]
    stretches: Stretches

    def __len__(self) -> int:
        return len(self.shape)

    @property
    def course(self) -> NDArray[np.int64]:
        """The course of each."""
        return self.stretches.course[self.owner]

    @property
    def piece(self) -> NDArray[np.int64]:
        """The place of each along its course."""
        return self.stretches.piece[self.owner]

    @property
    def last(self) -> NDArray[np.bool_]:
        """Whether each is the last of its course."""
        return self.stretches.last[self.owner]

    def but(self, shape: NDArray[np.object_], owner: NDArray[np.int64] | None = None) -> Rooms:
        """Return them with other shapes, and owners where there are more or fewer."""
        return replace(self, shape=shape, owner=self.owner if owner is None else owner)

    @staticmethod
    def none() -> Rooms:
        """Return no rooms at all."""
        whole, real = np.empty(0, np.int64), np.empty(0)
        return Rooms(np.empty(0, object), whole, Stretches(whole, whole, real, real))
