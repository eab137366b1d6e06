"""What was printed, and whether it still holds: by the marks that the pages carry."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from PySide6.QtWidgets import QLineEdit, QVBoxLayout, QWidget

from app.session import Session
from app.widgets import text
from core.agreed import LETTERS, MARK_LETTERS, pages_that_hold
from core.cartoon import division_noted, page_marks
from core.commission import Commission, Printed, Sheet
from core.errors import EmblemaError
from core.keypage import KEY
from core.paper.division import Division
from core.paper.sizes import WHOLE
from core.pieces import Layout
from core.sheets.marks import SHEETS, sheet_marks

MOST_NAMED = 6
MOST_PRINTS = 4
UNKNOWN = "on a paper that this version does not know."
Of = tuple[Layout, tuple[Printed, ...], tuple[Sheet, ...]]


@dataclass(frozen=True, slots=True)
class Now:
    """What the pages of a print would be today: each place's mark, and which have a page."""

    marks: dict[str, str]
    pages: frozenset[str]


def print_of(doc: Commission, layout: Layout, division: Division) -> Printed:
    """Return the note of a cartoon printed today."""
    marks = page_marks(doc, layout, division)
    printed = [(name, marks[name]) for name in (*(t.name for t in division.tiles), KEY)]
    name, mirrored = division.paper.name, division.mirrored
    pages = "whole" if name == WHOLE else f"{name}, {len(division.tiles)} pages"
    what = f"Cartoon, {pages}{', mirrored' if mirrored else ''}"
    return Printed(date.today().isoformat(), what, division.word, mirrored, tuple(printed))


def print_of_sheets(doc: Commission, layout: Layout, paper: str, mirrored: bool) -> Printed:
    """Return the note of the sheets' pages written today."""
    marks = sheet_marks(doc, layout)
    how = f"{paper}, {len(marks)} sheets{', mirrored' * mirrored}"
    what = f"Sheets, {how}"
    return Printed(date.today().isoformat(), what, SHEETS, mirrored, tuple(marks.items()))


def _now(doc: Commission, layout: Layout, paper: str, mirrored: bool) -> Now | None:
    """Return what the pages of a print would be today; None where its paper is unknown."""
    if paper == SHEETS:
        marks = sheet_marks(doc, layout)
        return Now(marks, frozenset(marks))
    try:
        division = division_noted(doc, layout, paper, mirrored)
    except EmblemaError:
        return None
    pages = frozenset(t.name for t in division.tiles)
    return Now(page_marks(doc, layout, division), pages)


class Prints(QWidget):
    """The prints that were made, newest first, and a line to look a page's mark up."""

    def __init__(self, session: Session) -> None:
        super().__init__()
        self.session = session
        self.words = text("")
        self.line = QLineEdit()
        self.line.setPlaceholderText("Mark at the foot of a page")
        self.line.setMaxLength(MARK_LETTERS)
        self.line.setMinimumHeight(36)
        self.line.textChanged.connect(lambda _: self.show_found())
        self.found = text("", "hint")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (self.words, self.line, self.found):
            box.addWidget(w)
        self._now: dict[tuple[str, bool], Now | None] = {}  # by paper and side
        self._of: Of | None = None  # what the marks are of
        self._asked: Of | None = None

    def refresh(self) -> None:
        """Work the marks of today out aside, if anything was printed, and show what holds."""
        doc, layout = self.session.laid_doc, self.session.layout
        printed = self.session.doc.printed
        if doc is None or layout is None or not printed:
            self._now, self._of = {}, None
            self._show()
            return
        now = (layout, printed, doc.sheets)
        if _same(self._of, now) or _same(self._asked, now):
            self._show()
            return
        self._asked = now
        kinds = {(p.paper, p.mirrored) for p in printed}

        def work() -> dict[tuple[str, bool], Now | None]:
            return {kind: _now(doc, layout, *kind) for kind in kinds}

        def then(found: dict[tuple[str, bool], Now | None]) -> None:
            self._now, self._of = found, now
            self._show()

        self.session.errands.run(work, then)

    def _show(self) -> None:
        printed = self.session.doc.printed
        self.line.setVisible(bool(printed))
        self.found.setVisible(bool(printed))
        if not printed:
            self.words.setText("Nothing is printed yet. What is printed is agreed by itself.")
            return
        lines = [self._holds(p) for p in reversed(printed[-MOST_PRINTS:])]
        if len(printed) > MOST_PRINTS:
            lines.append(f"and {len(printed) - MOST_PRINTS} before these")
        self.words.setText("\n".join(lines))
        self.show_found()

    def _holds(self, p: Printed) -> str:
        head = f"{p.on}: {p.what}: "
        if (p.paper, p.mirrored) not in self._now:
            return head + "looking ..."
        today = self._now[p.paper, p.mirrored]
        if today is None:
            return head + UNKNOWN
        holds, gone = pages_that_hold(p, today.marks)
        gone = [name for name in gone if name != KEY]
        new = [name for name in today.marks if name in today.pages - set(dict(p.marks))]
        if len(holds) == len(p.marks):
            return head + "every page holds."
        if gone and not [name for name in holds if name != KEY]:
            return head + "no page holds any more."
        told = [f"{_pages(gone, 'no longer holds', 'no longer hold')}."] * bool(gone)
        told += [f"{_pages(new, 'is new', 'are new')}."] * bool(new)
        return head + (" ".join(told) or "the key page no longer holds.")

    def show_found(self) -> None:
        """Say of the mark that was typed whether its page holds."""
        mark = self.line.text().strip().upper()
        if len(mark) < MARK_LETTERS:
            self.found.setText("Type the mark of a printed page to see whether it still holds.")
            return
        if any(letter not in LETTERS for letter in mark):
            self.found.setText("A mark has six signs, none of them B, I, L, O, 0, 1 or 8.")
            return
        for (paper, _), today in self._now.items():
            for name, now in today.marks.items() if today else ():
                if now == mark:
                    self.found.setText(f"It holds: {_page(name)} ({paper}), as it is now.")
                    return
        for p in reversed(self.session.doc.printed):
            for name, then in p.marks:
                if then == mark:
                    self.found.setText(self._void(p, f"{_page(name)} of {p.what}, {p.on}"))
                    return
        self.found.setText("No page printed of this commission has this mark.")

    def _void(self, p: Printed, page: str) -> str:
        """Return what is said of a page whose mark is none of today's."""
        if (p.paper, p.mirrored) not in self._now:
            return f"It is {page}; looking whether it holds ..."
        if self._now[p.paper, p.mirrored] is None:
            return f"It is {page}, {UNKNOWN}"
        return f"It no longer holds: {page}. Its pieces or materials have changed since."


def _pages(names: list[str], one: str, several: str) -> str:
    """Return what is so of some pages, and which they are."""
    listed = ", ".join(names[:MOST_NAMED]) + (" ..." if len(names) > MOST_NAMED else "")
    return (
        f"1 page {one}: {listed}" if len(names) == 1 else f"{len(names)} pages {several}: {listed}"
    )


def _same(a: Of | None, b: Of) -> bool:
    return a is not None and a[0] is b[0] and a[1:] == b[1:]


def _page(name: str) -> str:
    if name == KEY:
        return "the key page"
    return name if name.startswith("sheet ") else f"page {name}"
