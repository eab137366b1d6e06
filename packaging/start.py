#!/usr/bin/env python3
"""Sets Emblema up on a fresh machine and opens it: python3 packaging/start.py

Makes .venv beside this folder, installs the locked dependencies into it, and opens the demo
commission. Without a screen it lays the demo instead and writes cartoon, counts and picture to a
folder that it names. `python3 packaging/start.py test` does the same set-up and runs all checks.
Needs nothing but Python 3.11 or later. Works on Linux, macOS and Windows.
"""

from __future__ import annotations

import ctypes.util
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
LOCK = ROOT / "packaging" / "requirements.lock"
PYTHON = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")

# What Qt needs of a bare Debian: to paint without a screen, and to open a window.
PAINTS = {
    "GL": "libgl1",
    "EGL": "libegl1",
    "xkbcommon": "libxkbcommon0",
    "fontconfig": "libfontconfig1",
    "dbus-1": "libdbus-1-3",
    "glib-2.0": "libglib2.0-0",
}
SHOWS = {
    "xcb-cursor": "libxcb-cursor0",
    "xkbcommon-x11": "libxkbcommon-x11-0",
    "xcb-icccm": "libxcb-icccm4",
    "xcb-keysyms": "libxcb-keysyms1",
    "xcb-shape": "libxcb-shape0",
}
FONT = "fonts-dejavu-core"
# tests of the laying that are done again as on another processor
FAST = ("bends", "quality", "nip", "strips", "split", "wedges", "gaps", "facts")


def say(words: str) -> None:
    print(words, flush=True)


def stop(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
    sys.exit(2)


def has_screen() -> bool:
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def check_python() -> None:
    if sys.version_info < (3, 11):  # noqa: UP036 - said plainly to whoever runs an older one
        stop(f"Emblema needs Python 3.11 or later; this is {sys.version.split()[0]}.")


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


def missing_libraries(show: bool) -> list[str]:
    """Return the Debian packages that Qt lacks here."""
    if not sys.platform.startswith("linux") or not shutil.which("apt-get"):
        return []
    needed = {**PAINTS, **(SHOWS if show else {})}
    missing = [package for name, package in needed.items() if not _found(name)]
    fonts = ("/usr/share/fonts", "/usr/local/share/fonts", os.path.expanduser("~/.fonts"))
    if not any(Path(f).is_dir() and any(Path(f).rglob("*.[to]tf")) for f in fonts):
        missing.append(FONT)
    return missing


def _found(name: str) -> bool:
    if ctypes.util.find_library(name):
        return True
    # a bare machine may have the library but no compiler's tools to look it up with
    folders = ("/usr/lib", "/usr/local/lib", "/lib")
    return any(p for f in folders for p in Path(f).glob(f"*/lib{name}.so*"))


def system_libraries(show: bool) -> None:
    missing = missing_libraries(show)
    if not missing:
        return
    line = f"apt-get install -y --no-install-recommends {' '.join(missing)}"
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


def open_demo(show: bool) -> int:
    env = environment(show)
    emblema = [str(PYTHON), "-m", "app"]
    if show:
        demo = str(ROOT / "assets" / "demo" / "heron.emblema")
        return subprocess.run([*emblema, demo], cwd=ROOT, env=env).returncode
    home = Path.home()
    out = (home if os.access(home, os.W_OK) else Path(tempfile.gettempdir())) / "emblema-demo"
    say("There is no screen here, so the demo commission is laid and written instead.")
    code = subprocess.run([*emblema, "demo", "--out", str(out)], cwd=ROOT, env=env).returncode
    if code == 0:
        say(f"Cartoon, counts and picture are in {out}")
    return code


def main() -> int:
    check_python()
    testing = sys.argv[1:] == ["test"]
    if sys.argv[1:] and not testing:
        stop("Usage: python3 packaging/start.py [test]")
    show = has_screen() and not testing
    make_venv()
    install()
    system_libraries(show)
    return test() if testing else open_demo(show)


if __name__ == "__main__":
    sys.exit(main())
