"""Kills a process at random moments while it saves a commission over another.

python tests/bench/kill_while_saving.py [KILLS]: after each kill the file must open and be, to the
last byte, the one that stood or the one that was saved. Prints how often it was which, how often a
part was left beside it, and whether all parts are swept once they are old (Linux and macOS).
"""

from __future__ import annotations

import hashlib
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

import numpy as np

from core import archive
from core.commission import Commission, Sketch
from core.files import OLD_S, PART
from core.resources import asset

PICTURE = 12_000_000  # bytes of a scan


def works() -> list[tuple[Commission, dict[str, bytes]]]:
    """Return two commissions of a large wall, with different scans."""
    demo, _ = archive.load(asset("demo/heron.emblema"))
    both = []
    for k in range(2):
        rng = np.random.default_rng(k)
        data = rng.bytes(PICTURE + k)
        key = hashlib.sha256(data).hexdigest() + ".png"
        t = np.linspace(0, 2 * np.pi, 200)
        ring = [tuple((float(x), float(y)) for x, y in np.c_[np.cos(t), np.sin(t)] * 90.0)]
        fields = tuple(
            replace(demo.fields[0], id=f"f{n}", name=f"Field {n} of {k}", outline=(tuple(ring),))
            for n in range(150)
        )
        doc = replace(demo, fields=fields, edits=(), sketch=Sketch(key, 4000, 3000, 0.3))
        both.append((doc, {key: data}))
    return both


def save_and_be_killed(
    path: Path, work: tuple[Commission, dict[str, bytes]], after: float, begun: bool
) -> bool:
    """Save in another process, killed so many seconds after its start, or after it has begun to
    write; return whether it was."""
    before = parts_beside(path)
    child = os.fork()
    if child == 0:
        code = 1
        try:
            archive.save(path, *work)
            code = 0
        finally:
            os._exit(code)
    while begun and parts_beside(path) == before:
        if os.waitid(os.P_PID, child, os.WEXITED | os.WNOHANG | os.WNOWAIT):
            break
    time.sleep(after)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return True
    assert os.WEXITSTATUS(status) == 0, "it could not be saved"
    return False


def parts_beside(path: Path) -> set[str]:
    """Return the files beside it that are not yet whole."""
    return {n for n in os.listdir(path.parent) if n.startswith(PART)}


def main(kills: int, seed: int = 1) -> None:
    rng = random.Random(seed)
    both = works()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "wall.emblema")
        whole = []
        for work in both:
            since = time.perf_counter()
            archive.save(path, *work)
            took = time.perf_counter() - since
            whole.append(path.read_bytes())
        stands, killed = 1, 0
        old = new = done = writing = 0
        parts: set[str] = set()
        while killed < kills:
            begun = rng.random() < 0.6
            after = rng.uniform(0, (0.06 if begun else 1.5) * took)
            if not save_and_be_killed(path, both[1 - stands], after, begun):
                done += 1
            else:
                killed += 1
                left = parts_beside(path)
                writing += len(left - parts)
                parts = left
                if path.read_bytes() == whole[stands]:
                    old += 1
                    continue
                new += 1
            stands = 1 - stands
            assert path.read_bytes() == whole[stands], "neither the old nor the new one"
            assert archive.load(path) == both[stands], "it opens as another"
        print(f"{len(whole[0]):,} bytes, saved in {took:.2f} s")
        print(f"{killed} killed: {old} old, {new} new, 0 broken; {done} were done before")
        print(f"{writing} killed while writing, {len(parts)} parts left")
        for part in parts:
            os.utime(Path(folder, part), (time.time() - 2 * OLD_S,) * 2)
        code = "import sys; from core.files import write_text; write_text(sys.argv[1], '')"
        other = [sys.executable, "-c", code, str(path.with_name("letter"))]
        subprocess.run(other, cwd=ROOT, check=True)
        print(f"{len(parts_beside(path))} parts left when swept")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
