"""How long the material look takes, what memory, and how true its colours are.

python tests/bench/bench_look.py [PX_PER_MM ...]. The demo is painted whole at each scale (4 where
none is given), and a panel of each material of the starter stock under the standard light.
"""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "core")]

import numpy as np
from look_rig import mean_lab, off_by, on_pieces, panel

from core import archive
from core.colour.convert import in_gamut
from core.look.render import Scene, picture
from core.material import FINISHES, KINDS, Material
from core.plan import Planner
from core.resources import asset
from core.stock.lists import starter_stock

COLOURS = ((13.0, 0.3, -0.8), (33.0, 40.0, 24.0), (55.0, -4.0, -20.0), (93.0, -0.8, 3.0))


def timed(what: str, do):  # type: ignore[no-untyped-def]
    """Say how long something takes: by the clock, and of the processor."""
    clock, cpu = time.perf_counter(), time.process_time()
    out = do()
    took = time.perf_counter() - clock, time.process_time() - cpu
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:42} {took[0]:6.2f} s  {took[1]:6.2f} s cpu  {memory:6.0f} MB at most")
    return out


def demo(scales: list[float]) -> None:
    """Paint the demo."""
    work = archive.open_work(asset("demo/heron.emblema"))
    planner = Planner()
    layout = planner.layout(work.doc, work.images, kept=work.kept)
    planner.close()
    print(f"The demo: {len(layout):,} pieces")
    timed("scene, blocks of noise made", lambda: Scene(work.doc, layout))
    scene = timed("scene again", lambda: Scene(work.doc, layout))
    for px_per_mm in scales:
        for again in ("", ", again"):
            pixels = timed(f"{px_per_mm:g} px a mm{again}", lambda s=px_per_mm: scene.picture(s))
        print(f"{'':42} {pixels.shape[1]:,} x {pixels.shape[0]:,} pixels")
    box = (0.0, 0.0, 300.0, 200.0)
    timed("60,000 mm2 at 10 px a mm", lambda: scene.picture(10.0, box))


def truth() -> None:
    """Print CIEDE2000 of the mean of each kind and finish from its colour."""
    print("\nCIEDE2000 of the mean over 60 pieces at 4 px a mm, the worst of four colours")
    print(f"{'':12}" + "".join(f"{f:>13}" for f in FINISHES))
    on = on_pieces(4.0, 10, 6, 0.25)
    for kind in KINDS:
        row = []
        for finish in FINISHES:
            off = []
            for lab in COLOURS:
                doc, layout = panel(Material("M", "", kind, lab, finish=finish))
                off.append(off_by(mean_lab(picture(doc, layout, 4.0)[on]), lab))
            row.append(max(off))
        print(f"{kind:12}" + "".join(f"{v:13.2f}" for v in row))
    stock = [m for m in starter_stock() if in_gamut(m.lab)]
    doc, layout = panel(*stock, across=6, down=6)
    pixels, on = picture(doc, layout, 4.0), on_pieces(4.0, 6, 6, 0.25)
    wide = on.shape[1]
    off = [
        off_by(mean_lab(pixels[:, k * wide : (k + 1) * wide][on]), m.lab)
        for k, m in enumerate(stock)
    ]
    print(f"starter stock, {len(stock)} colours: mean {np.mean(off):.2f}, worst {max(off):.2f}")


if __name__ == "__main__":
    demo([float(v) for v in sys.argv[1:]] or [4.0])
    truth()
