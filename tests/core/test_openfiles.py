"""Files that are open in other windows, and files that others have changed."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from core.openfiles import changed_since, is_open, mark_open, same_place, seen

ROOT = Path(__file__).resolve().parents[2]
HOLD = """
import sys
from pathlib import Path
from core.openfiles import mark_open
mark = mark_open(Path(sys.argv[1]))
print(mark is not None, flush=True)
sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture
def wall(tmp_path: Path) -> Path:
    path = tmp_path / "wall.emblema"
    path.write_bytes(b"wall")
    return path


def test_a_file_is_open_until_the_process_that_marked_it_ends(wall: Path, data: Path) -> None:
    link = wall.with_name("link")
    link.symlink_to(wall)
    assert not is_open(wall)
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(wall)],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as p:
        assert p.stdout is not None and p.stdout.readline() == "True\n"
        assert is_open(wall) and is_open(link) and mark_open(link) is None
        p.kill()
        p.wait()
    assert not is_open(wall)
    mark = mark_open(link)
    assert mark is not None and is_open(wall)
    mark.release(remove=True)
    assert os.listdir(data / "open") == []
    assert sorted(p.name for p in wall.parent.iterdir()) == ["data", "link", "wall.emblema"]


def test_without_a_data_folder_nothing_is_told_and_nothing_kept_from(
    wall: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("EMBLEMA_DATA", str(wall / "below"))
    assert mark_open(wall) is None and not is_open(wall)


def test_a_file_is_changed_by_what_it_says_and_not_by_its_date(wall: Path) -> None:
    before = seen(wall)
    assert before is not None and not changed_since(wall, before)
    os.utime(wall, (1, 1))
    assert not changed_since(wall, before)
    copy = wall.with_name("copy")
    copy.write_bytes(b"wall")
    os.replace(copy, wall)
    assert not changed_since(wall, before)
    wall.write_bytes(b"hall")  # as long as it was
    os.utime(wall, ns=(before.mtime_ns + 1, before.mtime_ns + 1))
    assert changed_since(wall, before)
    wall.unlink()
    assert not changed_since(wall, before) and seen(wall) is None
    assert not changed_since(wall, None)


def test_paths_name_one_file_by_whatever_way(wall: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(wall.parent)
    assert same_place(Path("wall.emblema"), wall) and same_place(Path("x/../wall.emblema"), wall)
    assert not same_place(wall, wall.with_name("hall")) and not same_place(None, None)
