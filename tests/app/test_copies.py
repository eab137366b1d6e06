"""Copies of a commission's file: one saved elsewhere is another commission to the stock."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from jobcard_rig import Rig
from PySide6.QtWidgets import QPushButton

from app.jobcard.stockroom import Stockroom
from core import archive
from core.archive import Work
from core.commission import Commission, new_commission_id
from core.errors import EmblemaError
from core.resources import asset


@pytest.fixture
def kept(table: Rig, tmp_path: Path) -> Path:
    """The commission on the table, saved, with an id and three edits that can be undone."""
    session = table.session
    doc = replace(session.doc, id=new_commission_id())
    session.begin(Work(doc, session.images))
    for title in ("One", "Two", "Three"):
        session.apply(f"Call it {title}", replace(session.doc, title=title))
    table.lay()
    session.save(tmp_path / "kitchen.emblema")
    return tmp_path / "kitchen.emblema"


@pytest.fixture
def room(table: Rig, tmp_path: Path) -> Iterator[Stockroom]:
    room = Stockroom(table.session, path=tmp_path / "stock.sqlite")
    room.show()
    yield room
    room.done(0)


def saved(path: Path) -> Commission:
    return archive.load(path)[0]


def press(room: Stockroom, words: str) -> None:
    (found,) = [b for b in room.findChildren(QPushButton) if b.text() == words]
    found.click()


def test_a_copy_is_a_commission_of_its_own(table: Rig, kept: Path) -> None:
    session, first = table.session, table.session.doc
    layout = session.layout
    session.save(kept.with_name("hall.emblema"))
    assert "stays with kitchen.emblema" in table.said[-1]
    copy = saved(kept.with_name("hall.emblema"))
    assert copy == session.doc == replace(first, id=copy.id) and copy.id not in ("", first.id)
    assert saved(kept) == first
    # nothing is laid again, and nothing is left to save
    assert session.layout is layout and session.layout_is_current and not session.dirty
    # no step back leads to the other commission
    for _ in range(2):
        session.undo()
    assert session.doc.title == "One" and session.doc.id == copy.id and session.dirty
    for _ in range(2):
        session.redo()
    assert session.doc == copy and not session.dirty
    # saved again where it is, it stays what it is
    session.apply("Name", replace(session.doc, title="Hall"))
    session.save()
    session.save(kept.with_name("hall.emblema"))
    assert saved(kept.with_name("hall.emblema")) == replace(copy, title="Hall")


def test_a_copy_saved_while_it_is_laid_is_laid(table: Rig, kept: Path) -> None:
    session = table.session
    fields = tuple(f.with_choices(tessera_mm=8.0) for f in session.doc.fields)
    session.apply("Smaller", replace(session.doc, fields=fields))
    session.lay()
    assert not session.layout_is_current
    session.save(kept.with_name("hall.emblema"))
    table.lay()
    assert session.laid_doc == saved(kept.with_name("hall.emblema"))


def test_a_file_moved_or_not_yet_saved_keeps_its_id(table: Rig, kept: Path) -> None:
    session = table.session
    first = session.doc.id
    moved = kept.with_name("moved.emblema")
    kept.rename(moved)
    session.save(moved)  # the file that it came from is no longer there
    assert session.doc.id == first == saved(moved).id
    session.new(300, 200, "Hearth")
    fresh = session.doc.id
    session.save(kept.with_name("hearth.emblema"))
    assert session.doc.id == fresh == saved(kept.with_name("hearth.emblema")).id


def test_a_copy_that_cannot_be_written_changes_nothing(table: Rig, kept: Path) -> None:
    session, doc = table.session, table.session.doc
    with pytest.raises(EmblemaError, match="could not be written"):
        session.save(kept.parent / "no folder" / "hall.emblema")
    assert session.doc is doc and session.path == kept and saved(kept) == doc


def test_each_opening_of_the_demo_is_another_commission(table: Rig) -> None:
    keys = set()
    for _ in range(2):
        table.session.open_copy(asset("demo/heron.emblema"))
        keys.add(table.session.doc.key)
        assert not table.session.dirty
    assert len(keys) == 2 and table.session.doc.title not in keys


def test_a_copied_file_is_told_from_the_one_that_pieces_were_set_aside_from(
    table: Rig, room: Stockroom, kept: Path
) -> None:
    press(room, "Set aside what it needs")
    n = sum(room.store.set_aside_for(table.session.doc.key).values())
    assert n > 0 and room.share.apart.isHidden()
    copied = kept.with_name("copied by hand.emblema")
    shutil.copy(kept, copied)
    table.session.open(copied)
    table.lay()
    room.refresh()
    words = room.share.words.text()
    assert f"{n:,} pieces are set aside" in words and f"Set aside from '{kept}'" in words
    assert not room.share.apart.isHidden()
    press(room, "It is a commission of its own")
    assert "0 pieces are set aside" in room.share.words.text() and room.share.apart.isHidden()
    table.lay()
    room.refresh()
    press(room, "Set aside what it needs")
    assert len(room.store.commissions()) == 2
    # the first one has all that it had
    table.session.open(kept)
    assert sum(room.store.set_aside_for(table.session.doc.key).values()) == n


def test_a_file_moved_by_hand_keeps_what_is_set_aside(
    table: Rig, room: Stockroom, kept: Path
) -> None:
    press(room, "Set aside what it needs")
    n = sum(room.store.set_aside_for(table.session.doc.key).values())
    moved = kept.with_name("moved.emblema")
    kept.rename(moved)
    table.session.open(moved)
    room.refresh()
    assert f"{n:,} pieces are set aside. Laid: tesserae" in room.share.words.text()
    assert room.share.apart.isHidden()
