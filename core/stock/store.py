"""The studio's stock: what commissions are promised of the shelf and take from it, and the ledger.

One SQLite file in the user's data folder, filled with the starter stock on first use. Every change
is one transaction that takes the write lock first, so two windows may work at once; what two
commissions both want is given to the one that asks first and the other is told what is short.

A commission takes by key (see `core.material.Key`): a material's code stands for its lots without
a colour of their own, and a lot with its own colour is taken by itself. Commissions are known by a
key of their own, so that two may have one title.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass, replace

from core.commission import Studio
from core.errors import EmblemaError
from core.material import Key, Lot, Material, named
from core.stock.shelf import Shelf, share_out
from core.typed import to_json, typed


@dataclass(frozen=True, slots=True)
class Shortage:
    """Fewer pieces can be had than were wanted."""

    key: Key
    wanted: int
    to_be_had: int

    @property
    def short(self) -> int:
        """Pieces to order."""
        return self.wanted - self.to_be_had


@dataclass(frozen=True, slots=True)
class Movement:
    """One line of the ledger: how the pieces in hand and set aside of a lot changed, and why."""

    id: int
    at: str
    code: str
    lot: int
    kind: str
    in_hand: int
    set_aside: int
    commission: str = ""
    note: str = ""
    title: str = ""


class StockStore(Shelf):
    """Everything that is done with the stock: the shelf, promises and the ledger."""

    # Commissions

    def available(self) -> dict[str, int]:
        """Return, by code, the pieces of all its lots that no commission has been promised."""
        rows = self._rows(
            "SELECT m.code, (SELECT coalesce(sum(n.in_hand - n.set_aside), 0) FROM lot_now n"
            " WHERE n.material = m.place) AS free FROM material m"
            " WHERE NOT m.removed ORDER BY m.place"
        )
        return {row["code"]: int(row["free"]) for row in rows}

    def offered(self, commission: str = "") -> tuple[Material, ...]:
        """Return what a commission may take, `pieces` free or promised to it.

        Every stocked material, its pieces those of the lots without a colour of their own, and
        after each its lots that have one, as materials.
        """
        with self._lock:
            materials, promised = self.materials(), self._promised(commission)
            lots: dict[str, list[Lot]] = {}
            for lot in self._every_lot():
                lots.setdefault(lot.code, []).append(lot)
        found = []
        for m in materials:
            free = [(v, v.free + promised.get(v.id, 0)) for v in lots.get(m.code, ())]
            found.append(replace(m, pieces=sum(n for v, n in free if v.lab is None)))
            found += [
                replace(m, code=named((m.code, v.id)), lab=v.lab, pieces=n, lot=v.id, lot_of=m.code)
                for v, n in free
                if v.lab is not None
            ]
        return tuple(found)

    def set_aside_for(self, commission: str) -> dict[Key, int]:
        """Return the pieces promised to a commission."""
        return self.commissions().get(commission, {})

    def taken_for(self, commission: str) -> dict[Key, int]:
        """Return the pieces taken off the shelf for a commission and not put back."""
        return self._sums("-v.in_hand", "v.kind IN ('taken', 'put back')").get(commission, {})

    def commissions(self) -> dict[str, dict[Key, int]]:
        """Return every commission that pieces are set aside for, and how many of what."""
        return self._sums("v.set_aside", "v.set_aside <> 0")

    def title(self, commission: str) -> str:
        """Return the title under which pieces were last set aside for a commission."""
        rows = self._rows("SELECT title FROM commission WHERE key = ?", (commission,))
        return str(rows[0]["title"]) if rows else ""

    def file(self, commission: str) -> str:
        """Return the commission's file that pieces were last set aside from, as it was told."""
        rows = self._rows("SELECT file FROM commission WHERE key = ?", (commission,))
        return str(rows[0]["file"]) if rows else ""

    def set_aside(
        self,
        commission: str,
        wanted: Mapping[Key, int],
        *,
        title: str | None = None,
        file: str = "",
        partly: bool = False,
    ) -> tuple[Shortage, ...]:
        """Promise a commission exactly these pieces, in place of what it was promised before.

        Parameters
        ----------
        wanted : mapping of Key to int
            Pieces by what they are taken of; what is left out is released.
        title : str, optional
            What the ledger calls the commission; its key where left out.
        file : str, optional
            Where the commission is kept.
        partly : bool
            Where something is short, set aside what there is; else leave all as it was.

        Returns
        -------
        tuple of Shortage
            Empty when all could be set aside.
        """
        title = commission if title is None else title
        _check_wanted(commission if title.strip() else "", wanted)
        short: list[Shortage] = []
        with self._change(keep=lambda: partly or not short) as db:
            db.execute(
                "INSERT INTO commission (key, title, file) VALUES (?, ?, ?)"
                " ON CONFLICT (key) DO UPDATE SET title = excluded.title, file = excluded.file",
                (commission, title, file),
            )
            self._release(db, commission)
            for key, pieces in wanted.items():
                lots = self._lots_of(key)
                free = sum(lot.free for lot in lots)
                if free < pieces:
                    short.append(Shortage(key, pieces, free))
                for lot, part in share_out(((lot, lot.free) for lot in lots), pieces):
                    self._move(db, lot.id, "set aside", 0, part, commission)
        return tuple(short)

    def release(self, commission: str) -> None:
        """Give back all that is set aside for a commission, as when it falls through."""
        with self._change() as db:
            self._release(db, commission)

    def take_out(
        self, commission: str, used: Mapping[Key, int] | None = None
    ) -> tuple[Shortage, ...]:
        """On completion, take the pieces that were laid off the shelf.

        What was set aside goes first, then free pieces, the lot bought first before the others;
        what was set aside and not used is released.

        Parameters
        ----------
        used : mapping of Key to int, optional
            Pieces by what they are taken of; all that was set aside where left out.

        Returns
        -------
        tuple of Shortage
            Empty when done. Otherwise nothing was taken: the shelf holds less than was used.
        """
        short: list[Shortage] = []
        with self._change(keep=lambda: not short) as db:
            used = dict(used if used is not None else self.set_aside_for(commission))
            _check_wanted(commission, used)
            promised = self._promised(commission)
            for key, pieces in used.items():
                lots = self._lots_of(key)
                own = [(lot, promised.get(lot.id, 0)) for lot in lots]
                left = pieces
                for lot, part in share_out(own, left):
                    self._move(db, lot.id, "taken", -part, -part, commission)
                    left -= part
                for lot, part in share_out(((lot, lot.free) for lot in lots), left):
                    self._move(db, lot.id, "taken", -part, 0, commission)
                    left -= part
                if left:
                    short.append(Shortage(key, pieces, pieces - left))
            self._release(db, commission)
        return tuple(short)

    def put_back(self, commission: str, returned: Mapping[Key, int]) -> None:
        """Put pieces of a finished commission back on the shelf, into the lots they came from.

        Raises
        ------
        EmblemaError
            More would be put back than was taken out. Nothing is put back.
        """
        _check_wanted(commission, returned)
        with self._change() as db:
            rows = self._rows(
                "SELECT lot, -sum(in_hand) AS n FROM movement WHERE commission = ?"
                " AND kind IN ('taken', 'put back') GROUP BY lot",
                (commission,),
            )
            taken = {int(row["lot"]): int(row["n"]) for row in rows}
            for key, pieces in returned.items():
                out = [(v.id, taken.get(v.id, 0)) for v in reversed(self._lots_of(key))]
                total = sum(n for _, n in out)
                if pieces > total:
                    raise EmblemaError(
                        f"{pieces:,} pieces of '{named(key)}' cannot be put back: {total:,} are "
                        f"still out for '{self.title(commission) or commission}'."
                    )
                for lot, part in share_out(out, pieces):
                    self._move(db, lot, "put back", part, 0, commission)

    # The studio

    def studio(self) -> Studio:
        """Return the studio's own particulars and rates."""
        rows = self._rows("SELECT value FROM studio")
        if not rows:
            return Studio()
        try:
            return typed(Studio, json.loads(rows[0]["value"]), "the studio")
        except (ValueError, EmblemaError) as error:
            raise EmblemaError(
                f"The studio's rates in '{self.path}' cannot be read: {error}"
            ) from error

    def keep_studio(self, studio: Studio) -> None:
        """Keep the studio's own particulars and rates; commissions have theirs already."""
        with self._change() as db:
            db.execute("DELETE FROM studio")
            value = json.dumps(to_json(studio), ensure_ascii=False)
            db.execute("INSERT INTO studio (value) VALUES (?)", (value,))

    # Ledger

    def movements(
        self, code: str | None = None, commission: str | None = None
    ) -> tuple[Movement, ...]:
        """Return the ledger, oldest first, of a material, of a commission or of all.

        Without examples that were taken off the shelf: they were never the studio's.
        """
        rows = self._rows(
            "SELECT v.id, v.at, m.code, v.lot, v.kind, v.in_hand, v.set_aside, v.commission,"
            " v.note, coalesce(c.title, v.commission) AS title"
            " FROM movement v JOIN lot ON lot.id = v.lot"
            " JOIN material m ON m.place = lot.material LEFT JOIN commission c"
            " ON c.key = v.commission"
            " WHERE NOT (m.example AND m.removed)"
            " AND (?1 IS NULL OR m.code = ?1) AND (?2 IS NULL OR v.commission = ?2)"
            " ORDER BY v.id",
            (code, commission),
        )
        return tuple(Movement(**dict(row)) for row in rows)

    # Below: inside a transaction that the caller has begun.

    def _promised(self, commission: str) -> dict[int, int]:
        """Return the pieces promised to a commission, by lot."""
        rows = self._rows(
            "SELECT lot, sum(set_aside) AS n FROM movement WHERE commission = ?"
            " GROUP BY lot HAVING n > 0",
            (commission,),
        )
        return {int(row["lot"]): int(row["n"]) for row in rows}

    def _sums(self, what: str, where: str) -> dict[str, dict[Key, int]]:
        """Return what movements add up to, where that is more than nothing."""
        rows = self._rows(
            "SELECT v.commission, m.code, CASE WHEN lot.l IS NOT NULL THEN lot.id END AS own,"
            f" sum({what}) AS n FROM movement v"
            " JOIN lot ON lot.id = v.lot JOIN material m ON m.place = lot.material"
            f" WHERE {where} GROUP BY v.commission, m.place, own HAVING n > 0"
            " ORDER BY v.commission, m.place, own"
        )
        found: dict[str, dict[Key, int]] = {}
        for row in rows:
            key = row["code"] if row["own"] is None else (row["code"], int(row["own"]))
            found.setdefault(row["commission"], {})[key] = int(row["n"])
        return found

    def _release(self, db: sqlite3.Connection, commission: str) -> None:
        for lot, pieces in self._promised(commission).items():
            self._move(db, lot, "released", 0, -pieces, commission)


def _check_wanted(commission: str, wanted: Mapping[Key, int]) -> None:
    if not commission.strip():
        raise EmblemaError("Give the commission a title before setting pieces aside for it.")
    for key, pieces in wanted.items():
        if pieces < 0:
            raise EmblemaError(f"{pieces} pieces of '{named(key)}' cannot be moved.")
