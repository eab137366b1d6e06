"""About the program: what it is, its version, and the licences of the libraries it stands on."""

from __future__ import annotations

import importlib.metadata as metadata
import platform
import re
import tomllib
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QHBoxLayout,
    QListWidget,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from app import theme
from app.shell.help import ROOT
from app.widgets import text

# what the program itself imports; what they need in turn is found from them
LIBRARIES = (
    "PySide6-Essentials",
    "numpy",
    "scipy",
    "shapely",
    "scikit-image",
    "pillow",
    "colour-science",
    "ezdxf",
    "msgspec",
    "pypdf",
    "platformdirs",
)
_NAME = re.compile(r"[A-Za-z0-9._-]+")
_PAPERS = ("LICENSE", "LICENCE", "COPYING", "NOTICE")
LONGEST = 60  # a licence's name is no longer; some libraries put its whole text there


@dataclass(frozen=True)
class Library:
    """A library with its version, its licence's name, and the licence's words."""

    name: str
    version: str
    licence: str
    words: str


def version() -> str:
    """Return the program's version."""
    try:
        return metadata.version("emblema")
    except metadata.PackageNotFoundError:
        project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))
        return str(project["project"]["version"])


def libraries() -> list[Library]:
    """Return Python and every library that is there, each before those that it needs."""
    python = Library(
        "Python", platform.python_version(), "PSF-2.0", "https://docs.python.org/3/license.html"
    )
    found, wanted, seen = [python], list(LIBRARIES), set()
    while wanted:
        name = wanted.pop(0)
        known = name.lower().replace("_", "-")
        if known in seen:
            continue
        seen.add(known)
        try:
            dist = metadata.distribution(name)
        except metadata.PackageNotFoundError:  # needed on other systems only
            continue
        found.append(Library(dist.name, dist.version, _licence(dist), _words(dist)))
        for needed in dist.requires or ():
            match = _NAME.match(needed)
            if match is not None and "extra ==" not in needed:
                wanted.append(match.group())
    return found


def _licence(dist: metadata.Distribution) -> str:
    about = dist.metadata
    named = about.get("License-Expression") or about.get("License") or ""
    if named and "\n" not in named and len(named) <= LONGEST:
        return str(named)
    for line in about.get_all("Classifier") or ():
        if line.startswith("License ::") and line.count("::") == 2:
            return str(line.split("::")[-1].strip())
    return str(named.split("\n")[0][:LONGEST]) or "see its words"


def _words(dist: metadata.Distribution) -> str:
    """Return the licence's own words, from the files that came with the library."""
    papers = []
    for file in dist.files or ():
        if file.name.upper().startswith(_PAPERS) and file.suffix not in (".py", ".pyc"):
            try:
                papers.append(f"{file}\n\n{file.read_text('utf-8')}")
            except (OSError, UnicodeDecodeError):
                continue
    own = dist.metadata.get("License") or ""
    return "\n\n".join(papers) or own or "No words of it came with the library."


class About(QDialog):
    """What the program is, and its libraries; the chosen one's licence is shown whole."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle("About Emblema")
        self._all = libraries()
        self.list = QListWidget()
        self.list.setAccessibleName("Libraries")
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setWordWrap(True)
        for one in self._all:
            self.list.addItem(f"{one.name} {one.version}   {one.licence}")
        self.words = QPlainTextEdit()
        self.words.setReadOnly(True)
        self.words.setTabChangesFocus(True)
        self.words.setAccessibleName("Words of the licence")
        self.list.currentRowChanged.connect(lambda k: self.words.setPlainText(self._all[k].words))
        self.list.setCurrentRow(0)
        close = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        close.rejected.connect(self.reject)
        across = QHBoxLayout()
        across.addWidget(self.list, 2)
        across.addWidget(self.words, 3)
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 18, 20, 14)
        box.setSpacing(10)
        box.addWidget(text(f"Emblema {version()}", "title"))
        box.addWidget(
            text(
                "From the client's sketch to the sheets that go on the wall. An emblema is the "
                "fine panel that a mosaicist makes in the studio and then sets on site."
            )
        )
        box.addWidget(text("The libraries it stands on, and their licences", "head"))
        box.addLayout(across, 1)
        box.addWidget(close)
        self.resize(theme.px(880), min(theme.px(560), 640))
