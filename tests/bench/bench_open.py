"""How long kept work takes to be on the screen, beside laying it; python tests/bench/bench_open.py

The demo, and the same made larger until it has some 50,000 pieces, saved with what stands and
opened in a window. Prints seconds, bytes a piece and the parts of the time.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent.parent))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from app.window import Window
from core import archive
from core.archive import Work
from core.plan import Planner, with_colours
from core.resources import asset
from core.rounds import resize_work


def saved(folder: Path, wide: float) -> tuple[Path, int, float]:
    """Lay the demo as wide as that, save it; return where, its pieces and the seconds it took."""
    work = archive.open_work(asset("demo/heron.emblema"))
    doc = resize_work(work.doc, wide * work.doc.width_mm) if wide != 1 else work.doc
    planner = Planner()
    begun = time.perf_counter()
    layout = planner.layout(doc, work.images, kept={})
    took = time.perf_counter() - begun
    planner.close()
    path = folder / f"{wide}.emblema"
    begun = time.perf_counter()
    archive.save(path, doc, work.images, with_colours(doc, layout))
    wrote = time.perf_counter() - begun
    kept = archive.open_work(path).kept
    size = sum(len(k.packed) + len(k.colours.packed if k.colours else b"") for k in kept.values())
    print(
        f"{len(layout):7,} pieces  laid {took:6.1f} s  saved {wrote:.2f} s  "
        f"{size / len(layout):.1f} bytes a piece"
    )
    return path, len(layout), took


def opened(app: QApplication, path: Path) -> None:
    """Open it in a window and say when it was there and when all was painted."""
    window = Window()
    window.resize(1440, 900)
    window.show()
    app.processEvents()
    begun = time.perf_counter()
    work: Work = archive.open_work(path)
    read = time.perf_counter() - begun
    begun = time.perf_counter()
    window.session.begin(work, path)
    while not window.session.layout_is_current:
        app.processEvents()
    laid = time.perf_counter() - begun
    while not window.bench.settled():
        app.processEvents()
    print(
        f"          read {read:.2f} s  on the bench {laid:.2f} s  painted "
        f"{time.perf_counter() - begun:.2f} s"
    )
    window.end()


def main() -> None:
    app = QApplication([])
    with tempfile.TemporaryDirectory() as folder:
        for wide in (1.0, 2.85):
            path, _, _ = saved(Path(folder), wide)
            for _ in range(2):
                opened(app, path)


if __name__ == "__main__":
    main()
