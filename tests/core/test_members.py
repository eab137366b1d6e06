"""Files that claim or unpack to more than they may: refused cheaply, each in one sentence."""

from __future__ import annotations

import hashlib
import json
import os
import struct
import subprocess
import sys
import zipfile
import zlib
from pathlib import Path

import pytest

from core import archive
from core.commission import Commission, Field, Sketch
from core.errors import EmblemaError
from core.members import MOST_JSON, MOST_LISTS, MOST_UNPACKED, read_json

ROOT = Path(__file__).resolve().parents[2]
MB = 1_000_000
KEY = hashlib.sha256(b"pixels").hexdigest() + ".png"
ROOM_MB = 450  # that opening one may take, the program itself left out


def packed(path: Path, members: dict[str, bytes], how: int = zipfile.ZIP_DEFLATED) -> Path:
    with zipfile.ZipFile(path, "w", how) as z:
        for name, data in members.items():
            z.writestr(name, data)
    return path


def body(commission: object, version: object = archive.VERSION) -> bytes:
    return json.dumps({"emblema": version, "commission": commission}).encode()


def plain(title: str = "Wall") -> dict[str, object]:
    return {"title": title, "width_mm": 10.0, "height_mm": 10.0}


def saying(path: Path, member: str, says: int, method: int = zipfile.ZIP_DEFLATED) -> Path:
    """Make a zip say that a member is so long unpacked, in both its places."""
    data = bytearray(path.read_bytes())
    with zipfile.ZipFile(path) as z:
        here = z.getinfo(member).header_offset
    there = data.rindex(b"PK\1\2", 0, data.rindex(member.encode()))
    struct.pack_into("<H", data, here + 8, method)
    struct.pack_into("<H", data, there + 10, method)
    struct.pack_into("<L", data, here + 22, says)
    struct.pack_into("<L", data, there + 24, says)
    path.write_bytes(data)
    return path


def nested(n: int) -> bytes:
    return b'{"emblema": 2, "commission": ' + b"[" * n + b"]" * n + b"}"


def bomb(path: Path, member: str, size: int, says: int | None = None) -> Path:
    """Pack so many noughts, a thousandth of it on the disk."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    step = packer.compress(bytes(10 * MB)) + packer.flush(zlib.Z_FULL_FLUSH)
    data = step * (size // (10 * MB)) + b"\3\0"  # the last block, an empty one
    sketch = {"image": KEY, "width_px": 10, "height_px": 10, "mm_per_px": 1.0}
    wall = plain() | ({"sketch": sketch} if KEY in member else {})
    packed(path, {"commission.json": body(wall)} | {member: data}, zipfile.ZIP_STORED)
    return saying(path, member, size if says is None else says)


OPEN = """
import re, sys, time
from pathlib import Path
from core import archive
from core.errors import EmblemaError
def most():
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
before, begun = most(), time.process_time()
try:
    archive.load(sys.argv[1])
    said = "opened"
except EmblemaError as e:
    said = str(e)
print(f"{(most() - before) // 1000}|{time.process_time() - begun:.2f}|{said}")
"""


def opened(path: Path) -> tuple[int, float, str]:
    """Return how many MB opening a file took at its peak, how many seconds, and what was said."""
    done = subprocess.run(
        [sys.executable, "-c", OPEN, str(path)], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    more, took, said = done.stdout.rstrip("\n").split("|")
    return int(more), float(took), said


COSTLY = {
    "a bomb for a commission": (lambda p: bomb(p, "commission.json", 1900 * MB), "longer than"),
    "a bomb for a picture": (lambda p: bomb(p, f"images/{KEY}", 1900 * MB), "longer than"),
    "a bomb that says it is short": (
        lambda p: bomb(p, "commission.json", 1900 * MB, says=1000),
        "damaged",
    ),
    "a bomb nobody asks for": (
        lambda p: bomb(p, "images/other.png", 1900 * MB),
        "opened",
    ),
    "100 MB of nesting": (
        lambda p: packed(p, {"commission.json": nested(50 * MB)}),
        "longer than the 64 MB",
    ),
    "60 MB of nesting": (
        lambda p: packed(p, {"commission.json": nested(30 * MB)}),
        "more than 3,000,000 lists",
    ),
    "nesting that just fits": (
        lambda p: packed(p, {"commission.json": nested(MOST_LISTS - 2)}),
        "too deeply",
    ),
    "as many lists as may be": (
        lambda p: packed(
            p, {"commission.json": b'{"emblema": 2, "commission": [' + b"[]," * 2_900_000 + b"0]}"}
        ),
        "the commission is a list, which is not a table",
    ),
    "60 MB of numbers": (
        lambda p: packed(
            p, {"commission.json": b'{"emblema": 2, "commission": [' + b"1," * (30 * MB) + b"0]}"}
        ),
        "the commission is a list, which is not a table",
    ),
    "a list of a million members": (
        lambda p: p.write_bytes(
            b"PK\1\2" + bytes(42)
            + (b"PK\1\2" + bytes(42)) * 999_999
            + struct.pack("<4s4H2LH", b"PK\5\6", 0, 0, 65535, 65535, 46 * MB, 0, 0)
        )
        and p,
        "list of members is too long",
    ),
}  # fmt: skip


@pytest.mark.skipif(sys.platform != "linux", reason="reads the most memory taken in /proc")
@pytest.mark.parametrize("what", COSTLY)
def test_what_is_costly_to_open_is_refused_cheaply(tmp_path: Path, what: str) -> None:
    make, words = COSTLY[what]
    path = tmp_path / "wall.emblema"
    make(path)
    more_mb, took, said = opened(path)
    print(f"{what}: {more_mb} MB, {took} s, {said}")
    assert words in said and "\n" not in said and len(said) < 300
    assert more_mb < ROOM_MB


def refused(path: Path, words: str) -> None:
    with pytest.raises(EmblemaError, match=words) as said:
        archive.load(path)
    assert path.name in str(said.value) and len(str(said.value)) < 300


def test_what_is_no_plain_file_is_refused_and_not_waited_for(tmp_path: Path) -> None:
    (tmp_path / "folder").mkdir()
    refused(tmp_path / "folder", "it is a folder")
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        refused(tmp_path / "pipe", "it is a pipe")


def test_members_packed_in_other_ways_are_refused(tmp_path: Path) -> None:
    path = packed(tmp_path / "a.emblema", {"commission.json": body(plain())}, zipfile.ZIP_LZMA)
    refused(path, "packed in a way that is not known")
    path = packed(tmp_path / "b.emblema", {"commission.json": body(plain())})
    assert archive.load(path)[0].title == "Wall"


def test_a_picture_packed_by_another_program_opens_within_bounds(tmp_path: Path) -> None:
    picture = bytes(2 * MB)
    key = hashlib.sha256(picture).hexdigest() + ".bmp"
    doc = Commission("Wall", 10.0, 10.0, sketch=Sketch(key, 10, 10, 1.0))
    path = tmp_path / "wall.emblema"
    archive.save(path, doc, {key: picture})
    with zipfile.ZipFile(path) as z:
        members = {n: z.read(n) for n in z.namelist()}
    assert path.stat().st_size > len(picture)
    assert archive.load(packed(path, members)) == (doc, {key: picture})
    assert path.stat().st_size < len(picture) / 100
    refused(saying(path, f"images/{key}", MOST_UNPACKED + 1), "longer than the 128 MB")


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"width_mm": 10**400}, "width is 10+\\.\\.\\.0+, which is out of range"),
        ({"title": ["x" * 10_000] * 1000}, "title is .* which is not text"),
        ({"rates": {"hour": "Infinity"}}, "is not an amount"),
        ({"rates": {"hour": "1e999999999"}}, "the price of an hour .* is beyond"),
    ],
)
def test_values_without_measure_are_told_in_one_short_sentence(
    tmp_path: Path, wrong: dict[str, object], words: str
) -> None:
    path = packed(tmp_path / "wall.emblema", {"commission.json": body({**plain(), **wrong})})
    refused(path, words)
    version: object = "1" * 10_000
    refused(packed(path, {"commission.json": body(plain(), version)}), "its version is")


def test_what_could_not_be_opened_again_is_not_saved(tmp_path: Path) -> None:
    path = tmp_path / "wall.emblema"
    archive.save(path, Commission("old", 10.0, 10.0), {})
    was = path.read_bytes()
    line = tuple((float(k), 0.0) for k in range(1000))
    many = Field("f", "Sky", ((line,) * (MOST_LISTS // 1000),))
    with pytest.raises(EmblemaError, match="commission is too large"):
        archive.save(path, Commission("new", 10.0, 10.0, fields=(many,)), {})
    with pytest.raises(EmblemaError, match="commission is too large"):
        archive.save(path, Commission("new", 10.0, 10.0, notes="x" * MOST_JSON), {})
    assert path.read_bytes() == was
    assert read_json(b"[" * 500 + b"]" * 500)
