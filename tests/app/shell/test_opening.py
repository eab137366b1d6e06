"""Recent files, last folders, files that were moved away, and what the program begins with."""

from __future__ import annotations

from pathlib import Path

import pytest
from jobcard_rig import pump
from PySide6.QtWidgets import QFileDialog, QMessageBox
from window_rig import answer, choose, drop_file, hit, make, panel

from app import fileasking, settings
from app.fileasking import ANOTHER, LOOK_FOR, SAVE_HERE, TAKE_OFF
from app.window import begin
from core import archive


@pytest.fixture
def window(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    (tmp_path / "data").mkdir()
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    w = make()
    yield w
    w.end()
    w.hide()


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "walls" / "panel.emblema"
    path.parent.mkdir()
    archive.save(path, panel(), {})
    return path


def submenu(window, *names: str):
    """Open a menu as a hand does; return its actions by their words."""
    menu = window.menuBar()
    for name in names:
        (action,) = [a for a in menu.actions() if a.text().replace("&", "") == name]
        menu = action.menu()
        menu.aboutToShow.emit()
    return {a.text(): a for a in menu.actions() if a.text()}


def test_what_was_opened_or_saved_is_recent_and_opens_from_the_menu(window, file, tmp_path) -> None:
    assert list(submenu(window, "File", "Open recent")) == ["Nothing yet"]
    window.open(file)
    window.session.save(tmp_path / "other.emblema")
    shown = submenu(window, "File", "Open recent")
    names = [words.split()[1] for words in shown if words[0] == "&"]
    assert names == ["other.emblema", "panel.emblema"]
    next(a for words, a in shown.items() if "panel.emblema" in words).trigger()
    assert window.session.path == file
    submenu(window, "File", "Open recent")["Forget them"].trigger()
    assert settings.read().recent == ()


@pytest.mark.parametrize("how", [LOOK_FOR, TAKE_OFF, "Cancel"])
def test_a_recent_file_that_was_moved_is_asked_about(window, file, tmp_path, how) -> None:
    window.open(file)
    window.session.new(100, 100, "", saved=True)
    moved = file.rename(tmp_path / "moved.emblema")
    title = window.session.doc.title

    def do(box: QMessageBox) -> None:
        if how == LOOK_FOR:
            answer(QFileDialog, choose(moved))
        hit(how)(box)

    said = answer(QMessageBox, do)
    assert not window.files.open_recent(file)
    assert said == [f"'panel.emblema' is no longer in '{file.parent}'."]
    assert window.session.path == (moved if how == LOOK_FOR else None)
    assert window.session.doc.title == ("Panel" if how == LOOK_FOR else title)
    recent = settings.read().recent
    assert recent == {LOOK_FOR: (str(moved),), TAKE_OFF: (), "Cancel": (str(file),)}[how]


@pytest.mark.parametrize("how", [SAVE_HERE, ANOTHER, "Cancel"])
def test_a_file_moved_while_it_is_open_is_asked_about_before_it_is_saved(
    window, file, tmp_path, how
) -> None:
    window.open(file)
    moved = file.rename(tmp_path / "moved.emblema")
    stood = moved.read_bytes()

    def do(box: QMessageBox) -> None:
        if how == ANOTHER:
            answer(QFileDialog, choose(tmp_path / "mine"))
        hit(how)(box)

    answer(QMessageBox, do)
    assert window.save() is (how != "Cancel")
    assert file.exists() is (how == SAVE_HERE) and moved.read_bytes() == stood
    assert (tmp_path / "mine.emblema").exists() is (how == ANOTHER)


def test_save_as_begins_beside_the_file_with_its_name(window, file) -> None:
    window.open(file)
    begun: list[tuple[str, list[str]]] = []

    def look(dialog: QFileDialog) -> None:
        begun.append((dialog.directory().absolutePath(), dialog.selectedFiles()))
        dialog.reject()

    answer(QFileDialog, look)
    assert not window.ask_save_as()
    assert begun == [(str(file.parent), [str(file)])]


def test_every_kind_of_file_is_asked_for_where_the_last_one_lay(window, file, tmp_path) -> None:
    pictures = tmp_path / "pictures"
    pictures.mkdir()
    (pictures / "sketch.png").write_bytes(b"")
    answer(QFileDialog, choose(pictures / "sketch.png"))
    assert fileasking.which_file(window, "The client's sketch", "Pictures (*.png)", "pictures")
    begun: list[str] = []

    def look(dialog: QFileDialog) -> None:
        begun.append(dialog.directory().absolutePath())
        dialog.reject()

    for ask in (
        lambda: fileasking.which_file(window, "Another", "Pictures (*.png)", "pictures"),
        lambda: fileasking.where_to(window, "Write", "a.pdf", "*.pdf", "papers", file),
        lambda: fileasking.which_folder(window, "A folder", "papers", file),
        lambda: fileasking.which_file(window, "A list", "*.csv", "lists"),
    ):
        answer(QFileDialog, look)
        assert not ask()
    own = str(Path.cwd())
    assert begun[:3] == [str(pictures), str(file.parent), str(file.parent)]
    assert begun[3] not in ("", own) and Path(begun[3]).is_dir()  # documents, or home


def test_the_last_work_is_opened_at_the_start_where_that_is_wished(window, file) -> None:
    settings.remember_file(file)
    begin(window, None)
    assert window.session.path == file and not window.welcome.isVisible()
    settings.change(reopen=False)
    begin(window, None)
    assert window.session.path is None and window.welcome.isVisible()
    assert not window.session.dirty  # nobody is asked to save what nobody began
    begin(window, str(file))
    assert window.session.path == file and not window.welcome.isVisible()


def test_a_last_work_that_is_gone_is_told_and_the_welcome_shown(window, file) -> None:
    settings.remember_file(file)
    file.unlink()
    begin(window, None)
    assert window.welcome.isVisible() and "panel.emblema" in window.status.text()


def test_a_file_dropped_on_the_welcome_opens(window, file) -> None:
    begin(window, None)
    assert window.welcome.isVisible()
    drop_file(window, file)
    assert window.session.path == file and not window.welcome.isVisible()
    assert pump(lambda: window.session.layout_is_current)
