"""Begins, opens and saves commissions, and asks the person before anything could be lost."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from PySide6.QtCore import QUrl
from PySide6.QtWidgets import QMessageBox, QWidget

from app import fileasking, settings
from app.jobcard import JobCard
from app.session import Session
from app.shell.begin import NewDialog
from core import keptaside, openfiles
from core.errors import EmblemaError
from core.resources import asset

COMMISSIONS = "Emblema commissions (*.emblema)"
ENDING = ".emblema"
PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".bmp")
PICTURE_KINDS = f"Pictures ({' '.join('*' + ending for ending in PICTURES)})"
DEMO = "demo/heron.emblema"
WHAT = "commission"  # how the settings know the folder of commissions


class Files:
    """What a window does with files; every question is asked in front of `window`.

    Parameters
    ----------
    warn : callable
        Takes what could not be done, in plain words.
    """

    def __init__(
        self, window: QWidget, session: Session, card: JobCard, warn: Callable[[str], object]
    ) -> None:
        self._window, self._session, self._card, self._warn = window, session, card, warn
        session.path_changed.connect(self._remember)

    def _remember(self) -> None:
        if self._session.path is not None:
            settings.remember_file(self._session.path)

    def _try(self, do: Callable[[], object]) -> bool:
        try:
            do()
            return True
        except EmblemaError as e:
            self._warn(str(e))
            return False

    # --- begun

    def ask_new(self) -> bool:
        """Begin a new commission, after asking its size; return whether one was begun."""
        if not self.may_leave():
            return False
        ask = NewDialog(self._window)
        if not ask.exec():
            return False
        self._session.new(ask.width_mm.value, ask.height_mm.value, ask.name)
        self._card.turn_to("Sketch")
        return True

    def ask_sketch(self) -> None:
        """Begin a commission from a picture of the client's sketch."""
        path = fileasking.which_file(self._window, "The client's sketch", PICTURE_KINDS, "pictures")
        if path and self.ask_new():
            self._bring_in(path)

    def _bring_in(self, picture: str) -> None:
        self._card.turn_to("Sketch")
        self._card.leaves["Sketch"].bring_in(picture)  # type: ignore[attr-defined]

    def open_demo(self) -> bool:
        """Open the demo, as a commission of its own."""
        return self.open_asked(asset(DEMO))

    # --- opened

    def ask_open(self) -> None:
        """Open a commission, after asking which."""
        path = fileasking.which_file(self._window, "Open a commission", COMMISSIONS, WHAT)
        if path:
            self.open_asked(path)

    def open_recent(self, path: Path) -> bool:
        """Open a file of the list; one that was moved away is asked about."""
        if not path.exists():
            answer = fileasking.ask_moved(self._window, path)
            if answer is not None:
                settings.forget_file(path)
            if answer == fileasking.LOOK_FOR:
                self.ask_open()
            return False
        return self.open_asked(path)

    def open(self, path: str | Path) -> bool:
        """Open a commission; work kept aside after a mishap is offered."""
        path = Path(path)
        if path.resolve() == asset(DEMO).resolve():
            return self._try(lambda: self._session.open_copy(path))
        look = False
        own = openfiles.same_place(path, self._session.path) and not self._session.looking
        if not own and openfiles.is_open(path):
            answer = fileasking.ask_open_elsewhere(self._window, path.name)
            if answer is None:
                return False
            if answer == fileasking.COPY:
                return self._try(lambda: self._session.open_copy(path))
            look = answer == fileasking.LOOK
        if not look and self.offer(keptaside.left_behind(path)):
            return True
        return self._try(lambda: self._session.open(path, look=look))

    def offer(self, found: list[keptaside.LeftWork]) -> bool:
        """Offer work that was left behind; return whether it was opened."""
        kept = fileasking.ask_kept(self._window, found)
        return kept is not None and self._try(lambda: self._session.recover(kept))

    def open_asked(self, path: str | Path) -> bool:
        """Open a file that the desktop hands over, after asking for unsaved work."""
        return self.may_leave() and self.open(path)

    def take_dropped(self, urls: Iterable[QUrl]) -> None:
        """Open a commission that was dropped, or bring a picture in as the sketch."""
        for url in urls:
            path = url.toLocalFile()
            if path.lower().endswith(ENDING):
                self.open_asked(path)
                return
            if path.lower().endswith(PICTURES):
                self._bring_in(path)
                return
        self._session.message.emit("Drop an Emblema commission, or a picture of the sketch.")

    # --- saved

    def save(self) -> bool:
        """Save, asking where if there is no file yet, it is only looked at or was moved away."""
        path = self._session.path
        if path is None or self._session.looking:
            return self.ask_save_as()
        if self._session.moved_away:
            answer = fileasking.ask_moved_away(self._window, path)
            if answer != fileasking.SAVE_HERE:
                return answer == fileasking.ANOTHER and self.ask_save_as()
        return self._save_to(path)

    def _save_to(self, path: Path) -> bool:
        """Save to a file, asking before what another has saved there is replaced."""
        try:
            self._session.save(path)
            return True
        except openfiles.ChangedMeanwhile:
            answer = fileasking.ask_changed(self._window, path.name)
            if answer == fileasking.ANOTHER:
                return self.ask_save_as()
            if answer is None:
                return False
        except EmblemaError as e:
            self._warn(str(e))
            return False
        return self._try(lambda: self._session.save(path, replace_changed=True))

    def ask_save_as(self) -> bool:
        """Save to another file; begins beside the file there is, with its name."""
        path = self._session.path
        if path is not None and path.parent.is_dir():
            name = str(path.absolute())
        else:
            name = (self._session.doc.title or "commission").replace("/", "-") + ENDING
        to = fileasking.where_to(self._window, "Save the commission", name, COMMISSIONS, WHAT)
        if not to:
            return False
        return self._save_to(Path(to if to.endswith(ENDING) else to + ENDING))

    def may_leave(self) -> bool:
        """Ask what is to become of unsaved work; False to stay."""
        if not self._session.dirty:
            return True
        b = QMessageBox.StandardButton
        answer = QMessageBox.question(
            self._window,
            "Unsaved work",
            "The commission has changes that are not saved.",
            b.Save | b.Discard | b.Cancel,
        )
        if answer == b.Save:
            return self.save()
        if answer == b.Discard:
            self._session.forget_kept()
            return True
        return False
