"""Blocks of noise that faces are cut from, as a tessera is cut from a slab.

Each holds the height of the surface and its tone, repeats without a seam, and is made once. For a
picture it is brought to the picture's fineness through its spectrum, so that nothing finer than a
pixel is left to shimmer; the steepness that is lost so is known, and counts as dullness of gloss.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import fft, ndimage

Singles = NDArray[np.float32]

FULL: Final = 512  # texels along a side, as made
TEXELS_A_PIXEL: Final = 2.0  # so that the nearest texel is near enough


@dataclass(frozen=True, eq=False)
class Block:
    """A block as fine as a picture needs it.

    Attributes
    ----------
    texels : ndarray of complex64, shape (n, n)
        Height, mm, as the real part, and tone (deviation 1) as the imaginary: both come with one
        look-up.
    slopes : ndarray of complex64, shape (n, n)
        Slope of the height across as the real part, down as the imaginary; together they have a
        root mean square of 1 over the whole spectrum.
    side_mm : float
        After so much it repeats.
    rough_mm : float
        Deviation of the height.
    lost : float
        Mean square of the slope of all that is finer than the picture shows.
    """

    texels: NDArray[np.complex64]
    slopes: NDArray[np.complex64]
    side_mm: float
    rough_mm: float
    lost: float


class Maker:
    """Makes the noise of one block.

    Parameters
    ----------
    name : str
        Of the block; the draws hang on it.
    side_mm : float
        Of the block.
    """

    def __init__(self, name: str, side_mm: float) -> None:
        self.rng = np.random.default_rng([*name.encode()])
        self.side_mm = side_mm
        self.fx, self.fy = _waves(side_mm)

    def cloud(self, largest_mm: float, finest_mm: float, fall: float, long: float = 1.0) -> Singles:
        """Return smooth noise of deviation 1.

        Parameters
        ----------
        largest_mm, finest_mm : float
            The wavelengths it is made of.
        fall : float
            The power of its frequency by which its amplitude falls.
        long : float
            How many times longer, down the block, than wide its features are.
        """
        f = np.hypot(self.fx, self.fy * np.float32(long))
        f[0, 0] = 1.0
        size = f**-fall * np.exp(-((f * finest_mm) ** 2)) / (1 + (f * largest_mm) ** -6)
        size[0, 0] = 0.0
        wave = self.rng.standard_normal((2, *f.shape), np.float32)
        return _level(fft.irfft2((wave[0] + 1j * wave[1]) * size, s=(FULL, FULL)))

    def bent(self, z: Singles, bend_mm: tuple[Singles, Singles]) -> Singles:
        """Return noise whose every texel is taken from some mm away, across and down."""
        at = np.indices(z.shape, np.float32)
        at += np.stack(bend_mm[::-1]) * np.float32(FULL / self.side_mm)
        return np.asarray(ndimage.map_coordinates(z, at, order=1, mode="grid-wrap"))


def _waves(side_mm: float) -> tuple[Singles, Singles]:
    """Return the frequencies of the half spectrum across and down, waves a mm."""
    step = side_mm / FULL
    fx, fy = fft.rfftfreq(FULL, step)[None, :], fft.fftfreq(FULL, step)[:, None]
    return fx.astype(np.float32), fy.astype(np.float32)


def _level(z: Singles) -> Singles:
    """Return noise with mean 0 and deviation 1."""
    return np.asarray((z - z.mean()) / z.std())


def _odd(z: Singles, beyond: float) -> Singles:
    """Return how far noise goes beyond a height: spots here and there."""
    return np.asarray(np.clip(z - np.float32(beyond), 0, 2))


def _ridge(z: Singles, width: float) -> Singles:
    """Return 1 where noise passes through nought, falling to 0 within about a width."""
    return np.asarray(1 / (1 + (z / width) ** 2))


def _broken(m: Maker) -> tuple[Singles, Singles]:
    """Smalti: hollow shells of a blow and crests between, ripples, stripes of the pour, bubbles."""
    cloud = m.cloud
    shells = np.abs(cloud(16, 5, 3.0)) + 0.3 * np.abs(cloud(9, 3.2, 2.8))
    ripple = np.sin(9.4 * cloud(9, 2.5, 2.4)) * _odd(cloud(12, 3, 2), 0.5)
    bubbles = _odd(cloud(0.7, 0.35, 0.5), 2.6)
    swell = 0.35 * cloud(12, 4, 2.4)
    height = swell - 0.8 * shells + 0.025 * ripple + 0.006 * cloud(1.4, 0.3, 1.2) - 0.08 * bubbles
    pour = m.bent(cloud(3.0, 0.5, 1.2, 6.0), (cloud(14, 5, 2), cloud(14, 5, 2)))
    tone = 0.75 * pour + 0.45 * cloud(8, 1.0, 1.5) + 0.25 * cloud(0.8, 0.15, 0.4)
    return height, tone - 2.0 * bubbles


def _pressed(m: Maker) -> tuple[Singles, Singles]:
    """Vitreous: a pressed face with fine sandy grain, light and dark."""
    cloud = m.cloud
    grain = cloud(0.6, 0.26, 0.0)
    height = 0.25 * cloud(9, 3, 2.2) + 0.012 * grain + 0.05 * cloud(2.2, 0.8, 1.4)
    light, dark = _odd(cloud(0.9, 0.38, 0.0), 1.3), _odd(cloud(0.8, 0.34, 0.0), 1.2)
    tone = 0.3 * grain + 0.4 * cloud(5, 0.9, 1.4) + 1.8 * light - 1.5 * dark
    return height, tone


def _veined(m: Maker) -> tuple[Singles, Singles]:
    """Marble: cloudy ground, veins that come and go along one way of the stone, fine crystal."""
    cloud = m.cloud
    bend = (1.6 * cloud(24, 5.0, 2.2) + 0.22 * cloud(4, 0.8, 1.4), 1.6 * cloud(24, 5.0, 2.2))
    lie = m.bent(cloud(16, 5.0, 2.2, 2.8), bend)
    fine = m.bent(cloud(8, 2.5, 2.0, 2.2), bend)
    strong = np.clip(cloud(13, 4, 2.0) + 0.5, 0, 1.6)
    veins = strong * (_ridge(lie, 0.035) + 0.45 * _ridge(lie, 0.2))
    veins += 0.5 * np.clip(strong - 0.4, 0, 1) * _ridge(fine, 0.03)
    shade = _odd(m.bent(cloud(16, 2.5, 2.0, 2.4), bend), 0.2)
    crystal = cloud(0.7, 0.18, 0.2)
    tone = -1.7 * veins - 0.5 * shade + 0.25 * cloud(4, 0.8, 1.2) + 0.2 * crystal
    return 0.02 * crystal + 0.06 * cloud(3, 0.7, 1.6) + 0.12 * cloud(10, 3, 2), tone


def _speckled(m: Maker) -> tuple[Singles, Singles]:
    """Stone and pebbles: grains of several minerals, soft patches, an odd bright one."""
    cloud = m.cloud
    dark = _odd(cloud(0.9, 0.32, 0.2), 0.9) + 0.7 * _odd(cloud(2.2, 0.6, 0.8), 1.2)
    light = _odd(cloud(1.0, 0.34, 0.2), 1.2)
    bed = cloud(7, 1.2, 1.6, 3.0)
    tone = 0.6 * bed + 1.3 * light - 1.35 * dark + 0.3 * cloud(0.5, 0.15, 0.0)
    pits = _odd(cloud(0.8, 0.3, 0.3), 1.4)
    return 0.3 * cloud(9, 2, 2.2) + 0.03 * cloud(1.2, 0.25, 0.8) - 0.05 * pits, tone


def _leafed(m: Maker) -> tuple[Singles, Singles]:
    """Gold leaf under its thin glass: slow waves, creases of the leaf, a pinhole here and there."""
    cloud = m.cloud
    bend = (1.2 * cloud(12, 2, 2), 1.2 * cloud(12, 2, 2))
    crease = _ridge(m.bent(cloud(6, 0.8, 1.8), bend), 0.07)
    crease += 0.6 * _ridge(m.bent(cloud(3, 0.5, 1.6), bend), 0.09)
    height = 0.55 * cloud(10, 2.5, 2.4) + 0.1 * cloud(3, 0.8, 1.6) + 0.035 * crease
    tone = 0.6 * cloud(5, 0.6, 1.4) + 0.35 * cloud(0.9, 0.2, 0.5) - 0.5 * crease
    return height, tone - 3.5 * _odd(cloud(0.9, 0.35, 0.3), 2.5)


def _grown(m: Maker) -> tuple[Singles, Singles]:
    """Shell: lines of growth, bent and uneven, over a slow swell."""
    cloud = m.cloud
    across = np.linspace(0, m.side_mm / 1.25, FULL, endpoint=False, dtype=np.float32)
    bent = across + 1.1 * cloud(22, 5, 2.2) + 0.25 * cloud(5, 1.2, 1.6)
    lines = np.sin(2 * np.pi * bent) + 0.5 * np.sin(2 * np.pi * (bent * 3 + cloud(12, 3, 2)))
    lines *= 0.6 + 0.4 * np.clip(cloud(12, 3, 1.8), -1, 1.5)
    height = 0.5 * cloud(12, 3, 2.2) + 0.012 * lines + 0.06 * cloud(3, 0.8, 1.6)
    return height, 0.6 * lines + 0.8 * cloud(9, 1.5, 1.8) + 0.15 * cloud(0.7, 0.2, 0.3)


def _glazed(m: Maker) -> tuple[Singles, Singles]:
    """Ceramic: a glaze that ran a little, with specks of the body."""
    cloud = m.cloud
    specks = _odd(cloud(0.8, 0.3, 0.3), 2.1)
    tone = 0.8 * cloud(9, 1.5, 1.8) + 0.25 * cloud(1.2, 0.3, 0.6) - 2.0 * specks
    return 0.5 * cloud(10, 3, 2.2) + 0.06 * cloud(2.4, 0.9, 1.4), tone


# What makes each block, and its side in mm: what has large features needs much room for them.
MADE: Final[dict[str, tuple[Callable[[Maker], tuple[Singles, Singles]], float]]] = {
    "broken": (_broken, 32.0),
    "pressed": (_pressed, 25.0),
    "veined": (_veined, 50.0),
    "speckled": (_speckled, 32.0),
    "leafed": (_leafed, 32.0),
    "grown": (_grown, 40.0),
    "glazed": (_glazed, 32.0),
}


@dataclass(frozen=True, eq=False)
class _Spectrum:
    height: NDArray[np.complex64]
    tone: NDArray[np.complex64]
    slope: Singles  # mean square of the slope by wave


@lru_cache(maxsize=len(MADE))
def _spectrum(name: str) -> _Spectrum:
    """Make a block, level it, and take its spectrum."""
    make, side_mm = MADE[name]
    height, tone = (fft.rfft2(_level(z)) for z in make(Maker(name, side_mm)))
    fx, fy = _waves(side_mm)
    twice = np.where((fx > 0) & (fx < fx.max()), 2.0, 1.0)  # the half that is not kept
    slope = twice * np.abs(height) ** 2 * (2 * np.pi * np.hypot(fx, fy)) ** 2 / FULL**4
    steep = np.sqrt(slope.sum())
    return _Spectrum(height / np.float32(steep), tone, (slope / steep**2).astype(np.float32))


@lru_cache(maxsize=24)
def block(name: str, px_per_mm: float) -> Block:
    """Return a block for a picture of a fineness.

    Parameters
    ----------
    name : str
        A key of `MADE`.
    """
    whole, side_mm = _spectrum(name), MADE[name][1]
    wanted = round(side_mm * px_per_mm * TEXELS_A_PIXEL / 2)
    n = min(FULL, 2 * fft.next_fast_len(max(wanted, 4)))
    # what is finer than two pixels is faded out, softly so that no ripples ring about an edge
    fx, fy = _waves(side_mm)
    keep = np.clip(2 - 1.6 * np.hypot(fx, fy) / np.float32(px_per_mm / 2), 0, 1)
    part = np.ix_(np.r_[0 : n // 2, FULL - n // 2 : FULL], np.arange(n // 2 + 1))
    scale = np.float32((n / FULL) ** 2)
    height = whole.height * keep
    step = np.complex64(2j * np.pi)  # a wave of f a mm is 2 pi f as steep as it is high
    texels, slopes = np.empty((2, n, n), np.complex64)
    texels.real = fft.irfft2(height[part] * scale, s=(n, n))
    texels.imag = fft.irfft2((whole.tone * keep)[part] * scale, s=(n, n))
    slopes.real = fft.irfft2((height * fx * step)[part] * scale, s=(n, n))
    slopes.imag = fft.irfft2((height * fy * step)[part] * scale, s=(n, n))
    lost = float((whole.slope * (1 - keep**2)).sum())
    return Block(texels, slopes, side_mm, float(texels.real.std()), lost)
