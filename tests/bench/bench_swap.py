"""Times a swap in the window, until trays and figures show it and until the bench is drawn anew.

python tests/bench/bench_swap.py [PIECES]: the demo laid about so fine (20,000 where left out),
once with each of two leaves open.
"""

from __future__ import annotations

import os
import sys
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "packaging")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QEventLoop
from PySide6.QtWidgets import QApplication
from shots import settle

from app import theme
from app.window import Window
from core.commission import add_swap
from core.resources import asset

SWAPS = (("SM-78", "SM-68"), ("VG-64", "SM-65"), ("SM-46", "SM-45"), ("SM-67", "SM-65"))
WAIT = QEventLoop.ProcessEventsFlag.WaitForMoreEvents


def main() -> None:
    app = QApplication([])
    theme.dress(app)
    window = Window()
    window.resize(1440, 900)
    window.show()
    window.open(asset("demo/heron.emblema"))
    settle(app, window)
    s = window.session
    assert s.layout is not None
    by = (len(s.layout) / int(sys.argv[1] if len(sys.argv) > 1 else 20_000)) ** 0.5
    fine = tuple(
        replace(f, tessera_mm=max(2.0, f.tessera_mm * by), joint_mm=f.joint_mm * by)
        for f in s.doc.fields
    )
    s.apply("Finer", replace(s.doc, fields=fine))
    settle(app, window, 120)
    laid = s.doc
    print(f"{len(s.layout):,} pieces")
    for leaf in ("Figures", "Colour"):
        s.apply("As before", laid)
        window.card.turn_to(leaf)
        settle(app, window)
        for old, new in SWAPS:
            begun = time.perf_counter()
            s.apply("Swap", add_swap(s.doc, old, new))
            while not s.layout_is_current:
                app.processEvents(WAIT, 5)
            shown = time.perf_counter() - begun
            while not window.bench.settled():
                app.processEvents(WAIT, 5)
            drawn = time.perf_counter() - begun
            print(f"{leaf:8} figures {1000 * shown:5.0f} ms   drawn anew {1000 * drawn:5.0f} ms")
    window.end()


if __name__ == "__main__":
    main()
