"""Mixes materials so that, grout between them, they blend to a wanted colour from a distance.

The mean is taken in linear light, as the eye takes it. For every wanted colour all pairs and
triples of the nearest materials are tried; among mixtures that meet it alike the calmer, of more
similar parts, is preferred.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.colour.convert import (
    WHITE_XYZ,
    Floats,
    lab_from_xyz,
    xyz_from_lab,
)
from core.colour.difference import ciede2000
from core.colour.matching import differences
from core.errors import EmblemaError

Ints = NDArray[np.int64]

_NEAREST: Final = 12
_LEAST_SHARE: Final = 0.06  # a rarer part would read as a mistake, not as a mixture
_CALM: Final = 0.05


@dataclass(frozen=True, slots=True)
class Mix:
    """What to mix for every wanted colour.

    Attributes
    ----------
    parts : ndarray of int, shape (n, k)
        Materials, in the palette's order of lightness; -1 where fewer are needed.
    shares : ndarray, shape (n, k)
        Sum to 1.
    delta_e : ndarray, shape (n,)
        CIEDE2000 between the wanted colour and what the mixture and the grout blend to.
    delta_e_single : ndarray, shape (n,)
        The same with the one best material alone.
    """

    parts: Ints
    shares: Floats
    delta_e: Floats
    delta_e_single: Floats


def optical_mix(
    wanted: ArrayLike, palette: ArrayLike, grout: ArrayLike, joint_share: float, parts: int = 2
) -> Mix:
    """Find mixtures that blend to the wanted colours.

    Parameters
    ----------
    wanted : array_like, shape (n, 3)
    palette : array_like, shape (m, 3)
    grout : array_like, shape (3,)
    joint_share : float
        Share of the surface that is joint, 0 to less than 1.
    parts : int
        Mix at most 1, 2 or 3 materials.

    Raises
    ------
    EmblemaError
        An empty palette, or numbers outside these ranges.
    """
    want = np.asarray(wanted, np.float64).reshape(-1, 3)
    have = np.asarray(palette, np.float64).reshape(-1, 3)
    if len(have) == 0:
        raise EmblemaError("There is no material to mix.")
    if not 0 <= joint_share < 1:
        raise EmblemaError(f"The joints' share is {joint_share:g}; it must be 0 to less than 1.")
    if parts not in (1, 2, 3):
        raise EmblemaError(f"One to three materials can be mixed, not {parts}.")
    kinds, owner = np.unique(want, axis=0, return_inverse=True)
    owner = owner.reshape(-1)
    found = [
        _mix(kinds[k : k + 256], have, np.asarray(grout, np.float64), joint_share, parts)
        for k in range(0, len(kinds), 256)
    ]
    if not found:
        return Mix(np.empty((0, parts), np.int64), np.empty((0, parts)), np.empty(0), np.empty(0))
    columns = [np.concatenate(c)[owner] for c in zip(*found, strict=True)]
    return Mix(columns[0], columns[1], columns[2], columns[3])


def dealt_out(mix: Mix, order: Floats) -> Ints:
    """Give every piece one material of its mixture.

    Parameters
    ----------
    order : ndarray, shape (n,)
        The pieces' even spread (`core.colour.scatter.even_order`).

    Returns
    -------
    ndarray of int, shape (n,)
        Into the palette.
    """
    upto = np.cumsum(mix.shares, axis=1)
    upto[:, -1] = 1.0
    last = (mix.parts >= 0).sum(axis=1) - 1
    part = np.minimum((order[:, None] >= upto).sum(axis=1), last)
    return np.asarray(mix.parts[np.arange(len(order)), part])


def blended(lab: ArrayLike, shares: ArrayLike) -> Floats:
    """Return what colours (..., k, 3) blend to in linear light, shares (..., k) summing to 1."""
    xyz = xyz_from_lab(lab) * np.asarray(shares, np.float64)[..., None]
    return lab_from_xyz(xyz.sum(axis=-2))


def _mix(
    want: Floats, have: Floats, grout: Floats, joint_share: float, parts: int
) -> tuple[Ints, Floats, Floats, Floats]:
    n, m = len(want), len(have)
    size = min(parts, m)
    have_xyz = xyz_from_lab(have)
    joint = joint_share * xyz_from_lab(grout)
    seen = (1 - joint_share) * have_xyz + joint  # each material with its share of grout

    # Steps from the wanted colour to each material, scaled so that lengths are about CIEDE2000.
    single = differences(want, lab_from_xyz(seen))
    some = min(_NEAREST, m)
    near = np.argsort(single, axis=1, kind="stable")[:, :some]
    step = np.einsum("nij,nkj->nki", _perceived(want), seen[near] - xyz_from_lab(want)[:, None, :])

    best = np.full(n, np.inf)
    chosen = np.full((n, parts), -1, np.int64)
    share = np.zeros((n, parts))
    for count in range(1, size + 1):
        sets = np.array(list(combinations(range(some), count)))
        if len(sets) == 0:
            continue
        v = step[:, sets]  # (n, sets, count, 3)
        w = _shares(v)
        miss = np.sqrt(((w[..., None] * v).sum(axis=2) ** 2).sum(axis=-1))
        unrest = (w * np.sqrt((v * v).sum(axis=-1))).sum(axis=-1)
        score = np.where((w >= _LEAST_SHARE).all(axis=-1), miss + _CALM * unrest, np.inf)
        pick = score.argmin(axis=1)
        rows = np.flatnonzero(score[np.arange(n), pick] < best)
        best[rows] = score[rows, pick[rows]]
        chosen[rows] = -1
        chosen[rows, :count] = near[rows[:, None], sets[pick[rows]]]
        share[rows] = 0
        share[rows, :count] = w[rows, pick[rows]]

    alone = single.min(axis=1)
    mean = np.einsum("nk,nkj->nj", share, seen[chosen])  # an unused part has no share
    delta_e = ciede2000(want, lab_from_xyz(mean))
    # The scaled lengths are only nearly CIEDE2000: never take a mixture that is worse than none.
    worse = delta_e > alone
    chosen[worse], share[worse] = -1, 0
    chosen[worse, 0], share[worse, 0] = near[worse, 0], 1
    delta_e = np.where(worse, alone, delta_e)
    lightness = np.where(chosen >= 0, have[chosen, 0], np.inf)
    by_light = np.argsort(lightness, axis=1, kind="stable")
    rows = np.arange(n)[:, None]
    return chosen[rows, by_light], share[rows, by_light], delta_e, alone


def _shares(v: Floats) -> Floats:
    """Return the shares (..., k) whose mean of the steps (..., k, 3) is shortest; they sum to 1.

    A best point outside the segment or triangle gives a share below zero, to be left to sets of
    fewer parts.
    """
    count = v.shape[-2]
    if count == 1:
        return np.ones(v.shape[:-1])
    last = v[..., -1, :]
    edge = v[..., :-1, :] - last[..., None, :]
    right = -(edge * last[..., None, :]).sum(axis=-1)
    square = (edge * edge).sum(axis=-1)
    if count == 2:
        w = right / np.maximum(square, 1e-12)
    else:
        cross = (edge[..., 0, :] * edge[..., 1, :]).sum(axis=-1)
        det = np.maximum(square[..., 0] * square[..., 1] - cross * cross, 1e-12)
        w = np.stack(
            [
                (right[..., 0] * square[..., 1] - right[..., 1] * cross) / det,
                (right[..., 1] * square[..., 0] - right[..., 0] * cross) / det,
            ],
            axis=-1,
        )
    return np.concatenate([w, 1 - w.sum(axis=-1, keepdims=True)], axis=-1)


def _perceived(lab: Floats) -> Floats:
    """Return, at each colour (n, 3), the matrix from small steps in XYZ to steps in CIEDE2000's
    lightness, chroma and hue, each divided by its weight (the blue rotation left out)."""
    t = np.maximum(xyz_from_lab(lab) / WHITE_XYZ, 0)
    slope = np.where(t > (6 / 29) ** 3, np.maximum(t, 1e-9) ** (-2 / 3) / 3, (29 / 6) ** 2 / 3)
    slope = slope / WHITE_XYZ
    to_lab = np.array([[0.0, 116, 0], [500, -500, 0], [0, 200, -200]]) * slope[:, None, :]
    light, a, b = lab.T
    chroma, hue = np.hypot(a, b), np.arctan2(b, a)
    c7 = chroma**7
    g = 1.5 - 0.5 * np.sqrt(c7 / (c7 + 25.0**7))
    t_hue = (
        1
        - 0.17 * np.cos(hue - np.pi / 6)
        + 0.24 * np.cos(2 * hue)
        + 0.32 * np.cos(3 * hue + np.deg2rad(6))
        - 0.20 * np.cos(4 * hue - np.deg2rad(63))
    )
    sl = 1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2)
    sc, sh = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t_hue
    zero, cos, sin = np.zeros(len(lab)), np.cos(hue), np.sin(hue)
    turn = np.stack(
        [
            np.stack([1 / sl, zero, zero], axis=1),
            np.stack([zero, cos * g / sc, sin / sc], axis=1),
            np.stack([zero, -sin * g / sh, cos / sh], axis=1),
        ],
        axis=1,
    )
    return np.asarray(turn @ to_lab)
