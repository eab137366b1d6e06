"""The light that each pixel of a piece sends to who stands before the wall.

A face is a height over the wall: its roughness cut from a block, its rounded edge, its swell and
its tilt. What its slope does to the light is Lambert's law, and a lobe of gloss about the slope
that mirrors the lamp (in slopes, with long tails; Trowbridge & Reitz 1975). Gold leaf has no body
colour of its own: it shows the lamp where it faces it and the dim room, brown, where it does not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from core.look.blocks import block
from core.look.kinds import Face
from core.look.light import Light
from core.look.noise import Seeds, bell, even
from core.look.shapes import Shapes

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

ROOM: Final = 0.42  # share of the standard light that comes from all sides
RIM: Final = 1  # pixels about a patch that only its slopes need
_INNER: Final = np.s_[:, RIM:-RIM, RIM:-RIM]
_SOFT: Final = 0.10  # slope over which what a face mirrors of the lit room falls off
_LIT_ROOM: Final = 0.3  # where the lit room lies, on the way from straight before to the lamp
_FILM_PHASE: Final = (0.0, 2.1, 4.2)  # red, green and blue of a thin layer


class Patches(NamedTuple):
    """Pieces of one face seen through windows of one size.

    Attributes
    ----------
    rows : ndarray of int, shape (k,)
        Of the pieces, all of one face and one number of sides.
    x_mm, y_mm : ndarray, shape (k, 1, w + 2), (k, h + 2, 1)
        Pixels from the pieces' middles, with one more on each side.
    px_per_mm : float
    """

    rows: Ints
    x_mm: Singles
    y_mm: Singles
    px_per_mm: float


class Lit(NamedTuple):
    """What patches send out, in parts.

    Attributes
    ----------
    share : ndarray, shape (k, h, w)
        How much of each pixel the piece covers.
    body : tuple of ndarray, shape (k, h, w)
        Light relative to the piece's own colour: one array, or red, green and blue.
    gloss : ndarray, shape (k, h, w)
        Light mirrored, which has the lamp's colour.
    """

    share: Singles
    body: tuple[Singles, ...]
    gloss: Singles


@dataclass(frozen=True, eq=False)
class Hands:
    """What the hand and the slab gave each piece (n,), from its seed."""

    tilt: Floats  # (n, 2), as deviations
    swell: Floats
    turn: Floats  # (n, 3): cosine, sine, and -1 where its slab lies face down
    place: Floats  # (n, 2): in the block, 0 to 1
    light: Floats
    tint: Floats  # (n, 3)
    phase: Floats

    @staticmethod
    def of(seed: Seeds) -> Hands:
        """Return what pieces have by their seeds."""
        turn = 2 * math.pi * even(seed, 0)
        flip = np.where(even(seed, 1) < 0.5, -1.0, 1.0)
        return Hands(
            np.stack([bell(seed, 0), bell(seed, 1)], axis=1),
            bell(seed, 2),
            np.stack([np.cos(turn), np.sin(turn), flip], axis=1),
            np.stack([even(seed, 2), even(seed, 3)], axis=1),
            bell(seed, 3),
            np.stack([bell(seed, 4 + k) for k in range(3)], axis=1),
            2 * math.pi * even(seed, 4),
        )


def _column(values: Floats) -> Singles:
    return values.astype(np.float32)[:, None, None]


class _Slab(NamedTuple):
    """What patches are cut from a block: height and tone, slopes, and what the block says."""

    texels: NDArray[np.complex64]  # (k, h + 2, w + 2)
    slopes: NDArray[np.complex64]  # (k, h, w): across the work and down it
    rough_mm: float
    lost: float


def _cut(face: Face, hands: Hands, p: Patches) -> _Slab:
    """Cut patches from the face's block, each at its piece's own place, turn and side."""
    slab = block(face.block, p.px_per_mm)
    n = len(slab.texels)
    cosine, sine, flip = (_column(v) for v in hands.turn[p.rows].T)
    ox, oy = (_column(v) for v in hands.place[p.rows].T)
    per = np.float32(1 / slab.side_mm)
    c, s, f = cosine * per, sine * per, flip * per
    u = (c * p.x_mm + ox) - s * p.y_mm
    v = (sine * f * p.x_mm + oy) + cosine * f * p.y_mm
    at = np.zeros(u.shape, np.intp)
    for w in (v, u):
        w -= np.floor(w)
        w *= np.float32(n)
        np.minimum(w, np.float32(n - 0.5), out=w)
        at *= n
        at += w.astype(np.intp)
    slopes = slab.slopes.ravel().take(at[_INNER])
    slopes.imag *= flip
    slopes *= cosine - 1j * sine
    return _Slab(slab.texels.ravel().take(at), slopes, slab.rough_mm, slab.lost)


def lit(face: Face, shapes: Shapes, hands: Hands, p: Patches, light: Light) -> Lit:
    """Return what patches of one face send out under a light."""
    rows = p.rows
    single = np.float32
    x, y = p.x_mm, p.y_mm
    slab = _cut(face, hands, p)
    lost = 2 * slab.lost * face.relief**2  # adds to how far gloss is spread
    half, pebble = shapes.inner_mm[rows], shapes.round[rows]
    deep = shapes.within(rows, x, y, np.where(pebble, 0.8 * half, face.round_mm))
    if face.chips_mm:
        deep += slab.texels.real * single(face.chips_mm / max(slab.rough_mm, 1e-6))
    # an edge that rounds off, then the roughness, tilt and swell of the face
    broad = np.where(pebble, 0.95 * half, np.minimum(face.edge_mm, 0.4 * half))
    steep = np.where(pebble, 0.8, face.edge)
    fall = _column(broad) - deep
    np.maximum(fall, 0, out=fall)
    fall *= fall
    fall *= _column(steep / (2 * np.maximum(broad, 1e-6)))
    per = single(p.px_per_mm / 2)
    sx = (fall[:, 1:-1, :-2] - fall[:, 1:-1, 2:]) * per
    sy = (fall[:, :-2, 1:-1] - fall[:, 2:, 1:-1]) * per
    sx += slab.slopes.real * single(face.relief)
    sy += slab.slopes.imag * single(face.relief)
    x, y, deep = x[:, :, 1:-1], y[:, 1:-1], deep[_INNER]
    tilt = math.tan(math.radians(face.tilt_deg)) * hands.tilt[rows]
    swell = _column(face.swell * hands.swell[rows] / np.maximum(half, 0.5))
    sx += _column(tilt[:, 0]) + swell * x
    sy += _column(tilt[:, 1]) + swell * y
    tone = slab.texels.imag[_INNER] * single(face.mottle)
    share = deep * single(p.px_per_mm)
    share += single(0.5)
    np.clip(share, 0, 1, out=share)

    lx, ly, lz = light.toward
    mx, my = light.mirror
    lambert = sx * single(-lx / lz)
    lambert -= sy * single(ly / lz)
    lambert += 1
    np.maximum(lambert, 0, out=lambert)
    flat = sx * sx
    flat += sy * sy
    flat += 1
    np.sqrt(flat, out=flat)
    lambert /= flat
    dx, dy = sx - single(mx), sy - single(my)
    dx *= dx
    dy *= dy
    dx += dy  # square of how far each slope is from the one that mirrors the lamp
    gloss = _lobe(dx, face.dull**2 + lost)
    gloss *= single(face.shine * light.strength)
    # what the lamp lights of the room, a face mirrors that is turned but a little toward it
    if face.leaf or face.room:
        np.subtract(sx, single(_LIT_ROOM * mx), out=dx)
        np.subtract(sy, single(_LIT_ROOM * my), out=dy)
        dx *= dx
        dy *= dy
        dx += dy
        facing = _lobe(dx, _SOFT**2 + face.dull**2 / 4 + lost)
        facing *= single(light.strength)
    if face.leaf:
        facing += single(0.08)
        facing *= 1 + tone
        body: tuple[Singles, ...] = (facing,)
    else:
        lambert *= single((1 - ROOM) * light.strength)
        lambert += single(ROOM)
        lambert *= 1 + tone
        if face.depth:
            size = _column(1 / np.maximum(half, 0.5))
            across = size * single(-0.7 * face.depth)
            rim = deep * size
            np.subtract(1, rim, out=rim)
            np.clip(rim, 0, 1, out=rim)
            rim *= rim
            rim *= single(0.5 * face.depth)
            rim += x * (across * single(lx)) + 1
            rim += y * (across * single(ly))
            lambert *= rim
        body = (lambert,)
    if face.film:
        swing = sx * single(3.5) + sy * single(2.5) + tone * single(0.9 / face.mottle)
        swing += _column(hands.phase[rows])
        body = tuple(
            body[0] * (1 + single(face.film) * np.cos(swing + single(k))) for k in _FILM_PHASE
        )
    if face.room:
        facing *= single(face.room)
        gloss += facing
    return Lit(share, body, gloss)


def _lobe(off: Singles, spread: float) -> Singles:
    """Return the gloss of slopes whose squares off the mirror are given: 1 / (1 + q / a²)²."""
    out = off * np.float32(1 / spread)
    out += 1
    out *= out
    return np.asarray(np.reciprocal(out, out=out))
