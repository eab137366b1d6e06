"""The program on a screen of its own, of the smallest size, where the machine can make one."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from window_rig import panel

from app import needs
from core import archive

ROOT = Path(__file__).resolve().parents[3]
PROGRAM = """
import json, os, sys
from PySide6.QtCore import QTimer
from app import window

def look():
    w = next(w for w in app.topLevelWidgets() if isinstance(w, window.Window))
    screen, at = w.screen().availableGeometry(), w.geometry()
    w.grab()
    print(json.dumps({
        "platform": app.platformName(),
        "screen": [screen.width(), screen.height()],
        "within": screen.contains(at),
        "size": [at.width(), at.height()],
        "welcome": w.welcome.isVisible(),
        "title": w.session.doc.title,
        "leaf": w.card.leaf.name,
    }), flush=True)
    w.card.turn_to("Figures")
    w.close()

app = window.Program([])
QTimer.singleShot(1500, look)
sys.exit(window.main(sys.argv[1] if len(sys.argv) > 1 else None))
"""


@pytest.mark.skipif(
    not shutil.which("xvfb-run") or sys.platform != "linux" or bool(needs.missing_libraries(True)),
    reason="no screen can be made here",
)
def test_it_starts_on_the_smallest_screen_and_comes_back_as_it_was(tmp_path: Path) -> None:
    file = tmp_path / "panel.emblema"
    archive.save(file, panel(), {})
    env = {k: v for k, v in os.environ.items() if k not in ("QT_QPA_PLATFORM", "WAYLAND_DISPLAY")}
    env |= {"EMBLEMA_DATA": str(tmp_path / "data"), "PYTHONPATH": str(ROOT)}

    def start(*words: str) -> dict[str, object]:
        done = subprocess.run(
            [
                "xvfb-run",
                "-a",
                "-s",
                "-screen 0 1280x720x24",
                sys.executable,
                "-c",
                PROGRAM,
                *words,
            ],
            capture_output=True,
            text=True,
            cwd=ROOT,
            env=env,
            timeout=120,
        )
        assert done.returncode == 0, done.stderr
        return dict(json.loads(done.stdout.splitlines()[-1]))

    first = start()
    assert first["platform"] == "xcb" and first["screen"] == [1280, 720]
    assert first["within"] and first["welcome"] and first["leaf"] == "Brief"
    named = start(str(file))
    assert named["title"] == "Panel" and not named["welcome"]
    assert named["leaf"] == "Figures" and named["size"] == first["size"]
    again = start()  # the last work, without being named
    assert again["title"] == "Panel" and not again["welcome"] and again["within"]
