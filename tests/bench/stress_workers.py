"""Stops and starts layings hundreds of times, killing workers at random meanwhile.

python tests/bench/stress_workers.py [TIMES]: prints how long stops took, how many workers were
killed, and whether any process, pipe or trace of a fault was left behind (Linux only).
"""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import sys
import tempfile
import threading
import time
from contextlib import suppress
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying")]

from test_lay_field import large

from core.errors import Stopped
from core.laying import SideBySide


def main(times: int) -> None:
    rng = random.Random(1)
    hands = SideBySide(2)
    fields = [large(2_000), large(1_500), large(1_200), large(20_000)]
    sizes = [len(p) for _, p in sorted(hands.lay(fields[:3], lambda: False))]
    handles = len(os.listdir("/proc/self/fd"))
    over, killed = threading.Event(), 0

    def kill() -> None:
        nonlocal killed
        while not over.wait(rng.uniform(0.5, 4.0)):
            for child in multiprocessing.active_children()[:1]:
                with suppress(ProcessLookupError, TypeError):
                    os.kill(child.pid, signal.SIGKILL)
                    killed += 1

    killer = threading.Thread(target=kill)
    killer.start()
    stops: list[float] = []
    whole = 0
    for _ in range(times):
        begun, patience, told = time.monotonic(), rng.choice([0.01, 0.1, 0.3, 1.5, 6.0]), 0.0

        def stop(begun: float = begun, patience: float = patience) -> bool:
            nonlocal told
            if time.monotonic() - begun < patience:
                return False
            told = told or time.monotonic()
            return True

        with suppress(Stopped):
            for _ in hands.lay(fields, stop):
                whole += 1
        if told:
            stops.append(time.monotonic() - told)
    over.set()
    killer.join()
    again = [len(p) for _, p in sorted(hands.lay(fields[:3], lambda: False))]
    left = len(os.listdir("/proc/self/fd"))
    hands.close()
    middle = sorted(stops)[len(stops) // 2]
    print(f"{len(stops)} stops: median {middle:.3f} s, longest {max(stops):.3f} s")
    print(f"{killed} workers killed; {whole} fields laid meanwhile")
    print(f"the same again: {again == sizes}")
    print(f"handles {handles} before, {left} after; {multiprocessing.active_children()} left")


if __name__ == "__main__":
    with tempfile.TemporaryFile() as said:  # what workers say too
        own = os.dup(2)
        os.dup2(said.fileno(), 2)
        try:
            main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
        finally:
            os.dup2(own, 2)
        said.seek(0)
        print(f"on stderr: {said.read().decode() or 'nothing'}")
