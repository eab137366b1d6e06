"""What is remembered: whole or begun anew, never the user's own file, never another's choices."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as examples
from hypothesis import strategies as st

from app import settings


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path))
    return tmp_path


def test_nothing_is_remembered_at_first_and_nothing_is_written(data: Path) -> None:
    assert settings.read() == settings.Settings()
    assert settings.put_aside_unreadable() is None
    assert list(data.iterdir()) == []


@examples(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(st.text(st.characters(exclude_categories=["Cs"])), max_size=10),
    st.dictionaries(st.sampled_from(["commission", "papers"]), st.text("abc /ü", max_size=9)),
    st.none() | st.tuples(*[st.integers(-9999, 9999)] * 4),
    st.booleans(),
    st.sampled_from(["system", "light", "dark"]),
    st.sampled_from(["usual", "larger", "largest"]),
)
def test_what_is_changed_is_read_again(recent, folders, window, reopen, look, letters) -> None:
    changes = dict(
        recent=tuple(recent),
        folders=folders,
        window=window,
        reopen=reopen,
        look=look,
        letters=letters,
    )
    assert settings.change(**changes) == settings.read() == settings.Settings(**changes)


def test_two_windows_do_not_undo_each_others_choices(data: Path) -> None:
    settings.change(look="dark")
    stale = settings.read()
    settings.change(letters="largest")
    assert stale.letters == "usual" and settings.change(reopen=False).look == "dark"
    assert settings.read().letters == "largest"


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"{",
        b"[]",
        b'{"look": "purple"}',
        b'{"recent": "one.emblema"}',
        b'{"window": [1, 2]}',
        b"\xff\xfe\x00",
        b"[" * 100_000,
        b" " * (settings.MOST_BYTES + 1),
    ],
)
def test_what_cannot_be_read_is_put_aside_and_told(data: Path, content: bytes) -> None:
    (data / settings.NAME).write_bytes(content)
    assert settings.read() == settings.Settings()
    words = settings.put_aside_unreadable()
    assert words is not None and str(data / settings.ASIDE) in words and words.count(".") < 6
    assert (data / settings.ASIDE).read_bytes() == content
    assert not (data / settings.NAME).exists() and settings.put_aside_unreadable() is None
    assert settings.change(look="dark") == settings.read()


def test_what_a_newer_version_remembers_is_no_fault(data: Path) -> None:
    (data / settings.NAME).write_text(json.dumps({"look": "dark", "scent": "thyme"}))
    assert settings.put_aside_unreadable() is None and settings.read().look == "dark"


def test_a_data_folder_that_cannot_be_made_keeps_nobody_from_working(
    data: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (data / "file").write_text("no folder")
    monkeypatch.setenv("EMBLEMA_DATA", str(data / "file"))
    assert settings.read() == settings.Settings()
    assert settings.change(look="dark").look == "dark"


def test_recent_files_are_few_each_once_and_the_newest_first(tmp_path: Path) -> None:
    for k in (*range(15), 9):
        settings.remember_file(tmp_path / f"{k}.emblema")
    names = [Path(p).stem for p in settings.read().recent]
    assert names == ["9", "14", "13", "12", "11", "10", "8", "7", "6", "5"]
    settings.forget_file(tmp_path / "14.emblema")
    assert "14" not in [Path(p).stem for p in settings.read().recent]


def test_a_folder_that_is_gone_is_not_begun_in(tmp_path: Path) -> None:
    there = tmp_path / "there"
    there.mkdir()
    settings.remember_folder("papers", there)
    assert settings.folder_of("papers") == there and settings.folder_of("lists") is None
    there.rmdir()
    assert settings.folder_of("papers") is None
