"""What the program needs of the computer, and how it is said where that lacks.

Nothing here needs more than Python's own library: it speaks when nothing else can.
"""

from __future__ import annotations

import ctypes.util
import os
import shutil
import sys
from pathlib import Path

PYTHON = (3, 11)
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
FOLDERS = ("/usr/lib", "/usr/lib64", "/usr/local/lib", "/lib", "/lib64")
SET_UP = "python3 packaging/start.py"


def has_screen() -> bool:
    """Return whether a window can be seen here."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def old_python() -> str | None:
    """Return one sentence where this Python is too old, None where it will do."""
    if sys.version_info < PYTHON:
        wanted = ".".join(map(str, PYTHON))
        return f"Emblema needs Python {wanted} or later; this is {sys.version.split()[0]}."
    return None


def missing_libraries(show: bool) -> list[str]:
    """Return the Debian packages that Qt lacks here, to paint or to `show` a window too."""
    if not sys.platform.startswith("linux") or not shutil.which("apt-get"):
        return []
    needed = {**PAINTS, **(SHOWS if show else {})}
    missing = [package for name, package in needed.items() if not _found(name)]
    fonts = ("/usr/share/fonts", "/usr/local/share/fonts", os.path.expanduser("~/.fonts"))
    if not any(Path(f).is_dir() and any(Path(f).rglob("*.[to]tf")) for f in fonts):
        missing.append(FONT)
    return missing


def _found(name: str) -> bool:
    # files first: to ask the system starts a process, and a bare machine may lack its tools
    own = os.environ.get("LD_LIBRARY_PATH", "").split(os.pathsep)
    for folder in map(Path, (*FOLDERS, *filter(None, own))):
        if any(True for shape in ("", "*/") for _ in folder.glob(f"{shape}lib{name}.so*")):
            return True
    return bool(ctypes.util.find_library(name))


def install_line(packages: list[str]) -> str:
    """Return the line that installs Debian packages."""
    return f"apt-get install -y --no-install-recommends {' '.join(packages)}"


def window_fault() -> str | None:
    """Return what keeps a window from opening here, with what to do; None where nothing does.

    Qt itself would end the program without a word that helps.
    """
    if os.environ.get("QT_QPA_PLATFORM") not in (None, "", "xcb"):
        return None
    if not has_screen():
        return (
            "There is no screen here (DISPLAY is not set). 'emblema demo --out DIR' and the other "
            "commands work without one; 'emblema --help' names them."
        )
    by_x = bool(os.environ.get("DISPLAY")) and not os.environ.get("WAYLAND_DISPLAY")
    missing = missing_libraries(by_x)
    if missing:
        return f"Qt lacks some system libraries. Install them: sudo {install_line(missing)}"
    return None


def import_fault(error: ImportError) -> str:
    """Return in one sentence what a failed import lacks, with what to do."""
    if isinstance(error, ModuleNotFoundError):
        return f"The library '{error.name}' is not installed here. Set all up with: {SET_UP}"
    missing = missing_libraries(False)
    what = f"Install them: sudo {install_line(missing)}" if missing else f"Try: {SET_UP}"
    return f"A system library is missing ({error}). {what}"
