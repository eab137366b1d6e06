"""Lays fields that nobody chose: cartoon-like shapes of random size, measured by every bound.

python tests/bench/bench_unseen.py [COUNT] [SEED]: prints each field that misses a bound, then how
many did, the mean of every measure, and pieces a second of processor time. Sixteen kinds take
turns, each with tesserae of 6 to 12 mm and joints of 8 to 18 % of them, some 100 to 2,000 pieces.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying")]

import numpy as np
from measures import kept, measure
from unseen import KINDS, unseen

from core.laying import lay_field


def found(seed: int, k: int) -> tuple[int, dict[str, float], float]:
    s = unseen(seed, k)
    begun = time.process_time()
    pieces = lay_field(s)
    took = time.process_time() - begun
    return (
        len(pieces),
        measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces, s.flow),
        took,
    )


def main() -> None:
    words = [int(a) for a in sys.argv[1:]]
    count, seed = (*words, *(160, 0)[len(words) :])
    missed: Counter[str] = Counter()
    means: dict[str, list[float]] = {}
    short = pieces = 0
    seconds = 0.0
    with ProcessPoolExecutor() as pool:
        every = pool.map(partial(found, seed), range(count), chunksize=4)
        for k, (n, measures, took) in enumerate(every):
            pieces, seconds = pieces + n, seconds + took
            for name, value in measures.items():
                means.setdefault(name, []).append(value)
            miss = {name: round(v, 4) for name, v in measures.items() if not kept(name, v)}
            missed.update(miss.keys())
            if miss:
                short += 1
                print(f"{k:4} {KINDS[k % len(KINDS)].__name__:12} {n:5} pieces {miss}", flush=True)
    print(f"{short} of {count} fields miss a bound: {dict(missed)}")
    print({name: round(float(np.mean(values)), 4) for name, values in means.items()})
    print(f"{pieces:,} pieces, {pieces / seconds:,.0f} a second")


if __name__ == "__main__":
    main()
