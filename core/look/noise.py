"""Numbers drawn for each piece from its place.

A seed is made of the whole micrometres of a piece's place alone, so that the same piece looks the
same in every picture, file and run.

References
----------
Steele, Lea & Flood 2014, doi 10.1145/2660193.2660195 (SplitMix64, whose finaliser mixes the bits).
"""

from __future__ import annotations

from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Seeds = NDArray[np.uint64]

UM: Final = 1000.0  # micrometres a millimetre
_STEP: Final = np.uint64(0x9E3779B97F4A7C15)


def _mixed(z: Seeds) -> Seeds:
    """Return 64 bits well mixed."""
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


def seeds_of(polygons: NDArray[np.object_]) -> Seeds:
    """Return the seed of each piece (n,): its box in whole micrometres."""
    um = np.rint(shapely.bounds(polygons).reshape(-1, 4) * UM).astype(np.int64).view(np.uint64)
    seed = np.zeros(len(um), np.uint64)
    for column in um.T:
        seed = _mixed((seed + column) * np.uint64(3) + _STEP)
    return seed


def even(seed: Seeds, which: int) -> Floats:
    """Return one number a piece, evenly drawn from 0 to 1; `which` tells the draws apart."""
    bits = _mixed(seed + np.uint64((which + 1) * int(_STEP) % 2**64))
    return np.asarray((bits >> np.uint64(11)).astype(np.float64) / 2.0**53)


def bell(seed: Seeds, which: int) -> Floats:
    """Return one number a piece about 0 with deviation 1: four even draws together, at most 3.5."""
    four = sum((even(seed, 1000 + 4 * which + k) for k in range(4)), np.zeros(len(seed)))
    return np.asarray((four - 2.0) * np.sqrt(3.0))
