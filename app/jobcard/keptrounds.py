"""The rounds agreed with the client: kept, looked at, compared, gone back to, branched from."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

from PySide6.QtCore import QDate, Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDateEdit,
    QDialog,
    QDialogButtonBox,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QPlainTextEdit,
    QVBoxLayout,
    QWidget,
)

from app import fileasking
from app.compare import CompareWindow
from app.roundbook import RoundBook
from app.session import Session
from app.widgets import button, headed_menu, row, text
from core.errors import EmblemaError
from core.kept_rounds import Round

SHORT = 60  # signs of the client's words in the list


class KeepDialog(QDialog):
    """Asks what a round is called, its day, and what the client said."""

    def __init__(self, parent: QWidget, number: int) -> None:
        super().__init__(parent)
        self.setWindowTitle("Keep this round")
        self.called = QLineEdit()
        self.called.setPlaceholderText("What it is called, such as bigger heron")
        self.day = QDateEdit(QDate.currentDate())
        self.day.setDisplayFormat("yyyy-MM-dd")
        self.day.setMinimumHeight(36)
        self.said = QPlainTextEdit()
        self.said.setPlaceholderText("What the client said, in their own words")
        self.said.setMinimumHeight(120)
        b = QDialogButtonBox.StandardButton
        buttons = QDialogButtonBox(b.Ok | b.Cancel)
        buttons.button(b.Ok).setText("Keep it")
        for one in buttons.buttons():
            one.setMinimumHeight(36)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 18, 20, 16)
        box.setSpacing(12)
        for w in (
            text(f"Round {number}", "title"),
            text("The work is kept as it lies, with its figures. It is not changed again.", "hint"),
            self.called,
            row("Day", self.day),
            self.said,
            buttons,
        ):
            box.addWidget(w)
        self.setMinimumWidth(420)

    @property
    def answer(self) -> tuple[str, str, str]:
        """Its name, what was said, and the day (YYYY-MM-DD)."""
        day = self.day.date()
        on = date(day.year(), day.month(), day.day()).isoformat()
        return self.called.text().strip(), self.said.toPlainText().strip(), on


class KeptRounds(QWidget):
    """The list of rounds and what is done with the chosen one."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session, self.book = session, RoundBook(session)
        self._shown: object = None
        self.stands = text("", "hint")
        self.list = QListWidget()
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setWordWrap(True)
        self.list.setFixedHeight(150)
        self.list.itemSelectionChanged.connect(self._show_buttons)
        self.keep = button("Keep this round ...", self.ask_keep, "main")
        self.back = button(
            "Go back to this round", self._back, tip="What stands is kept first; one step undoes it"
        )
        self.branch = button(
            "Branch ...", self._ask_branch, tip="Write it as a commission of its own"
        )
        self.look = button("Look at", lambda: self._open(self.chosen))
        self.with_now = button("Compare with now", lambda: self._open(self.chosen, None))
        self.with_other = button("Compare with ...", self._ask_other)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            self.stands,
            self.keep,
            self.list,
            row(self.look, self.with_now),
            row(self.with_other, self.branch),
            self.back,
        ):
            box.addWidget(w)

    # what is asked

    def ask_keep(self) -> None:
        """Ask what the client said, and keep the round."""
        number = max((r.number for r in self.session.rounds), default=0) + 1
        ask = KeepDialog(self, number)
        if ask.exec():
            self._try(lambda: self.book.keep(*ask.answer))

    @property
    def chosen(self) -> Round | None:
        """The round that is chosen in the list."""
        items = self.list.selectedItems()
        number = items[0].data(Qt.ItemDataRole.UserRole) if items else None
        return next((r for r in self.session.rounds if r.number == number), None)

    def choose(self, number: int) -> None:
        """Choose a round."""
        for k in range(self.list.count()):
            item = self.list.item(k)
            item.setSelected(item.data(Qt.ItemDataRole.UserRole) == number)

    def _open(self, *rounds: Round | None) -> CompareWindow | None:
        """Open a window on rounds, None for the present work."""
        numbers = tuple(r.number if r is not None else None for r in rounds)
        window: list[CompareWindow] = []
        self._try(lambda: window.append(self._window(numbers)))
        return window[0] if window else None

    def _window(self, numbers: tuple[int | None, ...]) -> CompareWindow:
        window = CompareWindow(self.window(), self.session, self.book.states(numbers))
        window.show()
        return window

    def _ask_other(self) -> None:
        if r := self.chosen:
            menu = headed_menu(self, f"Compare round {r.number} with")
            for other in reversed(self.session.rounds):
                if other.number != r.number:
                    both = sorted((r, other), key=lambda x: x.number)
                    menu.addAction(other.title, lambda both=both: self._open(*both))
            menu.exec(self.with_other.mapToGlobal(self.with_other.rect().bottomLeft()))

    def _back(self) -> None:
        if r := self.chosen:
            self._try(lambda: self.book.go_back(r.number))

    def _ask_branch(self) -> None:
        if r := self.chosen:
            name = f"{self.session.doc.title or 'commission'}, round {r.number}.emblema"
            beside = self.session.path
            path = fileasking.where_to(self, "Branch", name, "*.emblema", "commission", beside)
            if path:
                path = path if path.endswith(".emblema") else f"{path}.emblema"
                self.book.branch(r.number, path)

    def _try(self, do: Callable[[], object]) -> None:
        try:
            do()
        except EmblemaError as e:
            self.session.message.emit(str(e))

    # what is shown

    def refresh(self) -> None:
        """Show the rounds, and whether the present work is kept."""
        s = self.session
        if self._shown is not s.rounds:
            self._shown = s.rounds
            chosen = self.chosen
            self.list.clear()
            for r in reversed(s.rounds):
                item = QListWidgetItem(_in_list(r))
                item.setData(Qt.ItemDataRole.UserRole, r.number)
                item.setToolTip(_in_words(r))
                self.list.addItem(item)
            if chosen is not None:
                self.choose(chosen.number)
        self.list.setVisible(bool(s.rounds))
        self.keep.setEnabled(s.layout_is_current)
        self._show_buttons()

    def draw(self) -> None:
        """Say whether the present work is kept, which takes a look at all of it."""
        s = self.session
        if not s.rounds:
            words = "None yet. Keep one whenever the client has seen and agreed."
        elif not s.layout_is_current:
            words = "Still laying ..."
        elif r := self.book.kept_as():
            words = f"The work is as it was in round {r.number}."
        else:
            words = "The work as it stands is not kept as a round."
        self.stands.setText(words)

    def _show_buttons(self) -> None:
        on, laid = self.chosen is not None, self.session.layout_is_current
        for b, use in (
            *((self.look, on), (self.with_now, on and laid), (self.back, on and laid)),
            *((self.with_other, on and len(self.session.rounds) > 1), (self.branch, on)),
        ):
            b.setEnabled(use)


def _in_list(r: Round) -> str:
    words = " ".join(r.words.split())
    words = words if len(words) <= SHORT else f"{words[: SHORT - 3]}..."
    return f"{r.title}\n{words}" if words else r.title


def _in_words(r: Round) -> str:
    figures = "\n".join(f"{s.name}: {s.shown}" for s in r.sums)
    return f"{r.title}\n{r.words}\n\n{figures}" if r.words else f"{r.title}\n\n{figures}"
