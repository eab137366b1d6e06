"""What the tests of the hand tools share: pieces as they lie, one step of undo, menus."""

import zlib

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QMenu

ESCAPE, ENTER = Qt.Key.Key_Escape, Qt.Key.Key_Return


def shapes(t):
    """Return the pieces as they lie."""
    return [p.wkb for p in t.session.layout.fields[0].pieces.polygons]


def one_step_back(t, label: str, before, laid_before=None) -> None:
    """Undo gives the document of before in one step, redo the edit again."""
    after = t.session.doc
    assert after != before
    assert t.session.undo_label == label
    t.session.undo()
    assert t.session.doc is before and t.session.undo_label is None
    t.lay()
    if laid_before is not None:
        assert shapes(t) == laid_before
    t.session.redo()
    assert t.session.doc is after and t.session.redo_label is None
    t.lay()


def menu_at(t, at) -> QMenu:
    """Open the tool's menu at a place."""
    t.bench.tool.menu(at, t.bench.mapToGlobal(t.px(at)))
    menu = QApplication.activePopupWidget()
    assert isinstance(menu, QMenu)
    return menu


def choose(menu: QMenu, begins: str) -> None:
    next(a for a in menu.actions() if a.text().startswith(begins)).trigger()
    menu.close()


def picture(t) -> int:
    """Return what the bench shows, as a number."""
    image = t.bench.grab().toImage()
    return zlib.crc32(bytes(image.constBits()))
