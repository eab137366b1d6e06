"""The set-up script: standard library only, and plain words where it cannot go on."""

from __future__ import annotations

import ast
import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

START = Path(__file__).resolve().parents[1] / "packaging" / "start.py"


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
    assert names <= set(sys.stdlib_module_names)


def test_other_words_are_refused_plainly() -> None:
    done = subprocess.run([sys.executable, str(START), "tests"], capture_output=True, text=True)
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
    monkeypatch.setitem(start.PAINTS, "no-such-library", "libnosuch0")
    monkeypatch.setattr(start.shutil, "which", lambda name: "/usr/bin/apt-get")
    monkeypatch.setattr(start.os, "geteuid", lambda: 1000)
    assert "libnosuch0" in start.missing_libraries(False)
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
