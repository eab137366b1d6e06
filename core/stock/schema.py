"""The stock file's tables, one step a version, and how an older file is brought up to date.

Quantities are never stored, only the movements that make them, and a movement is never changed:
what is in hand is their sum, so that two windows at work at once cannot disagree about it.
"""

from __future__ import annotations

import sqlite3
from typing import Final

# Step n takes a file from version n to n + 1. A published step is never edited; add another.
STEPS: Final = (
    """
    CREATE TABLE material (
        place INTEGER PRIMARY KEY AUTOINCREMENT,
        code TEXT NOT NULL UNIQUE,
        description TEXT NOT NULL,
        kind TEXT NOT NULL,
        l REAL NOT NULL,
        a REAL NOT NULL,
        b REAL NOT NULL,
        finish TEXT NOT NULL,
        illuminant TEXT NOT NULL,
        observer INTEGER NOT NULL,
        obtained TEXT NOT NULL,
        length_mm REAL NOT NULL,
        width_mm REAL NOT NULL,
        thickness_mm REAL NOT NULL,
        density_kg_m3 REAL NOT NULL,
        price TEXT NOT NULL,
        price_unit TEXT NOT NULL,
        waste REAL NOT NULL,
        grade TEXT NOT NULL,
        supplier TEXT NOT NULL,
        removed INTEGER NOT NULL DEFAULT 0
    );
    CREATE TABLE lot (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        material INTEGER NOT NULL REFERENCES material (place) ON DELETE RESTRICT,
        bought_on TEXT NOT NULL,
        l REAL,
        a REAL,
        b REAL,
        note TEXT NOT NULL
    );
    CREATE INDEX lot_of_material ON lot (material);
    CREATE TABLE movement (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%SZ', 'now')),
        lot INTEGER NOT NULL REFERENCES lot (id) ON DELETE RESTRICT,
        kind TEXT NOT NULL CHECK (kind IN
            ('bought', 'set aside', 'released', 'taken', 'put back', 'lost', 'counted')),
        in_hand INTEGER NOT NULL,
        set_aside INTEGER NOT NULL,
        commission TEXT NOT NULL,
        note TEXT NOT NULL
    );
    CREATE INDEX movement_of_lot ON movement (lot, commission);
    CREATE VIEW lot_now AS
        SELECT lot.id, lot.material, lot.bought_on, lot.l, lot.a, lot.b, lot.note,
            coalesce(sum(m.in_hand), 0) AS in_hand,
            coalesce(sum(m.set_aside), 0) AS set_aside,
            coalesce(sum(m.in_hand) FILTER (WHERE m.kind = 'bought'), 0) AS bought,
            coalesce(-sum(m.in_hand) FILTER (WHERE m.kind IN ('lost', 'counted')), 0) AS lost
        FROM lot LEFT JOIN movement m ON m.lot = lot.id
        GROUP BY lot.id;
    """,
    """
    CREATE TRIGGER movement_stays BEFORE UPDATE ON movement
        BEGIN SELECT RAISE(ABORT, 'a movement is never changed'); END;
    CREATE TRIGGER movement_is_kept BEFORE DELETE ON movement
        BEGIN SELECT RAISE(ABORT, 'a movement is never taken back'); END;
    CREATE TRIGGER never_below_zero AFTER INSERT ON movement
        WHEN (SELECT sum(in_hand) < max(sum(set_aside), 0) FROM movement WHERE lot = NEW.lot)
        OR (SELECT sum(set_aside) < 0 FROM movement
            WHERE lot = NEW.lot AND commission = NEW.commission)
        BEGIN SELECT RAISE(ABORT, 'a lot cannot hold fewer pieces than none'); END;
    """,
    # Until then a commission was known by its title.
    """
    CREATE TABLE commission (key TEXT PRIMARY KEY, title TEXT NOT NULL);
    INSERT INTO commission SELECT DISTINCT commission, commission FROM movement
        WHERE commission <> '';
    """,
    # A copied file is known by what was set aside from another one that is still there.
    "ALTER TABLE commission ADD COLUMN file TEXT NOT NULL DEFAULT '';",
    # The studio's own particulars and rates; what is but an example, and was never bought.
    """
    CREATE TABLE studio (value TEXT NOT NULL);
    ALTER TABLE material ADD COLUMN example INTEGER NOT NULL DEFAULT 0;
    CREATE TABLE movement_with_examples (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        at TEXT NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%SZ', 'now')),
        lot INTEGER NOT NULL REFERENCES lot (id) ON DELETE RESTRICT,
        kind TEXT NOT NULL CHECK (kind IN ('bought', 'example', 'set aside', 'released', 'taken',
            'put back', 'lost', 'counted')),
        in_hand INTEGER NOT NULL,
        set_aside INTEGER NOT NULL,
        commission TEXT NOT NULL,
        note TEXT NOT NULL
    );
    INSERT INTO movement_with_examples SELECT * FROM movement;
    DROP VIEW lot_now;
    DROP TABLE movement;
    ALTER TABLE movement_with_examples RENAME TO movement;
    CREATE INDEX movement_of_lot ON movement (lot, commission);
    CREATE VIEW lot_now AS
        SELECT lot.id, lot.material, lot.bought_on, lot.l, lot.a, lot.b, lot.note,
            coalesce(sum(m.in_hand), 0) AS in_hand,
            coalesce(sum(m.set_aside), 0) AS set_aside,
            coalesce(sum(m.in_hand) FILTER (WHERE m.kind IN ('bought', 'example')), 0) AS bought,
            coalesce(-sum(m.in_hand) FILTER (WHERE m.kind IN ('lost', 'counted')), 0) AS lost
        FROM lot LEFT JOIN movement m ON m.lot = lot.id
        GROUP BY lot.id;
    CREATE TRIGGER movement_stays BEFORE UPDATE ON movement
        BEGIN SELECT RAISE(ABORT, 'a movement is never changed'); END;
    CREATE TRIGGER movement_is_kept BEFORE DELETE ON movement
        BEGIN SELECT RAISE(ABORT, 'a movement is never taken back'); END;
    CREATE TRIGGER never_below_zero AFTER INSERT ON movement
        WHEN (SELECT sum(in_hand) < max(sum(set_aside), 0) FROM movement WHERE lot = NEW.lot)
        OR (SELECT sum(set_aside) < 0 FROM movement
            WHERE lot = NEW.lot AND commission = NEW.commission)
        BEGIN SELECT RAISE(ABORT, 'a lot cannot hold fewer pieces than none'); END;
    """,
    # What sorting loses, how it is sold, and what tests say of it.
    """
    ALTER TABLE material ADD COLUMN broken REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN off_colour REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN wrong_size REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN pieces_a_kg REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN pack REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN pack_unit TEXT NOT NULL DEFAULT 'kg';
    ALTER TABLE material ADD COLUMN supplier_no TEXT NOT NULL DEFAULT '';
    ALTER TABLE material ADD COLUMN absorption REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN slip_ptv REAL NOT NULL DEFAULT 0;
    ALTER TABLE material ADD COLUMN frost_cycles INTEGER NOT NULL DEFAULT 0;
    """,
)


def statements(script: str) -> list[str]:
    """Split a script where sqlite finds a whole statement (executescript would commit midway)."""
    whole, part = [], ""
    for piece in script.split(";"):
        part += piece + ";"
        if sqlite3.complete_statement(part):
            whole.append(part)
            part = ""
    return [s for s in whole if s.strip(" \n;")]


def upgrade(db: sqlite3.Connection) -> int:
    """Bring a file up to date inside the transaction that the caller has begun.

    Returns
    -------
    int
        The version found; 0 for a new file.
    """
    found = int(db.execute("PRAGMA user_version").fetchone()[0])
    for step in STEPS[found:]:
        for statement in statements(step):
            db.execute(statement)
    db.execute(f"PRAGMA user_version = {len(STEPS)}")
    return found
