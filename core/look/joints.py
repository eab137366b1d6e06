"""The joints: grout a fifth of the tessera below the faces, in the shade of their sides."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.look.faces import ROOM
from core.look.light import Light

Singles = NDArray[np.float32]

_MM: Final = np.float32(0.001)  # of a micrometre
SUNK: Final = 0.2  # of the tessera
REACH_MM: Final = 3.0  # of shade, at most
_BACK: Final = 0.5  # light that the sides of pieces throw back into the joint
_STEPS: Final = 6, 24  # looks along the way to the lamp, at least and at most
_SOFT_MM: Final = 0.2  # over which the edge of a piece is blurred for the shade about it
_AROUND: Final = 8
_NEAR_MM: Final = (0.45, 1.1)


def joint_light(
    height_um: NDArray[np.int32], where: NDArray[np.int64], px_per_mm: float, light: Light
) -> Singles:
    """Return how much of the open light falls on grout, 0 to 1 under the standard light.

    Parameters
    ----------
    height_um : ndarray of int32, shape (h, w)
        How far the faces stand above the grout, 0 where there is only grout.
    where : ndarray of int, shape (k,)
        Pixels, row by row, that lie no nearer to the edge than `REACH_MM`.
    """
    flat, wide = height_um.ravel() * _MM, height_um.shape[1]
    lx, ly, lz = light.toward
    level = max(math.hypot(lx, ly), 1e-9)
    rise = lz / level
    most = float(flat.max(initial=0.0))
    far = min(REACH_MM, most / rise)

    def look(x_mm: float, y_mm: float) -> Singles:
        off = round(y_mm * px_per_mm) * wide + round(x_mm * px_per_mm)
        return np.asarray(flat[where + off])

    shade = np.zeros(len(where), np.float32)
    steps = min(_STEPS[1], max(_STEPS[0], math.ceil(far * px_per_mm)))
    for k in range(1, steps + 1):
        t = far * k / steps
        over = look(lx / level * t, ly / level * t) - np.float32(t * rise)
        np.maximum(shade, over, out=shade)
    shade *= np.float32(1 / max(0.4 * most, 1e-6))
    np.minimum(shade, 1, out=shade)
    flat = _blurred(height_um, int(_SOFT_MM * px_per_mm)).ravel() * _MM
    walls = np.zeros(len(where), np.float32)
    for k in range(_AROUND):
        turn = 2 * math.pi * (k + 0.5) / _AROUND
        high = np.zeros(len(where), np.float32)
        for r in _NEAR_MM:
            h = look(r * math.cos(turn), r * math.sin(turn))
            np.maximum(high, h * h / (h * h + np.float32(r * r)), out=high)
        walls += high
    open_sky = 1 - walls * np.float32(1 / _AROUND)
    got = np.float32(ROOM) * open_sky + np.float32((1 - ROOM) * light.strength) * (1 - shade)
    whole = ROOM + (1 - ROOM) * light.strength
    return np.float32(whole * _BACK) + np.float32(1 - _BACK) * got


def _blurred(z: NDArray[np.int32], reach: int) -> NDArray[np.int32]:
    """Return the mean over a square of so many pixels each way, in whole numbers so that it is the
    same wherever the picture is cut. The outermost pixels stay.
    """
    if reach < 1:
        return z
    size = 2 * reach + 1
    out = z.astype(np.int64)
    for axis in (0, 1):
        total = np.cumsum(out, axis=axis)
        n = z.shape[axis]
        far, near = (np.take(total, range(a, b), axis) for a, b in ((size, n), (0, n - size)))
        inner = (slice(reach + 1, n - reach), slice(None))
        out[inner if axis == 0 else inner[::-1]] = far - near
    out //= size * size
    return out.astype(np.int32)
