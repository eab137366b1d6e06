"""Puts the program in the desktop's menu and lets it open its files by a double click (Linux).

References
----------
Desktop Entry, Shared MIME-info and Base Directory specifications, freedesktop.org.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

KIND = "application/x-emblema"
ENTRY = """[Desktop Entry]
Type=Application
Name=Emblema
Comment=From the client's sketch to the sheets that go on the wall
Exec={python} -m app %f
Path={root}
Icon={icon}
Terminal=false
Categories=Graphics;
MimeType={kind};
"""
MIME = """<?xml version="1.0" encoding="UTF-8"?>
<mime-info xmlns="http://www.freedesktop.org/standards/shared-mime-info">
  <mime-type type="{kind}">
    <comment>Emblema commission</comment>
    <sub-class-of type="application/zip"/>
    <glob pattern="*.emblema"/>
  </mime-type>
</mime-info>
"""


def put_in_menu(python: Path, root: Path) -> Path:
    """Write the entry and the kind of file for this user; return the entry.

    Parameters
    ----------
    python : Path
        The Python that the program runs in.
    root : Path
        The program's folder.

    Raises
    ------
    OSError
        The user's folder cannot be written to.
    """
    home = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    icon = root / "assets" / "icons" / "emblema.svg"
    entry = home / "applications" / "emblema.desktop"
    mime = home / "mime" / "packages" / "emblema.xml"
    for file in (entry, mime):
        file.parent.mkdir(parents=True, exist_ok=True)
    command = _quoted(str(python))
    # a backslash of the value itself is written twice, once for the entry's own way of escaping
    entry.write_text(
        ENTRY.format(
            python=command.replace("\\", "\\\\"),
            root=str(root).replace("\\", "\\\\"),
            icon=icon,
            kind=KIND,
        ),
        "utf-8",
    )
    mime.write_text(MIME.format(kind=KIND), "utf-8")
    for tool, folder in (
        ("update-mime-database", home / "mime"),
        ("update-desktop-database", entry.parent),
    ):
        if shutil.which(tool):  # where there is none the desktop finds them at its next start
            subprocess.run([tool, str(folder)], capture_output=True, check=False)
    return entry


def _quoted(path: str) -> str:
    """Return a path as one word of an Exec line."""
    escaped = "".join(f"\\{c}" if c in '"`$\\' else c for c in path).replace("%", "%%")
    return f'"{escaped}"'
