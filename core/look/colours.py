"""Keeps colours true: the mean light of a material's pieces is the material's own.

Roughness, tilt and gloss make some of a piece lighter and some darker. How much light the pieces
of a material send out on the whole is measured under the standard light, and their colour is set
so that the mean over all of them is what was stocked; from piece to piece the light still plays.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import linear_from_lab
from core.look.batches import batches, windows
from core.look.faces import Hands, Lit, lit
from core.look.kinds import Face
from core.look.light import STANDARD
from core.look.shapes import Shapes

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]

MEASURED_PX_PER_MM: Final = 2.0
MEASURED_PIECES: Final = 100  # of one material, at most
MEASURED_PX: Final = 400_000
_NEAR_ENOUGH: Final = 2e-4  # of linear light
_TURNS: Final = 12  # of setting the colour where highlights are too bright for a screen
_TINT: Final = 0.12  # of the spread of light, how far red, green and blue stray from one another
_DIM: Final = 0.30  # of leaf away from the lamp
_BRIGHT: Final = 2.0  # of leaf that faces it
_GLOSS_SHARE: Final = 0.45  # of a colour's light, at most, is mirrored rather than its own


@dataclass(frozen=True, eq=False)
class Colours:
    """What turns the light of each piece (n, 3) into red, green and blue: low + high * body, and
    gloss * gloss.
    """

    low: Singles
    high: Singles
    gloss: Singles

    def seen(self, rows: Ints, parts: Lit) -> tuple[Singles, Singles, Singles]:
        """Return the linear light of patches, red, green and blue, each (k, h, w), 0 to 1."""
        low, high, gloss = (v[rows].T[:, :, None, None] for v in (self.low, self.high, self.gloss))
        out = []
        for c in range(3):
            light = parts.body[min(c, len(parts.body) - 1)] * high[c]
            light += parts.gloss * gloss[c]
            if low[c].any():
                light += low[c]
            np.clip(light, 0, 1, out=light)
            out.append(light)
        return out[0], out[1], out[2]


def colours_of(
    faces: list[Face], face: Ints, shapes: Shapes, hands: Hands, lab: Floats, stock: Ints
) -> Colours:
    """Return the colours of all pieces.

    Parameters
    ----------
    faces : list of Face
        `face` (n,) says which one a piece has.
    lab : ndarray, shape (n, 3)
        What each is laid in.
    stock : ndarray of int, shape (n,)
        Its material, -1 for none.
    """
    own = np.clip(linear_from_lab(lab), 0, 1)
    spread = np.array([f.spread for f in faces] or [0.0])[face][:, None]
    leaf = np.array([f.leaf > 0 for f in faces] or [False])[face][:, None]
    hand = 1 + spread * (hands.light[:, None] + _TINT * hands.tint)
    rich = own / np.maximum(own.max(1, keepdims=True), 1e-9)
    low = np.where(leaf, _DIM * own * rich, 0.0) * hand
    high = np.where(leaf, (_BRIGHT * own - low), own) * hand
    gloss = np.zeros_like(own)
    for m in np.unique(stock).tolist():
        rows = np.flatnonzero(stock == m)
        share, body, mirrored = _measured(faces, face, shapes, hands, rows)
        if not len(share):
            continue
        weight = share / share.sum()
        piece = body[:, 0].astype(np.int64)
        target = own[rows].mean(0)
        # gloss is as strong as the colour bears, and tinted where it would wash it out
        sheen = float(weight @ mirrored)
        strong = min(1.0, _GLOSS_SHARE * target.max() / max(sheen, 1e-9))
        white = min(1.0, _GLOSS_SHARE * target.min() / max(strong * sheen, 1e-9))
        tint = strong * (white + (1 - white) * target / max(target.max(), 1e-9))
        for c in range(3):
            light = low[piece, c] + high[piece, c] * body[:, 1 + c]
            gain, mean = 1.0, float(weight @ light)
            for _ in range(_TURNS):
                now = float(weight @ np.clip(gain * light + tint[c] * mirrored, 0, 1))
                if abs(now - target[c]) < _NEAR_ENOUGH:
                    break
                gain = max(0.0, gain + (target[c] - now) / max(mean, 1e-9))
            low[rows, c] *= gain
            high[rows, c] *= gain
        gloss[rows] = tint
    return Colours(*(v.astype(np.float32) for v in (low, high, gloss)))


def _measured(
    faces: list[Face], face: Ints, shapes: Shapes, hands: Hands, rows: Ints
) -> tuple[Floats, Floats, Floats]:
    """Return pixels of some pieces: how much is covered, (piece, body), and what is mirrored."""
    if len(rows) > MEASURED_PIECES:
        rows = rows[np.linspace(0, len(rows) - 1, MEASURED_PIECES).astype(np.int64)]
    area = np.prod(shapes.box_mm[rows, 2:] - shapes.box_mm[rows, :2], axis=1).sum()
    per = min(MEASURED_PX_PER_MM, float(np.sqrt(MEASURED_PX / max(area, 1e-9))))
    w = windows(shapes, rows, per, (0.0, 0.0), spare_px=1)
    shares, bodies, mirrored = [], [], []
    for _, p in batches(shapes, face, w):
        parts = lit(faces[face[p.rows[0]]], shapes, hands, p, STANDARD)
        on = parts.share > 0.02
        three = [parts.body[min(c, len(parts.body) - 1)][on] for c in range(3)]
        piece = np.repeat(p.rows, on.sum((1, 2)))
        shares.append(parts.share[on])
        bodies.append(np.stack([piece, *three], axis=1).astype(np.float64))
        mirrored.append(parts.gloss[on])
    return (
        np.concatenate(shares).astype(np.float64),
        np.concatenate(bodies),
        np.concatenate(mirrored).astype(np.float64),
    )
