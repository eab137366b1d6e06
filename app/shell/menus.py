"""The menus, and the commands in them: each is one action that its name finds.

What a button, a menu and a key do is the same action, so what is switched off is so everywhere.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtGui import QAction, QActionGroup, QKeySequence
from PySide6.QtWidgets import QMenu

from app import settings
from app.shell.about import About
from app.shell.help import read_keys, read_manual
from app.tools import TOOLS

if TYPE_CHECKING:
    from app.window import Window

KEYS = QKeySequence.StandardKey
LOOKS = (("system", "As the computer"), ("light", "Light"), ("dark", "Dark"))
LETTERS = (("usual", "Usual"), ("larger", "Larger"), ("largest", "Largest"))
MOST_STEPS = 20  # of each kind that the menu shows


class Menus:
    """The menu bar of a window. `commands` holds every action by its name."""

    def __init__(self, window: Window) -> None:
        self._window = window
        self.commands: dict[str, QAction] = {}
        self._groups: dict[str, QActionGroup] = {}
        self._make_commands()

    def _make_commands(self) -> None:
        w, add = self._window, self._add
        session, files, bench = w.session, w.files, w.bench
        add("New", "New ...", KEYS.New, files.ask_new, "Begin a commission")
        add("Open", "Open ...", KEYS.Open, files.ask_open, "Open a commission")
        add("Save", "Save", KEYS.Save, files.save, "Save")
        add("Save as", "Save as ...", KEYS.SaveAs, files.ask_save_as)
        add("Demo", "Open the demo", "", files.open_demo)
        add("Welcome", "Welcome", "", w.welcome.open_up)
        add("Close", "Quit", "Ctrl+Q", w.close)
        add("Undo", "Undo", KEYS.Undo, lambda: session.undo())
        add("Redo", "Redo", KEYS.Redo, lambda: session.redo())
        self.commands["Redo"].setShortcuts(["Ctrl+Shift+Z", "Ctrl+Y"])
        add("Choose all", "Choose all fields", KEYS.SelectAll, w.choose_all)
        add("Nearer", "Nearer", KEYS.ZoomIn, lambda: bench.zoom(1.3))
        self.commands["Nearer"].setShortcuts(["Ctrl++", "Ctrl+="])
        add("Farther", "Farther", KEYS.ZoomOut, lambda: bench.zoom(1 / 1.3))
        add("Whole", "See the whole work", "0", bench.fit, "See the whole work  (0)")
        add("Next part", "Go to the next part of the window", "F6", w.next_part)
        add("Full screen", "Full screen", "F11", w.full_screen)
        self.commands["Full screen"].setCheckable(True)
        add("Manual", "Manual", KEYS.HelpContents, lambda: read_manual(w))
        add("Keys", "Keys", "Shift+F1", lambda: read_keys(w))
        add("Tour", "First tour", "", w.show_round)
        add("About", "About Emblema", "", lambda: About(w).exec())
        self.commands["About"].setMenuRole(QAction.MenuRole.AboutRole)
        self.commands["Close"].setMenuRole(QAction.MenuRole.QuitRole)

    def _add(
        self, name: str, words: str, key: object, do: Callable[[], object], tip: str = ""
    ) -> QAction:
        action = QAction(words, self._window)
        if key:
            action.setShortcut(QKeySequence(key))  # type: ignore[call-overload]
        if tip:
            action.setToolTip(tip)
        action.setIconVisibleInMenu(False)
        action.triggered.connect(lambda *_: do())
        self._window.addAction(action)
        self.commands[name] = action
        return action

    # --- the menu bar

    def fill(self) -> None:
        """Put the commands into the window's menu bar, once the window has all its parts."""
        self._file()
        self._edit()
        self._view()
        self._tools()
        self._put(self._menu("&Help"), "Manual", "Keys", "Tour", "", "About")

    def _menu(self, words: str, parent: QMenu | None = None) -> QMenu:
        menu = (parent or self._window.menuBar()).addMenu(words)
        menu.setProperty("role", "bar")
        return menu

    def _put(self, menu: QMenu, *names: str) -> None:
        for name in names:
            if name:
                menu.addAction(self.commands[name])
            else:
                menu.addSeparator()

    def _file(self) -> None:
        menu = self._menu("&File")
        self._put(menu, "New", "Open")
        recent = self._menu("Open recent", menu)
        recent.aboutToShow.connect(lambda: self._fill_recent(recent))
        self._put(menu, "Demo", "Welcome", "", "Save", "Save as", "")
        reopen = menu.addAction("Open the last work at the start")
        reopen.setCheckable(True)
        reopen.triggered.connect(lambda on: settings.change(reopen=on))
        menu.aboutToShow.connect(lambda: reopen.setChecked(settings.read().reopen))
        self._put(menu, "", "Close")

    def _fill_recent(self, menu: QMenu) -> None:
        """Name the files as they are remembered now; another window may have opened more."""
        menu.clear()
        paths = [Path(p) for p in settings.read().recent]
        for k, path in enumerate(paths, 1):
            action = menu.addAction(f"&{k % 10}  {path.name}   ({path.parent})".replace("&&", "&"))
            action.setToolTip(str(path))
            action.triggered.connect(lambda _=False, p=path: self._window.files.open_recent(p))
        if not paths:
            menu.addAction("Nothing yet").setEnabled(False)
            return
        menu.addSeparator()
        menu.addAction("Forget them").triggered.connect(lambda: settings.change(recent=()))

    def _edit(self) -> None:
        menu = self._menu("&Edit")
        self._put(menu, "Undo", "Redo")
        steps = self._menu("Steps", menu)
        steps.aboutToShow.connect(lambda: self._fill_steps(steps))
        self._put(menu, "", "Choose all")

    def _fill_steps(self, menu: QMenu) -> None:
        """List what was done, the newest first; a click goes back, or on, to just after it."""
        menu.clear()
        session = self._window.session
        again = session.redo_labels[:MOST_STEPS]
        for k, label in reversed(list(enumerate(again, 1))):
            action = menu.addAction(f"{label}  (taken back)")
            action.triggered.connect(lambda _=False, k=k: session.redo(k))
        done = session.undo_labels
        for k, label in enumerate([*done[:MOST_STEPS], *(["Opened"] * (len(done) <= MOST_STEPS))]):
            action = menu.addAction(label)
            action.setCheckable(True)
            action.setChecked(k == 0)
            action.triggered.connect(lambda _=False, k=k: session.undo(k))

    def _view(self) -> None:
        w, menu = self._window, self._menu("&View")
        for switch in w.switches.values():
            shown = menu.addAction(switch.text())
            shown.setCheckable(True)
            shown.setChecked(switch.isChecked())
            shown.triggered.connect(lambda on, b=switch: b.setChecked(on))
            switch.toggled.connect(lambda on, a=shown: a.setChecked(on))
        self._put(menu, "", "Whole", "Nearer", "Farther", "")
        leaves = self._menu("Leaf", menu)
        for k, name in enumerate(w.card.leaves, 1):
            self._add(name, name, f"Ctrl+{k}", lambda n=name: w.card.turn_to(n))
            self._put(leaves, name)
        self._put(menu, "Next part", "")
        self._choices("Look", LOOKS, "look", menu)
        self._choices("Letters", LETTERS, "letters", menu)
        self._put(menu, "Full screen")

    def _choices(
        self, words: str, choices: tuple[tuple[str, str], ...], what: str, within: QMenu
    ) -> None:
        """Add a menu of which one is chosen; it is remembered as `what`."""
        menu = self._menu(words, within)
        group = self._groups[what] = QActionGroup(menu)
        for value, shown in choices:
            action = menu.addAction(shown)
            action.setCheckable(True)
            action.setData(value)
            group.addAction(action)
        group.triggered.connect(lambda a: self._window.choose_look(**{what: a.data()}))
        menu.aboutToShow.connect(lambda: self._show_chosen(what))

    def _show_chosen(self, what: str) -> None:
        now = getattr(settings.read(), what)
        for action in self._groups[what].actions():
            action.setChecked(action.data() == now)

    def _tools(self) -> None:
        menu = self._menu("&Tools")
        for kind in TOOLS:
            tip = f"{kind.name}: {kind.hint}"
            self._add(
                kind.name, kind.name, kind.key_letter, lambda n=kind.name: self._window.take(n), tip
            )
            self._put(menu, kind.name)
