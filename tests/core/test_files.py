"""Saving: the old file stands until the new one is whole, and only what is ours is touched."""

from __future__ import annotations

import os
import resource
import socket
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from only_read import only_read, open_folder

from core import files
from core.errors import EmblemaError
from core.files import OLD_S, PART, write_whole
from core.locks import Lock

ROOT = Path(__file__).resolve().parents[2]


def put(path: Path, data: bytes = b"new") -> None:
    write_whole(path, lambda out: out.write(data))


def refused(path: Path, words: str, data: bytes = b"new") -> None:
    with pytest.raises(EmblemaError, match=words) as said:
        put(path, data)
    assert str(path) in str(said.value) and "\n" not in str(said.value)
    assert str(said.value).count("could not be written") == 1


@pytest.fixture(autouse=True)
def no_folder_swept_yet(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "_swept", set())


# --- links ------------------------------------------------------------------------------------


def test_a_link_stays_and_what_it_points_to_is_written(tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    target, first, second = tmp_path / "drive/wall", tmp_path / "first", tmp_path / "second"
    target.write_bytes(b"old")
    first.symlink_to("drive/wall")
    second.symlink_to(first)
    put(second)
    assert target.read_bytes() == b"new" and not target.is_symlink()
    assert os.readlink(first) == "drive/wall" and os.readlink(second) == str(first)
    assert os.listdir(tmp_path / "drive") == ["wall"]


def test_a_link_to_what_is_not_there_yet_makes_it(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "wall")
    put(tmp_path / "link")
    assert (tmp_path / "wall").read_bytes() == b"new" and (tmp_path / "link").is_symlink()


def test_a_link_that_leads_nowhere_is_said(tmp_path: Path) -> None:
    (tmp_path / "round").symlink_to("round")
    refused(tmp_path / "round", "leads back to itself")
    (tmp_path / "lost").symlink_to(tmp_path / "gone/wall")
    refused(tmp_path / "lost", "its folder is not there")


# --- what is no plain file --------------------------------------------------------------------


def test_what_is_no_plain_file_is_refused_and_stays(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    refused(tmp_path / "folder", "it is a folder")
    os.mkfifo(tmp_path / "fifo")
    refused(tmp_path / "fifo", "it is a pipe")
    refused(Path("/dev/null"), "it is a device")
    (tmp_path / "null").symlink_to("/dev/null")
    refused(tmp_path / "null", "it is a device")
    with socket.socket(socket.AF_UNIX) as s:
        s.bind(str(tmp_path / "socket"))
        refused(tmp_path / "socket", "it is a socket")
    assert stat.S_ISFIFO(os.stat(tmp_path / "fifo").st_mode)
    assert sorted(os.listdir(tmp_path)) == ["fifo", "folder", "null", "socket"]


# --- modes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
def test_a_new_file_gets_what_the_umask_leaves(tmp_path: Path, mask: int, mode: int) -> None:
    before = os.umask(mask)
    try:
        put(tmp_path / "wall")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "wall").stat().st_mode) == mode


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o666, 0o755])
def test_a_file_keeps_its_mode_and_nobody_else_sees_it_half_written(
    tmp_path: Path, mode: int
) -> None:
    path = tmp_path / "wall"
    path.write_bytes(b"old")
    path.chmod(mode)
    seen: list[int] = []

    def write(out) -> None:
        (part,) = tmp_path.glob(f"{PART}*")
        seen.append(stat.S_IMODE(part.stat().st_mode))
        out.write(b"new")

    write_whole(path, write)
    assert seen == [mode] and stat.S_IMODE(path.stat().st_mode) == mode
    assert path.read_bytes() == b"new"


@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="only root gives files away")
def test_a_file_keeps_its_owner(tmp_path: Path) -> None:
    path = tmp_path / "wall"
    path.write_bytes(b"old")
    os.chown(path, 1234, 4321)
    put(path)
    assert (path.stat().st_uid, path.stat().st_gid) == (1234, 4321)


# --- what cannot be written -------------------------------------------------------------------


def test_what_may_not_be_written_to_is_said_and_stays() -> None:
    with open_folder() as folder:
        path = folder / "wall"
        path.write_bytes(b"old")
        with only_read(folder, path):
            refused(path, "read-only")
        path.chmod(0o666)
        with only_read(folder):
            refused(path, "may not be written to")
            refused(folder / "new", "may not be written to")
        assert path.read_bytes() == b"old" and os.listdir(folder) == ["wall"]


def test_a_place_that_is_not_there_is_said(tmp_path: Path) -> None:
    refused(tmp_path / "gone" / "wall", "its folder is not there")
    (tmp_path / "file").touch()
    refused(tmp_path / "file" / "wall", "what should be its folder is a file")
    refused(tmp_path / ("w" * 300), "its name is too long")
    longest = tmp_path / ("w" * 255)
    put(longest)  # the name of the part is not longer than that of the file
    assert longest.read_bytes() == b"new" and sorted(os.listdir(tmp_path)) == ["file", "w" * 255]


FULL = """
import resource, signal, sys
from pathlib import Path
from core.errors import EmblemaError
from core.files import write_whole
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
try:
    write_whole(sys.argv[1], lambda out: [out.write(bytes(50_000)) for _ in range(10)])
except EmblemaError as e:
    print(e)
"""


def test_a_disk_that_is_full_is_said_and_the_old_file_stays(tmp_path: Path) -> None:
    """A limit to a file's size breaks a write off in its middle, as a full disk does."""
    path = tmp_path / "wall"
    path.write_bytes(b"old")
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(path)], cwd=ROOT, capture_output=True, text=True
    )
    assert done.stdout == (
        f"'{path}' could not be written: there is no room for it on the disk.\n"
    ), done.stderr
    assert path.read_bytes() == b"old" and os.listdir(tmp_path) == ["wall"]
    assert resource.getrlimit(resource.RLIMIT_FSIZE)[0] != 200_000


def test_a_write_that_fails_leaves_nothing(tmp_path: Path) -> None:
    path = tmp_path / "wall"
    path.write_bytes(b"old")

    def fails(out) -> None:
        out.write(b"half")
        raise KeyError("a fault")

    with pytest.raises(KeyError):
        write_whole(path, fails)
    assert path.read_bytes() == b"old" and os.listdir(tmp_path) == ["wall"]


# --- what killed saves leave ------------------------------------------------------------------


def old(path: Path, by_s: float = 2 * OLD_S) -> Path:
    path.write_bytes(b"half")
    then = path.stat().st_mtime - by_s
    os.utime(path, (then, then))
    return path


def test_only_old_parts_of_ours_that_nobody_writes_are_swept(tmp_path: Path) -> None:
    old(tmp_path / f"{PART}aa.part")
    stay = [
        old(tmp_path / f"{PART}bb.part", OLD_S / 2),  # a save that may yet go on
        old(tmp_path / "letter.part"),
        old(tmp_path / ".letter.part"),
        old(tmp_path / f"{PART}notes.txt"),
        held := old(tmp_path / f"{PART}cc.part"),
        old(tmp_path / "wall.emblema"),
    ]
    (tmp_path / f"{PART}dd.part").symlink_to("wall.emblema")
    lock = Lock.take(held)
    assert lock is not None
    put(tmp_path / "new")
    left = {*stay, tmp_path / "new", tmp_path / f"{PART}dd.part"}
    assert set(tmp_path.iterdir()) == left
    lock.release()


def test_a_save_that_is_being_written_is_never_swept(tmp_path: Path) -> None:
    def slowly(out) -> None:
        (part,) = tmp_path.glob(f"{PART}*")
        then = part.stat().st_mtime - 2 * OLD_S
        os.utime(part, (then, then))
        files._swept.clear()
        put(tmp_path / "other")
        out.write(b"whole")

    write_whole(tmp_path / "wall", slowly)
    assert (tmp_path / "wall").read_bytes() == b"whole"
    assert sorted(os.listdir(tmp_path)) == ["other", "wall"]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills as Linux and macOS do")
def test_whoever_kills_a_save_finds_the_old_file_or_the_new_one() -> None:
    """A few kills; the bench does hundreds."""
    done = subprocess.run(
        [sys.executable, str(ROOT / "tests/bench/kill_while_saving.py"), "6"],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    assert "6 killed" in done.stdout and "0 broken" in done.stdout
    assert "0 parts left when swept" in done.stdout
