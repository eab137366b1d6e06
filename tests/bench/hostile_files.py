"""Spoilt files, and senseless commissions laid and written out: refused in one sentence, or done.

python tests/bench/hostile_files.py [files COUNT] [laid COUNT] [geojson COUNT] [from NUMBER]

Each number gives one case, so a failure can be tried again alone. Cases run in processes of their
own with a limit of memory; one that is silent for too long is ended and told.
"""

from __future__ import annotations

import collections
import contextlib
import faulthandler
import io
import itertools
import multiprocessing
import os
import resource
import sys
import tempfile
import time
import traceback
import warnings
from dataclasses import replace
from multiprocessing.connection import Connection
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core")]
os.environ |= {"QT_QPA_PLATFORM": "offscreen", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}

from hostile import commission, is_told, senseless, spoilt_commission, spoilt_setting_out

from core import archive
from core.errors import EmblemaError

SLOW_S = 10.0  # of a processor's time; the clock on the wall tells nothing on a busy computer
SILENT_S = 30.0  # as much again for the last step, or a step that never ends
MOST_MEMORY = 3_000_000_000
SHARDS = 2


class Bench:
    """What a shard needs to try its cases."""

    def __init__(self, kind: str, folder: Path) -> None:
        from PIL import Image

        from core.export import write_setting_out
        from core.sketch import import_sketch

        self.kind, self.folder = kind, folder
        picture = io.BytesIO()
        Image.linear_gradient("L").resize((60, 40)).convert("RGB").save(picture, "PNG")
        doc, self.images = import_sketch(commission(), picture.getvalue(), "sketch.png")[:2]
        self.sketch = doc.sketch
        archive.save(folder / "good.emblema", doc, self.images)
        self.good = (folder / "good.emblema").read_bytes()
        write_setting_out(folder / "good.geojson", commission())
        self.setting_out = (folder / "good.geojson").read_text(encoding="utf-8")

    def attempt(self, number: int) -> tuple[str, str]:
        """Try one case; return its kind, and what came of it."""
        return getattr(self, f"_{self.kind}")(number)

    def _files(self, number: int) -> tuple[str, str]:
        kind, data = spoilt_commission(number, self.good)
        path = self.folder / "bad.emblema"
        path.write_bytes(data)
        try:
            doc, images = archive.load(path)
        except EmblemaError as e:
            return kind, "refused" if is_told(e, path) else f"FAILED: {e!s:.300}"
        archive.save(self.folder / "again.emblema", doc, images)
        if archive.load(self.folder / "again.emblema")[0] != doc:
            return kind, "FAILED: it does not come back the same"
        return kind, "opened"

    def _geojson(self, number: int) -> tuple[str, str]:
        from app.cli import main

        kind, data = spoilt_setting_out(number, self.setting_out)
        path = self.folder / "bad.geojson"
        path.write_bytes(data)
        told = self.folder / "told"
        with told.open("w") as err, told.open("w") as out:
            sys.stderr, sys.stdout = err, out
            try:
                code = main(["lay", str(path), "--out", str(self.folder / "out")])
            finally:
                sys.stderr, sys.stdout = sys.__stderr__, sys.__stdout__
        words = told.read_text(errors="replace").strip()
        if code == 2:
            good = "bad.geojson" in words and "\n" not in words
            return kind, "refused" if good or "cannot be laid" in words else f"FAILED: {words}"
        return kind, "opened" if code == 0 else f"FAILED: {words}"

    def _laid(self, number: int) -> tuple[str, str]:
        kind, doc = senseless(number)
        if number % 3 == 0:
            doc = replace(doc, sketch=self.sketch)
        path = self.folder / "odd.emblema"
        archive.save(path, doc, self.images)
        try:
            doc, images = archive.load(path)
        except EmblemaError as e:
            return kind, "refused" if is_told(e, path) else f"FAILED: {e!s:.300}"
        try:
            laid = write_everything(doc, images, self.folder)
        except EmblemaError as e:
            return kind, "cannot be laid" if "\n" not in str(e) else f"FAILED: {e!s:.300}"
        return kind, laid


def write_everything(doc, images, folder: Path) -> str:
    """Lay a commission, look again, reckon, and write all that can be written."""
    from app.figurefiles import write_figures, write_orders
    from app.painting import write_cartoon_pdf
    from app.sheetfiles import write_sheets
    from core.export import (
        write_geojson,
        write_png,
        write_setting_out,
        write_svg,
        write_tesserae_csv,
    )
    from core.figures import figures, write_counts_csv
    from core.lookagain.rules import look_again
    from core.plan import Planner
    from core.sheets.made import divided

    planner = Planner()
    times = [time.process_time()]

    def step() -> None:
        times.append(time.process_time())

    try:
        layout = planner.layout(doc, images)
    finally:
        planner.close()
    step()
    look_again(doc, layout)
    step()
    figures(doc, layout)
    for k, write in enumerate((write_tesserae_csv, write_svg, write_png, write_geojson)):
        write(folder / f"out{k}", doc, layout)
        step()
    write_counts_csv(folder / "counts.csv", doc, layout)
    write_figures(folder, doc, layout)
    write_orders(folder, doc, layout)
    write_setting_out(folder / "again.geojson", doc)
    write_cartoon_pdf(folder / "cartoon.pdf", doc, layout, "A4")
    step()
    if len(layout):
        if doc.sheets:
            with contextlib.suppress(EmblemaError):  # none of them holds a piece
                write_sheets(folder, doc, layout)
        with contextlib.suppress(EmblemaError):  # smaller than a piece
            write_sheets(folder, divided(doc, layout), layout)
    step()
    longest = max(b - a for a, b in itertools.pairwise(times))
    if longest > SLOW_S:
        each = " ".join(f"{b - a:.1f}" for a, b in itertools.pairwise(times))
        return f"slow: {each} s for {len(layout)} pieces"
    return "laid" if len(layout) else "laid, no piece"


def shard(kind: str, numbers: list[int], tell: Connection) -> None:
    """Try some cases and tell of each."""
    os.nice(10)
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    warnings.simplefilter("error")
    warnings.filterwarnings("ignore", category=DeprecationWarning)
    warnings.filterwarnings("ignore", "invalid value encountered", RuntimeWarning)
    faulthandler.enable()
    from PySide6.QtGui import QGuiApplication

    app = QGuiApplication([])
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(kind, Path(folder))
        for number in numbers:
            tell.send((number, None, None))
            began = time.process_time()
            try:
                what = bench.attempt(number)
            except BaseException:
                what = ("?", "FAILED: " + traceback.format_exc()[-1500:])
            tell.send((number, *what, time.process_time() - began))
    tell.send(None)
    app.quit()
    os._exit(0)


def used_s(pid: int) -> float:
    """Return how much of the processor a process has had, with its children that have ended."""
    try:
        words = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return sum(map(int, words[11:15])) / os.sysconf("SC_CLK_TCK")


def run(kind: str, count: int, first: int) -> collections.Counter[tuple[str, str]]:
    """Try all cases of a kind, side by side; return what came of them."""
    came: collections.Counter[tuple[str, str]] = collections.Counter()
    todo = [list(range(first + k, first + count, SHARDS)) for k in range(SHARDS)]
    spawn = multiprocessing.get_context("spawn")

    def begin(numbers: list[int]) -> tuple:
        mine, theirs = spawn.Pipe(duplex=False)
        process = spawn.Process(target=shard, args=(kind, numbers, theirs))
        process.start()
        theirs.close()
        return process, mine, 0.0, None

    running = {k: begin(numbers) for k, numbers in enumerate(todo) if numbers}
    while running:
        for k, (process, pipe, heard, number) in list(running.items()):
            over = ""
            try:
                if pipe.poll(0.05):
                    got = pipe.recv()
                    if got is None:
                        process.join()
                        del running[k]
                        continue
                    number = got[0]
                    if got[1] is not None:
                        came[got[1], got[2].split(":")[0]] += 1
                        todo[k].remove(number)
                        if got[2].startswith(("FAILED", "slow")):
                            print(
                                f"{kind} {number} ({got[1]}, {got[3]:.1f} s): {got[2]}", flush=True
                            )
                    running[k] = (process, pipe, used_s(process.pid), number)
                elif number is not None and used_s(process.pid) - heard > SILENT_S:
                    over = "hangs"
            except EOFError:
                over = f"died with {process.exitcode}"
            if over:
                process.kill()
                process.join()
                came["?", f"FAILED, {over.split()[0]}"] += 1
                print(f"{kind} {number}: FAILED, it {over}", flush=True)
                todo[k].remove(number) if number in todo[k] else None
                running.pop(k)
                if todo[k]:
                    running[k] = begin(todo[k])
    return came


def main() -> int:
    given = sys.argv[1:] or ["files", "4000", "laid", "1000", "geojson", "500"]
    asked = dict(zip(given[::2], map(int, given[1::2]), strict=True))
    first, bad = asked.pop("from", 0), 0
    for kind, count in asked.items():
        came = run(kind, count, first)
        outcomes = sorted({o for _, o in came})
        print(f"\n{kind:<22}{'tried':>8}" + "".join(f"{o:>20}" for o in outcomes))
        for what in sorted({w for w, _ in came}):
            row = [came[what, o] for o in outcomes]
            print(f"{what:<22}{sum(row):>8}" + "".join(f"{n:>20}" for n in row))
        total = [sum(n for (_, o), n in came.items() if o == outcome) for outcome in outcomes]
        print(f"{'all':<22}{sum(total):>8}" + "".join(f"{n:>20}" for n in total), flush=True)
        bad += sum(n for (_, o), n in came.items() if o.startswith(("FAILED", "slow")))
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main())
