"""The set-up script: standard library only, and plain words where it cannot go on."""

from __future__ import annotations

import ast
import configparser
import importlib.util
import os
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from xml.etree import ElementTree

import pytest

from app import desktop, needs

ROOT = Path(__file__).resolve().parents[1]
START = ROOT / "packaging" / "start.py"


@pytest.fixture
def start() -> ModuleType:
    spec = importlib.util.spec_from_file_location("emblema_start", START)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_needs_nothing_but_the_standard_library() -> None:
    names = set()
    for node in ast.walk(ast.parse(START.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            names.add((node.module or "").split(".")[0])
    assert names <= set(sys.stdlib_module_names) | {"app"}


@pytest.mark.parametrize("module", ["app", "app.needs", "app.desktop"])
def test_what_speaks_first_needs_nothing_but_the_standard_library(module: str) -> None:
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); import {module}; print(*sys.modules)"
    done = subprocess.run(
        [
            sys.executable,
            "-I",
            "-S",
            "-c",
            code,
        ],
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    loaded = {m.split(".")[0] for m in done.stdout.split()}
    assert loaded <= {*sys.stdlib_module_names, "app", "__main__"}


def test_other_words_are_refused_plainly() -> None:
    done = subprocess.run([sys.executable, str(START), "huh"], capture_output=True, text=True)
    assert done.returncode == 2 and "Usage" in done.stderr and done.stderr.count("\n") == 1


def test_an_old_python_is_told(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 10, 2))
    with pytest.raises(SystemExit) as e:
        start.check_python()
    assert e.value.code == 2 and "3.11" in capsys.readouterr().err


def test_a_user_who_is_not_root_is_given_the_line(
    start: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if sys.platform != "linux":
        pytest.skip("system libraries are Debian's matter")
    monkeypatch.setitem(needs.PAINTS, "no-such-library", "libnosuch0")
    monkeypatch.setattr(shutil, "which", lambda name: "/usr/bin/apt-get")
    monkeypatch.setattr(start.os, "geteuid", lambda: 1000)
    assert "libnosuch0" in needs.missing_libraries(False)
    with pytest.raises(SystemExit) as e:
        start.system_libraries(False)
    err = capsys.readouterr().err
    assert e.value.code == 2 and "sudo apt-get install -y" in err and "libnosuch0" in err


def test_a_failing_step_ends_in_words(
    start: ModuleType, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as e:
        start.run([sys.executable, "-c", "raise SystemExit(3)"], "It could not be done.")
    assert e.value.code == 2 and "It could not be done." in capsys.readouterr().err


def test_every_dependency_is_locked_to_one_version() -> None:
    lock = START.parent / "requirements.lock"
    lines = [
        line
        for line in lock.read_text(encoding="utf-8").splitlines()
        if line.strip() and not line.startswith(("#", " "))
    ]
    assert len(lines) > 15
    assert all("==" in line for line in lines)
    locked = {line.split("==")[0].lower().replace("_", "-") for line in lines}
    assert {"pyside6-essentials", "numpy", "scipy", "shapely", "pytest", "colour-science"} <= locked


# --- any other way of starting ------------------------------------------------------------------


def started(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
    plain = {k: v for k, v in os.environ.items() if k not in SCREEN}
    return subprocess.run(
        [sys.executable, "-m", "app", *words],
        capture_output=True,
        text=True,
        cwd=ROOT,
        env=plain | env,
    )


SCREEN = ("QT_QPA_PLATFORM", "DISPLAY", "WAYLAND_DISPLAY")


@pytest.mark.skipif(sys.platform != "linux", reason="other systems always have a screen")
def test_without_a_screen_the_window_says_so(tmp_path: Path) -> None:
    done = started(EMBLEMA_DATA=str(tmp_path))
    assert done.returncode == 2 and done.stderr.startswith("emblema: There is no screen here")
    assert done.stderr.count("\n") == 1


def test_without_the_systems_libraries_every_start_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    if sys.platform != "linux":
        pytest.skip("system libraries are Debian's matter")
    from app.cli import main

    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("DISPLAY", ":7")
    monkeypatch.setattr(shutil, "which", lambda name: "/usr/bin/apt-get")
    monkeypatch.setitem(needs.SHOWS, "no-such-library", "libnosuch0")
    assert main([]) == 2
    err = capsys.readouterr().err
    assert "sudo apt-get install" in err and "libnosuch0" in err and err.count("\n") == 1


def test_a_library_that_does_not_load_is_told_with_the_way_out() -> None:
    lacks = needs.import_fault(ModuleNotFoundError("No module named 'numpy'", name="numpy"))
    assert "'numpy'" in lacks and needs.SET_UP in lacks
    system = needs.import_fault(ImportError("libGL.so.1: cannot open shared object file"))
    assert "libGL.so.1" in system and ("apt-get install" in system or needs.SET_UP in system)


def test_python_without_the_libraries_is_sent_to_the_set_up(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-S", "-m", "app"], capture_output=True, text=True, cwd=ROOT
    )
    assert done.returncode == 2 and needs.SET_UP in done.stderr
    assert done.stderr.count("\n") == 1


def test_the_menu_opens_the_programs_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    python = tmp_path / "a folder with 100 % of \\" / "python"
    entry = configparser.ConfigParser(interpolation=None)
    entry.optionxform = str  # type: ignore[assignment,method-assign]
    entry.read(desktop.put_in_menu(python, ROOT), "utf-8")
    told = entry["Desktop Entry"]
    # Desktop Entry Specification 1.5: Type and Name are required, %f is one file
    assert told["Type"] == "Application" and told["Name"] == "Emblema"
    assert told["MimeType"] == f"{desktop.KIND};" and Path(told["Icon"]).is_file()
    exec_ = told["Exec"].replace("\\\\", "\\")  # as the entry's strings are read
    command = shlex.split(exec_.replace("%%", "%"))
    assert command == [str(python), "-m", "app", "%f"]
    kinds = ElementTree.parse(tmp_path / "share/mime/packages/emblema.xml").getroot()
    space = "{http://www.freedesktop.org/standards/shared-mime-info}"
    kind = kinds.find(f"{space}mime-type")
    assert kind is not None and kind.get("type") == desktop.KIND
    glob = kind.find(f"{space}glob")
    assert glob is not None and glob.get("pattern") == "*.emblema"


def test_the_demo_is_opened_the_first_time_alone(start: ModuleType) -> None:
    assert start.opens(None, True) == [str(start.DEMO)]
    assert start.DEMO.is_file()
    assert start.opens(None, False) == []
    assert start.opens("mine.emblema", True) == ["mine.emblema"]
