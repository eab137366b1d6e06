"""The shelf: materials, the lots they were bought in, and what is counted, broken or added.

How many there are is never written down: it is the sum of a lot's movements (see `schema`). What
commissions are promised of it is in `store`.
"""

from __future__ import annotations

import datetime
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import fields, replace
from decimal import Decimal
from typing import Any, Final, TypeVar

from core.errors import EmblemaError
from core.material import Key, Lab, Lot, Material, check_lab, check_material, check_pieces
from core.plaintext import number
from core.stock.file import StockFile
from core.stock.lists import starter_stock

_PLAIN: Final = tuple(
    f.name for f in fields(Material) if f.name not in ("lab", "pieces", "lot", "lot_of")
)
Holder = TypeVar("Holder")


class Shelf(StockFile):
    """Materials and lots on the open file (see `StockFile`)."""

    def _fill(self, db: sqlite3.Connection) -> None:
        for m in starter_stock():
            self._insert(db, m, "example")

    # Materials

    def materials(self) -> tuple[Material, ...]:
        """Return every stocked material, in the order in which they were added.

        `pieces` is what is on the shelf, whether promised or not; see `available`.
        """
        rows = self._rows(
            f"SELECT {', '.join(f'm.{c}' for c in _PLAIN)}, m.l, m.a, m.b,"
            " (SELECT coalesce(sum(n.in_hand), 0) FROM lot_now n WHERE n.material = m.place)"
            " AS pieces FROM material m WHERE NOT m.removed ORDER BY m.place"
        )
        return tuple(_material(row) for row in rows)

    def material(self, code: str) -> Material:
        """Return one material, or raise KeyError."""
        for m in self.materials():
            if m.code == code:
                return m
        raise KeyError(code)

    def add_material(self, material: Material) -> None:
        """Stock a new material; its pieces become its first lot.

        Raises
        ------
        EmblemaError
            The code is taken or the material cannot be stocked (`check_material`).
        """
        check_material(material)
        with self._change() as db:
            if self._place(material.code) is not None:
                raise EmblemaError(f"There is already a material '{material.code}' in stock.")
            self._insert(db, material)

    def change_material(
        self, code: str, material: Material, *, seen: Material | None = None
    ) -> None:
        """Replace a material's particulars, its code too; a new count is entered as counted.

        A lower count is taken from the lots bought last, a higher one added to the last lot.

        Parameters
        ----------
        seen : Material, optional
            The material as it was when the change was begun. Where the count is not changed from
            that, what other windows have counted since stands.

        Raises
        ------
        EmblemaError
            The new code is taken, or fewer pieces would remain than are set aside.
        """
        check_material(material)
        with self._change() as db:
            if seen is not None and material.pieces == seen.pieces:
                now = sum(lot.in_hand for lot in self._lots(self._need(code)))
                material = replace(material, pieces=now)
            self._alter(db, code, replace(material, example=False))

    def remove_material(self, code: str) -> None:
        """Take a material out of the stock; its movements stay in the ledger.

        Raises
        ------
        EmblemaError
            Pieces of it are set aside for a commission.
        """
        with self._change() as db:
            self._remove(db, code)

    def begin_empty(self) -> int:
        """Take every example off the shelf; return how many there were.

        Raises
        ------
        EmblemaError
            Pieces of one are set aside for a commission. Nothing is taken off.
        """
        with self._change() as db:
            examples = [m for m in self.materials() if m.example]
            for m in examples:
                self._remove(db, m.code)
        return len(examples)

    def take_over(self) -> int:
        """Make every example the studio's own; return how many there were."""
        with self._change() as db:
            return db.execute("UPDATE material SET example = 0 WHERE example").rowcount

    def take_list(
        self, read: Callable[[Mapping[str, Material]], Iterable[Material]]
    ) -> tuple[int, int]:
        """Add the materials of a list, and change those whose code is known, all or none.

        Parameters
        ----------
        read : callable
            Given what is stocked by code, returns the materials. No other window changes the
            stock meanwhile, so that counts which the list does not give stay right.

        Returns
        -------
        added, changed : int
        """
        added = changed = 0
        with self._change() as db:
            before = {m.code: m for m in self.materials()}
            for m in read(before):
                check_material(m)
                if m != before.get(m.code):
                    m = replace(m, example=False)  # what a list has changed is the studio's
                if self._place(m.code) is None:
                    self._insert(db, m)
                    added += 1
                else:
                    self._alter(db, m.code, m)
                    changed += 1
        return added, changed

    # Lots

    def lots(self, code: str) -> tuple[Lot, ...]:
        """Return a material's lots, the one bought first before the others."""
        with self._lock:
            return self._lots(self._need(code))

    def add_lot(
        self, code: str, pieces: int, bought_on: str = "", lab: Lab | None = None, note: str = ""
    ) -> int:
        """Put a purchase on the shelf and return the lot's number.

        Parameters
        ----------
        bought_on : str
            YYYY-MM-DD; today where left out. Lots are used in the order of their days.
        lab : tuple of float, optional
            The lot's own colour; the material's where left out.
        """
        check_pieces(code, pieces)
        bought_on = _day(bought_on)
        with self._change() as db:
            place = self._need(code)
            self._be_own(db, place)
            return self._add_lot(db, place, pieces, bought_on, self._own(place, lab), note)

    def change_lot(
        self, lot: int, *, lab: Lab | None, note: str, bought_on: str | None = None
    ) -> None:
        """Set a lot's own colour (None: the material's), its note and the day it was bought.

        What is set aside of it stays so; what is taken from now on goes by the new day. Without
        `bought_on` the day is left as it is.
        """
        with self._change() as db:
            found = self._lot(lot)
            day = found.bought_on if bought_on is None else _day(bought_on)
            (row,) = self._rows("SELECT material FROM lot WHERE id = ?", (lot,))
            lab = self._own(row["material"], lab)
            db.execute(
                "UPDATE lot SET l = ?, a = ?, b = ?, note = ?, bought_on = ? WHERE id = ?",
                (*(lab or (None, None, None)), note, day, lot),
            )

    def count_lot(self, lot: int, pieces: int, note: str = "") -> None:
        """Enter what a count of the shelf found; the difference goes into the ledger."""
        with self._change() as db:
            found = self._lot(lot)
            check_pieces(found.code, pieces)
            if pieces < found.set_aside:
                raise EmblemaError(
                    f"Lot {lot} of '{found.code}' cannot be {pieces} pieces: {found.set_aside} are "
                    "set aside for a commission. Release them first."
                )
            self._be_own(db, self._need(found.code))
            if pieces != found.in_hand:
                self._move(db, lot, "counted", pieces - found.in_hand, 0, note=note)

    def lose(self, lot: int, pieces: int, note: str = "") -> None:
        """Write off pieces that broke or came out unfit."""
        with self._change() as db:
            found = self._lot(lot)
            if not 0 < pieces <= found.free:
                raise EmblemaError(
                    f"Lot {lot} of '{found.code}' has {found.free} free pieces; "
                    f"{pieces} cannot be written off."
                )
            self._move(db, lot, "lost", -pieces, 0, note=note)

    # Below: inside a transaction that the caller has begun.

    @staticmethod
    def _be_own(db: sqlite3.Connection, place: int) -> None:
        """A material of which a person bought or counted some is no example."""
        db.execute("UPDATE material SET example = 0 WHERE place = ?", (place,))

    def _place(self, code: str) -> int | None:
        rows = self._rows("SELECT place FROM material WHERE code = ? AND NOT removed", (code,))
        return int(rows[0]["place"]) if rows else None

    def _need(self, code: str) -> int:
        place = self._place(code)
        if place is None:
            raise EmblemaError(f"There is no material '{code}' in stock.")
        return place

    def _own(self, place: int, lab: Lab | None) -> Lab | None:
        """Return a lot's colour, None where it is just its material's."""
        if lab is None:
            return None
        (row,) = self._rows("SELECT code, l, a, b FROM material WHERE place = ?", (place,))
        check_lab(f"Material '{row['code']}':", lab)
        return None if lab == (row["l"], row["a"], row["b"]) else lab

    def _lots(self, place: int) -> tuple[Lot, ...]:
        return self._every_lot("lot.material = ?", place)

    def _lots_of(self, key: Key) -> tuple[Lot, ...]:
        """Return the lots that a key stands for, the one bought first before the others."""
        code, number = (key, None) if isinstance(key, str) else key
        lots = self._lots(self._need(code))
        if number is None:
            return tuple(v for v in lots if v.lab is None)
        found = tuple(v for v in lots if v.id == number)
        if not found:
            raise EmblemaError(f"There is no lot {number} of '{code}' in stock.")
        return found

    def _lot(self, lot: int) -> Lot:
        found = self._every_lot("lot.id = ?", lot)
        if not found:
            raise EmblemaError(f"There is no lot {lot} in stock.")
        return found[0]

    def _every_lot(self, which: str = "NOT m.removed", *values: int) -> tuple[Lot, ...]:
        # not by the view, which adds up every movement there is before it looks for the lots
        rows = self._rows(
            "SELECT lot.id, m.code, lot.bought_on, lot.l, lot.a, lot.b, lot.note,"
            " coalesce(sum(v.in_hand), 0) AS in_hand, coalesce(sum(v.set_aside), 0) AS set_aside,"
            " coalesce(sum(v.in_hand) FILTER (WHERE v.kind IN ('bought', 'example')), 0)"
            " AS bought,"
            " coalesce(-sum(v.in_hand) FILTER (WHERE v.kind IN ('lost', 'counted')), 0) AS lost"
            " FROM lot JOIN material m ON m.place = lot.material"
            f" LEFT JOIN movement v ON v.lot = lot.id WHERE {which}"
            " GROUP BY lot.id ORDER BY lot.material, lot.bought_on, lot.id",
            values,
        )
        return tuple(_lot(row) for row in rows)

    def _remove(self, db: sqlite3.Connection, code: str) -> None:
        place = self._need(code)
        lots = self._lots(place)
        promised = sum(lot.set_aside for lot in lots)
        if promised:
            raise EmblemaError(
                f"'{code}' cannot be removed: {promised} pieces are set aside for a commission."
            )
        for lot in lots:
            self._move(db, lot.id, "counted", -lot.in_hand, 0, note="removed from the stock")
        # The code is set free for another material; the ledger still says what it was.
        db.execute(
            "UPDATE material SET removed = 1, code = code || ' (removed ' || place || ')'"
            " WHERE place = ?",
            (place,),
        )

    def _insert(self, db: sqlite3.Connection, m: Material, kind: str = "bought") -> None:
        columns = (*_PLAIN, "l", "a", "b")
        cursor = db.execute(
            f"INSERT INTO material ({', '.join(columns)}) VALUES ({', '.join('?' * len(columns))})",
            (*(_plain(m, c) for c in _PLAIN), *m.lab),
        )
        if m.pieces:
            self._add_lot(db, int(cursor.lastrowid or 0), m.pieces, "", None, "", kind)

    def _alter(self, db: sqlite3.Connection, code: str, m: Material) -> None:
        place = self._need(code)
        if m.code != code and self._place(m.code) is not None:
            raise EmblemaError(f"There is already a material '{m.code}' in stock.")
        columns = (*_PLAIN, "l", "a", "b")
        db.execute(
            f"UPDATE material SET {', '.join(f'{c} = ?' for c in columns)} WHERE place = ?",
            (*(_plain(m, c) for c in _PLAIN), *m.lab, place),
        )
        lots = self._lots(place)
        change = m.pieces - sum(lot.in_hand for lot in lots)
        if change > 0 and lots:
            self._move(db, lots[-1].id, "counted", change, 0)
        elif change > 0:
            self._add_lot(db, place, change, "", None, "")
        elif change < 0:
            free = sum(lot.free for lot in lots)
            if free < -change:
                raise EmblemaError(
                    f"'{code}' cannot be {m.pieces} pieces: {sum(v.set_aside for v in lots)} are "
                    "set aside for a commission."
                )
            for lot, part in share_out(((lot, lot.free) for lot in reversed(lots)), -change):
                self._move(db, lot.id, "counted", -part, 0)

    def _add_lot(
        self,
        db: sqlite3.Connection,
        place: int,
        pieces: int,
        bought_on: str,
        lab: Lab | None,
        note: str,
        kind: str = "bought",
    ) -> int:
        cursor = db.execute(
            "INSERT INTO lot (material, bought_on, l, a, b, note) VALUES (?, ?, ?, ?, ?, ?)",
            (place, _day(bought_on), *(lab or (None, None, None)), note),
        )
        lot = int(cursor.lastrowid or 0)
        self._move(db, lot, kind, pieces, 0)
        return lot

    @staticmethod
    def _move(
        db: sqlite3.Connection,
        lot: int,
        kind: str,
        in_hand: int,
        set_aside: int,
        commission: str = "",
        note: str = "",
    ) -> None:
        if in_hand == 0 and set_aside == 0 and kind != "bought":
            return
        db.execute(
            "INSERT INTO movement (lot, kind, in_hand, set_aside, commission, note)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (lot, kind, in_hand, set_aside, commission, note),
        )


def share_out(have: Iterable[tuple[Holder, int]], wanted: int) -> Iterator[tuple[Holder, int]]:
    """Yield parts that add up to what is wanted, or to all there is, first come first taken."""
    for holder, there in have:
        part = min(there, wanted)
        if part > 0:
            wanted -= part
            yield holder, part


def _day(written: str) -> str:
    """Return a day as YYYY-MM-DD, so that days sort as text; today where none is given."""
    try:
        day = datetime.date.fromisoformat(written) if written else datetime.date.today()
    except ValueError:
        raise EmblemaError(f"'{written}' is not a date; write it as 2024-05-31.") from None
    return day.isoformat()


def _plain(m: Material, column: str) -> Any:
    value = getattr(m, column)
    return str(value) if isinstance(value, Decimal) else value


def _material(row: sqlite3.Row) -> Material:
    given = {c: row[c] for c in _PLAIN}
    price = number(str(given.pop("price")))
    if price is None:
        raise EmblemaError(f"The stock is damaged: the price of '{row['code']}' is no amount.")
    lab, given["example"] = (row["l"], row["a"], row["b"]), bool(given["example"])
    return Material(lab=lab, pieces=int(row["pieces"]), price=price, **given)


def _lot(row: sqlite3.Row) -> Lot:
    lab = None if row["l"] is None else (row["l"], row["a"], row["b"])
    return Lot(
        row["id"],
        row["code"],
        row["bought_on"],
        row["bought"],
        row["in_hand"],
        row["set_aside"],
        row["lost"],
        lab,
        row["note"],
    )
