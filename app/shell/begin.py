"""How a commission begins: the welcome with three ways, and what a new one is asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QEvent, QObject, QSize, Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFrame,
    QHBoxLayout,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import settings, theme
from app.icons import icon
from app.widgets import Number, Switch, button, text

SHOWN = 4  # recent files on the welcome; the menu has them all


class NewDialog(QDialog):
    """Asks the name and size of a new commission."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle("New commission")
        self._name = QLineEdit()
        self._name.setPlaceholderText("Name of the commission")
        self._name.setAccessibleName("Name of the commission")
        self.width_mm = Number("Finished width", "mm", 10, 100_000, lambda v: None, 0, 10)
        self.height_mm = Number("Finished height", "mm", 10, 100_000, lambda v: None, 0, 10)
        self.width_mm.show_value(900)
        self.height_mm.show_value(600)
        b = QDialogButtonBox.StandardButton
        buttons = QDialogButtonBox(b.Ok | b.Cancel)
        buttons.button(b.Ok).setText("Begin")
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 18, 20, 16)
        box.setSpacing(12)
        for w in (text("New commission", "title"), self._name, self.width_mm, self.height_mm):
            box.addWidget(w)
        box.addWidget(buttons)
        self.setMinimumWidth(theme.px(380))

    @property
    def name(self) -> str:
        """What was typed."""
        return self._name.text().strip()


class Welcome(QFrame):
    """Lies on the bench while there is no work on it: three ways to begin, and recent works.

    Parameters
    ----------
    ways : sequence of (str, str, str, callable)
        Each way's icon, name, what it is, and how it is gone.
    reopen : callable
        Opens one of the recent files.
    show_round : callable
        Begins the first tour.
    """

    def __init__(
        self,
        bench: QWidget,
        ways: Sequence[tuple[str, str, str, Callable[[], object]]],
        reopen: Callable[[Path], object],
        show_round: Callable[[], object],
    ) -> None:
        super().__init__(bench)
        self.setProperty("role", "card")
        self.setAccessibleName("Welcome")
        self._reopen = reopen
        box = QVBoxLayout(self)
        box.setContentsMargins(24, 18, 24, 16)
        box.setSpacing(12)
        box.addWidget(text("Begin a commission", "title"))
        across = QHBoxLayout()
        across.setSpacing(10)
        self.ways: dict[str, QToolButton] = {}
        for drawn, name, what, go in ways:
            b = QToolButton()
            b.setProperty("role", "way")
            b.setIcon(icon(drawn, 40))
            b.setIconSize(QSize(40, 40))
            b.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextUnderIcon)
            b.setText(f"{name}\n{what}")
            b.setAccessibleName(name)
            b.setAccessibleDescription(what)
            b.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
            b.clicked.connect(lambda _=False, go=go: go())
            self.ways[name] = b
            across.addWidget(b)
        box.addLayout(across)
        self._head = text("Go on with", "head")
        box.addWidget(self._head)
        self._recent = QVBoxLayout()
        self._recent.setSpacing(4)
        box.addLayout(self._recent)
        self._again = Switch(
            "Open the last work when the program starts", lambda on: settings.change(reopen=on)
        )
        self.tour = button("Show me round", show_round, tip="Five steps round the window")
        foot = QHBoxLayout()
        foot.addWidget(self._again, 1)
        foot.addWidget(self.tour)
        box.addLayout(foot)
        bench.installEventFilter(self)
        self.hide()

    def open_up(self) -> None:
        """Show it, with the files as they are now."""
        while self._recent.count():
            self._recent.takeAt(0).widget().deleteLater()
        now = settings.read()
        for path in [Path(p) for p in now.recent][:SHOWN]:
            b = QPushButton(path.name)
            b.setProperty("role", "recent")
            b.setToolTip(str(path))
            b.clicked.connect(lambda _=False, path=path: self._reopen(path))
            self._recent.addWidget(b)
        self._head.setVisible(bool(now.recent))
        self._again.show_value(now.reopen)
        self.show()
        self._place()
        self.raise_()
        next(iter(self.ways.values())).setFocus()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Stay in the middle of the bench."""
        if event.type() == QEvent.Type.Resize and self.isVisible():
            self._place()
        return False

    def _place(self) -> None:
        bench = self.parentWidget()
        room = bench.rect().adjusted(30, 30, -12, -12)
        wide = min(theme.px(680), room.width())
        high = min(max(self.sizeHint().height(), self.heightForWidth(wide)), room.height())
        self.setGeometry(
            room.x() + (room.width() - wide) // 2,
            room.y() + (room.height() - high) // 2,
            wide,
            high,
        )
