"""The workers: asked, ended, killed, let go; nothing of them stays behind."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from worker_rig import do

from core.errors import EmblemaError, Stopped
from core.workers import TRIES, Workers

ROOT = Path(__file__).resolve().parents[2]
LONG_S = 60.0
posix = pytest.mark.skipif(os.name != "posix", reason="kills as Linux and macOS do")


@pytest.fixture
def workers() -> Iterator[Workers]:
    w = Workers(2, do)
    yield w
    w.close()


def never() -> bool:
    return False


def after(seconds: float):
    begun = time.monotonic()
    return lambda: time.monotonic() - begun > seconds


def pids(workers: Workers) -> list[int]:
    return [w._process.pid for w in workers._all]


def alive(pid: int) -> bool:
    try:
        os.kill(pid, 0)
        return Path(f"/proc/{pid}/stat").read_text().split()[2] != "Z"  # nobody gathers orphans
    except ProcessLookupError:
        return False
    except FileNotFoundError:
        return not Path("/proc").exists()


def open_handles() -> int:
    return len(os.listdir("/proc/self/fd"))


def test_every_task_is_answered_once_and_the_quick_do_not_wait(workers: Workers) -> None:
    tasks = [("sleep", 0.6), ("sleep", 0.01), ("sleep", 0.02), ("large", 3_000_000)]
    answers = list(workers.run(tasks, never))
    assert sorted(k for k, _ in answers) == [0, 1, 2, 3]
    assert dict(answers) == {0: 0.6, 1: 0.01, 2: 0.02, 3: bytes(3_000_000)}
    assert list(workers.run([], never)) == []


def test_workers_are_kept_between_runs(workers: Workers) -> None:
    (first,) = workers.run([("who", None)], never)
    (again,) = workers.run([("who", None)], never)
    assert first == again and len(workers._all) == 1
    list(workers.run([("who", None)] * 6, never))
    assert len(workers._all) == 2


def test_what_cannot_be_done_is_an_answer_and_a_fault_is_raised(workers: Workers) -> None:
    (answer,) = workers.run([("refuse", "It encloses nothing.")], never)
    assert isinstance(answer[1], EmblemaError) and str(answer[1]) == "It encloses nothing."
    with pytest.raises(RuntimeError, match="KeyError: 'no such'"):
        list(workers.run([("fault", "no such"), ("listen", LONG_S)], never))
    assert list(workers.run([("sleep", 0.0)], never)) == [(0, 0.0)]


@pytest.mark.parametrize(("task", "stays"), [("listen", True), ("sleep", False)])
def test_a_worker_that_does_not_stop_by_itself_is_ended(
    workers: Workers, task: str, stays: bool
) -> None:
    (_, pid), *_ = workers.run([("who", None)], never)
    told = [0.0]

    def stop() -> bool:
        told[0] = told[0] or time.monotonic()
        return time.monotonic() - told[0] > 0.3

    with pytest.raises(Stopped):
        list(workers.run([(task, LONG_S)], stop))
    assert time.monotonic() - told[0] < 0.3 + 0.5
    assert alive(pid) is stays
    assert list(workers.run([("sleep", 0.0)], never)) == [(0, 0.0)]


def test_a_stop_that_comes_too_late_does_not_stop_the_next(workers: Workers) -> None:
    for _ in range(20):
        run = workers.run([("sleep", 0.0), ("listen", LONG_S)], never)
        assert next(run) == (0, 0.0)
        run.close()
        assert list(workers.run([("listen", 0.01)], never)) == [(0, 0.01)]


@posix
def test_a_killed_worker_is_noticed_and_its_task_done_again(
    workers: Workers, tmp_path: Path
) -> None:
    tasks = [("die once", str(tmp_path / "mark")), ("sleep", 0.1), ("sleep", 0.2)]
    assert sorted(workers.run(tasks, never)) == [(k, t[1]) for k, t in enumerate(tasks)]
    for pid in pids(workers):  # while they have nothing to do
        os.kill(pid, signal.SIGKILL)
    assert list(workers.run([("sleep", 0.0)], never)) == [(0, 0.0)]


@posix
def test_a_task_that_kills_every_worker_is_given_up_and_the_others_are_done(
    workers: Workers,
) -> None:
    answers = dict(workers.run([("die", None), ("sleep", 0.1)], never))
    assert answers[1] == 0.1
    assert f"{TRIES} times" in str(answers[0])


@pytest.mark.skipif(sys.platform != "linux", reason="counts handles in /proc")
def test_stopping_and_killing_over_and_over_leaves_nothing_behind(
    capfd: pytest.CaptureFixture[str],
) -> None:
    rng = random.Random(5)
    workers = Workers(2, do)
    list(workers.run([("who", None)] * 4, never))
    handles = open_handles()
    for _ in range(15):
        if rng.random() < 0.2 and (some := pids(workers)):
            os.kill(rng.choice(some), signal.SIGKILL)
        tasks = [(rng.choice(["listen", "listen", "sleep"]), LONG_S), ("sleep", 0.01)]
        with pytest.raises(Stopped):
            list(workers.run(tasks, after(rng.uniform(0, 0.15))))
    list(workers.run([("who", None)] * 4, never))
    mine = pids(workers)
    assert len(mine) <= 2 and open_handles() <= handles
    workers.close()
    assert not any(alive(p) for p in mine)
    assert not multiprocessing.active_children()
    with pytest.raises(ChildProcessError):  # no zombie of theirs either
        os.waitpid(mine[0], os.WNOHANG)
    said = capfd.readouterr()
    assert said.err == ""


def test_letting_go_ends_them() -> None:
    workers = Workers(1, do)
    (answer,) = workers.run([("who", None)], never)
    del workers
    assert not alive(answer[1])


def test_closing_from_another_thread_stops_a_run(workers: Workers) -> None:
    threading.Timer(0.5, workers.close).start()
    begun = time.monotonic()
    with pytest.raises(Stopped):
        list(workers.run([("listen", LONG_S)], never))
    assert time.monotonic() - begun < LONG_S / 2


ENDS = """
import os, sys, threading, time
from contextlib import suppress
from worker_rig import do
from core.errors import Stopped
from core.workers import Workers
if __name__ == "__main__":
    w = Workers(2, do)
    print(*[pid for _, pid in w.run([("who", None)] * 6, lambda: False)], flush=True)
    how = sys.argv[1]
    if how == "killed":
        os.kill(os.getpid(), 9)
    run = w.run([("listen", 60.0), ("sleep", 60.0)], lambda: False)
    def go_on():
        with suppress(Stopped):
            list(run)
    threading.Thread(target=go_on, daemon=True).start()
    time.sleep(0.3)
    if how == "by exception":
        raise SystemExit(3)
"""


@posix
@pytest.mark.parametrize("how", ["by itself", "by exception", "killed"])
def test_none_outlives_its_program(tmp_path: Path, how: str) -> None:
    script = tmp_path / "ends.py"
    script.write_text(ENDS)
    path = os.pathsep.join([str(ROOT), str(Path(__file__).parent)])
    done = subprocess.run(
        [sys.executable, str(script), how],
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert done.stderr == ""
    assert done.returncode == {"by itself": 0, "by exception": 3, "killed": -9}[how]
    until = time.monotonic() + 20
    for pid in map(int, done.stdout.split()):
        while alive(pid) and time.monotonic() < until:
            time.sleep(0.02)
        assert not alive(pid)
