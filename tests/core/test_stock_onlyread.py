"""A stock that may not be written to: read, followed, brought up to date aside, never touched."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from only_read import only_read, open_folder

from core.commission import Commission
from core.errors import EmblemaError
from core.material import Material
from core.stock import StockStore, read_stock_csv, use_stock, write_stock_csv
from core.stock.schema import STEPS, statements

NEW = Material("T-1", "test glass", "smalti", (50.0, 1.0, 2.0), price=Decimal("12.30"), pieces=100)
OWN = (55.0, -3.0, 7.0)


@pytest.fixture
def path() -> Iterator[Path]:
    """A stock file with a lot of its own colour, some of it promised."""
    with open_folder() as folder:
        path = folder / "stock.sqlite"
        with StockStore(path) as store:
            store.add_material(NEW)
            lot = store.add_lot("T-1", 40, "2021-03-01", OWN, "second pour")
            store.set_aside("wall", {"T-1": 30, ("T-1", lot): 5}, title="Kitchen wall")
        yield path


def all_of(store: StockStore) -> tuple[object, ...]:
    return (
        store.materials(), store.lots("T-1"), store.movements(), store.available(),
        store.offered("wall"), store.commissions(), store.title("wall"), store.taken_for("wall"),
    )  # fmt: skip


def held(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


@pytest.mark.parametrize("what", ["file", "folder", "both"])
def test_all_can_be_read_and_nothing_is_touched(path: Path, what: str) -> None:
    with StockStore(path) as store:
        whole = all_of(store)
        assert not store.only_read
    before = held(path.parent)
    paths = {"file": [path], "folder": [path.parent], "both": [path, path.parent]}[what]
    with only_read(*paths):
        with StockStore(path) as store:
            assert store.only_read and all_of(store) == whole
            doc, _ = use_stock(Commission("Threshold", 100.0, 100.0), store)
            assert doc.material("T-1").pieces == 70
        assert held(path.parent) == before
    # and it is as good as before once it may be written to
    with StockStore(path) as store:
        assert not store.only_read and all_of(store) == whole
        store.add_lot("T-1", 5)
        assert len(store.lots("T-1")) == 3


def test_the_list_is_written_elsewhere(path: Path, tmp_path: Path) -> None:
    with only_read(path, path.parent), StockStore(path) as store:
        materials = store.materials()
    write_stock_csv(tmp_path / "list.csv", materials)
    own = tuple(replace(m, example=False) for m in materials)
    assert read_stock_csv(tmp_path / "list.csv") == (own, ())


CHANGES: dict[str, Callable[[StockStore], object]] = {
    "add_material": lambda s: s.add_material(replace(NEW, code="T-2")),
    "change_material": lambda s: s.change_material("T-1", NEW),
    "remove_material": lambda s: s.remove_material("SM-01"),
    "take_list": lambda s: s.take_list(lambda _: [NEW]),
    "add_lot": lambda s: s.add_lot("T-1", 5),
    "change_lot": lambda s: s.change_lot(1, lab=OWN, note=""),
    "count_lot": lambda s: s.count_lot(1, 5),
    "lose": lambda s: s.lose(1, 5),
    "set_aside": lambda s: s.set_aside("door", {"T-1": 5}),
    "release": lambda s: s.release("wall"),
    "take_out": lambda s: s.take_out("wall"),
    "put_back": lambda s: s.put_back("wall", {"T-1": 5}),
}


@pytest.mark.parametrize("change", CHANGES)
def test_every_change_is_refused_in_words(path: Path, change: str) -> None:
    with only_read(path, path.parent), StockStore(path) as store:
        whole = all_of(store)
        with pytest.raises(EmblemaError, match=r"can only be read.*stock\.sqlite"):
            CHANGES[change](store)
        assert all_of(store) == whole


def test_what_waits_beside_the_file_is_read_too(path: Path) -> None:
    """A window of somebody else, who may write, is at work or came to a sudden end."""
    with StockStore(path) as other:
        other._db.execute("PRAGMA wal_autocheckpoint = 0")
        other.add_lot("T-1", 7, "2022-01-01")
        beside = [path.with_name(f"{path.name}{end}") for end in ("-wal", "-shm")]
        assert beside[0].stat().st_size > 0
        with only_read(path, path.parent, *beside), StockStore(path) as store:
            assert store.only_read
            assert [v.in_hand for v in store.lots("T-1")] == [40, 7, 100]
        beside[1].unlink()  # what a copied folder may lack
        with only_read(path, path.parent, beside[0]), StockStore(path) as store:
            assert [v.in_hand for v in store.lots("T-1")] == [40, 7, 100]


def test_changes_of_another_who_may_write_are_followed(path: Path) -> None:
    with StockStore(path) as other:
        with only_read(path, path.parent):
            store = StockStore(path)
        state = store.state()
        assert store.state() == state
        other.lose(other.lots("T-1")[1].id, 20, "dropped")
        assert store.state() != state
        assert store.material("T-1").pieces == 120
        assert store.movements()[-1].note == "dropped"
        state = store.state()
        assert store.state() == state and store.only_read
    # what is no longer there is remembered
    path.rename(path.with_name("elsewhere"))
    assert store.material("T-1").pieces == 120 and store.state() >= state
    path.write_bytes(b"no stock file, but long enough to look like one" * 99)
    store.state()
    assert store.material("T-1").pieces == 120
    store.close()


@pytest.mark.parametrize("version", [1, 2])
def test_an_older_file_is_brought_up_to_date_in_memory_alone(version: int) -> None:
    with open_folder() as folder:
        path = folder / "stock.sqlite"
        with closing(sqlite3.connect(path)) as db:
            for step in STEPS[:version]:
                for statement in statements(step):
                    db.execute(statement)
            db.execute(
                "INSERT INTO material VALUES (1, 'OLD', 'old', 'smalti', 50, 1, 2, 'matt', 'D65',"
                " 2, 'estimated', 15, 10, 7, 2700, '9.50', 'kg', 0.1, '', '', 0)"
            )
            db.execute("INSERT INTO lot VALUES (1, 1, '2020-01-01', NULL, NULL, NULL, '')")
            for kind, hand, aside in (("bought", 33, 0), ("set aside", 0, 4)):
                db.execute(
                    "INSERT INTO movement (lot, kind, in_hand, set_aside, commission, note)"
                    " VALUES (1, ?, ?, ?, ?, '')",
                    (kind, hand, aside, "Kitchen" if aside else ""),
                )
            db.execute(f"PRAGMA user_version = {version}")
            db.commit()
        before = held(folder)
        with only_read(path, folder), StockStore(path) as store:
            (old,) = store.materials()
            assert (old.code, old.pieces) == ("OLD", 33)
            assert store.commissions() == {"Kitchen": {"OLD": 4}}
            assert store.title("Kitchen") == "Kitchen"
        assert held(folder) == before
        with StockStore(path) as store:
            assert store.materials() == (old,)
        assert (folder / f"stock.version{version}.sqlite").exists()


def test_what_cannot_be_read_either_is_said(path: Path) -> None:
    bad = path.with_name("bad.sqlite")
    bad.write_bytes(b"not a database at all, but long enough to look like one" * 40)
    with only_read(bad), pytest.raises(EmblemaError, match=r"bad\.sqlite.*damaged"):
        StockStore(bad)
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version = 99")
    with only_read(path), pytest.raises(EmblemaError, match="later version"):
        StockStore(path)
    mode = path.stat().st_mode
    path.chmod(0)
    try:
        with only_read(), pytest.raises(EmblemaError, match=r"stock\.sqlite' cannot be read"):
            StockStore(path)
    finally:
        path.chmod(mode)


def test_a_folder_that_may_not_be_written_to_and_holds_no_stock(path: Path) -> None:
    with only_read(path.parent), pytest.raises(EmblemaError, match="cannot be opened"):
        StockStore(path.with_name("other.sqlite"))
    assert os.listdir(path.parent) == ["stock.sqlite"]
