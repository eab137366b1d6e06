"""The window: menus, bar, tool strip, bench, job card, trays and the line of status."""

from __future__ import annotations

import sys
from pathlib import Path

from PySide6.QtCore import QEvent, QPoint, Qt, QTimer, Signal
from PySide6.QtGui import (
    QCloseEvent,
    QDragEnterEvent,
    QDropEvent,
    QFileOpenEvent,
    QGuiApplication,
    QIcon,
)
from PySide6.QtWidgets import (
    QApplication,
    QHBoxLayout,
    QMainWindow,
    QMessageBox,
    QVBoxLayout,
    QWidget,
)

from app import fileasking, settings, theme
from app.canvas import Bench
from app.jobcard import JobCard
from app.session import Session
from app.shell.bar import Bar
from app.shell.begin import Welcome
from app.shell.files import Files
from app.shell.menus import Menus
from app.shell.status import StatusLine
from app.shell.strip import Strip
from app.shell.tour import Tour
from app.tools import give_tools
from app.tools.corners import CornersTool
from app.trays import Trays
from core import keptaside
from core.files import data_fault
from core.resources import asset

SLOW_MS = 200  # other colours that take less show no progress
USUAL = (1440, 900)


class Window(QMainWindow):
    """One commission on the bench."""

    def __init__(self) -> None:
        super().__init__()
        self.session = Session(self)
        self.bench = Bench(self.session)
        self.bench.set_layer("look", settings.read().material_look)
        self.card = JobCard(self.session, self.bench)
        self.trays = Trays(self.session, self.bench)
        self.status = StatusLine()
        self.strip = Strip(self.take)
        self.files = Files(self, self.session, self.card, self.status.warn)
        self.open, self.offer = self.files.open, self.files.offer
        self.save, self.ask_save_as = self.files.save, self.files.ask_save_as
        self.say = self.status.say
        self.welcome = Welcome(
            self.bench,
            (
                ("Open", "A sketch", "a scan or photograph\nto lay over", self.files.ask_sketch),
                ("New", "An empty wall", "of a size that\nyou give", self.files.ask_new),
                ("Ornament", "The demo", "a heron among reeds,\nlaid", self.files.open_demo),
            ),
            self.files.open_recent,
            self.show_round,
        )
        menus = Menus(self)
        self.actions_by_name = menus.commands
        self.bar = Bar(menus.commands, self.bench)
        self.switches = self.bar.switches
        menus.fill()
        self.setAcceptDrops(True)
        self._slow = QTimer(self, singleShot=True, interval=SLOW_MS)
        self._slow.timeout.connect(lambda: self.status.show_progress(True))
        self._lay_out()
        give_tools(self.bench)
        self.bench.tools[CornersTool.name] = CornersTool(self.bench)
        self._connect()
        self._show_tool("Hand")
        self._show_state()
        self.resize(*USUAL)

    def _lay_out(self) -> None:
        whole = QWidget()
        box = QVBoxLayout(whole)
        middle, left, work = QHBoxLayout(), QVBoxLayout(), QHBoxLayout()
        for layout in (box, middle, left, work):
            layout.setContentsMargins(0, 0, 0, 0)
            layout.setSpacing(0)
        work.addWidget(self.strip)
        work.addWidget(self.bench, 1)
        left.addLayout(work, 1)
        left.addWidget(self.trays)
        middle.addLayout(left, 1)
        middle.addWidget(self.card)  # down beside the trays: a leaf needs what height there is
        box.addWidget(self.bar)
        box.addLayout(middle, 1)
        box.addWidget(self.status)
        self.setCentralWidget(whole)
        self.bench.setFocus()

    def _connect(self) -> None:
        session = self.session
        session.message.connect(self.say)
        session.ask = self._ask_agreed
        session.busy.connect(self._busy)
        session.progress.connect(self._on_progress)
        session.changed.connect(self._show_state)
        session.path_changed.connect(self._show_state)
        session.opened.connect(self.welcome.hide)
        session.changed.connect(self.welcome.hide)
        session.laid.connect(self._show_count)
        session.opened.connect(self._show_count)
        self.status.stopped.connect(session.stop_laying)
        self.bench.hovered.connect(self.status.show_place)
        self.bench.tool_changed.connect(self._show_tool)

    # --- what is shown

    def take(self, name: str) -> None:
        """Take a tool in hand; its hint is read before anything that was said."""
        self.say("")
        self.bench.take(name)

    def choose_all(self) -> None:
        """Choose every field."""
        self.session.select(f.id for f in self.session.doc.fields)

    def next_part(self) -> None:
        """Give the keys to the next of bench, job card, trays and tools."""
        parts = (self.bench, self.card, self.trays, self.strip, self.bar)
        has = QApplication.focusWidget()
        at = next((k for k, p in enumerate(parts) if p is has or p.isAncestorOf(has or self)), -1)
        for k in range(1, len(parts) + 1):
            part = parts[(at + k) % len(parts)]
            first = part if part is self.bench else _first(part)
            if first is not None:
                first.setFocus(Qt.FocusReason.TabFocusReason)
                return

    def show_round(self) -> Tour:
        """Take the first tour."""
        names = ("bench", "strip", "card", "trays", "status")
        return Tour(self, {name: getattr(self, name) for name in names})

    def full_screen(self) -> None:
        """Take the whole screen, or give it back."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def choose_look(self, **choice: str) -> None:
        """Change the look or the size of letters, for good and at once."""
        now = settings.change(**choice)
        app = QApplication.instance()
        assert isinstance(app, QApplication)
        theme.dress(app, now.look, now.letters)

    def changeEvent(self, event: QEvent) -> None:
        """Draw what is drawn in the colours of the look anew, and mark the full screen."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and self.isVisible():
            self.strip.draw_icons()
            self.bar.draw_icons()
            self.bench.redraw()
        elif event.type() == QEvent.Type.WindowStateChange:
            self.actions_by_name["Full screen"].setChecked(self.isFullScreen())

    def _busy(self, on: bool) -> None:
        self._slow.stop()
        self._on_progress(0.0, "Laying ...")
        if on and self.session.recolours:
            self._slow.start()
        else:
            self.status.show_progress(on)

    def _on_progress(self, share: float, what: str) -> None:
        self.status.progress.setValue(round(100 * share))
        self.status.progress.setFormat(what[:34])

    def _show_tool(self, name: str) -> None:
        self.strip.show_taken(name)
        self.status.rest(self.bench.tools[name].hint if name in self.bench.tools else "")

    def _show_count(self) -> None:
        layout = self.session.layout
        laid = len(layout) if layout is not None else 0
        self.status.count.setText(f"{laid:,} tesserae" if laid else "")

    def _show_state(self) -> None:
        s = self.session
        title = s.doc.title or "New commission"
        star = " *" if s.dirty else ""
        self.bar.title.setText(title + star)
        name = s.path.name if s.path is not None else "not saved yet"
        name += ", only looked at" if s.looking else ""
        self.setWindowTitle(f"{title}{star} ({name}) - Emblema")
        undo, redo = self.actions_by_name["Undo"], self.actions_by_name["Redo"]
        undo.setEnabled(s.undo_label is not None)
        redo.setEnabled(s.redo_label is not None)
        undo.setToolTip(f"Take back: {s.undo_label}" if s.undo_label else "Nothing to take back")
        redo.setToolTip(f"Do again: {s.redo_label}" if s.redo_label else "Nothing to do again")

    def _ask_agreed(self, words: str) -> bool:
        ask = QMessageBox(QMessageBox.Icon.Question, "Change it?", words, parent=self)
        yes = ask.addButton("Change it all the same", QMessageBox.ButtonRole.AcceptRole)
        ask.setDefaultButton(ask.addButton("Leave it", QMessageBox.ButtonRole.RejectRole))
        ask.exec()
        return ask.clickedButton() is yes

    # --- files dropped, and the window's own coming and going

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        """Take commissions and pictures."""
        if any(u.isLocalFile() for u in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        """Open a commission, or bring a picture in as the sketch."""
        self.files.take_dropped(event.mimeData().urls())

    def recall(self) -> None:
        """Stand where the window stood last, within the screens there are now, at its leaf."""
        now = settings.read()
        screen = QGuiApplication.primaryScreen().availableGeometry()
        self.resize(min(USUAL[0], screen.width() - 20), min(USUAL[1], screen.height() - 40))
        if now.window is not None:
            left, top, wide, high = now.window
            at = QGuiApplication.screenAt(QPoint(left + 40, top + 20))
            room = (at or QGuiApplication.primaryScreen()).availableGeometry()
            self.resize(min(wide, room.width()), min(high, room.height()))
            if at is not None:
                self.move(left, top)
        if now.whole_screen:
            self.setWindowState(Qt.WindowState.WindowMaximized)
        if now.leaf in self.card.leaves:
            self.card.turn_to(now.leaf)

    def _remember(self) -> None:
        box = self.normalGeometry() if self.isMaximized() or self.isFullScreen() else None
        box = box or self.geometry()
        settings.change(
            window=(box.x(), box.y(), box.width(), box.height()),
            whole_screen=self.isMaximized(),
            leaf=self.card.leaf.name,
        )

    def closeEvent(self, event: QCloseEvent) -> None:
        """Ask for unsaved work, then end all background work."""
        if not self.files.may_leave():
            event.ignore()
            return
        self._remember()
        self.end()
        event.accept()

    def end(self) -> None:
        """End all background work."""
        self.card.end()
        self.bench.close_work()
        self.session.close()


def _first(part: QWidget) -> QWidget | None:
    """Return the first thing in a part of the window that keys reach."""
    for w in part.findChildren(QWidget):
        if w.isVisible() and w.isEnabled() and w.focusPolicy() & Qt.FocusPolicy.TabFocus:
            return w
    return None


class Program(QApplication):
    """The application; files that the desktop hands to it while it runs are told."""

    handed = Signal(str)

    def event(self, event: QEvent) -> bool:
        """Take a file that was double-clicked, on systems that hand it over so."""
        if isinstance(event, QFileOpenEvent):
            self.handed.emit(event.file())
            return True
        return super().event(event)


def begin(window: Window, path: str | None) -> None:
    """Put the first work on the bench: a file that was named, work that was left, or the last."""
    if path is not None:
        if window.open(path):
            return
    elif window.offer(keptaside.left_behind()):
        return
    else:
        now = settings.read()
        last = Path(now.recent[0]) if now.reopen and now.recent else None
        if last is not None and not last.exists():
            window.say(f"'{last.name}' is no longer in '{last.parent}'.")
        elif last is not None and window.open(last):
            return
    window.session.new(900, 600, "", saved=True)
    window.welcome.open_up()


def main(path: str | None = None) -> int:
    """Open the window: on a file, on the last work, or on the welcome."""
    app = QApplication.instance() or Program(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("Emblema")
    app.setDesktopFileName("emblema")
    app.setWindowIcon(QIcon(str(asset("icons/emblema.svg"))))
    unreadable = settings.put_aside_unreadable()
    now = settings.read()
    theme.dress(app, now.look, now.letters)
    window = Window()
    app.styleHints().colorSchemeChanged.connect(lambda *_: window.choose_look())
    if isinstance(app, Program):
        app.handed.connect(lambda file: window.files.open_asked(file))
    window.recall()
    window.show()
    fault = data_fault()
    if fault is not None:
        window.session.keeps_aside = False
        fileasking.warn_of_data_folder(window, fault)
    begin(window, path)
    if unreadable is not None:
        window.say(unreadable)
    window.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose, False)
    return app.exec()
