"""Times long lists and many works in the stock: at one size, and at four times that.

python tests/bench/bench_stock.py
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from core.material import Material
from core.stock import StockStore
from core.stock.onlyread import copy_in_memory

NEW = Material("T", "test glass", "smalti", (50.0, 1.0, 2.0), price=Decimal("12.30"), pieces=100)


def taken(do: Callable[[], object]) -> float:
    begun = time.perf_counter()
    do()
    return time.perf_counter() - begun


def stock(lines: int) -> dict[str, float]:
    many = [replace(NEW, code=f"L-{k}", pieces=k) for k in range(lines)]
    more = [replace(m, pieces=m.pieces + 1) for m in many]
    works = lines // 50
    with tempfile.TemporaryDirectory() as folder, StockStore(Path(folder) / "s.sqlite") as store:
        out = {
            "a list of new materials": taken(lambda: store.take_list(lambda _: many)),
            "the same list again": taken(lambda: store.take_list(lambda _: more)),
        }
        codes = [m.code for m in many[50:80]]
        for k in range(works):
            store.set_aside(f"work {k}", dict.fromkeys(codes, 1))
            store.take_out(f"work {k}")
        out["all materials after many works"] = taken(store.materials)
        out["a copy, where it can only be read"] = taken(
            lambda: copy_in_memory(store.path)[0].close()
        )
    return out


def main() -> None:
    print(f"{'':34}{'1,000 lines':>14}{'4,000':>10}{'ratio':>7}")
    one, four = stock(1000), stock(4000)
    for what, seconds in one.items():
        print(f"{what:34}{seconds:13.3f}s{four[what]:9.3f}s{four[what] / seconds:7.1f}")


if __name__ == "__main__":
    main()
