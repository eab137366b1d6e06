"""The program as it is started, killed, started twice, and started where nothing can be kept."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import pytest
from only_read import NOBODY, open_folder
from window_rig import panel

from core import archive

ROOT = Path(__file__).resolve().parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="kills as Linux and macOS do")

# Starts the window, tells in JSON lines what it shows, and does what it is told. Python's own
# code is read by root alone in places, so a right is given up only once all is there.
PROGRAM = """
import json, os, sys
from dataclasses import replace
from PySide6.QtCore import QTimer, QSocketNotifier
from PySide6.QtWidgets import QApplication, QDialog, QMessageBox, QPushButton
from app import window
import core.stock.store

given = json.loads(sys.argv[1])
app = window.Program([])

def tell(**what):
    print(json.dumps(what), flush=True)

def the(kind):
    return [w for w in app.topLevelWidgets() if isinstance(w, kind) and w.isVisible()]

def shown():
    w = the(window.Window)[0]
    s = w.session
    dialogs = [(d.windowTitle(), getattr(d, "text", str)()) for d in the(QDialog)]
    tell(title=s.doc.title, dirty=s.dirty, dialogs=dialogs, banner=w.status.text())

def do():
    line = sys.stdin.readline()
    if not line:
        return os._exit(0)
    what, *rest = json.loads(line)
    w = the(window.Window)[0]
    if what == "title":
        w.session.apply("Title", replace(w.session.doc, title=rest[0]))
    elif what == "keep":
        w.session.keep_aside()
        while not w.session._aside.idle:
            app.processEvents()
    elif what == "press":
        for b in app.activeModalWidget().findChildren(QPushButton):
            if b.text().replace("&", "") == rest[0]:
                b.click()
                break
    elif what == "save":
        w.session.save(rest[0] if rest else None)
    elif what == "quit":
        w.close()
        return
    QTimer.singleShot(0, shown)

told = QSocketNotifier(0, QSocketNotifier.Type.Read)
told.activated.connect(do)
if given["nobody"]:
    os.setegid(given["nobody"])
    os.seteuid(given["nobody"])
QTimer.singleShot(0, shown)
sys.exit(window.main(given["path"]))
"""


class Program:
    """The program, running."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self.process = process
        self.shown = self._next()

    def _next(self) -> dict:
        out: IO[str] | None = self.process.stdout
        assert out is not None
        line = out.readline()
        assert line, self.process.stderr and self.process.stderr.read()
        return json.loads(line)

    def do(self, *what: str) -> dict:
        """Do something, and return what is shown then."""
        assert self.process.stdin is not None
        print(json.dumps(what), file=self.process.stdin, flush=True)
        if what[0] != "quit":
            self.shown = self._next()
        return self.shown

    def kill(self) -> None:
        """End it as a crash does."""
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()


@contextmanager
def program(data: Path, path: Path | None = None, nobody: int = 0) -> Iterator[Program]:
    given = {"path": None if path is None else str(path), "nobody": nobody}
    env = {**os.environ, "EMBLEMA_DATA": str(data), "PYTHONPATH": str(ROOT)}
    env["QT_LOGGING_RULES"] = "*.debug=false"
    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM, json.dumps(given)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
        env=env,
    ) as process:
        try:
            yield Program(process)
        finally:
            process.kill()


@pytest.fixture
def wall(tmp_path: Path) -> Path:
    path = tmp_path / "wall.emblema"
    archive.save(path, panel(), {})
    return path


@posix
def test_work_of_killed_windows_is_offered_at_the_next_start_and_none_of_living_ones(
    tmp_path: Path, wall: Path
) -> None:
    data = tmp_path / "data"
    with program(data, wall) as first, program(data, wall) as second:
        assert first.shown["title"] == "Panel" and not first.shown["dialogs"]
        (said,) = second.shown["dialogs"]
        assert said == ["Open in another window", "'wall.emblema' is open in another window."]
        second.do("press", "Open a copy")
        for p, title in ((first, "Hall"), (second, "Porch")):
            p.do("title", title)
            p.do("keep")
        first.kill()
        os.utime(wall)
        with program(data) as third:
            assert third.shown["dialogs"] == [["Unsaved work", ""]]  # the first's alone
            shown = third.do("press", "Open with that work")
            assert (shown["title"], shown["dirty"], shown["dialogs"]) == ("Hall", True, [])
            third.do("save")
            third.do("quit")
            assert third.process.wait(30) == 0
        assert archive.load(wall)[0].title == "Hall"
        second.kill()
    with program(data) as last:
        assert last.do("press", "Open with that work")["title"] == "Porch"
        last.do("save", str(tmp_path / "porch.emblema"))
        last.do("quit")
        assert last.process.wait(30) == 0
    assert not list((data / "unsaved").glob("*/work.emblema"))


@pytest.mark.parametrize("how", ["below a file", "only to be read"])
def test_the_window_starts_and_warns_once_where_nothing_can_be_kept(how: str) -> None:
    with open_folder() as folder:
        wall, data = folder / "wall.emblema", folder / "data"
        archive.save(wall, panel(), {})
        nobody = 0
        if how == "only to be read":
            data.mkdir(mode=0o555)
            nobody = NOBODY if os.geteuid() == 0 else 0  # root may write anywhere
        else:
            data.write_text("no folder")
            data = data / "below"
        with program(data, wall, nobody) as p:
            assert p.shown["title"] == "Panel"
            ((title, said),) = p.shown["dialogs"]
            assert title == "Data folder" and said.startswith(f"The data folder '{data}' cannot be")
            p.do("title", "Hall")
            for _ in range(2):
                assert "kept aside" not in p.do("keep")["banner"]
            if not nobody:
                assert p.do("save", str(folder / "hall.emblema"))["dirty"] is False
                assert archive.load(folder / "hall.emblema")[0].title == "Hall"
