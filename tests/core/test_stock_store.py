import os
import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from core.commission import Rates, Studio
from core.errors import EmblemaError
from core.files import data_folder
from core.goods import Goods
from core.material import MOST_PIECES, MOST_PRICE, Material
from core.stock.lists import starter_stock
from core.stock.schema import STEPS, statements
from core.stock.store import Shortage, StockStore

ROOT = Path(__file__).parents[2]
NEW = Material("T-1", "test glass", "smalti", (50.0, 1.0, 2.0), price=Decimal("12.30"), pieces=100)


@pytest.fixture
def store(tmp_path):
    with StockStore(tmp_path / "stock.sqlite") as opened:
        opened.add_material(NEW)
        yield opened


def free_for(store, commission=""):
    return {m.key: m.pieces for m in store.offered(commission)}


def test_is_filled_with_the_starter_stock_once(tmp_path, monkeypatch):
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "mine"))
    assert data_folder() == tmp_path / "mine"
    with StockStore() as store:
        assert store.path == tmp_path / "mine" / "stock.sqlite"
        assert store.materials() == starter_stock()
        store.remove_material(starter_stock()[0].code)
    with StockStore() as store:
        assert store.materials() == starter_stock()[1:]


def test_materials_are_added_changed_and_removed(store):
    assert store.material("T-1") == NEW
    with pytest.raises(EmblemaError, match="already a material 'T-1'"):
        store.add_material(NEW)
    other = replace(NEW, code="T-2", price=Decimal("0.1"), pieces=130, lab=(1.5, 2.5, 3.5))
    store.change_material("T-1", other)
    assert store.material("T-2") == other
    with pytest.raises(KeyError):
        store.material("T-1")
    with pytest.raises(EmblemaError, match="already a material"):
        store.change_material("T-2", replace(other, code=starter_stock()[0].code))
    with pytest.raises(EmblemaError, match="no material 'T-9'"):
        store.change_material("T-9", other)
    with pytest.raises(EmblemaError, match="length"):
        store.change_material("T-2", replace(other, length_mm=0.0))
    store.remove_material("T-2")
    assert "T-2" not in store.available()
    store.add_material(other)
    assert store.material("T-2").pieces == 130
    assert len(store.lots("T-2")) == 1


def test_a_list_is_taken_whole_or_not_at_all(store):
    before = store.materials()
    first = before[0]
    changed = replace(first, price=Decimal(7), pieces=first.pieces - 5)
    assert store.take_list(lambda _: [changed, replace(NEW, code="T-2")]) == (1, 1)
    assert store.material(first.code) == replace(changed, example=False)
    after = store.materials()
    with pytest.raises(EmblemaError):
        store.take_list(lambda _: [replace(NEW, code="T-3"), replace(NEW, code="T-4", kind="none")])
    assert store.materials() == after


def test_a_list_is_read_against_the_stock_as_it_is_when_it_is_taken(store):
    """What another window counted since the list was looked at is not counted back."""
    with StockStore(store.path) as other:
        other.lose(other.lots("T-1")[0].id, 30)
    store.take_list(lambda stocked: [replace(stocked["T-1"], price=Decimal(5))])
    assert (store.material("T-1").price, store.material("T-1").pieces) == (Decimal(5), 70)
    assert [v.kind for v in store.movements("T-1")] == ["bought", "lost"]


def test_a_long_list_of_known_materials(store):
    many = [replace(NEW, code=f"L-{k}", pieces=k) for k in range(3000)]
    assert store.take_list(lambda _: many) == (3000, 0)
    more = [replace(m, pieces=m.pieces + 1) for m in many]
    assert store.take_list(lambda _: more) == (0, 3000)
    assert store.material("L-2999").pieces == 3000


@pytest.mark.parametrize("pieces", [-1, MOST_PIECES + 1, 10**23])
def test_counts_that_no_shelf_holds_are_refused_and_nothing_is_changed(store, pieces):
    before, lot = store.materials(), store.lots("T-1")[0].id
    for do in (
        lambda: store.add_material(replace(NEW, code="T-2", pieces=pieces)),
        lambda: store.change_material("T-1", replace(NEW, pieces=pieces)),
        lambda: store.add_lot("T-1", pieces),
        lambda: store.count_lot(lot, pieces),
        lambda: store.take_list(lambda _: [replace(NEW, code="T-2", pieces=pieces)]),
    ):
        with pytest.raises(EmblemaError, match="pieces"):
            do()
    assert store.materials() == before and len(store.lots("T-1")) == 1


def test_prices_and_codes_beyond_all_use_are_refused(store):
    with pytest.raises(EmblemaError, match=r"price 1e\+30 is beyond 100,000,000"):
        store.add_material(replace(NEW, code="T-2", price=Decimal("1e30")))
    with pytest.raises(EmblemaError, match="'T{20}...' has 61 signs; 60 are the most"):
        store.add_material(replace(NEW, code="T" * 61))
    store.add_material(replace(NEW, code="T" * 60, price=Decimal(MOST_PRICE), pieces=MOST_PIECES))


def test_lots_are_used_oldest_first_and_know_their_loss(store):
    old = store.add_lot("T-1", 40, "2021-03-01", note="first firing")
    assert next(lot.id for lot in store.lots("T-1")) == old
    assert store.set_aside("wall", {"T-1": 60}) == ()
    assert [(lot.set_aside, lot.free) for lot in store.lots("T-1")] == [(40, 0), (20, 80)]
    store.take_out("wall", {"T-1": 45})
    first, second = store.lots("T-1")
    assert (first.in_hand, first.used, second.in_hand, second.used) == (0, 40, 95, 5)
    assert first.note == "first firing" and first.lab is second.lab is None
    store.lose(second.id, 10, "broke")
    store.count_lot(second.id, 80)
    second = store.lots("T-1")[1]
    assert (second.in_hand, second.lost, second.share_lost) == (80, 15, 0.15)
    with pytest.raises(EmblemaError, match="not a date"):
        store.add_lot("T-1", 4, "31.5.24")
    with pytest.raises(EmblemaError, match="no lot 999"):
        store.count_lot(999, 4)


def test_the_order_of_use_follows_the_day_however_it_is_written(store):
    first = store.lots("T-1")[0].id
    for day in ("20200302", "2020-W10-2", "2020-03-01"):
        store.add_lot("T-1", 10, day)
    days = [(v.bought_on, v.id) for v in store.lots("T-1")]
    assert [d for d, _ in days[:3]] == ["2020-03-01", "2020-03-02", "2020-03-03"]
    store.set_aside("wall", {"T-1": 15})
    assert [v.set_aside for v in store.lots("T-1")] == [10, 5, 0, 0]
    # a day put right changes the turn of what is taken from now on, not what is promised
    store.change_lot(first, lab=None, note="", bought_on="2019-12-31")
    assert [(v.id == first, v.set_aside) for v in store.lots("T-1")][:2] == [(True, 0), (False, 10)]
    assert store.take_out("wall", {"T-1": 20}) == ()
    assert {v.id: v.in_hand for v in store.lots("T-1")}[first] == 95
    before = store.lots("T-1")
    for day in ("31.5.24", "2024-02-30"):
        with pytest.raises(EmblemaError, match=f"'{day}' is not a date"):
            store.change_lot(first, lab=None, note="no", bought_on=day)
    assert store.lots("T-1") == before


def test_what_is_short_is_said_and_nothing_is_set_aside(store):
    assert store.set_aside("wall", {"T-1": 70}) == ()
    assert store.available()["T-1"] == 30
    assert free_for(store, "wall")["T-1"] == 100 and free_for(store, "door")["T-1"] == 30
    assert store.set_aside("door", {"T-1": 31, "SM-01": 5}) == (Shortage("T-1", 31, 30),)
    assert store.set_aside_for("door") == {}
    (short,) = store.set_aside("door", {"T-1": 31, "SM-01": 5}, partly=True)
    assert short.short == 1
    assert store.set_aside_for("door") == {"SM-01": 5, "T-1": 30}
    assert store.commissions() == {"door": {"SM-01": 5, "T-1": 30}, "wall": {"T-1": 70}}
    # A new round replaces what was promised, and a short one leaves the old promise standing.
    assert store.set_aside("wall", {"T-1": 50, "SM-02": 8}) == ()
    assert store.set_aside_for("wall") == {"SM-02": 8, "T-1": 50}
    assert store.set_aside("wall", {"T-1": 71}) == (Shortage("T-1", 71, 70),)
    assert store.set_aside_for("wall") == {"SM-02": 8, "T-1": 50}
    store.release("wall")
    assert store.set_aside_for("wall") == {} and store.available()["T-1"] == 70
    with pytest.raises(EmblemaError, match="title"):
        store.set_aside(" ", {"T-1": 1})
    with pytest.raises(EmblemaError, match="-1 pieces"):
        store.set_aside("wall", {"T-1": -1})


def test_completion_takes_out_and_what_is_left_over_comes_back(store):
    store.set_aside("wall", {"T-1": 70})
    store.set_aside("door", {"T-1": 20})
    assert store.take_out("wall", {"T-1": 81}) == (Shortage("T-1", 81, 80),)
    assert store.set_aside_for("wall") == {"T-1": 70} and store.material("T-1").pieces == 100
    assert store.take_out("wall", {"T-1": 75}) == ()
    assert store.material("T-1").pieces == 25 and store.set_aside_for("wall") == {}
    assert store.set_aside_for("door") == {"T-1": 20}
    store.put_back("wall", {"T-1": 15})
    assert store.material("T-1").pieces == 40
    with pytest.raises(EmblemaError, match="60 are still out"):
        store.put_back("wall", {"T-1": 61})
    assert store.take_out("door") == ()
    assert store.material("T-1").pieces == 20
    kinds = [m.kind for m in store.movements("T-1")]
    assert kinds == [
        "bought", "set aside", "set aside", "taken", "taken", "put back", "taken",
    ]  # fmt: skip
    assert {m.commission for m in store.movements(commission="wall")} == {"wall"}
    assert sum(m.in_hand for m in store.movements("T-1")) == 20


OWN = (55.0, -3.0, 7.0)


def test_a_lot_with_a_colour_of_its_own_is_taken_by_itself(store):
    lot = store.add_lot("T-1", 40, "2021-03-01", OWN)
    key = ("T-1", lot)
    free = free_for(store)
    assert (free["T-1"], free[key]) == (100, 40)
    assert store.available()["T-1"] == 140  # the shelf counts all
    own = next(m for m in store.offered() if m.key == key)
    assert (
        own == replace(NEW, code=f"T-1 lot {lot}", lab=OWN, pieces=40, lot=lot, lot_of="T-1")
        and own.order_code == "T-1"
    )
    places = [m.key for m in store.offered()]
    assert places.index(key) == places.index("T-1") + 1
    # neither stands in for the other
    assert store.set_aside("wall", {"T-1": 101, key: 41}) == (
        Shortage("T-1", 101, 100),
        Shortage(key, 41, 40),
    )
    assert store.set_aside("wall", {"T-1": 70, key: 30}) == ()
    assert store.set_aside_for("wall") == {"T-1": 70, key: 30}
    assert [(v.id == lot, v.set_aside) for v in store.lots("T-1")] == [(True, 30), (False, 70)]
    assert free_for(store, "wall")[key] == 40 and free_for(store)[key] == 10
    assert store.take_out("wall", {key: 41}) == (Shortage(key, 41, 40),)
    assert store.take_out("wall", {"T-1": 60, key: 35}) == ()
    assert [v.in_hand for v in store.lots("T-1")] == [5, 40]
    assert store.taken_for("wall") == {"T-1": 60, key: 35} and store.taken_for("door") == {}
    with pytest.raises(EmblemaError, match=f"36 pieces of 'T-1 lot {lot}' cannot be put back: 35"):
        store.put_back("wall", {key: 36})
    store.put_back("wall", {key: 35, "T-1": 1})
    assert [v.in_hand for v in store.lots("T-1")] == [40, 41]
    assert store.taken_for("wall") == {"T-1": 59}
    with pytest.raises(EmblemaError, match="no lot 999 of 'T-1'"):
        store.set_aside("wall", {("T-1", 999): 1})
    with pytest.raises(EmblemaError, match=f"no lot {lot} of 'SM-01'"):
        store.set_aside("wall", {("SM-01", lot): 1})


def test_what_was_promised_of_a_lot_stays_promised_when_its_colour_changes(store):
    lot = store.lots("T-1")[0].id
    store.set_aside("wall", {"T-1": 60})
    store.change_lot(lot, lab=OWN, note="")
    assert store.set_aside_for("wall") == {("T-1", lot): 60}
    store.take_out("wall")
    store.change_lot(lot, lab=None, note="")
    assert store.taken_for("wall") == {"T-1": 60} and store.lots("T-1")[0].in_hand == 40
    store.put_back("wall", {"T-1": 60})
    assert store.lots("T-1")[0].in_hand == 100


@pytest.mark.parametrize(
    ("lab", "fault"),
    [
        ((150.0, 0.0, 0.0), "L* is 150; it must be 0 to 100"),
        ((-0.5, 0.0, 0.0), "L* is -0.5; it must be 0 to 100"),
        ((50.0, 161.0, 0.0), "a* is 161; it must be -160 to 160"),
        ((50.0, 0.0, -200.0), "b* is -200; it must be -160 to 160"),
        ((float("nan"), 0.0, 0.0), "L* is nan"),
        ((50.0, 0.0, float("inf")), "b* is inf"),
    ],
)
def test_a_lots_colour_is_refused_in_the_words_of_a_materials(store, lab, fault):
    before = store.lots("T-1"), store.movements()
    said = set()
    for attempt in (
        lambda: store.add_lot("T-1", 5, lab=lab),
        lambda: store.change_lot(store.lots("T-1")[0].id, lab=lab, note="no"),
        lambda: store.change_material("T-1", replace(NEW, lab=lab)),
    ):
        with pytest.raises(EmblemaError) as refused:
            attempt()
        said.add(str(refused.value))
    assert len(said) == 1 and fault in said.pop()
    assert (store.lots("T-1"), store.movements()) == before


def test_a_colour_that_is_the_materials_is_none_of_its_own(store):
    lot = store.add_lot("T-1", 5, lab=NEW.lab)
    assert store.lots("T-1")[-1].lab is None
    store.change_lot(lot, lab=OWN, note="")
    assert free_for(store)[("T-1", lot)] == 5
    store.change_lot(lot, lab=NEW.lab, note="")
    assert free_for(store)["T-1"] == 105 and ("T-1", lot) not in free_for(store)


def test_two_commissions_may_have_one_title(store):
    store.set_aside("a1", {"T-1": 30}, title="Kitchen")
    store.set_aside("b2", {"T-1": 50}, title="Kitchen")
    assert store.commissions() == {"a1": {"T-1": 30}, "b2": {"T-1": 50}}
    assert {m.title for m in store.movements() if m.commission} == {"Kitchen"}
    store.set_aside("a1", {"T-1": 20}, title="Hall")
    assert (store.title("a1"), store.title("b2"), store.title("c3")) == ("Hall", "Kitchen", "")
    assert [m.title for m in store.movements(commission="a1")] == ["Hall"] * 3
    assert store.take_out("b2") == () and store.set_aside_for("a1") == {"T-1": 20}
    with pytest.raises(EmblemaError, match="60 pieces .* 50 are still out for 'Kitchen'"):
        store.put_back("b2", {"T-1": 60})
    for title in ("", "  "):
        with pytest.raises(EmblemaError, match="title"):
            store.set_aside("c3", {"T-1": 1}, title=title)


def test_what_was_promised_by_title_can_still_be_read(tmp_path):
    """A file of the time when a commission was known by its title."""
    path = tmp_path / "stock.sqlite"
    with closing(sqlite3.connect(path)) as db:
        for step in STEPS[:2]:
            for statement in statements(step):
                db.execute(statement)
        db.execute(
            "INSERT INTO material VALUES (1, 'OLD', 'old', 'smalti', 50, 1, 2, 'matt', 'D65', 2,"
            " 'estimated', 15, 10, 7, 2700, '9.50', 'kg', 0.1, '', '', 0)"
        )
        db.execute("INSERT INTO lot VALUES (1, 1, '2020-01-01', NULL, NULL, NULL, '')")
        db.execute("INSERT INTO lot VALUES (2, 1, '2020-02-01', 40, 5, 5, 'darker')")
        for lot, kind, hand, aside, work in (
            (1, "bought", 30, 0, ""),
            (2, "bought", 20, 0, ""),
            (1, "set aside", 0, 30, "Kitchen wall"),
            (2, "set aside", 0, 5, "Kitchen wall"),
            (2, "taken", -4, 0, "Hall"),
        ):
            db.execute(
                "INSERT INTO movement (lot, kind, in_hand, set_aside, commission, note)"
                " VALUES (?, ?, ?, ?, ?, '')",
                (lot, kind, hand, aside, work),
            )
        db.execute("PRAGMA user_version = 2")
        db.commit()
    with StockStore(path) as store:
        assert store.commissions() == {"Kitchen wall": {"OLD": 30, ("OLD", 2): 5}}
        assert store.title("Kitchen wall") == "Kitchen wall" and store.title("Hall") == "Hall"
        assert [m.title for m in store.movements()] == ["", "", *["Kitchen wall"] * 2, "Hall"]
        assert store.taken_for("Hall") == {("OLD", 2): 4}
        assert store.take_out("Kitchen wall") == ()
        assert [v.in_hand for v in store.lots("OLD")] == [0, 11]
    assert (tmp_path / "stock.version2.sqlite").exists()


def test_what_is_promised_can_be_neither_counted_away_nor_removed(store):
    store.set_aside("wall", {"T-1": 70})
    lot = store.lots("T-1")[0].id
    for attempt in (
        lambda: store.count_lot(lot, 69),
        lambda: store.lose(lot, 31),
        lambda: store.change_material("T-1", replace(NEW, pieces=69)),
        lambda: store.remove_material("T-1"),
    ):
        with pytest.raises(EmblemaError, match=r"set aside|free pieces"):
            attempt()
    assert store.material("T-1").pieces == 100
    store.change_material("T-1", replace(NEW, pieces=70))
    assert store.available()["T-1"] == 0


def test_the_file_itself_refuses_to_go_below_zero(store):
    lot = store.lots("T-1")[0].id
    db = sqlite3.connect(store.path)
    insert = (
        "INSERT INTO movement (lot, kind, in_hand, set_aside, commission, note)"
        " VALUES (?, 'taken', ?, ?, 'x', '')"
    )
    with closing(db):
        for change in ((-101, 0), (0, 101), (0, -1)):
            with pytest.raises(sqlite3.IntegrityError, match="fewer pieces than none"):
                db.execute(insert, (lot, *change))
        with pytest.raises(sqlite3.IntegrityError, match="never changed"):
            db.execute("UPDATE movement SET in_hand = 500")
        with pytest.raises(sqlite3.IntegrityError, match="never taken back"):
            db.execute("DELETE FROM movement")


def test_an_older_file_is_brought_up_to_date_and_a_copy_kept(tmp_path):
    path = tmp_path / "stock.sqlite"
    with closing(sqlite3.connect(path)) as db:
        for statement in statements(STEPS[0]):
            db.execute(statement)
        db.execute(
            "INSERT INTO material VALUES (1, 'OLD', 'old', 'smalti', 50, 1, 2, 'matt', 'D65', 2,"
            " 'estimated', 15, 10, 7, 2700, '9.50', 'kg', 0.1, '', '', 0)"
        )
        db.execute("INSERT INTO lot VALUES (1, 1, '2020-01-01', NULL, NULL, NULL, '')")
        db.execute(
            "INSERT INTO movement (lot, kind, in_hand, set_aside, commission, note)"
            " VALUES (1, 'bought', 33, 0, '', '')"
        )
        db.execute("PRAGMA user_version = 1")
        db.commit()
    with StockStore(path) as store:
        (old,) = store.materials()
        assert (old.code, old.pieces, old.price) == ("OLD", 33, Decimal("9.50"))
    with closing(sqlite3.connect(path)) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (len(STEPS),)
        assert db.execute("SELECT count(*) FROM sqlite_master WHERE type='trigger'").fetchone() == (
            3,
        )
    with closing(sqlite3.connect(tmp_path / "stock.version1.sqlite")) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
        assert db.execute("SELECT code FROM material").fetchall() == [("OLD",)]


def test_a_failed_upgrade_leaves_the_file_as_it_was(tmp_path, monkeypatch):
    path = tmp_path / "stock.sqlite"
    StockStore(path).close()
    from core.stock import file, schema

    broken = (*STEPS, "CREATE TABLE extra (x); INSERT INTO no_such_table VALUES (1);")
    monkeypatch.setattr(schema, "STEPS", broken)
    monkeypatch.setattr(file, "STEPS", broken)
    with pytest.raises(EmblemaError, match="no_such_table"):
        StockStore(path)
    monkeypatch.undo()
    with StockStore(path) as store:
        assert store.materials() == starter_stock()
        assert store._rows("SELECT name FROM sqlite_master WHERE name = 'extra'") == []


def test_files_that_cannot_be_used_are_named(tmp_path):
    bad = tmp_path / "bad.sqlite"
    bad.write_bytes(b"not a database at all, but long enough to look like one" * 40)
    with pytest.raises(EmblemaError, match=r"bad\.sqlite.*damaged"):
        StockStore(bad)
    later = tmp_path / "later.sqlite"
    with closing(sqlite3.connect(later)) as db:
        db.execute("PRAGMA user_version = 99")
    with pytest.raises(EmblemaError, match=r"later\.sqlite.*later version"):
        StockStore(later)
    with pytest.raises(EmblemaError, match="folder for the stock.*cannot be made"):
        StockStore(bad / "below" / "stock.sqlite")


def test_a_data_folder_that_is_a_file_is_said(tmp_path, monkeypatch):
    (tmp_path / "mine").write_text("no folder")
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "mine"))
    with pytest.raises(EmblemaError, match="data folder '.*mine' cannot be made: a file"):
        StockStore()


def test_a_stock_that_may_only_be_read_is_not_called_damaged(store):
    store._db.execute("PRAGMA query_only = ON")  # as root, files are never read-only
    with pytest.raises(EmblemaError, match="read-only") as refused:
        store.add_lot("T-1", 5)
    assert "damaged" not in str(refused.value)


def test_damage_found_while_changing_is_said_and_nothing_is_changed(tmp_path):
    path = tmp_path / "stock.sqlite"
    with StockStore(path) as store:
        store.add_material(NEW)
        store._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(path.read_bytes())
    data[8192:] = bytes(b ^ 0x5A for b in data[8192:])  # all but the table of tables
    path.write_bytes(data)
    with StockStore(path) as store:
        for do in (
            lambda: store.add_lot("T-1", 5),
            lambda: store.add_material(replace(NEW, code="T-2")),
            store.available,
        ):
            with pytest.raises(EmblemaError, match=r"stock\.sqlite' is damaged"):
                do()


def test_a_held_lock_is_said_in_words(store, monkeypatch):
    store._db.execute("PRAGMA busy_timeout = 50")
    with closing(sqlite3.connect(store.path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(EmblemaError, match="another window"):
            store.add_lot("T-1", 5)
        assert store.material("T-1").pieces == 100
        other.execute("ROLLBACK")
    store.add_lot("T-1", 5)
    assert store.material("T-1").pieces == 105


WORKER = """
import sys, pathlib
from core.stock.store import StockStore
with StockStore(pathlib.Path(sys.argv[1])) as store:
    won = 0
    for k in range(60):
        won += not store.set_aside(f"{sys.argv[2]}-{k}", {"SM-09": 50})
    print(len(store.materials()), won)
"""


def start(path, name):
    return subprocess.Popen(
        [sys.executable, "-W", "error", "-c", WORKER, str(path), name],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def test_two_windows_open_a_new_file_and_share_the_last_pieces(tmp_path):
    path = tmp_path / "stock.sqlite"
    both = [start(path, "one"), start(path, "two")]
    told = [p.communicate(timeout=60) for p in both]
    assert [p.returncode for p in both] == [0, 0], told
    (n1, won1), (n2, won2) = (map(int, out.split()) for out, _ in told)
    assert n1 == n2 == len(starter_stock())  # filled once, not twice
    has = next(m.pieces for m in starter_stock() if m.code == "SM-09")
    assert won1 + won2 == min(has // 50, 120)
    with StockStore(path) as store:
        assert sum(c["SM-09"] for c in store.commissions().values()) == 50 * (won1 + won2)
        assert store.available()["SM-09"] == has - 50 * (won1 + won2)


DYING = """
import sys, time, pathlib
from core.stock.store import StockStore
store = StockStore(pathlib.Path(sys.argv[1]))
with store._change() as db:
    store._add_lot(db, store._need("SM-01"), 7, "", None, "")
    print("ready", flush=True)
    time.sleep(60)
"""


def test_a_window_that_dies_in_the_middle_leaves_the_stock_whole(tmp_path):
    path = tmp_path / "stock.sqlite"
    StockStore(path).close()
    killed = subprocess.Popen(
        [
            sys.executable,
            "-c",
            DYING,
            str(path),
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert killed.stdout.readline() == "ready\n"
    killed.kill()
    killed.wait()
    killed.stdout.close()
    with StockStore(path) as store:
        assert store.materials() == starter_stock()
        store.add_lot("SM-01", 3)


def test_another_windows_change_is_noticed_and_threads_may_share_one_store(store):
    before = store.state()
    store.add_lot("T-1", 1)
    assert store.state() == before
    with StockStore(store.path) as other:
        other.add_lot("T-1", 1)
    assert store.state() != before
    threads = [
        threading.Thread(target=lambda: [store.add_lot("T-1", 1) for _ in range(20)])
        for _ in range(4)
    ]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert store.material("T-1").pieces == 182


def test_a_year_of_work(tmp_path):
    with StockStore(tmp_path / "stock.sqlite") as store:
        codes = [m.code for m in store.materials()][:30]
        for k in range(40):
            store.set_aside(f"work {k}", dict.fromkeys(codes, 2))
            store.take_out(f"work {k}")
        assert len(store.movements()) == len(starter_stock()) + 2 * 40 * 30
        assert store.commissions() == {}
        bought = {m.code: m.pieces for m in starter_stock()}
        assert [bought[c] - store.material(c).pieces for c in codes] == [80] * 30


class Shelf(RuleBasedStateMachine):
    """Whatever is done, in any order, the store agrees with a plain count on paper."""

    @initialize()
    def begin(self):
        self.store = StockStore(Path(":memory:"))
        self.store.add_material(replace(NEW, pieces=20))
        self.hand, self.promised, self.taken = 20, {"x": 0, "y": 0}, {"x": 0, "y": 0}

    works = st.sampled_from("xy")
    some = st.integers(0, 25)

    @rule(n=some)
    def buy(self, n):
        self.store.add_lot("T-1", n, "2020-01-01")
        self.hand += n

    @rule(work=works, n=some)
    def promise(self, work, n):
        free = self.hand - sum(self.promised.values()) + self.promised[work]
        short = self.store.set_aside(work, {"T-1": n})
        assert bool(short) == (n > free)
        if not short:
            self.promised[work] = n

    @rule(work=works, n=some)
    def finish(self, work, n):
        free = self.hand - sum(self.promised.values()) + self.promised[work]
        short = self.store.take_out(work, {"T-1": n})
        assert bool(short) == (n > free)
        if not short:
            self.hand -= n
            self.taken[work] += n
            self.promised[work] = 0

    @rule(work=works, n=some)
    def give_back(self, work, n):
        if n > self.taken[work]:
            with pytest.raises(EmblemaError):
                self.store.put_back(work, {"T-1": n})
        else:
            self.store.put_back(work, {"T-1": n})
            self.taken[work] -= n
            self.hand += n

    @invariant()
    def agrees(self):
        if not hasattr(self, "store"):
            return
        assert self.store.material("T-1").pieces == self.hand
        assert self.store.available()["T-1"] == self.hand - sum(self.promised.values())
        for work, n in self.promised.items():
            assert self.store.set_aside_for(work).get("T-1", 0) == n
        for lot in self.store.lots("T-1"):
            assert lot.in_hand >= lot.set_aside >= 0 and lot.used >= 0

    def teardown(self):
        self.store.close()


TestShelf = Shelf.TestCase
TestShelf.settings = settings(max_examples=15, stateful_step_count=25, deadline=None)


@pytest.mark.parametrize("price", ["1e99999999", "nan", "dear"])
def test_a_price_that_is_no_amount_is_said_at_once(tmp_path, price):
    path = tmp_path / "stock.sqlite"
    with StockStore(path) as store:
        code = store.materials()[0].code
        with closing(sqlite3.connect(path)) as db:
            db.execute("UPDATE material SET price = ? WHERE code = ?", (price, code))
            db.commit()
        with pytest.raises(EmblemaError, match=f"damaged: the price of '{code}'"):
            store.material(code)


# the list that a studio begins with


def test_the_starter_stock_is_an_example_that_nobody_bought(store):
    assert [m.code for m in store.materials() if not m.example] == ["T-1"]
    assert {v.kind for v in store.movements() if v.code != "T-1"} == {"example"}
    (lot,) = store.lots("SM-78")
    assert (lot.bought, lot.used, lot.lost) == (lot.in_hand, 0, 0)
    assert store.material("SM-78").said.endswith("(example)")


def test_what_is_changed_counted_or_bought_is_the_studios_own(store):
    one, two, three, four = (m.code for m in store.materials()[:4])
    store.change_material(one, replace(store.material(one), price=Decimal(3)))
    store.add_lot(two, 40)
    store.count_lot(store.lots(three)[0].id, 7)
    store.take_list(lambda now: [now[four], replace(NEW, code="T-9")])
    assert [store.material(c).example for c in (one, two, three, four, "T-9")] == [
        *(False, False, False, True, False)
    ]


def test_an_empty_shelf_keeps_what_is_the_studios_and_says_nothing_of_examples(store):
    store.add_material(replace(NEW, code="T-9"))
    store.add_lot("SM-78", 40)
    assert store.begin_empty() == len(starter_stock()) - 1
    assert [m.code for m in store.materials()] == ["SM-78", "T-1", "T-9"]
    assert {v.code for v in store.movements()} == {"SM-78", "T-1", "T-9"}
    assert store.begin_empty() == 0


def test_an_empty_shelf_is_refused_while_an_example_is_set_aside(store):
    before = store.materials()
    store.set_aside("heron", {"SM-78": 10})
    with pytest.raises(EmblemaError, match="SM-78"):
        store.begin_empty()
    assert store.materials() == before


def test_a_list_that_is_taken_over_is_the_studios_own(store):
    assert store.take_over() == len(starter_stock())
    assert not any(m.example for m in store.materials())
    assert store.begin_empty() == 0 and len(store.materials()) == len(starter_stock()) + 1


def test_the_studios_rates_are_kept_whole(store):
    assert store.studio() == Studio()
    own = Studio(
        "Two hands",
        "Mill Lane 4",
        "EUR",
        Rates(
            hour=Decimal("31.50"),
            margin=0.15,
            tax=0.2,
            stone_kerf_mm=1.6,
            goods=Goods(notch_mm=6.0, paper=Decimal("0.85")),
        ),
    )
    store.keep_studio(own)
    assert store.studio() == own
    with StockStore(store.path) as again:
        assert again.studio() == own
    store.keep_studio(Studio())
    assert store.studio() == Studio()


def test_how_a_material_is_bought_and_what_tests_say_of_it_is_kept(store):
    bought = dict(
        supplier_no="S 12/7",
        broken=0.06,
        off_colour=0.02,
        wrong_size=0.01,
        pieces_a_kg=352.0,
        pack=2.5,
        pack_unit="kg",
        absorption=0.4,
        slip_ptv=38.0,
        frost_cycles=56,
    )
    store.add_material(replace(NEW, code="T-9", **bought))
    with StockStore(store.path) as again:
        found = again.material("T-9")
    assert {name: getattr(found, name) for name in bought} == bought


def test_what_was_stocked_before_that_was_asked_is_sold_loose_and_untested(tmp_path):
    path = tmp_path / "stock.sqlite"
    with closing(sqlite3.connect(path)) as db:
        for step in STEPS[:5]:
            for statement in statements(step):
                db.execute(statement)
        db.execute(
            "INSERT INTO material (code, description, kind, l, a, b, finish, illuminant, observer,"
            " obtained, length_mm, width_mm, thickness_mm, density_kg_m3, price, price_unit, waste,"
            " grade, supplier) VALUES ('A', 'a', 'smalti', 50, 0, 0, 'matt', 'D65', 2, 'measured',"
            " 15, 10, 7, 2700, '90', 'kg', 0.1, '', '')"
        )
        db.execute("PRAGMA user_version = 5")
        db.commit()
    with StockStore(path) as store:
        (found,) = store.materials()
    usual = Material("A", "a", "smalti", (50.0, 0.0, 0.0))
    for name in ("supplier_no", "broken", "pieces_a_kg", "pack", "pack_unit", "frost_cycles"):
        assert getattr(found, name) == getattr(usual, name)
