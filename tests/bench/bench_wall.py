"""A large wall from nothing to paper: laid, matched, counted, kept, opened again and printed.

python tests/bench/bench_wall.py [PIECES ...]: 40 fields on a square wall, a hundred pieces to the
square decimetre, so that a million are 10 x 10 m; 50,000 and 200,000 where no size is given. Each
size is done by a process of its own. Memory is what the process and its workers hold at once, pages
that they share counted once; the exponent is that of the growth from the size before.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/bench")]

import numpy as np
from bench_match import soft_sketch
from PIL import Image
from shapely import Polygon

from app.painting import write_cartoon_pdf
from core import archive
from core.commission import Commission, Sketch, add_flow_line, field_of
from core.figures import counts
from core.geometry import outline_of
from core.plan import Planner, with_colours
from core.stock import starter_stock

SIZES = (50_000, 200_000)
TESSERA, JOINT = 8.7, 1.3
PITCH = TESSERA + JOINT
ACROSS, DOWN = 8, 5
STEPS = ("laid", "matched", "counted", "kept", "opened", "printed")
EVERY_S = 0.05  # memory is looked at

Run = dict[str, Any]


def wall(pieces: int) -> tuple[Commission, dict[str, bytes]]:
    """Return a wall of 40 fields with wavy borders, no two alike, and the sketch it is matched to.

    Every third field follows its border; a wave in each row leads the courses.
    """
    side = float(np.sqrt(pieces) * PITCH)
    t = np.linspace(0, 1, 25)

    def upright(column: int) -> np.ndarray:
        """Return a border's way from the top of the wall to its foot."""
        wave = 0.12 * side / ACROSS * np.sin(2 * np.pi * DOWN * t + column)
        y = np.linspace(0, 1, DOWN * (len(t) - 1) + 1)
        wave = np.interp(y * DOWN % 1, t, wave) if 0 < column < ACROSS else 0 * y
        return np.c_[side * column / ACROSS + wave, side * y]

    lines = [upright(c) for c in range(ACROSS + 1)]
    fields = []
    for k in range(ACROSS * DOWN):
        row, column = divmod(k, ACROSS)
        some = slice(row * (len(t) - 1), (row + 1) * (len(t) - 1) + 1)
        outline = outline_of(Polygon(np.r_[lines[column][some], lines[column + 1][some][::-1]]))
        choices = {"follow_border": k % 3 == 0, "tessera_mm": TESSERA, "joint_mm": JOINT}
        fields.append(field_of(f"f{k + 1}", f"Field {k + 1}", outline, **choices))
    picture = io.BytesIO()
    pixels = soft_sketch()
    pixels = pixels[:, : len(pixels)]
    Image.fromarray(pixels).save(picture, "PNG")
    data = picture.getvalue()
    key = hashlib.sha256(data).hexdigest() + ".png"
    sketch = Sketch(key, *pixels.shape[1::-1], mm_per_px=side / len(pixels))
    materials = starter_stock()[:60]
    doc = Commission("Wall", side, side, sketch=sketch, fields=tuple(fields), materials=materials)
    x = np.linspace(0, side, 60)
    for row in range(DOWN):
        y = side / DOWN * (row + 0.5 + 0.15 * np.sin(9 * x / side + row))
        doc, _ = add_flow_line(doc, np.c_[x, y].tolist())
    return doc, {key: data}


class Peak:
    """The most memory that a process and its children hold at once, MB, looked at by a thread."""

    def __init__(self) -> None:
        self._done = threading.Event()
        self._most = 0.0
        self._watch = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> Peak:
        self._watch.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self._done.set()
        self._watch.join()

    def since(self) -> float:
        """Return the most since it was last asked."""
        most, self._most = max(self._most, _held_mb()), 0.0
        return most

    def _look(self) -> None:
        while not self._done.wait(EVERY_S):
            self._most = max(self._most, _held_mb())


def _held_mb() -> float:
    """Return what this process and its children hold, MB; nan where the system does not tell."""
    tasks = Path("/proc/self/task")
    if not tasks.exists():
        return float("nan")
    pids = [os.getpid()]
    for task in tasks.iterdir():
        try:
            pids += [int(p) for p in (task / "children").read_text().split()]
        except OSError:  # the thread has ended
            continue
    return sum(map(_share_mb, pids))


def _share_mb(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:  # it has ended
        return 0.0
    return next((int(x.split()[1]) for x in lines if x.startswith("Pss:")), 0) / 1024


def done(pieces: int, paper: str) -> Run:
    """Do all steps in this process; return the pieces, and seconds and MB of each step."""
    doc, images = wall(pieces)
    run: Run = {"seconds": {}, "mb": {}}

    with tempfile.TemporaryDirectory() as folder, Peak() as peak:
        begun = time.perf_counter()

        def ended(step: str) -> None:
            nonlocal begun
            run["seconds"][step] = time.perf_counter() - begun
            run["mb"][step] = peak.since()
            words = f"{step} in {run['seconds'][step]:.1f} s, {run['mb'][step]:.0f} MB"
            print(words, file=sys.stderr, flush=True)  # a run may be given up midway
            begun = time.perf_counter()

        laid_all = _once(lambda: ended("laid"))
        planner = Planner()
        layout = planner.layout(doc, images, lambda share, what: laid_all(share > 0.9499))
        ended("matched")
        counts(doc, layout)
        ended("counted")
        path = Path(folder) / "wall.emblema"
        archive.save(path, doc, images, with_colours(doc, layout))
        ended("kept")
        run["pieces"], run["file_mb"] = len(layout), path.stat().st_size / 1e6
        planner.close()
        del layout, planner
        work = archive.open_work(path)
        planner = Planner()
        layout = planner.layout(work.doc, work.images, kept=work.kept)
        if len(layout) != run["pieces"]:
            raise SystemExit("what was opened is not what was kept")
        planner.close()
        ended("opened")
        write_cartoon_pdf(Path(folder) / "cartoon.pdf", work.doc, layout, paper)
        ended("printed")
        run["pdf_mb"] = (Path(folder) / "cartoon.pdf").stat().st_size / 1e6
    return run


def _once(do: Callable[[], None]) -> Callable[[bool], None]:
    """Return what does something the first time that it is told it is time."""
    left = [do]

    def told(now: bool) -> None:
        if now and left:
            left.pop()()

    return told


def exponent(a: Run, b: Run, step: str) -> float:
    """Return by which power of the pieces a step's time grew from one run to another."""
    grown = b["seconds"][step] / max(a["seconds"][step], 1e-9)
    return float(np.log(grown) / np.log(b["pieces"] / a["pieces"]))


def main() -> None:
    p = argparse.ArgumentParser(description=__doc__)
    p.add_argument("sizes", nargs="*", type=int, default=list(SIZES))
    p.add_argument("--paper", default="A1")
    p.add_argument("--one", type=int, help=argparse.SUPPRESS)
    a = p.parse_args()
    if a.one:
        print(json.dumps(done(a.one, a.paper)))
        return
    before: Run | None = None
    for size in a.sizes:
        command = [sys.executable, __file__, "--one", str(size), "--paper", a.paper]
        run = json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout)
        print(f"{run['pieces']:,} pieces; file {run['file_mb']:.1f} MB, PDF {run['pdf_mb']:.1f} MB")
        print(f"  {'':8}{'seconds':>9}{'MB':>8}{'exponent':>10}")
        for step in STEPS:
            grown = f"{exponent(before, run, step):10.2f}" if before else ""
            print(f"  {step:8}{run['seconds'][step]:9.2f}{run['mb'][step]:8.0f}{grown}")
        peak, whole = max(run["mb"].values()), sum(run["seconds"].values())
        print(f"  {'all':8}{whole:9.2f}{peak:8.0f}", flush=True)
        before = run


if __name__ == "__main__":
    main()
