"""What the eye makes of the work from where people stand, and with other colour vision.

From a distance the eye no longer parts pieces from joints and blends them in linear light. A
normal eye parts two points one minute of arc apart; what it sees from a distance is the picture
blurred by that much.
"""

from __future__ import annotations

import math
import warnings
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.colour.convert import (
    Floats,
    lab_from_linear,
    linear_from_lab,
    linear_from_srgb,
    srgb_from_linear,
)
from core.colour.coverage import painted
from core.colour.science import colour_science
from core.errors import EmblemaError

ARC_MINUTE_RAD: Final = math.radians(1 / 60)
_BAND: Final = 256  # rows of a picture that are turned to bytes at once
# Colour vision that some of those who look will have: name to colour-science's name.
VISIONS: Final = {
    "red-weak": "Protanomaly",
    "green-weak": "Deuteranomaly",
    "blue-weak": "Tritanomaly",
}


def blending_distance_mm(size_mm: float) -> float:
    """Return the distance from which pieces of a size no longer stand apart: one minute of arc.

    Strong contrasts are still parted from farther, equal lightness blends nearer.
    """
    return size_mm / math.tan(ARC_MINUTE_RAD)


def blended_size_mm(distance_mm: float) -> float:
    """Return the size below which pieces blend at a distance."""
    return distance_mm * math.tan(ARC_MINUTE_RAD)


def blend_of(
    area_mm2: ArrayLike, lab: ArrayLike, joint_mm2: float, grout: ArrayLike
) -> tuple[float, float, float]:
    """Return what pieces and joints blend to from far off.

    Parameters
    ----------
    area_mm2 : array_like, shape (n,)
        Of the pieces.
    lab : array_like, shape (n, 3)
        Of the pieces.
    joint_mm2 : float
        Area of the joints between and around them.

    Raises
    ------
    EmblemaError
        There is no area at all.
    """
    area = np.append(np.asarray(area_mm2, np.float64), joint_mm2)
    if area.sum() <= 0:
        raise EmblemaError("There is nothing laid that could blend.")
    colours = np.vstack([np.asarray(lab, np.float64).reshape(-1, 3), np.asarray(grout)])
    light = area @ linear_from_lab(colours) / area.sum()
    lightness, a, b = lab_from_linear(light)
    return float(lightness), float(a), float(b)


def linear_picture(
    polygons: NDArray[np.object_],
    lab: ArrayLike,
    grout: ArrayLike,
    size_mm: tuple[float, float],
    mm_per_px: float,
) -> Floats:
    """Paint pieces on grout in linear light, every pixel the mean of what lies in it.

    Parameters
    ----------
    polygons : ndarray of Polygon, shape (n,)
    lab : array_like, shape (n, 3)
    size_mm : tuple of float
        Width and height of the work.

    Returns
    -------
    ndarray, shape (height, width, 3)
        0 to 1.
    """
    light = np.clip(linear_from_lab(np.reshape(lab, (-1, 3))), 0, 1)
    ground = np.clip(linear_from_lab(grout), 0, 1)
    picture = painted(polygons, light, ground, size_mm, mm_per_px)
    return np.clip(picture, 0, 1, out=picture)


def seen_from(linear: ArrayLike, mm_per_px: float, distance_mm: float) -> Floats:
    """Return a picture as it is seen from a distance.

    Parameters
    ----------
    linear : array_like, shape (height, width, 3)
        Linear light.
    mm_per_px : float
        True to scale on the work.

    Returns
    -------
    ndarray, shape (height, width, 3)
        Linear light, blurred by a Gaussian whose full width at half its height is one minute of
        arc.
    """
    from scipy import ndimage

    sigma = blended_size_mm(distance_mm) / mm_per_px / (2 * math.sqrt(2 * math.log(2)))
    return np.asarray(
        ndimage.gaussian_filter(np.asarray(linear, np.float64), (sigma, sigma, 0), mode="nearest")
    )


def seen_with(linear: ArrayLike, vision: str, severity: float = 1.0) -> Floats:
    """Return colours as seen with another colour vision.

    Parameters
    ----------
    linear : array_like, shape (..., 3)
        Linear light, of a picture or of swatches.
    vision : str
        A key of `VISIONS`.
    severity : float
        0 (none) to 1 (the cone missing).

    Returns
    -------
    ndarray, shape (..., 3)
        Linear light, 0 to 1.

    References
    ----------
    Machado, Oliveira & Fernandes 2009, doi 10.1109/TVCG.2009.113 (for blue-weak eyes an
    approximation, as its authors say).
    """
    if vision not in VISIONS:
        raise EmblemaError(f"Colour vision '{vision}' is not one of {', '.join(VISIONS)}.")
    colour = colour_science()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that its blue-weak eye is an approximation
        matrix = np.asarray(
            colour.matrix_cvd_Machado2009(VISIONS[vision], float(np.clip(severity, 0, 1)))
        )
    return np.asarray(np.clip(np.asarray(linear, np.float64) @ matrix.T, 0, 1))


def lab_seen_with(lab: ArrayLike, vision: str, severity: float = 1.0) -> Floats:
    """Return the CIELAB of a palette as seen with another colour vision (see `seen_with`)."""
    light = np.clip(linear_from_lab(lab), 0, 1)
    return lab_from_linear(seen_with(light, vision, severity))


def confused_with(
    lab: ArrayLike, vision: str, severity: float = 1.0, limit: float = 5.0
) -> list[tuple[int, int, float, float]]:
    """Return pairs of a palette that differ to most eyes and hardly to others.

    Returns
    -------
    list of (first, second, delta_e, delta_e_seen)
        Pairs that are more than twice `limit` apart and less than `limit` with that vision.
    """
    from core.colour.matching import differences

    plain = np.asarray(lab, np.float64).reshape(-1, 3)
    seen = lab_seen_with(plain, vision, severity)
    before, after = differences(plain, plain), differences(seen, seen)
    first, second = np.nonzero(np.triu((before > 2 * limit) & (after < limit), 1))
    return [
        (int(i), int(j), float(before[i, j]), float(after[i, j]))
        for i, j in zip(first, second, strict=True)
    ]


def bytes_of(linear: ArrayLike) -> NDArray[np.uint8]:
    """Return a picture in linear light as 8-bit sRGB for a screen."""
    light = np.asarray(linear, float)
    out = np.empty(light.shape, np.uint8)
    for k in range(0, len(light), _BAND):  # a band at a time: a picture takes much memory
        some = slice(k, k + _BAND)
        out[some] = np.rint(255 * np.clip(srgb_from_linear(light[some]), 0, 1))
    return out


def linear_of(picture: NDArray[np.uint8]) -> Floats:
    """Return an 8-bit sRGB picture in linear light."""
    return linear_from_srgb(picture / 255)
