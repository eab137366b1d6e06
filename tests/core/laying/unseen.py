"""Fields that nobody chose: cartoon-like shapes of random size, some 100 to 2,000 pieces.

Sixteen kinds take turns, each with tesserae of 6 to 12 mm and joints of 8 to 18 % of them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely
from awkward import arc, disc, leaf_outline, ribbon_outline, setting, star_outline, wave
from shapely import Polygon
from shapely.affinity import rotate, translate

from core.laying import Setting

Lines = list[list[tuple[float, float]]]
Drawn = tuple[shapely.Geometry, bool, Lines]  # the outline, whether it is followed, flow lines
Kind = Callable[[np.random.Generator, float], Drawn]  # from random numbers and the pitch


def leaf(r: np.random.Generator, p: float) -> Drawn:
    long = r.uniform(25, 60) * p
    up, down = r.uniform(0.1, 0.3, 2) * long
    return leaf_outline(long, up, down, r.uniform(0.8, 1.5)), True, []


def veined_leaf(r: np.random.Generator, p: float) -> Drawn:
    outline, _, _ = leaf(r, p)
    long = outline.bounds[2]
    vein = [(0.0, 0.0), (long / 2, r.uniform(-0.03, 0.03) * long), (long, 0.0)]
    return outline, bool(r.integers(2)), [vein]


def star(r: np.random.Generator, p: float) -> Drawn:
    outer = r.uniform(12, 22) * p
    tips, inner = int(r.integers(4, 9)), outer * r.uniform(0.4, 0.7)
    return star_outline(tips, outer, inner, r.uniform(0, 1)), True, []


def ribbon(r: np.random.Generator, p: float) -> Drawn:
    long = r.uniform(40, 90) * p
    line = wave(long, long * r.uniform(0.05, 0.2), r.uniform(0.5, 1.5))
    return ribbon_outline(line, r.uniform(2, 6) * p), True, []


def ring(r: np.random.Generator, p: float) -> Drawn:
    outer = r.uniform(14, 25) * p
    return disc(outer) - disc(outer * r.uniform(0.4, 0.85)), True, []


def uneven_ring(r: np.random.Generator, p: float) -> Drawn:
    outer = r.uniform(14, 25) * p
    return disc(outer) - disc(outer * 0.45, outer * r.uniform(0, 0.4)), True, []


def fan(r: np.random.Generator, p: float) -> Drawn:
    outer, start = r.uniform(18, 30) * p, r.uniform(0, 40)
    inner, end = outer * r.uniform(0.2, 0.5), start + r.uniform(60, 150)
    outline = Polygon(arc(outer, start, end) + arc(inner, end, start))
    if r.integers(2):
        return outline, False, [arc((outer + inner) / 2, start, end)]
    rays = np.radians(np.linspace(start + 8, end - 8, 5))
    ways = [(float(np.cos(a)), float(np.sin(a))) for a in rays]
    return outline, False, [[(inner * c, inner * s), (outer * c, outer * s)] for c, s in ways]


def wall(r: np.random.Generator, p: float) -> Drawn:
    w, h = r.uniform(30, 60) * p, r.uniform(20, 40) * p
    corner = shapely.box(w * r.uniform(0.5, 0.8), h * r.uniform(0.5, 0.7), w + 1, h + 1)
    outline = shapely.box(0, 0, w, h) - corner
    for _ in range(r.integers(1, 3)):  # sockets
        x, y = r.uniform(0.08, 0.4, 2) * (w, h)
        outline -= shapely.box(x, y, *((x, y) + r.uniform(6, 9, 2) * p))
    lines = [[(0.0, h * 0.1), (w, h * 0.1)]] if r.integers(2) else []
    return outline, bool(r.integers(2)), lines


def letter(r: np.random.Generator, p: float) -> Drawn:
    w, h = r.uniform(4, 7) * p, r.uniform(20, 30) * p
    which = r.integers(3)
    if which == 0:
        arms = shapely.box(0, 0, h * 0.6, w) | shapely.box(0, h / 2, h * 0.5, h / 2 + w)
        return shapely.box(0, 0, w, h) | arms, True, []
    if which == 1:
        return ribbon_outline([(0, 0), (h * 0.35, h), (h * 0.7, 0)], w), True, []
    bowl = disc(h * 0.3, w * 0.8, h * 0.7) - disc(h * 0.3 - w, w * 0.8, h * 0.7)
    return shapely.box(0, 0, w, h) | bowl, True, []


def feather(r: np.random.Generator, p: float) -> Drawn:
    long = r.uniform(30, 60) * p
    x = np.linspace(0, long, 80)
    half = 0.02 * long + 0.12 * long * np.sin(np.pi * x / long / 1.04) ** 0.7
    notched = half * (1 - 0.3 * (np.arange(80) % 9 == 8))
    ring = np.vstack([np.stack([x, half], 1), np.stack([x, -notched], 1)[::-1]])
    return Polygon(ring), False, [[(0.0, 0.0), (long, 0.0)]]


def pebble(r: np.random.Generator, p: float) -> Drawn:
    a = np.linspace(0, 2 * np.pi, 160, endpoint=False)
    size = r.uniform(14, 24) * p
    bumps = sum(h * np.sin(n * a + r.uniform(0, 6)) for n, h in ((2, 0.18), (3, 0.1), (5, 0.04)))
    far = size * (1 + bumps)
    outline = Polygon(np.stack([far * np.cos(a), far * np.sin(a)], 1)).buffer(0)
    if r.integers(2):
        return outline, True, []
    y = r.uniform(-0.5, 0.5, 3) * size
    line = list(zip((-1.2 * size, 0.0, 1.2 * size), y.tolist(), strict=True))
    return outline, False, [line]


def holed_pebble(r: np.random.Generator, p: float) -> Drawn:
    outline, follow, lines = pebble(r, p)
    size = float(np.sqrt(outline.area / np.pi))
    return outline - disc(size * 0.25, size * 0.2, size * 0.1), follow, lines


def crossed(r: np.random.Generator, p: float) -> Drawn:
    w, h = r.uniform(20, 40) * p, r.uniform(20, 30) * p
    lines = [[(0.0, r.uniform(0, h)), (w, r.uniform(0, h))] for _ in range(2)]
    return shapely.box(0, 0, w, h), bool(r.integers(2)), lines


def waved(r: np.random.Generator, p: float) -> Drawn:
    w, h = r.uniform(30, 50) * p, r.uniform(22, 36) * p
    line = [(x, h / 2 + y) for x, y in wave(w, 0.08 * h, r.uniform(1, 1.4))]
    return shapely.box(0, 0, w, h) - disc(r.uniform(4, 7) * p, w * 0.7, h * 0.4), True, [line]


def apart(r: np.random.Generator, p: float) -> Drawn:
    box = shapely.box(16 * p, -8 * p, r.uniform(30, 44) * p, 8 * p)
    below = translate(leaf_outline(30 * p, 5 * p, 6 * p), 0, 25 * p)
    return shapely.union_all([disc(12 * p), box, below]), True, []


def spiral(r: np.random.Generator, p: float) -> Drawn:
    side = r.uniform(30, 40) * p
    t = np.linspace(0, r.uniform(4, 6) * np.pi, 400)
    far = p * (2 + r.uniform(0.3, 0.6) * 3 * t / np.pi)
    x, y = side / 2 + far * np.cos(t), side / 2 + far * np.sin(t)
    return shapely.box(0, 0, side, side), False, [list(zip(x.tolist(), y.tolist(), strict=True))]


KINDS: tuple[Kind, ...] = (
    *(leaf, veined_leaf, star, ribbon, ring, uneven_ring, fan, wall),
    *(letter, feather, pebble, holed_pebble, crossed, waved, apart, spiral),
)


def unseen(seed: int, k: int) -> Setting:
    """Return the k-th field of a seed; `KINDS` take turns."""
    r = np.random.default_rng((seed, k))
    tessera = r.uniform(6, 12)
    joint = tessera * r.uniform(0.08, 0.18)
    outline, follow, lines = KINDS[k % len(KINDS)](r, tessera + joint)
    if not lines and KINDS[k % len(KINDS)] is not wall:
        outline = rotate(outline, float(r.uniform(0, 360)), origin=(0, 0))
    return setting(outline, tessera, joint, follow, lines)
