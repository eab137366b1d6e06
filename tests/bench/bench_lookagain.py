"""Times looking again and mending: at one size, and at four times that.

python tests/bench/bench_lookagain.py
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core")]

from test_lookagain import wall

from core.lookagain import look_again, mend_all


def main() -> None:
    for rows in (32, 128):
        doc, layout = wall({rows * 80 + 80: None, 500: None}, columns=160, rows=rows)
        begun = time.perf_counter()
        found = look_again(doc, layout)
        looked = time.perf_counter()
        _, count = mend_all(doc, layout, found)
        mended = time.perf_counter()
        print(
            f"{len(layout):7,} pieces: looked at in {looked - begun:.2f} s, "
            f"{count} mends in {mended - looked:.2f} s"
        )


if __name__ == "__main__":
    main()
