"""Rounds in the file: what several have in common stands there once.

Fields, lines, materials and whatever else is many are parts that every round names by their
place, and blocks of pieces are known by their SHA-256, those of the present work among them. So a
round in which little changed costs little.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from core.commission import Commission
from core.errors import EmblemaError
from core.kept import Kept
from core.kept_rounds.round import MOST_ROUNDS, Round, Sum, check_rounds
from core.laidrows import kept_of, rows_of
from core.members import read_json
from core.typed import to_json, typed

MANY: Final = (
    *("fields", "flow_lines", "materials", "swaps", "edits", "motif_palettes"),
    *("agreed", "printed", "repeats", "sheets"),
)
LAID: Final = "laid"
_ONCE: Final = ("fields", "flow_lines", "materials", "repeats", "sheets", LAID)  # in one round


@dataclass(frozen=True, slots=True)
class _Head:
    """A round's own particulars."""

    number: int
    name: str = ""
    on: str = ""
    words: str = ""
    sums: tuple[Sum, ...] = ()


def written(rounds: Sequence[Round], beside: Kept) -> tuple[bytes, bytes]:
    """Return rounds as JSON, and the blocks that do not stand `beside` them in the file."""
    parts: dict[str, dict[str, int]] = {name: {} for name in (*MANY, LAID)}
    known = {digest_of(b) for b in blocks_of(beside)}
    blocks: dict[str, bytes] = {}

    def put(block: bytes) -> str:
        digest = digest_of(block)
        if digest not in known:
            blocks.setdefault(digest, block)
        return digest

    def places(name: str, items: Iterable[Any]) -> list[int]:
        of = parts[name]
        return [of.setdefault(json.dumps(item, ensure_ascii=False), len(of)) for item in items]

    told = []
    for r in rounds:
        doc = to_json(r.doc)
        lists = {name: places(name, doc[name]) for name in MANY if name in doc}
        head = to_json(_Head(r.number, r.name, r.on, r.words, r.sums))
        laid = places(LAID, rows_of(r.kept, put))
        told.append({**head, "commission": {**doc, **lists}, LAID: laid})
    body = {
        "rounds": told,
        "parts": {name: [json.loads(text) for text in of] for name, of in parts.items() if of},
        "blocks": [[digest, len(block)] for digest, block in blocks.items()],
    }
    return json.dumps(body, ensure_ascii=False).encode(), b"".join(blocks.values())


def read(
    index: bytes,
    data: bytes,
    beside: Kept,
    migrated: Callable[[dict[str, Any]], dict[str, Any]] = lambda raw: raw,
) -> tuple[Round, ...]:
    """Return the rounds that were written.

    Parameters
    ----------
    migrated : callable
        Takes a document's JSON, whole or but for some of its lists, to that of this version.

    Raises
    ------
    EmblemaError
        They hold what cannot be worked with.
    ValueError, KeyError, TypeError, IndexError, AttributeError
        They are damaged.
    """
    body = read_json(index)
    blocks = {digest_of(b): b for b in blocks_of(beside)} | _blocks(body["blocks"], data)
    parts = body["parts"]
    many = {name: parts[name] for name in MANY if name in parts}
    pool = typed(Commission, migrated({"title": "", "width_mm": 1.0, "height_mm": 1.0, **many}))
    rows = parts.get(LAID, [])
    if len(body["rounds"]) > MOST_ROUNDS:
        raise EmblemaError(f"It has {len(body['rounds']):,} rounds; {MOST_ROUNDS:,} are the most.")
    rounds = []
    for raw in body["rounds"]:
        alone = raw.pop("commission")
        named: dict[str, Any] = {
            n: _named(n, getattr(pool, n), alone.pop(n)) for n in MANY if n in alone
        }
        doc = replace(typed(Commission, migrated(alone)), **named)
        kept = kept_of(_named(LAID, rows, raw.pop(LAID)), lambda digest: blocks[digest])
        head = typed(_Head, raw, "a round")
        rounds.append(Round(head.number, head.name, head.on, head.words, head.sums, doc, kept))
    check_rounds(rounds)
    return tuple(rounds)


def blocks_of(kept: Kept) -> Iterable[bytes]:
    """Return all blocks of what stands: pieces, and colours where they are known."""
    for one in kept.values():
        yield one.packed
        if one.colours is not None:
            yield one.colours.packed


def digest_of(block: bytes) -> str:
    """Return what a block is known by."""
    return hashlib.sha256(block).hexdigest()


def _blocks(index: Any, data: bytes) -> dict[str, bytes]:
    out: dict[str, bytes] = {}
    at = 0
    for digest, size in index:
        if type(size) is not int or not 0 <= size <= len(data) - at:
            raise ValueError("its pieces are not as many as it says")
        block, at = data[at : at + size], at + size
        if digest_of(block) != digest:
            raise ValueError("pieces of it are not those that were kept")
        out[digest] = block
    return out


def _named(name: str, parts: Sequence[Any], places: Any) -> tuple[Any, ...]:
    """Return parts by their places; what is large once is not made larger by naming it again."""
    if any(type(k) is not int or k < 0 for k in places):
        raise ValueError("a part's place is no number")
    if name in _ONCE and len(set(places)) < len(places):
        raise ValueError("a part is named twice")
    return tuple(parts[k] for k in places)
