"""What is asked about files: work that a mishap left, a file open elsewhere, one changed since."""

from __future__ import annotations

import time

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QMessageBox,
    QVBoxLayout,
    QWidget,
)

from app.widgets import button, text
from core.keptaside import LeftWork

COPY, LOOK, GO_ON = "Open a copy", "Only look", "Go on all the same"
ANOTHER, REPLACE = "Save as another ...", "Replace it"


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
