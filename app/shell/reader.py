"""A window to read in: pages with a list of their headings, and words to be found in them."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtGui import (
    QCloseEvent,
    QColor,
    QKeySequence,
    QShortcut,
    QTextBlock,
    QTextBlockFormat,
    QTextCursor,
    QTextDocument,
)
from PySide6.QtWidgets import (
    QDialog,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QTextBrowser,
    QTextEdit,
    QVBoxLayout,
    QWidget,
)

from app import theme
from app.widgets import button

PICTURE_PX = 620  # pictures are no wider
DEEPEST = 3  # headings that the list names
AT = Qt.ItemDataRole.UserRole


class Reader(QDialog):
    """Shows Markdown. Pictures are looked for in `folder`."""

    def __init__(self, parent: QWidget, title: str, words: str, folder: Path | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setModal(False)
        self.pages = QTextBrowser()
        self.pages.setAccessibleName(title)
        self.pages.setOpenExternalLinks(False)
        self.pages.setOpenLinks(False)
        self.headings = QListWidget()
        self.headings.setAccessibleName("Contents")
        self.headings.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.headings.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.headings.itemClicked.connect(self._turn_to)
        self.headings.itemActivated.connect(self._turn_to)
        self.sought = QLineEdit()
        self.sought.setPlaceholderText("Find in the text")
        self.sought.setAccessibleName("Find in the text")
        self.sought.setClearButtonEnabled(True)
        self.sought.textChanged.connect(self._seek)
        self.sought.returnPressed.connect(lambda: self.step(1))
        self.told = QLabel()
        self.told.setProperty("role", "hint")
        self.back = button("Before", lambda: self.step(-1))
        self.on = button("Next", lambda: self.step(1))
        self.found: list[QTextCursor] = []
        self.at = -1
        for key, do in (
            (QKeySequence.StandardKey.Find, self._begin_to_seek),
            (QKeySequence.StandardKey.FindNext, lambda: self.step(1)),
            (QKeySequence.StandardKey.FindPrevious, lambda: self.step(-1)),
        ):
            QShortcut(QKeySequence(key), self).activated.connect(do)
        top = QHBoxLayout()
        for w in (self.sought, self.told, self.back, self.on):
            top.addWidget(w, int(w is self.sought))
        middle = QHBoxLayout()
        middle.addWidget(self.headings)
        middle.addWidget(self.pages, 1)
        box = QVBoxLayout(self)
        box.addLayout(top)
        box.addLayout(middle, 1)
        theme.fix(self.headings, wide=230)
        self._write(words, folder)
        self._seek("")
        self.resize(theme.px(960), min(theme.px(700), 680))

    def _write(self, words: str, folder: Path | None) -> None:
        self.pages.setSearchPaths([str(folder)] if folder is not None else [])
        doc = self.pages.document()
        doc.setDocumentMargin(16)
        doc.setMarkdown(words)
        block = doc.begin()
        while block.isValid():
            level = block.blockFormat().headingLevel()
            if 0 < level <= DEEPEST:
                item = QListWidgetItem("    " * (level - 1) + block.text())
                item.setData(AT, block.position())
                self.headings.addItem(item)
            self._bound_pictures(block)
            if QTextCursor(block).currentTable() is None:
                room = QTextBlockFormat()
                room.setTopMargin(14 if level else 0)
                room.setBottomMargin(8)
                QTextCursor(block).mergeBlockFormat(room)
            block = block.next()
        self.pages.moveCursor(QTextCursor.MoveOperation.Start)

    def _bound_pictures(self, block: QTextBlock) -> None:
        """Make pictures no wider than the page; they were taken of the whole window."""
        parts = block.begin()
        while not parts.atEnd():
            part = parts.fragment()
            if part.charFormat().isImageFormat():
                picture = part.charFormat().toImageFormat()
                picture.setWidth(PICTURE_PX)
                cursor = QTextCursor(block)
                cursor.setPosition(part.position())
                cursor.setPosition(part.position() + part.length(), QTextCursor.MoveMode.KeepAnchor)
                cursor.setCharFormat(picture)
            parts += 1

    def _turn_to(self, item: QListWidgetItem) -> None:
        cursor = QTextCursor(self.pages.document())
        cursor.setPosition(item.data(AT))
        self._show(cursor)

    def _show(self, cursor: QTextCursor) -> None:
        """Bring a place to the upper edge of what is seen."""
        self.pages.moveCursor(QTextCursor.MoveOperation.End)
        self.pages.setTextCursor(cursor)
        bar = self.pages.verticalScrollBar()
        bar.setValue(bar.value() + self.pages.cursorRect(cursor).top() - 12)

    # --- seeking

    def _begin_to_seek(self) -> None:
        self.sought.setFocus()
        self.sought.selectAll()

    def _seek(self, words: str) -> None:
        """Find every place of the words, however they are capitalised, and show the first."""
        self.found, self.at = [], -1
        doc = self.pages.document()
        cursor = QTextCursor(doc)
        while words.strip():
            cursor = doc.find(words.strip(), cursor, QTextDocument.FindFlag(0))
            if cursor.isNull():
                break
            self.found.append(QTextCursor(cursor))
        self.step(1)

    def step(self, by: int) -> None:
        """Go to the next place found, or the one before; round again at the end."""
        self.at = (self.at + by) % len(self.found) if self.found else -1
        marks = []
        for k, cursor in enumerate(self.found):
            mark = QTextEdit.ExtraSelection()
            mark.cursor = cursor
            here = k == self.at
            mark.format.setBackground(QColor(theme.VERDIGRIS if here else theme.VERDIGRIS_PALE))
            mark.format.setForeground(QColor(theme.ON_VERDIGRIS if here else theme.INK))
            marks.append(mark)
        self.pages.setExtraSelections(marks)
        for b in (self.back, self.on):
            b.setEnabled(len(self.found) > 1)
        if self.found:
            place = QTextCursor(self.found[self.at])
            place.setPosition(place.selectionStart())
            self._show(place)
            self.told.setText(f"{self.at + 1} of {len(self.found)}")
        else:
            self.told.setText("Not found" if self.sought.text().strip() else "")

    def closeEvent(self, event: QCloseEvent) -> None:
        """Go for good: it is made anew in the look of then."""
        super().closeEvent(event)
        self.deleteLater()
