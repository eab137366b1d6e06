"""A sketch made flat before its colours are parted: ink out of the way, grain and wash calm."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from core.colour.convert import LINEAR_OF_BYTE, lab_from_linear

Array = NDArray[np.float64]
Bools = NDArray[np.bool_]

WORK_PX: Final = 1100  # longest side that is traced; borders are found between its pixels
CALM: Final = 4  # the calmest
WIDEST_INK: Final = 0.012  # of the longest side: what is wider is an area
DARK: Final = 50.0  # L* that ink stays below
STEP: Final = 14.0  # in L*, by which ink is darker than what lies to both its sides
_MEDIAN: Final = (1, 3, 5, 5, 7)
_EVEN: Final = (0.0, 0.0, 0.0, 0.06, 0.12)  # weight of total variation


def brought_down(pixels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], float]:
    """Return a picture at most `WORK_PX` long, and how many of its pixels one then is."""
    from PIL import Image

    h, w = pixels.shape[:2]
    by = max(1.0, max(h, w) / WORK_PX)
    if by == 1.0:
        return pixels, 1.0
    size = (max(1, round(w / by)), max(1, round(h / by)))
    small = Image.fromarray(pixels).resize(size, Image.Resampling.BOX)
    return np.asarray(small), w / size[0]


def lab_of(pixels: NDArray[np.uint8]) -> Array:
    """Return CIELAB, shape (h, w, 3)."""
    return lab_from_linear(LINEAR_OF_BYTE[pixels])


def ink_of(lab: Array) -> Bools:
    """Return where thin dark strokes lie, shape (h, w).

    A stroke is darker than what lies to both its sides within a little more than its width (the
    bottom hat of mathematical morphology: Serra 1982), and dark by itself.
    """
    light = ndimage.gaussian_filter(lab[..., 0], 0.8)
    half = round(max(lab.shape[:2]) * WIDEST_INK / 2 + 2)
    across = 2 * half + 1
    beside = ndimage.grey_closing(light, (across, across))
    depth = beside - light
    step = max(STEP, 4.0 * float(1.4826 * np.median(np.abs(lab[..., 0] - light))))  # over grain
    core = (depth > step) & (light < DARK)
    # the tip of a dark area is no stroke
    dark = light < DARK
    broad = ndimage.binary_opening(dark, iterations=half)
    core &= ~ndimage.binary_dilation(broad, iterations=across, mask=dark)
    parts, _ = ndimage.label(core, np.ones((3, 3)))
    long = np.bincount(parts.ravel()) >= 2 * across
    long[0] = False
    core = long[parts]
    # its soft edges go with it, as far as they are darker than what lies beside
    edge = (depth > step / 3) & ndimage.binary_dilation(core, iterations=2)
    return np.asarray(core | edge)


def without(lab: Array, ink: Bools) -> Array:
    """Return a picture whose ink takes the colour nearest to it, so that borders lie mid-stroke."""
    if not ink.any() or ink.all():
        return lab
    row, column = ndimage.distance_transform_edt(ink, return_distances=False, return_indices=True)
    return np.asarray(lab[row, column])


def calmed(lab: Array, calm: int) -> Array:
    """Return a picture with grain and wash smoothed, its edges kept: 0 not at all, `CALM` most.

    References
    ----------
    Rudin, Osher & Fatemi 1992 (total variation); Chambolle 2004.
    """
    size = _MEDIAN[calm]
    if size > 1:
        lab = np.stack([ndimage.median_filter(lab[..., k], size) for k in range(3)], 2)
    if _EVEN[calm]:
        from skimage.restoration import denoise_tv_chambolle

        lab = 100 * denoise_tv_chambolle(lab / 100, _EVEN[calm], max_num_iter=40, channel_axis=-1)
    return np.asarray(lab)
