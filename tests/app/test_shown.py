"""After every edit each leaf shows what a new one would: nothing of before stays on it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest
from jobcard_rig import Rig, pump, rig, square
from PySide6.QtWidgets import QComboBox, QLabel, QListWidget, QTableWidget, QWidget
from shiboken6 import delete

from app.jobcard import JobCard
from app.jobcard.colourchart import ColourChart
from app.jobcard.palette import PaletteGrid
from core.commission import change_field
from core.handwork import lay_in

LEAVES = ("Fields", "Figures", "Colour", "Look again")


@pytest.fixture(scope="module")
def table():
    with rig() as r:
        yield r


def picture(icon) -> bytes:
    return bytes(icon.pixmap(26, 18).toImage().constBits() or b"")


def tells(w: QWidget) -> list:
    """Return all that a leaf tells, part by part."""
    out: list = []
    for part in w.findChildren(QWidget):
        if part.isHidden():
            continue
        if isinstance(part, QLabel):
            # a new leaf cannot know how near the colours came before
            out.append(part.text().split(", before ")[0].split(";")[0])
            if not part.pixmap().isNull():
                out.append(bytes(part.pixmap().toImage().constBits()))
        elif isinstance(part, QComboBox):
            out.append([part.itemText(k) for k in range(part.count())])
        elif isinstance(part, QListWidget):
            items = [part.item(k) for k in range(part.count())]
            out.append([(i.text(), i.isSelected(), picture(i.icon())) for i in items])
        elif isinstance(part, QTableWidget):
            cells = [
                part.item(j, k) for j in range(part.rowCount()) for k in range(part.columnCount())
            ]
            out.append([(c.text(), c.toolTip(), c.foreground(), picture(c.icon())) for c in cells])
        elif isinstance(part, PaletteGrid):
            out.append((part.materials, part.allowed, part.kept, dict(part.pieces)))
        elif isinstance(part, ColourChart):
            out.append((part.materials, part.pieces, part.lit, part._cloud.tolist()))
    return out


def settled(card: JobCard) -> bool:
    looks = card.leaves["Look again"]
    return card.leaves["Colour"].eye.settled() and (card.leaf is not looks or looks.settled())


def edits(r: Rig, which: str):
    """Return a document with one thing changed."""
    s = r.session
    doc = s.doc
    used = sorted(r.laid_codes("f1"))
    fresh = next(m.code for m in doc.materials if m.code not in used)
    if which == "piece":
        return lay_in(doc, s.layout, "f1", 0, fresh)
    if which == "in hand":
        few = tuple(replace(m, pieces=1) if m.code in used else m for m in doc.materials)
        return replace(doc, materials=few)
    if which == "price":
        dear = tuple(replace(m, price=m.price * 3) for m in doc.materials)
        return replace(doc, materials=dear, currency="EUR")
    if which == "outline":
        return change_field(doc, "f1", outline=square(0, 0, 45, 80), name="Narrow")
    if which == "fields":
        return replace(doc, fields=doc.fields[:1])
    return change_field(doc, "f1", tessera_mm=14.0)


@contextmanager
def new_card(r: Rig, name: str) -> Iterator[JobCard]:
    """Give a card made this moment, open at a leaf."""
    card = JobCard(r.session, r.bench)
    try:
        card.resize(r.card.size())
        card.show()
        card.turn_to(name)
        yield card
    finally:
        card.end()
        r.bench.overlays.pop()
        delete(card)


def same(r: Rig, what: str) -> None:
    """Hold the leaf that is open against a new one."""
    r.lay()
    name = r.card.leaf.name
    with new_card(r, name) as card:
        if name == "Colour":  # what was chosen stays chosen
            chosen = r.card.leaf.shorts.which.currentData()
            box = card.leaf.shorts.which
            box.setCurrentIndex(box.findData(chosen))
        assert pump(lambda: settled(r.card) and settled(card)), what
        pump(lambda: False, 0.05)
        assert tells(r.card.leaf) == tells(card.leaf), what


@pytest.mark.parametrize("name", LEAVES)
def test_a_leaf_shows_what_a_new_one_would(table, name):
    s, begun = table.session, table.session.doc
    used = sorted(table.laid_codes("f1"))
    table.card.turn_to(name)
    same(table, "as at first")
    s.swap(used[0], used[-1])
    same(table, "swap")
    s.select(("f1",))
    same(table, "chosen")
    for which in ("piece", "in hand", "price", "tessera", "outline", "fields"):
        s.apply(which, edits(table, which))
        same(table, which)
    while s.doc is not begun:
        s.undo()
    same(table, "taken back")
    s.select(())
    same(table, "nothing chosen")


@pytest.mark.parametrize("name", LEAVES)
def test_a_commission_with_nothing_laid_shows_none_of_the_one_before(name):
    with rig() as r:
        r.card.turn_to(name)
        assert pump(lambda: settled(r.card))
        r.session.new(300, 200, "Bare")
        same(r, "bare")
