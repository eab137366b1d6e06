"""What is asked about files: which, and where; work that a mishap left, a file that is open
elsewhere, changed since, or no longer where it was.
"""

from __future__ import annotations

import time
from pathlib import Path

from PySide6.QtCore import QStandardPaths, Qt
from PySide6.QtWidgets import (
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QMessageBox,
    QVBoxLayout,
    QWidget,
)

from app import settings
from app.widgets import button, text
from core.keptaside import LeftWork

COPY, LOOK, GO_ON = "Open a copy", "Only look", "Go on all the same"
ANOTHER, REPLACE = "Save as another ...", "Replace it"
LOOK_FOR, TAKE_OFF, SAVE_HERE = "Look for it ...", "Take it off the list", "Save it here again"


def which_file(parent: QWidget, title: str, kinds: str, what: str) -> str:
    """Ask which file to open, beginning where one of its kind was opened last; "" for none."""
    path, _ = QFileDialog.getOpenFileName(parent, title, str(_begin(what)), kinds)
    return _noted(path, what)


def where_to(
    parent: QWidget, title: str, name: str, kinds: str, what: str, beside: Path | None = None
) -> str:
    """Ask where to write a file; "" for nowhere.

    It begins where the like was written last, the first time beside the commission's file. A
    `name` with a folder of its own begins there.
    """
    first = Path(name)
    if not first.is_absolute():
        first = _begin(what, beside) / name
    path, _ = QFileDialog.getSaveFileName(parent, title, str(first), kinds)
    return _noted(path, what)


def which_folder(parent: QWidget, title: str, what: str, beside: Path | None = None) -> str:
    """Ask for a folder to write into; "" for none."""
    path = QFileDialog.getExistingDirectory(parent, title, str(_begin(what, beside)))
    if path:
        settings.remember_folder(what, Path(path))
    return path


def _begin(what: str, beside: Path | None = None) -> Path:
    """Return the folder to begin in: the last one, the commission's, or the user's documents."""
    last = settings.folder_of(what)
    if last is None and beside is not None and beside.parent.is_dir():
        last = beside.parent
    if last is None:
        place = QStandardPaths.StandardLocation.DocumentsLocation
        last = Path(QStandardPaths.writableLocation(place) or Path.home())
    return last if last.is_dir() else Path.home()


def _noted(path: str, what: str) -> str:
    if path:
        settings.remember_folder(what, Path(path).parent)
    return path


def ask_moved(parent: QWidget, path: Path) -> str | None:
    """Ask about a recent file that is no longer there: LOOK_FOR, TAKE_OFF or None."""
    return _ask(
        parent,
        "Not there any more",
        f"'{path.name}' is no longer in '{path.parent}'.",
        "It may have been moved, renamed or deleted, or its disk is not connected.",
        (LOOK_FOR, TAKE_OFF),
        "Cancel",
    )


def ask_moved_away(parent: QWidget, path: Path) -> str | None:
    """Ask where to save work whose file was moved away meanwhile: SAVE_HERE, ANOTHER or None."""
    return _ask(
        parent,
        "Moved away",
        f"'{path.name}' is no longer in '{path.parent}'.",
        "It was moved, renamed or deleted since it was opened here. Nothing of the work is lost.",
        (SAVE_HERE, ANOTHER),
        "Cancel",
    )


def ask_open_elsewhere(parent: QWidget, name: str) -> str | None:
    """Ask how to open a file that another window has open: COPY, LOOK, GO_ON or None."""
    return _ask(
        parent,
        "Open in another window",
        f"'{name}' is open in another window.",
        "A copy is a commission of its own. If you go on here, whichever window saves last is "
        "asked before it replaces what the other saved.",
        (COPY, LOOK, GO_ON),
        "Cancel",
    )


def ask_changed(parent: QWidget, name: str) -> str | None:
    """Ask what to do with a file that was changed since it was opened: ANOTHER, REPLACE or None."""
    return _ask(
        parent,
        "Changed meanwhile",
        f"'{name}' was changed by another since it was opened here.",
        "If you replace it, what the other saved is lost.",
        (ANOTHER, REPLACE),
        "Leave it",
    )


def _ask(
    parent: QWidget, title: str, what: str, more: str, answers: tuple[str, ...], no: str
) -> str | None:
    """Ask; return the answer, None for no. The first answer is the one that loses nothing."""
    box = QMessageBox(QMessageBox.Icon.Question, title, what, parent=parent)
    box.setInformativeText(more)
    roles = QMessageBox.ButtonRole
    made = [box.addButton(a, roles.ActionRole) for a in answers]
    box.setEscapeButton(box.addButton(no, roles.RejectRole))
    box.setDefaultButton(made[0])
    box.exec()
    chosen = box.clickedButton()
    return next((a for a, b in zip(answers, made, strict=True) if b is chosen), None)


def warn_of_data_folder(parent: QWidget, fault: str) -> QMessageBox:
    """Say that nothing can be kept in the data folder; the window can be used meanwhile."""
    box = QMessageBox(QMessageBox.Icon.Warning, "Data folder", fault, parent=parent)
    box.setInformativeText(
        "Commissions open and save as always, but unsaved work is not kept aside and the studio's "
        "stock cannot be changed. Set EMBLEMA_DATA to a folder that may be written to, or make "
        "this one writable, and start again."
    )
    box.setModal(False)
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    box.show()
    return box


class KeptDialog(QDialog):
    """Offers work that mishaps left behind. `chosen` is what to open; the rest stays for later."""

    def __init__(self, parent: QWidget, found: list[LeftWork]) -> None:
        super().__init__(parent)
        self.setWindowTitle("Unsaved work")
        self.chosen: LeftWork | None = None
        self.list = QListWidget()
        self.list.setWordWrap(True)
        for kept in found:
            item = QListWidgetItem(_named(kept))
            item.setData(Qt.ItemDataRole.UserRole, kept)
            item.setToolTip(str(kept.file) if kept.file else "Not saved anywhere yet")
            self.list.addItem(item)
        self.list.setCurrentRow(0)
        self.list.itemDoubleClicked.connect(lambda _: self._open())
        self.open_it = button("Open with that work", self._open, "main")
        self.throw = button("Throw it away", self._throw_away)
        self.later = button("Not now", self.reject, tip="It is offered again")
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 18, 20, 16)
        box.setSpacing(12)
        box.addWidget(text("Left unsaved when the program ended", "title"))
        box.addWidget(self.list, 1)
        foot = QHBoxLayout()
        foot.addWidget(self.throw)
        foot.addStretch(1)
        foot.addWidget(self.later)
        foot.addWidget(self.open_it)
        box.addLayout(foot)
        self.open_it.setDefault(True)
        self.resize(560, 280)

    def _open(self) -> None:
        self.chosen = self.list.currentItem().data(Qt.ItemDataRole.UserRole)
        self.accept()

    def _throw_away(self) -> None:
        """Throw the chosen work away, if that is truly meant."""
        item = self.list.currentItem()
        kept: LeftWork = item.data(Qt.ItemDataRole.UserRole)
        b = QMessageBox.StandardButton
        if (
            QMessageBox.question(
                self,
                "Unsaved work",
                f"Throw the unsaved work on '{kept.title or 'a new commission'}' away for good?",
                b.Yes | b.No,
                b.No,
            )
            == b.Yes
        ):
            kept.throw_away()
            self.list.takeItem(self.list.row(item))
            if self.list.count() == 0:
                self.reject()


def ask_kept(parent: QWidget, found: list[LeftWork]) -> LeftWork | None:
    """Offer work that was left behind; return what is to be opened, if any."""
    if not found:
        return None
    ask = KeptDialog(parent, found)
    ask.exec()
    return ask.chosen


def _named(kept: LeftWork) -> str:
    when = time.strftime("%d %B %Y, %H:%M", time.localtime(kept.when_s))
    file = kept.file.name if kept.file else "not saved anywhere yet"
    return f"{kept.title or 'New commission'}  ({file})\n{when}"
