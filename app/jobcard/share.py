"""What a commission takes of the studio's stock: set aside, taken out when laid, put back."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from PySide6.QtGui import QColor, QIcon
from PySide6.QtWidgets import QPushButton, QVBoxLayout, QWidget

from app import theme
from app.jobcard.tables import SWATCH, Table
from app.session import Session
from app.widgets import button, row, swatch_icon, text
from core.commission import new_commission_id
from core.figures import Count, counts
from core.material import Key, named
from core.stock import StockStore

NUMBERS = ("Laid", "To take", "Free", "Set aside", "Taken out", "Short")
OURS = ("Material", "Description", *NUMBERS)


class Room(Protocol):
    """What the page needs of the room that it is in."""

    session: Session
    store: StockStore

    def say(self, words: str) -> None:
        """Say what became of something."""

    def try_to(self, do: Callable[[], object], said: str = "") -> bool:
        """Change the stock; what is refused is said and changes nothing."""

    def ask(self, title: str, words: str, now: int = 0) -> int | None:
        """Ask for a number of pieces."""


def off_where_only_read(store: StockStore, b: QPushButton) -> QPushButton:
    """Switch a button that changes the stock off where the stock can only be read."""
    if store.only_read:
        b.setEnabled(False)
        b.setToolTip(store.why_only_read)
    return b


class Share(QWidget):
    """The commission's materials: what it needs, what is free for it, what it has had."""

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room, self.session, self.store = room, room.session, room.store
        self.table = Table(OURS, 1, NUMBERS)
        self.keys: list[Key] = []
        self.words = text("", "hint")
        self.apart = button(
            "It is a commission of its own",
            self.part,
            tip="Begun from a copy of the other: nothing is set aside for it yet",
        )
        changes = (
            button("Set aside what it needs", self.set_aside, "main"),
            button("Give back", self.release, tip="Nothing stays set aside for it"),
            button("Take out, it is laid", self.take_out),
            button("Put back ...", self.put_back, tip="Pieces left over go back to their lots"),
        )
        box = QVBoxLayout(self)
        box.addWidget(self.words)
        box.addWidget(self.apart)
        box.addWidget(self.table, 1)
        box.addWidget(row(*(off_where_only_read(self.store, b) for b in changes)))

    def counted(self) -> tuple[Count, ...]:
        """Return the counts of the layout as it stands, of what has a material."""
        layout, doc = self.session.layout, self.session.laid_doc
        table = counts(doc, layout) if layout is not None and doc is not None else ()
        return tuple(c for c in table if not c.bare)

    def refresh(self) -> None:
        """Show the stock and the commission as they stand."""
        doc = self.session.doc
        offered = {m.key: m for m in self.store.offered(doc.key)}
        aside, out = self.store.set_aside_for(doc.key), self.store.taken_for(doc.key)
        laid = {c.material.key: c for c in self.counted()}
        seen = {m.key: m for m in doc.materials}
        self.keys = list(dict.fromkeys((*laid, *aside, *out)))
        rows, swatches = [], []
        for key in self.keys:
            material = seen.get(key) or offered.get(key)
            count, free = laid.get(key), offered[key].pieces if key in offered else 0
            pieces, take = (count.pieces, count.take) if count else (0, 0)
            short = max(0, take - free - out.get(key, 0))
            cells = (pieces, take, free, aside.get(key, 0), out.get(key, 0))
            name = material.code if material else named(key)
            what = material.said if material else ""
            rows.append((name, what, *(f"{n:,}" for n in cells), f"{short:,}" if short else ""))
            swatches.append(
                swatch_icon(material, SWATCH.width(), SWATCH.height()) if material else QIcon()
            )
        self.table.fill(rows, swatches)
        for k in range(len(rows)):
            item = self.table.item(k, OURS.index("Short"))
            if item is not None:
                item.setForeground(QColor(theme.RUST))
        was, where = self.store.title(doc.key), self._another_file()
        renamed = was not in ("", doc.title)
        self.apart.setVisible(renamed or where is not None)
        other = f" Its title was '{was}' then." if renamed else ""
        if where is not None:
            other += f" Set aside from '{where}': that file or this is a copy of the other."
        self.words.setText(
            f"'{doc.title}': {sum(aside.values()):,} pieces are set aside.{other} Laid: tesserae. "
            "To take: stocked pieces, whole, that they are cut from, with what sorting and cutting "
            "lose. Free: in hand and promised to no other "
            "commission. A lot with a colour of its own is taken by itself; more of it is ordered "
            "as its material."
        )

    def _another_file(self) -> Path | None:
        """Return the file that pieces were set aside from, if it is there beside this one."""
        here, there = self.session.path, self.store.file(self.session.doc.key)
        if here is None or not os.path.isfile(there):
            return None
        return None if here.exists() and here.samefile(there) else Path(there)

    def part(self) -> None:
        """Let the commission be another than the one it was begun from."""
        doc = replace(self.session.doc, id=new_commission_id())
        self.session.try_apply("A commission of its own", doc)
        self.room.try_to(lambda: None, "Nothing is set aside for it yet.")

    def set_aside(self) -> None:
        """Promise this commission what it still needs, as far as there is."""
        doc = self.session.doc
        needed = {c.material.key: c for c in self.counted()}
        short: list[str] = []
        wanted: dict[Key, int] = {}

        def do() -> None:
            known = {m.key for m in self.store.offered()}
            out = self.store.taken_for(doc.key)
            for key, c in needed.items():
                if key in known:
                    wanted[key] = max(0, c.take - out.get(key, 0))
                else:
                    short.append(f"{c.material.code} is not stocked")
            path = self.session.path
            file = str(path.resolve()) if path is not None else ""
            for s in self.store.set_aside(doc.key, wanted, title=doc.title, file=file, partly=True):
                m = needed[s.key].material
                order = "" if m.lot is None else f", to order as {m.order_code}"
                short.append(f"{m.code}: {s.short:,} short{order}")

        if self.room.try_to(do):
            self.room.say(
                "; ".join(short)
                if short
                else "Everything it needs is set aside."
                if any(wanted.values())
                else "All that it needs is taken out already."
                if wanted
                else "Nothing is laid yet, so it needs nothing."
            )

    def release(self) -> None:
        """Give back what was set aside."""
        self.room.try_to(lambda: self.store.release(self.session.doc.key), "Given back.")

    def take_out(self) -> None:
        """Take what was set aside off the shelf."""
        taken = 0
        short: list[str] = []

        def do() -> None:
            nonlocal taken
            taken = sum(self.store.set_aside_for(self.session.doc.key).values())
            for s in self.store.take_out(self.session.doc.key):
                short.append(f"{named(s.key)}: {s.short:,} missing")

        if self.room.try_to(do):
            self.room.say(
                "; ".join(short)
                if short
                else f"{taken:,} pieces are taken off the shelf."
                if taken
                else "Nothing is set aside for it, so nothing was taken out."
            )

    def put_back(self) -> None:
        """Put pieces left over back."""
        chosen = self.table.chosen()
        if chosen is None:
            self.room.say("Choose a material in the table first.")
            return
        key = self.keys[chosen]
        n = self.room.ask("Put back", f"Pieces of {named(key)} left over:")
        if n:
            self.room.try_to(
                lambda: self.store.put_back(self.session.doc.key, {key: n}),
                f"{n:,} pieces of {named(key)} are on the shelf again.",
            )
