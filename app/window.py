"""The window: tool strip, bench, job card, trays and the bar above them."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import QSize, Qt, QTimer
from PySide6.QtGui import (
    QAction,
    QCloseEvent,
    QDragEnterEvent,
    QDropEvent,
    QKeySequence,
    QResizeEvent,
)
from PySide6.QtWidgets import (
    QApplication,
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QMainWindow,
    QMessageBox,
    QProgressBar,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import fileasking, theme
from app.canvas import Bench
from app.canvas.sight import RULER
from app.icons import icon
from app.jobcard import JobCard
from app.session import Session
from app.tools import GAPS, TOOLS, give_tools
from app.tools.corners import CornersTool
from app.trays import Trays
from app.widgets import Number, row, text
from core import keptaside, openfiles
from core.errors import EmblemaError
from core.files import data_fault
from core.resources import asset

COMMISSIONS = "Emblema commissions (*.emblema)"
PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".bmp")
BANNER_MS = 9000
SLOW_MS = 200  # other colours that take less show no progress


class Window(QMainWindow):
    """One commission on the bench."""

    def __init__(self) -> None:
        super().__init__()
        self.session = Session(self)
        self.bench = Bench(self.session)
        self.card = JobCard(self.session, self.bench)
        self.trays = Trays(self.session, self.bench)
        self.setAcceptDrops(True)
        self._bar = self._make_bar()
        # over the bench, so that the work does not move as it comes and goes
        self._banner = QLabel(self.bench)
        self._banner.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._banner.setWordWrap(True)
        self._banner.setStyleSheet(
            f"background: {theme.VERDIGRIS_PALE}; padding: 8px 14px; font-size: 14px;"
        )
        self._banner.hide()
        self._quiet = QTimer(self, singleShot=True, interval=BANNER_MS)
        self._quiet.timeout.connect(self._banner.hide)
        self._under_hand = text("", "hint")
        self._under_hand.setWordWrap(False)
        self._under_hand.setFixedHeight(24)
        self._lay_out()
        give_tools(self.bench)
        self.bench.tools[CornersTool.name] = CornersTool(self.bench)
        self.session.message.connect(self.say)
        self.session.ask = self._ask_agreed
        self.session.busy.connect(self._busy)
        self.session.progress.connect(self._on_progress)
        self.session.changed.connect(self._show_state)
        self.session.path_changed.connect(self._show_state)
        self.bench.hovered.connect(self._under_hand.setText)
        self.bench.tool_changed.connect(self._show_tool)
        self._show_tool("Hand")
        self._show_state()
        self.resize(1440, 900)

    # --- made once

    def _make_bar(self) -> QFrame:
        bar = QFrame()
        bar.setProperty("role", "bar")
        bar.setFixedHeight(54)
        box = QHBoxLayout(bar)
        box.setContentsMargins(10, 4, 10, 4)
        box.setSpacing(4)
        self.actions_by_name: dict[str, QAction] = {}
        keys = QKeySequence.StandardKey
        for name, key, do in (
            ("New", keys.New, self.ask_new),
            ("Open", keys.Open, self.ask_open),
            ("Save", keys.Save, self.save),
            ("Undo", keys.Undo, self.session.undo),
            ("Redo", keys.Redo, self.session.redo),
        ):
            box.addWidget(self._action_button(name, key, do))
            if name == "Save":
                box.addSpacing(10)
        self._action("Save as", keys.SaveAs, self.ask_save_as)
        self._action("Close", keys.Quit, self.close)
        self._title = QLabel()
        self._title.setProperty("role", "title")
        box.addSpacing(14)
        box.addWidget(self._title)
        box.addStretch(1)
        self._progress = QProgressBar()
        self._progress.setFixedWidth(230)
        self._progress.setRange(0, 100)
        self._stop = QPushButton("Stop")
        self._stop.setFixedSize(64, 34)
        self._stop.clicked.connect(self.session.stop_laying)
        self._slow = QTimer(self, singleShot=True, interval=SLOW_MS)
        self._slow.timeout.connect(lambda: self._show_progress(True))
        self._progress.hide()
        self._stop.hide()
        box.addWidget(self._progress)
        box.addWidget(self._stop)
        box.addSpacing(12)
        self.switches: dict[str, QToolButton] = {}
        for name, words in (
            ("sketch", "Sketch"),
            ("outlines", "Outlines"),
            ("flow", "Flow"),
            ("tesserae", "Tesserae"),
        ):
            b = QToolButton()
            b.setText(words)
            b.setCheckable(True)
            b.setChecked(True)
            b.setFixedHeight(36)
            b.setMinimumWidth(72)
            b.setToolTip(f"Show or hide the {words.lower()}")
            b.toggled.connect(lambda on, n=name: self.bench.set_layer(n, on))
            self.switches[name] = b
            box.addWidget(b)
        box.addSpacing(6)
        box.addWidget(self._action_button("Whole", QKeySequence("0"), self.bench.fit))
        self._action("Nearer", keys.ZoomIn, lambda: self.bench.zoom(1.3))
        self._action("Farther", keys.ZoomOut, lambda: self.bench.zoom(1 / 1.3))
        return bar

    def _action(self, name: str, key: object, do: Callable[[], object]) -> QAction:
        action = QAction(name, self)
        action.setShortcut(QKeySequence(key))  # type: ignore[call-overload]
        action.triggered.connect(lambda *_: do())
        self.addAction(action)
        self.actions_by_name[name] = action
        return action

    def _action_button(self, name: str, key: object, do: Callable[[], object]) -> QToolButton:
        action = self._action(name, key, do)
        action.setIcon(icon(name))
        b = QToolButton()
        b.setDefaultAction(action)
        b.setIconSize(QSize(26, 26))
        b.setFixedSize(44, 42)
        shown = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
        words = {"Whole": "See the whole work"}.get(name, name)
        b.setToolTip(f"{words}  ({shown})" if shown else words)
        return b

    def _make_strip(self) -> QFrame:
        strip = QFrame()
        strip.setProperty("role", "bar")
        strip.setFixedWidth(62)
        box = QVBoxLayout(strip)
        box.setContentsMargins(6, 8, 6, 8)
        box.setSpacing(4)
        self._tool_buttons: dict[str, QToolButton] = {}
        for kind in TOOLS:
            if kind.name in GAPS:
                box.addSpacing(12)
            b = QToolButton()
            b.setIcon(icon(kind.name, 28))
            b.setIconSize(QSize(28, 28))
            b.setFixedSize(50, 48)
            b.setCheckable(True)
            b.setToolTip(f"<b>{kind.name}</b> ({kind.key_letter})<br>{kind.hint}")
            b.clicked.connect(lambda _, n=kind.name: self.bench.take(n))
            take = QAction(self)
            take.setShortcut(QKeySequence(kind.key_letter))
            take.triggered.connect(lambda _=False, n=kind.name: self.bench.take(n))
            self.addAction(take)
            box.addWidget(b)
            self._tool_buttons[kind.name] = b
        box.addStretch(1)
        return strip

    def _lay_out(self) -> None:
        middle = QWidget()
        across = QHBoxLayout(middle)
        across.setContentsMargins(0, 0, 0, 0)
        across.setSpacing(0)
        across.addWidget(self._make_strip())
        bench = QWidget()
        column = QVBoxLayout(bench)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.bench, 1)
        foot = row(self._under_hand)
        foot.layout().setContentsMargins(12, 0, 8, 0)
        column.addWidget(foot)
        across.addWidget(bench, 1)
        across.addWidget(self.card)
        whole = QWidget()
        box = QVBoxLayout(whole)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        box.addWidget(self._bar)
        box.addWidget(middle, 1)
        box.addWidget(self.trays)
        self.setCentralWidget(whole)

    # --- what is shown

    def say(self, words: str) -> None:
        """Say something in plain words above the bench."""
        self._banner.setText(words)
        self._place_banner()
        self._banner.setVisible(bool(words))
        self._quiet.start()

    def _place_banner(self) -> None:
        wide = self.bench.width() - RULER
        self._banner.setGeometry(RULER, RULER, wide, self._banner.heightForWidth(wide))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Keep the banner as wide as the bench."""
        super().resizeEvent(event)
        self._place_banner()

    def _busy(self, on: bool) -> None:
        self._slow.stop()
        self._progress.setValue(0)
        self._progress.setFormat("Laying ...")
        if on and self.session.recolours:
            self._slow.start()
        else:
            self._show_progress(on)

    def _show_progress(self, on: bool) -> None:
        self._progress.setVisible(on)
        self._stop.setVisible(on)

    def _on_progress(self, share: float, what: str) -> None:
        self._progress.setValue(round(100 * share))
        self._progress.setFormat(what[:34])

    def _show_tool(self, name: str) -> None:
        for n, b in self._tool_buttons.items():
            b.setChecked(n == name)

    def _show_state(self) -> None:
        s = self.session
        title = s.doc.title or "New commission"
        star = " *" if s.dirty else ""
        self._title.setText(title + star)
        name = s.path.name if s.path is not None else "not saved yet"
        name += ", only looked at" if s.looking else ""
        self.setWindowTitle(f"{title}{star} ({name}) - Emblema")
        undo, redo = self.actions_by_name["Undo"], self.actions_by_name["Redo"]
        undo.setEnabled(s.undo_label is not None)
        redo.setEnabled(s.redo_label is not None)
        undo.setToolTip(f"Take back: {s.undo_label}" if s.undo_label else "Nothing to take back")
        redo.setToolTip(f"Do again: {s.redo_label}" if s.redo_label else "Nothing to do again")

    # --- files

    def _ask_agreed(self, words: str) -> bool:
        ask = QMessageBox(QMessageBox.Icon.Question, "Change it?", words, parent=self)
        yes = ask.addButton("Change it all the same", QMessageBox.ButtonRole.AcceptRole)
        ask.setDefaultButton(ask.addButton("Leave it", QMessageBox.ButtonRole.RejectRole))
        ask.exec()
        return ask.clickedButton() is yes

    def _try(self, do: Callable[[], object]) -> bool:
        try:
            do()
            return True
        except EmblemaError as e:
            self.say(str(e))
            return False

    def ask_new(self) -> None:
        """Begin a new commission, after asking its size."""
        if not self.may_leave():
            return
        ask = NewDialog(self)
        if ask.exec():
            self.session.new(ask.width_mm.spin.value(), ask.height_mm.spin.value(), ask.name)
            self.card.turn_to("Sketch")

    def ask_open(self) -> None:
        """Open a commission, after asking which."""
        path, _ = QFileDialog.getOpenFileName(self, "Open a commission", "", COMMISSIONS)
        if path and self.may_leave():
            self.open(path)

    def open(self, path: str | Path) -> bool:
        """Open a commission; work kept aside after a mishap is offered."""
        path = Path(path)
        if path.resolve() == asset("demo/heron.emblema").resolve():
            return self._try(lambda: self.session.open_copy(path))
        look = False
        own = openfiles.same_place(path, self.session.path) and not self.session.looking
        if not own and openfiles.is_open(path):
            answer = fileasking.ask_open_elsewhere(self, path.name)
            if answer is None:
                return False
            if answer == fileasking.COPY:
                return self._try(lambda: self.session.open_copy(path))
            look = answer == fileasking.LOOK
        if not look and self.offer(keptaside.left_behind(path)):
            return True
        return self._try(lambda: self.session.open(path, look=look))

    def offer(self, found: list[keptaside.LeftWork]) -> bool:
        """Offer work that was left behind; return whether it was opened."""
        kept = fileasking.ask_kept(self, found)
        return kept is not None and self._try(lambda: self.session.recover(kept))

    def save(self) -> bool:
        """Save, asking where if there is no file yet, or it is only looked at."""
        if self.session.path is None or self.session.looking:
            return self.ask_save_as()
        return self._save_to(self.session.path)

    def _save_to(self, path: Path) -> bool:
        """Save to a file, asking before what another has saved there is replaced."""
        try:
            self.session.save(path)
            return True
        except openfiles.ChangedMeanwhile:
            answer = fileasking.ask_changed(self, path.name)
            if answer == fileasking.ANOTHER:
                return self.ask_save_as()
            if answer is None:
                return False
        except EmblemaError as e:
            self.say(str(e))
            return False
        return self._try(lambda: self.session.save(path, replace_changed=True))

    def ask_save_as(self) -> bool:
        """Save to another file."""
        name = (self.session.doc.title or "commission") + ".emblema"
        path, _ = QFileDialog.getSaveFileName(self, "Save the commission", name, COMMISSIONS)
        if not path:
            return False
        if not path.endswith(".emblema"):
            path += ".emblema"
        return self._save_to(Path(path))

    def may_leave(self) -> bool:
        """Ask what is to become of unsaved work; False to stay."""
        if not self.session.dirty:
            return True
        b = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self,
            "Unsaved work",
            "The commission has changes that are not saved.",
            b.Save | b.Discard | b.Cancel,
        )
        if answer == b.Save:
            return self.save()
        if answer == b.Discard:
            self.session.forget_kept()
            return True
        return False

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take commissions and pictures."""
        if any(u.isLocalFile() for u in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open a commission, or bring a picture in as the sketch."""
        for url in event.mimeData().urls():
            path = url.toLocalFile()
            if path.lower().endswith(".emblema"):
                if self.may_leave():
                    self.open(path)
                return
            if path.lower().endswith(PICTURES):
                self.card.turn_to("Sketch")
                self.card.leaves["Sketch"].bring_in(path)  # type: ignore[attr-defined]
                return
        self.say("Drop an Emblema commission, or a picture of the sketch.")

    def closeEvent(self, event: QCloseEvent) -> None:
        """Ask for unsaved work, then end all background work."""
        if not self.may_leave():
            event.ignore()
            return
        self.end()
        event.accept()

    def end(self) -> None:
        """End all background work."""
        self.card.end()
        self.bench.close_work()
        self.session.close()


class NewDialog(QDialog):
    """Asks the name and size of a new commission."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setWindowTitle("New commission")
        self._name = QLineEdit()
        self._name.setPlaceholderText("Name of the commission")
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
        self.setMinimumWidth(380)

    @property
    def name(self) -> str:
        """What was typed."""
        return self._name.text().strip()


def main(path: str | None = None) -> int:
    """Open the window, on a file or on the demo commission."""
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("Emblema")
    theme.dress(app)
    window = Window()
    window.show()
    fault = data_fault()
    if fault is not None:
        window.session.keeps_aside = False
        fileasking.warn_of_data_folder(window, fault)
    if not (path is None and window.offer(keptaside.left_behind())) and not window.open(
        path if path is not None else asset("demo/heron.emblema")
    ):
        window.session.new(900, 600, "")
    window.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
    return app.exec()
