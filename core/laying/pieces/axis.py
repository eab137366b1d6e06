"""Which way pieces lie: a tessera has four sides and looks alike turned by a right angle."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.laying.exact import angles
from core.laying.field.grid import Array


def axis_rad(pieces: NDArray[np.object_]) -> Array:
    """Return the angle of the smallest box round each piece, nan where it has none, shape (n,)."""
    out = np.full(len(pieces), np.nan)
    box = shapely.oriented_envelope(pieces)
    sound = shapely.get_type_id(box) == 3
    c = shapely.get_coordinates(box[sound]).reshape(-1, 5, 2)
    side = c[:, 1] - c[:, 0]
    out[sound] = angles(side[:, 1], side[:, 0])
    return out


def quarter_rad(angle: Array) -> Array:
    """Return how far angles are from the nearest multiple of a right angle, 0 to pi / 4."""
    out: Array = np.abs((angle + np.pi / 4) % (np.pi / 2) - np.pi / 4)
    return out
