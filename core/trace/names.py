"""What a person would call an area: its colour, and where it lies if another has that colour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HUES = (
    (20.0, "pink"),
    (48.0, "red"),
    (72.0, "orange"),
    (104.0, "yellow"),
    (160.0, "green"),
    (215.0, "blue-green"),
    (285.0, "blue"),
    (325.0, "violet"),
    (360.0, "pink"),
)


def colour_name(lab: Array) -> str:
    """Return a plain name of a colour, such as "pale blue"."""
    lightness, chroma = float(lab[0]), float(np.hypot(lab[1], lab[2]))
    if chroma < 7:
        return next(
            w
            for most, w in (
                (18, "black"),
                (40, "dark grey"),
                (65, "grey"),
                (88, "pale grey"),
                (200, "white"),
            )
            if lightness < most
        )
    turn = float(np.degrees(np.arctan2(lab[2], lab[1]))) % 360
    hue = next(word for most, word in HUES if turn <= most)
    if hue in ("orange", "yellow") and (lightness < 55 or chroma < 30):
        hue = "brown" if lightness < 60 else "sand"
    depth = "dark " if lightness < 35 else "pale " if lightness > 75 else ""
    return depth + hue


def names_of(
    labs: Sequence[Array], middles: Sequence[tuple[float, float]], wide: float, high: float
) -> list[str]:
    """Return a name for each area, no two alike, the colour first.

    Parameters
    ----------
    middles : sequence of (x, y)
        A place of each area, in a work so wide and high, y downwards.
    """
    words = [colour_name(lab) for lab in labs]
    words = [w[0].upper() + w[1:] for w in words]
    alone = Counter(words)
    placed = [
        w if alone[w] == 1 else f"{w}, {_where(x / wide, y / high)}"
        for w, (x, y) in zip(words, middles, strict=True)
    ]
    seen: Counter[str] = Counter()
    out = []
    for name in placed:
        seen[name] += 1
        out.append(name if seen[name] == 1 else f"{name} {seen[name]}")
    return out


def _where(x: float, y: float) -> str:
    """Return in words where a place lies, 0 to 1 across and down."""
    up = ("upper", "", "lower")[min(max(int(3 * y), 0), 2)]
    side = ("left", "", "right")[min(max(int(3 * x), 0), 2)]
    if up and side:
        return f"{up} {side}"
    return side or {"upper": "above", "lower": "below"}.get(up, "in the middle")
