"""Reads damaged stock lists and measurements: each is read or ends in one sentence.

python tests/bench/hostile_lists.py [COUNT [SEED]]. What is read must be such that it can be
stocked, and be written and read again as it was.
"""

from __future__ import annotations

import collections
import itertools
import sys
import tempfile
import time
import traceback
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core")]

from list_files import damaged_lists, every_list

from core.errors import EmblemaError
from core.material import check_lab, check_material
from core.stock.cgats import is_cgats, read_cgats
from core.stock.lists import read_stock_csv, write_stock_csv

SLOW_S = 5.0  # of a core; longer than this is a hang


def read(path: Path) -> str:
    """Read a file as the program would; return what came of it."""
    if is_cgats(path):
        for s in read_cgats(path, white=100).samples:
            check_lab(s.id, s.lab)
        return "read"
    materials, refused = read_stock_csv(path)
    for m in materials:
        check_material(m)
    again = path.with_name("again.csv")
    write_stock_csv(again, materials)
    if materials and read_stock_csv(again) != (materials, ()):
        return "FAILED: it does not come back the same"
    return "read, lines refused" if refused else "read"


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    came: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "heron.txt"
        files = itertools.islice(damaged_lists(every_list(), seed), count)
        for k, (name, data) in enumerate(files):
            path.write_bytes(data)
            began = time.process_time()
            try:
                what = read(path)
            except EmblemaError as e:
                good = "heron.txt" in str(e) and "\n" not in str(e)
                what = "refused" if good else f"FAILED: {e}"
            except Exception:
                what = "FAILED: " + traceback.format_exc()
            if time.process_time() - began > SLOW_S:
                what = "FAILED: too slow"
            came[name.split()[0]][what.split(":")[0]] += 1
            if what.startswith("FAILED"):
                print(f"number {k}, {name}: {what}")
    for kind, c in sorted(came.items()):
        print(kind, dict(c))
    return int(any("FAILED" in c for c in came.values()))


if __name__ == "__main__":
    sys.exit(main())
