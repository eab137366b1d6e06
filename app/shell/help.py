"""Help: the manual as it is handed out, every key, and where each is found."""

from __future__ import annotations

import importlib.metadata
from pathlib import Path

from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QMainWindow, QMenu, QWidget

from app.shell.reader import Reader
from app.tools import TOOLS
from core.resources import ASSETS

ROOT = ASSETS.parent
MANUAL = ROOT / "README.md"
HEAD = "| Keys | What they do |\n|---|---|\n"
ON_THE_BENCH = (
    ("Wheel", "zooms about the hand; with Shift it moves the view"),
    ("Space and drag, or the middle button", "moves the view with any tool in hand"),
    ("Arrows", "move the view"),
    ("Enter", "ends a line or an outline, places an ornament"),
    ("Escape", "gives up what is being drawn; with the hand it chooses nothing"),
    ("Backspace", "takes the last point back"),
    ("Delete", "with the hand: takes the chosen fields away"),
    ("S", "while an outline is drawn: smooth or straight"),
    ("Up, Down", "with the size line: larger or smaller pieces"),
    ("Shift and drag", "with Shift: turns a piece"),
    ("Alt and drag", "with the hand: moves a field"),
    ("Tab", "goes on to the next button, field or list; F6 to the next part of the window"),
)


def manual_text() -> str:
    """Return the manual as Markdown: the file beside the program, or as it was installed."""
    if MANUAL.is_file():
        return MANUAL.read_text("utf-8")
    try:
        return importlib.metadata.metadata("emblema").get_payload()
    except importlib.metadata.PackageNotFoundError:
        return "# Emblema\n\nThe manual was not installed with the program."


def read_manual(parent: QWidget) -> Reader:
    """Open the manual."""
    return _opened(Reader(parent, "Manual", manual_text(), Path(ROOT)))


def read_keys(window: QMainWindow) -> Reader:
    """Open the page of keys."""
    return _opened(Reader(window, "Keys", keys_text(window)))


def _opened(reader: Reader) -> Reader:
    reader.show()
    reader.pages.setFocus()
    return reader


def keys_text(window: QMainWindow) -> str:
    """Return every key as Markdown, from the menus themselves."""
    pages = ["# Keys"]
    hints = {kind.name: kind.hint for kind in TOOLS}
    for top in window.menuBar().actions():
        rows = [
            (_keys(a), hints.get(a.text(), a.text().replace("&", "")), a.text())
            for a in _commands(top.menu())
            if a.shortcuts()
        ]
        lines = [f"| {k} | {f'{n}: {w}' if n in hints else w} |" for k, w, n in rows]
        pages += [f"## {top.text().replace('&', '')}", HEAD + "\n".join(lines)]
    lines = [f"| {k} | {w} |" for k, w in ON_THE_BENCH]
    pages += ["## On the bench", HEAD + "\n".join(lines)]
    return "\n\n".join(pages) + "\n"


def _commands(menu: QMenu) -> list[QAction]:
    """Return a menu's commands, and those of the menus in it."""
    out: list[QAction] = []
    for action in menu.actions():
        within = action.menu()
        out += _commands(within) if isinstance(within, QMenu) else [action]
    return out


def _keys(action: QAction) -> str:
    native = QKeySequence.SequenceFormat.NativeText
    return " or ".join(s.toString(native) for s in action.shortcuts())
