"""Says why a colour read from a photograph is to be doubted: gloss, uneven light, two colours.

Limits that are differences of colour come from the smallest that is noticed, 2.3 in CIELAB (Mahy,
Van Eycken & Oosterlinck 1994); the others say beside them where they come from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats, lab_from_xyz, xyz_from_lab

JUST_NOTICED: Final = 2.3
# Pixels beyond what the camera can tell. Gloss is wider than what it clips, so a few are enough
# (our own choice, tried on drawn gloss).
MOST_CLIPPED: Final = 0.02
# Two groups: the best threshold then explains more of the variance than it would of an even
# spread from end to end, of which it explains 3/4 (Otsu 1979, doi 10.1109/TSMC.1979.4310076). Light
# that falls off evenly is such a spread, so some more is asked before it is taken out.
_TWO_GROUPS: Final = 0.75
_TWO_GROUPS_LIT: Final = 0.8
# How far the smaller group moves the mean before it is worth a word: half a noticed difference.
_MOVED: Final = JUST_NOTICED / 2
# From end to end of the chart. White is then off by a noticed difference at either end: L* goes
# with 116/3 of the logarithm of light (CIE 15).
MOST_FALL_OFF: Final = 2 * JUST_NOTICED / (116 / 3)
_SURE: Final = 3.0  # standard errors


@dataclass(frozen=True, slots=True)
class Light:
    """How the light falls off across the chart.

    Attributes
    ----------
    slope, error : ndarray, shape (2,)
        Change of the logarithm of light from one patch to the next, along and across the chart,
        and its standard error.
    """

    slope: Floats
    error: Floats

    @property
    def fall_off(self) -> float:
        """Share by which the light changes from end to end of the chart; 0 if not for sure."""
        across = np.array([5.0, 3.0])
        sure = np.abs(self.slope) > _SURE * self.error
        return float(1 - np.exp(-(np.abs(self.slope) * across * sure).sum()))

    def change(self, place: Floats) -> tuple[float, float]:
        """Return the logarithm of the light at a place of the lattice, against the chart's mean,
        and its standard error.
        """
        way = place - (2.5, 1.5)
        return float(way @ self.slope), float(np.hypot(*(way * self.error)))


def light_across(seen: Floats, at: Floats) -> Light:
    """Return how the light falls off, from the slopes within patches that are of one colour each.

    What is seen from patch to patch hangs on the patches' colours and on how well the camera's
    are put right; what is seen within a patch hangs on the light alone.

    Parameters
    ----------
    seen : ndarray, shape (patches, n)
        Light (Y) at n places of each patch.
    at : ndarray, shape (n, 2)
        Those places in patch distances from the patch's middle.
    """
    mean = seen.mean(axis=1)
    enough = mean > 0.03  # of a dark patch nearly all is noise
    if enough.sum() < 6:
        return Light(np.zeros(2), np.full(2, np.inf))
    share = seen[enough] / mean[enough, None]
    terms = np.column_stack([np.ones(len(at)), at])
    slopes = np.linalg.lstsq(terms, share.T, rcond=None)[0][1:].T
    slope = np.median(slopes, axis=0)
    # of the median: 1.25 that of the mean; spread by the median too, since a scratch is no light
    spread = 1.4826 * np.median(np.abs(slopes - slope), axis=0)
    return Light(slope, 1.25 * spread / np.sqrt(len(slopes)))


def doubts_of_light(light: Light) -> tuple[str, ...]:
    """Return what is to be said of the light on the chart."""
    if light.fall_off <= MOST_FALL_OFF:
        return ()
    return (f"the light falls off by {100 * light.fall_off:.0f} % across the chart",)


def doubts_of_place(light: Light, place: Floats, lab: Floats) -> tuple[str, ...]:
    """Return what is to be said of the light where a sample of a colour lies on the lattice."""
    change, error = light.change(place)
    if abs(change) <= _SURE * error:
        return ()
    as_lit = lab_from_xyz(xyz_from_lab(lab) / np.exp(change))
    off = float(lab[0] - as_lit[0])
    if abs(off) <= JUST_NOTICED:
        return ()
    brighter, lighter = ("brighter", "light") if change > 0 else ("dimmer", "dark")
    return (
        f"the light there is likely {100 * abs(np.expm1(change)):.0f} % {brighter} than on the "
        f"chart, so it reads about {abs(off):.0f} in L* too {lighter}",
    )


def doubts_of_sample(lab: Floats, at: NDArray[np.int64], clipped: float) -> tuple[str, ...]:
    """Return why the mean of a sample's pixels may not be its colour.

    Parameters
    ----------
    lab : ndarray, shape (n, 3)
    at : ndarray, shape (n, 2)
        Where they lie, pixels.
    clipped : float
        Share of the sample that was left out, too bright or too dark.
    """
    found = []
    if clipped > MOST_CLIPPED:
        found.append(
            f"{100 * clipped:.0f} % of it is too bright or too dark, and what lies beside that is "
            "likely gloss or shadow too"
        )
    if len(lab) < 50:
        return (*found, "it is very small")
    place = (at - at.mean(axis=0)) / max(float(np.ptp(at, axis=0).max()), 1.0)
    terms = np.column_stack([np.ones(len(place)), place])
    plane = np.linalg.lstsq(terms, lab, rcond=None)[0]
    lit = terms @ plane
    rest = lab - lit
    tilt = float(np.ptp(lit[:, 0]))
    error = float(rest[:, 0].std() * np.sqrt(24 / len(lab)))
    apart, smaller = _two_groups(lab, _TWO_GROUPS_LIT)
    if smaller * apart <= _MOVED:
        if tilt > max(JUST_NOTICED, _SURE * error):
            found.append(f"it is lit unevenly, by {tilt:.0f} in L* from edge to edge")
        apart, smaller = _two_groups(rest, _TWO_GROUPS)
    if smaller * apart > _MOVED:
        found.append(
            f"it holds two colours {apart:.0f} apart (CIELAB), the smaller "
            f"{100 * smaller:.0f} % of it: gloss, shadow or an edge"
        )
    elif tilt <= JUST_NOTICED:
        blotchy = _between_places(rest, place)
        if blotchy > JUST_NOTICED:
            found.append(f"it differs by {blotchy:.0f} from place to place (CIELAB)")
    return tuple(found)


def _two_groups(lab: Floats, explained: float) -> tuple[float, float]:
    """Return how far apart two groups of colours are, and the smaller's share; zeros for one."""
    turn = np.linalg.eigh(np.cov(lab.T))[1][:, -1]
    along = np.sort(lab @ turn)
    n = len(along)
    below = np.arange(1, n) / n
    running = np.cumsum(along)
    low = running[:-1] / np.arange(1, n)
    high = (running[-1] - running[:-1]) / np.arange(n - 1, 0, -1)
    between = below * (1 - below) * (high - low) ** 2
    best = int(between.argmax())
    variance = float(along.var())
    if variance <= 0 or between[best] <= explained * variance:
        return 0.0, 0.0
    return float(high[best] - low[best]), float(min(below[best], 1 - below[best]))


def _between_places(lab: Floats, place: Floats) -> float:
    """Return how much a sample's parts differ, the pixels' own noise averaged out: twice the
    standard deviation of their means in CIELAB.
    """
    most = int(np.clip(np.sqrt(len(lab) / 40), 2, 6))
    cell = np.minimum(((place - place.min(axis=0)) * most).astype(np.int64), most - 1)
    which = cell[:, 0] * most + cell[:, 1]
    count = np.bincount(which, minlength=most * most)
    full = count > 20
    if full.sum() < 3:
        return 0.0
    sums = np.stack([np.bincount(which, lab[:, k], most * most) for k in range(3)], axis=1)
    means = sums[full] / count[full, None]
    noise = lab.var(axis=0).sum() * (1 / count[full]).mean()
    return float(2 * np.sqrt(max(means.var(axis=0).sum() - noise, 0.0)))
