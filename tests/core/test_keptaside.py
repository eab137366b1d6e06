"""Work kept aside: one place a window, offered by what it says, never while its window lives."""

from __future__ import annotations

import os
import time
from functools import partial
from pathlib import Path

import pytest

from core import archive
from core.commission import Commission
from core.errors import EmblemaError
from core.keptaside import Place, left_behind
from core.openfiles import seen

OLD, NEW = Commission("Old", 10.0, 10.0), Commission("New", 10.0, 10.0)


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    return tmp_path / "data"


@pytest.fixture
def wall(tmp_path: Path) -> Path:
    path = tmp_path / "wall.emblema"
    archive.save(path, OLD, {})
    return path


def kept(doc: Commission, file: Path | None = None) -> Place:
    place = Place()
    keep(place, doc, file)
    return place


def keep(place: Place, doc: Commission, file: Path | None = None) -> None:
    save = partial(archive.save, doc=doc, images={})
    place.keep(save, doc.title, file, seen(file) if file else None)


def places(data: Path) -> list[str]:
    return os.listdir(data / "unsaved")


def test_work_is_offered_once_its_window_is_gone(wall: Path) -> None:
    place = kept(NEW, wall)
    assert left_behind() == left_behind(wall) == []
    place.leave()
    (found,) = left_behind(wall)
    assert (found.title, found.file, found.seen) == ("New", wall, seen(wall))
    assert archive.load(found.work)[0] == NEW
    assert left_behind(wall.with_name("other.emblema")) == []


@pytest.mark.parametrize("mtime", [1, 2_000_000_000])
def test_it_is_offered_by_what_it_says_and_not_by_its_date(
    wall: Path, data: Path, mtime: int
) -> None:
    kept(NEW, wall).leave()
    os.utime(wall, (mtime, mtime))
    assert len(left_behind()) == 1
    archive.save(wall, NEW, {})  # saved by whatever means
    os.utime(wall, (1, 1))
    assert left_behind() == [] and places(data) == []


def test_work_whose_file_is_gone_or_damaged_is_offered(wall: Path) -> None:
    kept(OLD, wall).leave()
    wall.write_bytes(b"spoilt")
    assert len(left_behind()) == 1
    wall.unlink()
    assert len(left_behind(wall)) == 1


def test_work_that_lost_its_particulars_is_offered_and_what_is_damaged_stays(data: Path) -> None:
    kept(NEW).leave()
    (place,) = (data / "unsaved").iterdir()
    (place / "about.json").write_text('{"title"')
    (found,) = left_behind()
    assert (found.title, found.file) == ("", None)
    found.work.write_bytes(b"spoilt")
    assert left_behind() == [] and found.work.exists()


def test_a_place_is_taken_over_by_one_window_only(wall: Path, data: Path) -> None:
    kept(NEW, wall).leave()
    (found,) = left_behind()
    mine = Place.of(found)
    assert mine is not None and Place.of(found) is None and left_behind() == []
    keep(mine, OLD, wall)
    assert len(places(data)) == 1
    mine.forget()
    mine.leave()
    assert places(data) == []


def test_a_place_that_somebody_cleared_away_is_made_again(data: Path) -> None:
    place = kept(NEW)
    for path in sorted((data / "unsaved").rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    keep(place, NEW)
    place.leave()
    assert len(left_behind()) == 1


def test_empty_places_of_killed_windows_are_swept_once_they_are_old(data: Path) -> None:
    place = kept(NEW)
    place.forget()
    assert place._lock is not None
    place._lock.release()  # killed
    assert left_behind() == [] and len(places(data)) == 1
    (folder,) = (data / "unsaved").iterdir()
    then = time.time() - 7200
    os.utime(folder, (then, then))
    assert left_behind() == [] and places(data) == []


def test_a_folder_that_cannot_be_made_is_told_and_offers_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "file"))
    with pytest.raises(EmblemaError, match="data folder '.*file' cannot be made: a file"):
        kept(NEW)
    assert left_behind() == []
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "unsaved").touch()
    with pytest.raises(EmblemaError, match="unsaved"):
        kept(NEW)
    assert left_behind() == []
