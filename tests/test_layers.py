"""The layers hold: core knows no Qt, and no file has grown past reading."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
MODULES = sorted(
    ".".join(p.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for p in (ROOT / "core").rglob("*.py")
)

BLOCKED = """
import importlib, sys
class Wall:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("PySide6", "shiboken6", "app"):
            raise ImportError("core reached for " + name)
sys.meta_path.insert(0, Wall())
for name in sys.argv[1:]:
    importlib.import_module(name)
print(len(sys.argv) - 1)
"""


def test_core_imports_without_qt_or_the_app() -> None:
    done = subprocess.run(
        [sys.executable, "-c", BLOCKED, *MODULES], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == len(MODULES) > 40


def test_the_wall_would_notice() -> None:
    done = subprocess.run(
        [sys.executable, "-c", BLOCKED, "app.painting"], cwd=ROOT, capture_output=True, text=True
    )
    assert done.returncode != 0 and "core reached for app" in done.stderr


@pytest.mark.parametrize("folder", ["core", "app", "packaging", "tests"])
def test_no_file_has_grown_past_reading(folder: str) -> None:
    long = {
        str(p.relative_to(ROOT)): n
        for p in (ROOT / folder).rglob("*.py")
        if (n := len(p.read_text(encoding="utf-8").splitlines())) > 800
    }
    assert not long
