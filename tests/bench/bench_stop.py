"""Measures how long a laying goes on without asking whether to stop.

python tests/bench/bench_stop.py: lays fields of every laying, smooth, bent, full of holes and
drawn with many points, each as large as is still laid without a worker, and prints the longest
time between two questions, and where it was. (Larger fields are laid by a worker, which is ended.)
"""

from __future__ import annotations

import sys
import time
import traceback
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying")]

import numpy as np
import shapely
from awkward import CATALOGUE, disc, wave
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import translate

from core.laying import Setting, lay_field
from core.laying.sidebyside import LEAST_WORK, work

AS_LARGE = 0.98  # of the field that is laid by a worker
CUT = (
    "regulatum",
    "tessellatum",
    "vermiculatum",
    "musivum",
    "classicum",
    "palladianum",
    "circumactum",
)


def tiled(name: str) -> Setting:
    """Return a shape of the catalogue over and over, as a field of many parts."""
    one = CATALOGUE[name]()
    x0, y0, x1, y1 = one.outline.bounds
    n = max(1, int(AS_LARGE * LEAST_WORK / work(one)))
    wide = int(np.ceil(np.sqrt(n)))
    by = [((k % wide) * (x1 - x0 + 20), (k // wide) * (y1 - y0 + 20)) for k in range(n)]
    return one.with_choices(
        outline=MultiPolygon([translate(g, *d) for d in by for g in one.outline.geoms]),
        flow=tuple(translate(g, *d) for d in by for g in one.flow),
        hug=tuple(translate(g, *d) for d in by for g in one.hug),
    )


def fields() -> Iterator[tuple[str, Setting]]:
    side = float(np.sqrt(0.88 * AS_LARGE * LEAST_WORK) * 11.0)  # the rest is work at the border
    square = shapely.box(0, 0, side, side)
    line = translate(LineString(wave(side, side / 8, 2)), 0, side / 2)
    plain = setting_of(MultiPolygon([square]), "tessellatum", 10.0, 1.0, False, (line,))
    for laying in CUT:
        yield laying, plain.with_choices(opus=laying)
    rng = np.random.default_rng(7)
    around = [disc(40, x, y) for x, y in rng.uniform(80, side - 80, (5, 2))]
    hug = tuple(LineString(g.exterior) for g in around)
    ground = shapely.difference(square, shapely.union_all(around))
    holed = plain.with_choices(outline=MultiPolygon([ground]), hug=hug, flow=())
    for laying in ("vermiculatum", "classicum", "musivum"):
        yield f"{laying} about figures", holed.with_choices(opus=laying)
    for pieces in ("rounds", "ovals", "tapers", "scales"):
        yield pieces, plain.with_choices(pieces=pieces)
    for name in CATALOGUE:
        yield name, tiled(name)
    t = np.linspace(0, 2 * np.pi, 20_001)[:-1]
    r = side / 2 * (1 + 0.0005 * rng.normal(size=len(t)))
    scanned = MultiPolygon([Polygon(np.c_[r * np.cos(t), r * np.sin(t)])])
    yield "20,000 points", plain.with_choices(outline=scanned, follow_border=True, flow=())
    lines = tuple(LineString(rng.uniform(0, side, (2, 2))) for _ in range(10))
    yield "lines at random", replace(plain, flow=lines)


def measured(setting: Setting) -> tuple[float, str, float, int]:
    """Return the longest gap in seconds, what asked at its end, the whole time, and pieces."""
    begun = last = time.perf_counter()
    longest, where = 0.0, ""

    def stop() -> bool:
        nonlocal last, longest, where
        now = time.perf_counter()
        if now - last > longest:
            longest = now - last
            asked = [f for f in traceback.extract_stack() if "/core/" in f.filename][-3:]
            where = " > ".join(f"{f.name}:{f.lineno}" for f in asked)
        last = time.perf_counter()
        return False

    n = len(lay_field(setting, stop))
    now = time.perf_counter()
    if now - last > longest:
        longest, where = now - last, "the end"
    return longest, where, now - begun, n


def main() -> None:
    wanted = sys.argv[1:]
    worst = 0.0
    for name, setting in fields():
        if wanted and name not in wanted:
            continue
        longest, where, whole, n = measured(setting)
        worst = max(worst, longest)
        print(f"{name:28} {longest:5.2f} s of {whole:6.2f} s {n:6} pieces  {where}", flush=True)
    print(f"longest {worst:.2f} s")


if __name__ == "__main__":
    main()
