"""Reads colours from a photograph that shows a 24-patch colour chart, or a grey card, beside them.

The chart's patches say how this camera in this light turns colours into numbers; the correction
is fitted to them and says itself how far it misses them. One that misses by too much is refused.
A grey card only takes out the cast of the light, so what is read by it is marked as less sure.

References
----------
Finlayson, Mackiewicz & Hurlbert 2015, doi 10.1109/TIP.2015.2405336 (root polynomials); Cheung,
Westland, Connah & Ripamonti 2004, doi 10.1111/j.1478-4408.2004.tb00201.x (polynomials).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.colour.convert import (
    LINEAR_OF_BYTE,
    Floats,
    lab_from_linear,
    lab_from_xyz,
    lab_under_d65,
    linear_from_lab,
    xyz_from_linear,
)
from core.colour.difference import ciede2000
from core.colour.evenness import (
    Light,
    doubts_of_light,
    doubts_of_place,
    doubts_of_sample,
    light_across,
)
from core.colour.findchart import CORNERS, LATTICE, carried, find_lattice, projective
from core.colour.science import colour_science
from core.errors import EmblemaError

MEAN_LIMIT: Final = 3.0  # CIEDE2000; a correction that misses by more is refused
WORST_LIMIT: Final = 9.0
_FOUND: Final = 12.0
_MOST_READ: Final = 250_000  # pixels of a sample; of more every other one and so on
_PATCH: Final = 0.25  # what is read of a patch, to each side of its middle, in patch distances
_ACROSS: Final = np.linspace(-_PATCH, _PATCH, 13)
_GRID: Final[Floats] = np.stack(np.meshgrid(_ACROSS, _ACROSS), axis=-1).reshape(-1, 2)


@dataclass(frozen=True, slots=True)
class Correction:
    """How to turn a photograph's pixels into colours.

    Attributes
    ----------
    method : str
        In plain words.
    sure : bool
        Fitted to the chart; False for a grey card.
    mean_delta_e, worst_delta_e : float
        CIEDE2000 between the chart's patches as corrected and as published; NaN for a grey card.
    mean_unseen : float
        Mean CIEDE2000 of patches each left out of the fit: what to expect of other colours.
    worst_patch : str
    corners_px : ndarray, shape (4, 2), or None
        Middles of the chart's corner patches: first and last of row 1, last and first of row 4.
    light : Light or None
        How the light falls off across the chart; None for a grey card.
    """

    method: str
    sure: bool
    mean_delta_e: float
    worst_delta_e: float
    mean_unseen: float
    worst_patch: str
    corners_px: Floats | None
    light: Light | None
    _apply: Callable[[Floats], Floats]

    def lab(self, picture: NDArray[np.uint8]) -> Floats:
        """Return the CIELAB (D65) of 8-bit pixels, shape (..., 3)."""
        return lab_from_linear(self._apply(LINEAR_OF_BYTE[picture]))

    @property
    def doubts(self) -> tuple[str, ...]:
        """Why what is read by it is to be doubted, in plain words."""
        return () if self.light is None else doubts_of_light(self.light)


@dataclass(frozen=True, slots=True)
class Reading:
    """A sample's colour read from a photograph.

    Attributes
    ----------
    lab : tuple of float
        The mean in linear light, D65.
    spread : float
        Mean CIEDE2000 of the sample's pixels to that mean: small for an even colour.
    clipped : float
        Share of the pixels too bright or too dark for the camera, 0 to 1; left out of the mean.
    sure : bool
    doubts : tuple of str
        Why it may not be the sample's colour, in plain words (see `core.colour.evenness`).
    """

    lab: tuple[float, float, float]
    spread: float
    clipped: float
    sure: bool
    doubts: tuple[str, ...]


@cache
def chart_colours() -> tuple[tuple[str, ...], Floats]:
    """Return the names and CIELAB under D65, shape (24, 3), of the chart after November 2014."""
    colour = colour_science()
    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = np.array([colour.xyY_to_XYZ(v) for v in chart.data.values()])
    lab = lab_under_d65(lab_from_xyz(xyz, colour.xy_to_XYZ(chart.illuminant)), "D50", 2)
    lab.flags.writeable = False
    return tuple(name.split(" (")[0] for name in chart.data), lab


def patch_named(number: int) -> str:
    """Return what a patch is called: its row and its place in it, as the chart lies upright."""
    return f"row {number // 6 + 1}, place {number % 6 + 1}"


def find_chart(picture: NDArray[np.uint8]) -> Floats:
    """Find the chart in a photograph.

    Returns
    -------
    ndarray, shape (4, 2)
        Middles of the corner patches, x and y in pixels: first and last of row 1, last and first of
        row 4.

    Raises
    ------
    EmblemaError
        No chart could be found.
    """
    _, wanted = chart_colours()

    def unlikeness(transform: Floats) -> float:
        seen = _means(_patches(picture, transform))
        terms = np.column_stack([seen, np.sqrt(seen), np.ones(len(seen))])
        target = linear_from_lab(wanted)
        # Weighed towards the dark patches, which differ most to the eye for the same light.
        weight = 1 / (0.05 + target.mean(axis=1, keepdims=True))
        fitted = terms @ np.linalg.lstsq(terms * weight, target * weight, rcond=None)[0]
        return float(ciede2000(lab_from_linear(np.clip(fitted, 0, None)), wanted).mean())

    transform = find_lattice(picture, unlikeness, _FOUND)
    if transform is None:
        raise EmblemaError(
            "The chart was not found in the photograph. Mark the middles of its corner patches."
        )
    return carried(transform, LATTICE[list(CORNERS)])


def correction_from_chart(
    picture: NDArray[np.uint8], corners_px: ArrayLike | None = None
) -> Correction:
    """Fit the correction to the chart in a photograph.

    Parameters
    ----------
    picture : ndarray of uint8, shape (height, width, 3)
    corners_px : array_like, shape (4, 2), optional
        Middles of the corner patches, as `find_chart` has them; found where left out.

    Raises
    ------
    EmblemaError
        The chart was not found, is clipped, or cannot be met within `MEAN_LIMIT` and
        `WORST_LIMIT`.
    """
    corners = find_chart(picture) if corners_px is None else np.asarray(corners_px, np.float64)
    height, width = picture.shape[:2]
    if corners.shape != (4, 2) or not ((corners >= 0) & (corners < (width, height))).all():
        raise EmblemaError("The four corners of the chart must lie in the photograph.")
    transform = projective(LATTICE[list(CORNERS)], corners)
    within = _patches(picture, transform)
    seen = _means(within)
    clipped = (within >= LINEAR_OF_BYTE[254]).any(axis=2).mean(axis=1)
    light = light_across(xyz_from_linear(within)[..., 1], _GRID)
    _, wanted = chart_colours()
    if (clipped > 0.2).any():
        bad = "; ".join(patch_named(int(k)) for k in np.flatnonzero(clipped > 0.2))
        raise EmblemaError(f"The photograph is too bright: nothing can be read of {bad}.")
    method, apply, unseen = _fitted(seen, wanted)
    delta_e = ciede2000(lab_from_linear(apply(seen)), wanted)
    worst = int(delta_e.argmax())
    mean = float(delta_e.mean())
    if not (mean <= MEAN_LIMIT and delta_e[worst] <= WORST_LIMIT):
        raise EmblemaError(
            f"The chart's colours cannot be brought right: they are off by {mean:.1f} in the mean "
            f"(at most {MEAN_LIMIT:g}) and {delta_e[worst]:.1f} at {patch_named(worst)} (at most "
            f"{WORST_LIMIT:g}). Photograph it again in even light, without gloss or shadow"
            + (", or mark its corners in the order asked." if corners_px is not None else ".")
        )
    return Correction(
        method, True, mean, float(delta_e[worst]), unseen, patch_named(worst), corners, light, apply
    )


def correction_from_grey(
    picture: NDArray[np.uint8], card_px: ArrayLike, card_lab: ArrayLike = (49.5, 0.0, 0.0)
) -> Correction:
    """Take out the cast and brightness of the light by a grey card (18 per cent: L* 49.5).

    Parameters
    ----------
    card_px : array_like, shape (k, 2)
        An outline on the card, in pixels.
    """
    linear = LINEAR_OF_BYTE[_inside(picture, card_px)[0]]
    seen = np.median(linear, axis=0)
    if (seen < 0.005).any() or (seen > 0.98).any():
        raise EmblemaError("The grey card is too dark or too bright in the photograph.")
    gain = linear_from_lab(card_lab) / seen
    return Correction(
        "grey card", False, np.nan, np.nan, np.nan, "", None, None, lambda v: np.asarray(v * gain)
    )


def read_sample(
    picture: NDArray[np.uint8], outline_px: ArrayLike, correction: Correction
) -> Reading:
    """Read the colour of a sample.

    Parameters
    ----------
    outline_px : array_like, shape (k, 2)
        An outline on the sample, in pixels.

    Raises
    ------
    EmblemaError
        The outline holds no pixels, or nearly all are clipped (gloss, deep shadow).
    """
    pixels, at = _inside(picture, outline_px)
    lost = ((pixels >= 254) | (pixels == 0)).any(axis=1)
    share = float(lost.mean())
    if share > 0.8:
        raise EmblemaError(
            "The sample is too bright or too dark in the photograph. Turn it out of the gloss."
        )
    lab = correction.lab(pixels[~lost])
    light = linear_from_lab(lab).mean(axis=0)
    mean = lab_from_linear(light)
    spread = float(ciede2000(lab, mean).mean())
    doubts = doubts_of_sample(lab, at[~lost], share)
    if correction.light is not None and correction.corners_px is not None:
        on_lattice = projective(correction.corners_px, LATTICE[list(CORNERS)])
        doubts += doubts_of_place(correction.light, carried(on_lattice, at.mean(axis=0)), mean)
    return Reading(
        (float(np.clip(mean[0], 0, 100)), float(mean[1]), float(mean[2])),
        spread,
        share,
        correction.sure,
        doubts,
    )


def _inside(
    picture: NDArray[np.uint8], outline_px: ArrayLike
) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return the pixels within an outline (n, 3), and where they are, x and y (n, 2)."""
    import shapely

    outline = shapely.Polygon(np.asarray(outline_px, np.float64))
    height, width = picture.shape[:2]
    left, top, right, bottom = outline.bounds
    step = max(1, int(np.sqrt(outline.area / _MOST_READ)))
    x = np.arange(max(int(left), 0), min(int(np.ceil(right)), width), step)
    y = np.arange(max(int(top), 0), min(int(np.ceil(bottom)), height), step)
    xx, yy = np.meshgrid(x, y)
    within = shapely.contains_xy(outline, xx + 0.5, yy + 0.5)
    if not within.any():
        raise EmblemaError("The outline holds nothing of the photograph.")
    at = np.stack([xx[within], yy[within]], axis=1)
    return np.asarray(picture[at[:, 1], at[:, 0]]), at


def _patches(picture: NDArray[np.uint8], transform: Floats) -> Floats:
    """Return the linear light at the places `_GRID` of each patch (24, n, 3)."""
    at = np.floor(carried(transform, LATTICE[:, None, :] + _GRID) + 0.5).astype(np.int64)
    height, width = picture.shape[:2]
    x, y = np.clip(at[..., 0], 0, width - 1), np.clip(at[..., 1], 0, height - 1)
    return np.asarray(LINEAR_OF_BYTE[picture[y, x]])


def _means(seen: Floats) -> Floats:
    """Return the patches' linear light (24, 3)."""
    # Without the outermost tenths: specks, scratches and noise do not move a trimmed mean.
    inner = np.sort(seen, axis=1)[:, len(_GRID) // 10 : -(len(_GRID) // 10)]
    return np.asarray(inner.mean(axis=1))


def _fitted(seen: Floats, wanted: Floats) -> tuple[str, Callable[[Floats], Floats], float]:
    """Return the kind of correction that foretells patches it has not seen best, fitted to all."""
    target = linear_from_lab(wanted)
    best: tuple[float, str, Callable[[Floats, Floats], Callable[[Floats], Floats]]] | None = None
    for name, fit in _KINDS:
        left_out = np.empty((24, 3))
        for k in range(24):
            rest = np.arange(24) != k
            left_out[k] = fit(seen[rest], target[rest])(seen[k : k + 1])[0]
        unseen = float(ciede2000(lab_from_linear(left_out), wanted).mean())
        if best is None or unseen < best[0]:
            best = (unseen, name, fit)
    assert best is not None
    return best[1], best[2](seen, target), best[0]


Fit = Callable[[Floats, Floats], Callable[[Floats], Floats]]


def _polynomial(expand: Callable[[Any, Floats], Floats], curve: bool) -> Fit:
    """Return a fit of expanded light to the target, with a tone curve taken out first or not."""

    def fit(seen: Floats, target: Floats) -> Callable[[Floats], Floats]:
        tone = _tone(seen, target) if curve else (lambda v: v)
        # Each patch counts by how much the eye sees of a change there: more where it is dark.
        weight = 1 / (0.03 + np.abs(target).mean(axis=1, keepdims=True)) ** (2 / 3)
        terms = expand(colour_science(), tone(seen))
        matrix = np.linalg.lstsq(terms * weight, target * weight, rcond=None)[0]

        def apply(v: Floats) -> Floats:
            flat = tone(np.asarray(v, np.float64).reshape(-1, 3))
            return np.asarray((expand(colour_science(), flat) @ matrix).reshape(v.shape))

        return apply

    return fit


def _tone(seen: Floats, target: Floats) -> Callable[[Floats], Floats]:
    """Return the curve that straightens the camera's greys: a power of each channel's light.

    The greys of the chart are told by their target, since any patch may have been left out.
    """
    grey = np.ptp(target, axis=1) < 0.12 * target.mean(axis=1)
    x = np.log(np.maximum(seen[grey], 1e-4))
    y = np.log(np.maximum(target[grey].mean(axis=1, keepdims=True), 1e-4))
    dx = x - x.mean(axis=0)
    power = (dx * (y - y.mean())).sum(axis=0) / np.maximum((dx * dx).sum(axis=0), 1e-9)
    power = np.clip(power, 0.3, 3.0)
    return lambda v: np.asarray(np.maximum(v, 0) ** power)


def _root_polynomial(colour: Any, v: Floats) -> Floats:
    return np.asarray(
        colour.characterisation.polynomial_expansion_Finlayson2015(np.maximum(v, 0), 2, True)
    )


def _with_terms(terms: int) -> Callable[[Any, Floats], Floats]:
    def expand(colour: Any, v: Floats) -> Floats:
        return np.asarray(
            colour.characterisation.matrix_augmented_Cheung2004(np.maximum(v, 0), terms)
        )

    return expand


_KINDS: Final[Sequence[tuple[str, Fit]]] = (
    ("matrix", _polynomial(_with_terms(3), False)),
    ("matrix after a tone curve", _polynomial(_with_terms(3), True)),
    ("root polynomial", _polynomial(_root_polynomial, False)),
    ("root polynomial after a tone curve", _polynomial(_root_polynomial, True)),
    ("polynomial of seven terms", _polynomial(_with_terms(7), False)),
    ("polynomial of seven terms after a tone curve", _polynomial(_with_terms(7), True)),
)
