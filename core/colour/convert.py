"""Colour between sRGB, linear light, XYZ and CIELAB under D65 and the 2 degree observer.

Plain numpy in float64, any leading shape, the last axis is the colour. White is the row sum of
the sRGB matrix, so that pure white is L* 100, a* 0, b* 0 and greys are exactly neutral.

References
----------
IEC 61966-2-1:1999 (sRGB: transfer curve and matrix). CIE 15:2018 (CIELAB).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

_XYZ_OF_RGB: Final = np.array(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
_RGB_OF_XYZ: Final = np.linalg.inv(_XYZ_OF_RGB)
WHITE_XYZ: Final[Floats] = _XYZ_OF_RGB.sum(axis=1)
# White of the usual illuminants by name and observer, Y = 1 (CIE 15:2018, tables for 2 and 10
# degrees); D65 at 2 degrees is sRGB's own, so that it stays what it is.
WHITES: Final[dict[tuple[str, int], Floats]] = {
    ("D65", 2): WHITE_XYZ,
    ("D65", 10): np.array([0.94811, 1.0, 1.07304]),
    ("D50", 2): np.array([0.96422, 1.0, 0.82521]),
    ("D50", 10): np.array([0.96720, 1.0, 0.81427]),
    ("D55", 2): np.array([0.95682, 1.0, 0.92149]),
    ("D55", 10): np.array([0.95799, 1.0, 0.90926]),
    ("A", 2): np.array([1.09850, 1.0, 0.35585]),
    ("A", 10): np.array([1.11144, 1.0, 0.35200]),
    ("C", 2): np.array([0.98074, 1.0, 1.18232]),
    ("C", 10): np.array([0.97285, 1.0, 1.16145]),
}
# Bradford cone responses (ICC.1:2022, annex E).
_CONES: Final = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)
_EPS = (6 / 29) ** 3
_KAPPA = (29 / 3) ** 3 / 116


def linear_from_srgb(srgb: ArrayLike) -> Floats:
    """Return linear light (0 to 1) of sRGB values (0 to 1); odd-symmetric below zero."""
    v = np.asarray(srgb, np.float64)
    size = np.abs(v)
    bright = ((np.maximum(size, 0.04045) + 0.055) / 1.055) ** 2.4
    return np.copysign(np.where(size <= 0.04045, size / 12.92, bright), v)


def srgb_from_linear(linear: ArrayLike) -> Floats:
    """Return sRGB values (0 to 1) of linear light (0 to 1); odd-symmetric below zero."""
    v = np.asarray(linear, np.float64)
    size = np.abs(v)
    bright = 1.055 * np.maximum(size, 0.0031308) ** (1 / 2.4) - 0.055
    return np.copysign(np.where(size <= 0.0031308, size * 12.92, bright), v)


# Linear light of each 8-bit sRGB value: a look-up is far quicker than the curve on a sketch.
LINEAR_OF_BYTE: Final[Floats] = linear_from_srgb(np.arange(256) / 255)


def xyz_from_linear(linear: ArrayLike) -> Floats:
    """Return XYZ (white has Y = 1) of linear sRGB light."""
    return np.asarray(np.asarray(linear, np.float64) @ _XYZ_OF_RGB.T)


def linear_from_xyz(xyz: ArrayLike) -> Floats:
    """Return linear sRGB light, outside 0 to 1 where a screen cannot show it, of XYZ."""
    return np.asarray(np.asarray(xyz, np.float64) @ _RGB_OF_XYZ.T)


def lab_from_xyz(xyz: ArrayLike, white: ArrayLike = WHITE_XYZ) -> Floats:
    """Return CIELAB of XYZ, seen against `white` (XYZ, D65 when left out)."""
    t = np.asarray(xyz, np.float64) / np.asarray(white, np.float64)
    f = np.where(t > _EPS, np.cbrt(t), _KAPPA * t + 16 / 116)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)], axis=-1)


def xyz_from_lab(lab: ArrayLike, white: ArrayLike = WHITE_XYZ) -> Floats:
    """Return XYZ of CIELAB seen against `white` (XYZ, D65 when left out)."""
    v = np.asarray(lab, np.float64)
    fy = (v[..., 0] + 16) / 116
    f = np.stack([fy + v[..., 1] / 500, fy, fy - v[..., 2] / 200], axis=-1)
    t = np.where(f > 6 / 29, f**3, (f - 16 / 116) / _KAPPA)
    return t * np.asarray(white, np.float64)


def lab_under_d65(lab: ArrayLike, illuminant: str, observer: int) -> Floats:
    """Return how CIELAB measured under another light looks under D65, by Bradford adaptation.

    Parameters
    ----------
    lab : array_like, shape (..., 3)
    illuminant, observer
        A key of `WHITES`.

    Raises
    ------
    KeyError
        The white of this illuminant and observer is not known.
    """
    white = WHITES[illuminant, observer]
    if white is WHITE_XYZ:
        return np.asarray(lab, np.float64)
    gain = (_CONES @ WHITE_XYZ) / (_CONES @ white)
    adapt = np.linalg.inv(_CONES) @ (gain[:, None] * _CONES)
    return lab_from_xyz(xyz_from_lab(lab, white) @ adapt.T)


def lab_from_linear(linear: ArrayLike) -> Floats:
    """Return CIELAB of linear sRGB light."""
    return lab_from_xyz(xyz_from_linear(linear))


def linear_from_lab(lab: ArrayLike) -> Floats:
    """Return linear sRGB light, outside 0 to 1 where a screen cannot show it, of CIELAB."""
    return linear_from_xyz(xyz_from_lab(lab))


def lab_from_srgb(srgb: ArrayLike) -> Floats:
    """Return CIELAB of sRGB values (0 to 1)."""
    return lab_from_linear(linear_from_srgb(srgb))


def srgb_from_lab(lab: ArrayLike) -> Floats:
    """Return sRGB values of CIELAB, outside 0 to 1 where a screen cannot show the colour."""
    return srgb_from_linear(linear_from_lab(lab))


def in_gamut(lab: ArrayLike, slack: float = 1e-4) -> NDArray[np.bool_]:
    """Say which CIELAB colours a screen can show, within `slack` of sRGB's 0 to 1."""
    rgb = srgb_from_lab(lab)
    return np.asarray(((rgb >= -slack) & (rgb <= 1 + slack)).all(axis=-1))


def bytes_from_lab(lab: ArrayLike) -> NDArray[np.uint8]:
    """Return 8-bit sRGB of CIELAB, clipped to what a screen can show."""
    return np.rint(255 * np.clip(srgb_from_lab(lab), 0, 1)).astype(np.uint8)


def swatch_rgb(lab: ArrayLike) -> tuple[tuple[int, int, int], bool]:
    """Return one colour for a screen, as 8-bit (r, g, b), and whether a screen can show it."""
    r, g, b = (int(v) for v in bytes_from_lab(lab))
    return (r, g, b), bool(in_gamut(lab))
