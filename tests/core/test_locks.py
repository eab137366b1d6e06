"""Locks end with their process, however it ends, and never outlive it."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from core.locks import Lock, is_held

ROOT = Path(__file__).resolve().parents[2]
HOLD = """
import sys
from core.locks import Lock
lock = Lock.take(sys.argv[1])
print("held" if lock else "not", flush=True)
sys.stdin.read()
"""


@contextmanager
def holding(path: Path) -> Iterator[subprocess.Popen]:
    """Give a process that holds a lock until it is ended."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(path)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as p:
        assert p.stdout is not None and p.stdout.readline() == "held\n"
        yield p
        p.kill()


def test_a_lock_is_held_once(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    assert not is_held(path) and not path.exists()
    lock = Lock.take(path)
    assert lock is not None and lock.held and is_held(path)
    assert Lock.take(path) is None
    lock.release()
    assert not is_held(path) and path.exists()
    again = Lock.take(path)
    assert again is not None
    again.release(remove=True)
    assert not path.exists()


def test_a_lock_that_is_let_go_is_free(tmp_path: Path) -> None:
    lock = Lock.take(tmp_path / "lock")
    assert lock is not None and is_held(tmp_path / "lock")
    del lock
    assert not is_held(tmp_path / "lock")


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, None])
def test_another_process_holds_it_until_it_ends(tmp_path: Path, how: int | None) -> None:
    path = tmp_path / "lock"
    with holding(path) as p:
        assert is_held(path) and Lock.take(path) is None
        if how is None:
            p.communicate("")
        else:
            p.send_signal(how)
            p.wait()
        assert not is_held(path)


def test_a_lock_taken_away_meanwhile_is_taken_anew(tmp_path: Path) -> None:
    path = tmp_path / "lock"
    first = Lock.take(path)
    assert first is not None
    path.unlink()
    second = Lock.take(path)
    assert second is not None and is_held(path)
    first.release(remove=False)
    assert is_held(path)


def test_a_place_that_cannot_be_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(OSError):
        Lock.take(tmp_path / "gone" / "lock")
    assert not is_held(tmp_path / "gone" / "lock")
