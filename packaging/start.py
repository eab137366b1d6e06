#!/usr/bin/env python3
"""Sets Emblema up on a fresh machine and opens it: python3 packaging/start.py [FILE]

Makes .venv beside this folder, installs the locked dependencies into it, and opens the window, on
a file where one is named. Without a screen it lays the demo instead and writes cartoon, counts and
picture to a folder that it names. `python3 packaging/start.py test` does the same set-up and runs
all checks; `menu` puts Emblema in the desktop's menu and lets it open its files (Linux).
Needs nothing but Python 3.11 or later. Works on Linux, macOS and Windows.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "assets" / "demo" / "heron.emblema"
sys.path.insert(0, str(ROOT))

from app import desktop, needs

VENV = ROOT / ".venv"
LOCK = ROOT / "packaging" / "requirements.lock"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

# tests of the laying that are done again as on another processor
FAST = ("bends", "quality", "nip", "strips", "split", "wedges", "gaps", "facts")


def say(words: str) -> None:
    print(words, flush=True)


def stop(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
    sys.exit(2)


def check_python() -> None:
    fault = needs.old_python()
    if fault is not None:
        stop(fault)


def run(command: list[str], why: str, **more: object) -> None:
    try:
        subprocess.run(command, check=True, cwd=ROOT, **more)
    except (OSError, subprocess.CalledProcessError):
        stop(why)


def make_venv() -> None:
    if PYTHON.exists():
        works = subprocess.run([str(PYTHON), "-m", "pip", "--version"], capture_output=True)
        if works.returncode == 0:
            return
        shutil.rmtree(VENV, ignore_errors=True)
    say("Making .venv ...")
    run(
        [sys.executable, "-m", "venv", str(VENV)],
        "A virtual environment could not be made. On Debian or Ubuntu: "
        "sudo apt-get install python3-venv",
    )


def install() -> None:
    stamp = VENV / "emblema-lock.txt"
    wanted = hashlib.sha256(LOCK.read_bytes()).hexdigest() + sys.version
    if stamp.exists() and stamp.read_text() == wanted:
        return
    say("Installing the locked dependencies ...")
    run(
        [
            str(PYTHON),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "-r",
            str(LOCK),
        ],
        "The dependencies could not be installed; is there a connection to the network? "
        "What pip said stands above.",
    )
    stamp.write_text(wanted)


def system_libraries(show: bool) -> None:
    missing = needs.missing_libraries(show)
    if not missing:
        return
    line = needs.install_line(missing)
    if os.geteuid() != 0:
        stop(f"Qt lacks some system libraries. Install them and start again:\n  sudo {line}")
    say(f"Installing system libraries: {' '.join(missing)}")
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    subprocess.run(["apt-get", "update", "-qq"], env=quiet)
    done = subprocess.run(line.split(), env=quiet, stdout=subprocess.DEVNULL)
    if done.returncode:  # the name of glib's package changed with 64-bit time
        other = [p.replace("libglib2.0-0", "libglib2.0-0t64") for p in missing]
        run(
            line.split()[:4] + other,
            f"System libraries could not be installed. Try: {line}",
            env=quiet,
            stdout=subprocess.DEVNULL,
        )


def environment(show: bool) -> dict[str, str]:
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    if not show:
        env["QT_QPA_PLATFORM"] = "offscreen"
    return env


def test() -> int:
    env = environment(False)
    steps = (
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["pytest", "-q", "-n", "2"],
    )
    # and a fast part of the laying's once more, with the arithmetic of another processor
    laying = "tests/core/laying"
    again = [f"{laying}/test_{name}.py" for name in FAST]
    commands = [["-m", *step] for step in steps]
    commands.append([f"{laying}/kernels.py", *commands[-1], *again])
    for command in commands:
        say("> " + " ".join(command))
        code = subprocess.run([str(PYTHON), *command], cwd=ROOT, env=env).returncode
        if code:
            return code
    return 0


def opens(file: str | None, fresh: bool) -> list[str]:
    """Return what the window is opened on: a file, the demo the first time, else the last work."""
    if file is not None:
        return [file]
    return [str(DEMO)] if fresh else []


def open_window(file: str | None, fresh: bool) -> int:
    emblema = [str(PYTHON), "-m", "app", *opens(file, fresh)]
    return subprocess.run(emblema, cwd=ROOT, env=environment(True)).returncode


def write_demo() -> int:
    home = Path.home()
    out = (home if os.access(home, os.W_OK) else Path(tempfile.gettempdir())) / "emblema-demo"
    say("There is no screen here, so the demo commission is laid and written instead.")
    command = [str(PYTHON), "-m", "app", "demo", "--out", str(out)]
    code = subprocess.run(command, cwd=ROOT, env=environment(False)).returncode
    if code == 0:
        say(f"Cartoon, counts and picture are in {out}")
    return code


def put_in_menu() -> int:
    if not sys.platform.startswith("linux"):
        stop("Only Linux has such a menu; elsewhere open files from the window.")
    try:
        written = desktop.put_in_menu(PYTHON, ROOT)
    except OSError as e:
        stop(f"The menu could not be written to: {e.strerror}: '{e.filename}'.")
    say(f"Emblema is in the menu now, and opens its files ({written}).")
    return 0


def main() -> int:
    check_python()
    what = sys.argv[1] if len(sys.argv) == 2 else None
    file = str(Path(what).resolve()) if what is not None and Path(what).is_file() else None
    if len(sys.argv) > 2 or (what not in (None, "test", "menu") and file is None):
        stop("Usage: python3 packaging/start.py [test | menu | FILE.emblema]")
    show = needs.has_screen() and what != "test"
    fresh = not PYTHON.exists()
    make_venv()
    install()
    system_libraries(show)
    if what == "test":
        return test()
    if what == "menu":
        return put_in_menu()
    return open_window(file, fresh) if show else write_demo()


if __name__ == "__main__":
    sys.exit(main())
