"""Opens thousands of damaged pictures: each opens or ends in one sentence that names the file.

python tests/bench/hostile_pictures.py [COUNT [SEED]]. Each batch is a process of its own, so that
one that falls over or hangs is told and the rest goes on.
"""

from __future__ import annotations

import collections
import itertools
import resource
import subprocess
import sys
import time
import traceback
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core")]

from picture_files import damaged, every_kind

from core.errors import EmblemaError
from core.pictures import read_image

BATCH = 250
SLOW_S = 5.0  # of a core; longer than this is a hang
MOST_MB = 1500


def batch(seed: int, count: int) -> None:
    """Open pictures, one line of what came of it for each."""
    for k, (name, data) in enumerate(itertools.islice(damaged(every_kind(), seed), count)):
        print("began", k, name, sep="\t", flush=True)
        began = time.process_time()
        try:
            shape = read_image(data, "heron.pic").shape
            came = "opened" if len(shape) == 3 and shape[2] == 3 else f"FAILED: shape {shape}"
        except EmblemaError as e:
            words = str(e)
            good = "heron.pic" in words and words.count("\n") == 0 and words.endswith(".")
            came = "refused" if good else f"FAILED: {words!r}"
        except BaseException:
            came = "FAILED: " + traceback.format_exc().strip().replace("\n", " | ")
        seconds = time.process_time() - began
        if seconds > SLOW_S:
            came = f"FAILED: took {seconds:.1f} s"
        print("ended", k, name, came, sep="\t", flush=True)
    print("most", resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024, sep="\t", flush=True)


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    came: dict[str, collections.Counter[str]] = collections.defaultdict(collections.Counter)
    faults: list[str] = []
    most = 0
    for first in range(0, count, BATCH):
        here, n = seed + first, min(BATCH, count - first)
        command = [sys.executable, __file__, "--batch", str(here), str(n)]
        try:
            run = subprocess.run(command, capture_output=True, text=True, timeout=2 * SLOW_S * n)
            out, fell = run.stdout, run.returncode != 0
        except subprocess.TimeoutExpired as e:
            out, fell = (e.stdout or b"").decode(), True
        lines = [line.split("\t") for line in out.splitlines()]
        for what, *more in lines:
            if what == "ended":
                k, name, words = more
                came[name.split()[0]][words.split(":")[0]] += 1
                if words.startswith("FAILED"):
                    faults.append(f"seed {here}, number {k}, {name}: {words}")
            elif what == "most":
                most = max(most, int(more[0]))
        if fell:
            what, *more = lines[-1] if lines else ("nothing",)
            came[more[1].split()[0] if more else "?"]["FAILED"] += 1
            faults.append(f"seed {here}: the process fell over after {what} {more}")
    for fault in faults:
        print(fault)
    print(f"{'':<8}{'opened':>8}{'refused':>9}{'FAILED':>8}")
    for kind, c in sorted(came.items()):
        print(f"{kind:<8}{c['opened']:>8}{c['refused']:>9}{c['FAILED']:>8}")
    print(f"the most memory of a process: {most} MB")
    return 1 if faults or most > MOST_MB else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--batch"]:
        batch(int(sys.argv[2]), int(sys.argv[3]))
    else:
        sys.exit(main())
