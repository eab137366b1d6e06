"""Agreed work: fields that are not to change unasked, the prints made of them, and their marks.

A cartoon lies under the film on the bench for weeks. All that was printed is agreed by itself; what
would change it asks first. Each printed page carries a short mark worked out from the pieces on it
and their materials, by which anyone can tell whether it still holds.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from core.commission import Agreed, Commission, Printed
from core.packing import UM
from core.pieces import Layout
from core.plan import hangs_on, setting_of

LETTERS = "2345679ACDEFGHJKMNPQRSTUVWXYZ"  # none that is taken for another
MARK_LETTERS = 6


def agree(doc: Commission, field_ids: Collection[str], on: str) -> Commission:
    """Return the document with fields agreed on a day (YYYY-MM-DD); those that are stay so."""
    known = {a.field_id for a in doc.agreed}
    new = tuple(Agreed(f.id, on) for f in doc.fields if f.id in field_ids and f.id not in known)
    return replace(doc, agreed=(*doc.agreed, *new))


def no_longer_agreed(doc: Commission, field_ids: Collection[str]) -> Commission:
    """Return the document with fields free to change."""
    return replace(doc, agreed=tuple(a for a in doc.agreed if a.field_id not in field_ids))


def record_print(doc: Commission, printed: Printed) -> Commission:
    """Return the document with a print noted, all that it shows agreed."""
    with_it = replace(doc, printed=(*doc.printed, printed))
    return agree(with_it, {f.id for f in doc.fields}, printed.on)


def agreed_that_change(before: Commission, after: Commission) -> tuple[str, ...]:
    """Return the agreed fields whose pieces or materials can differ in another document."""
    ids = {a.field_id for a in before.agreed}
    if not ids or before is after:
        return ()
    was, now = _all_of(before), _all_of(after)
    return tuple(f.id for f in before.fields if f.id in ids and was[f.id] != now.get(f.id))


def _all_of(doc: Commission) -> dict[str, object]:
    settings = {f.id: setting_of(doc, f) for f in doc.fields}
    own = {
        f.id: (settings[f.id], one)
        for f, one in zip(doc.fields, hangs_on(doc, settings), strict=True)
    }
    copies = doc.copies()  # what repeats another is laid as that is
    return {i: (one, own[copies[i][0]]) if i in copies else one for i, one in own.items()}


def question(doc: Commission, field_ids: Iterable[str], label: str) -> str:
    """Return what to ask before agreed fields are changed: which, since when, what was printed."""
    dates = {a.field_id: a.on for a in doc.agreed}
    names = [f"{doc.field_by_id(i).name} ({dates[i]})" for i in field_ids]
    listed = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
    words = f"'{label}' would change what is agreed: {listed}."
    if doc.printed:
        prints = "; ".join(f"{p.what} on {p.on}" for p in doc.printed[-3:])
        words += f" Printed of it: {prints}. Pages that change no longer hold."
    return words


# --- marks ----------------------------------------------------------------------------------


def piece_marks(doc: Commission, layout: Layout) -> NDArray[np.uint64]:
    """Return a number for each piece in the order of the fields, shape (n,).

    It hangs on the piece's corners in whole micrometres, wherever they begin, and its material.
    """
    out: list[bytes] = []
    codes = [m.code.encode() for m in doc.materials] + [b""]
    for laid in layout.fields:
        if not len(laid.pieces):
            continue
        rings = shapely.get_exterior_ring(laid.pieces.polygons)
        xy, owner = shapely.get_coordinates(rings, return_index=True)
        open_ring = np.r_[owner[1:] == owner[:-1], False]
        um, owner = np.round(xy[open_ring] * UM).astype("<i8"), owner[open_ring]
        count = np.bincount(owner, minlength=len(rings))
        start = np.cumsum(count) - count
        # each ring from its corner farthest left, of those the highest
        first = np.lexsort((um[:, 1], um[:, 0], owner))[start] - start
        turned = (np.arange(len(um)) - start[owner] + first[owner]) % count[owner]
        said = um[start[owner] + turned].tobytes()
        ends = 16 * np.r_[start, len(um)]
        for a, b, k in zip(ends[:-1].tolist(), ends[1:].tolist(), laid.stock.tolist(), strict=True):
            out.append(hashlib.blake2b(said[a:b] + codes[k], digest_size=8).digest())
    return np.frombuffer(b"".join(out), "<u8")


def mark_of(marks: NDArray[np.uint64]) -> str:
    """Return the mark of some pieces, in whatever order; a page with none has one too."""
    total = int(np.sum(marks, dtype=np.uint64))
    digest = hashlib.sha256(total.to_bytes(8, "little") + len(marks).to_bytes(8, "little")).digest()
    number = int.from_bytes(digest[:8], "little")
    letters = []
    for _ in range(MARK_LETTERS):
        number, k = divmod(number, len(LETTERS))
        letters.append(LETTERS[k])
    return "".join(letters)


def pages_that_hold(printed: Printed, marks: Mapping[str, str]) -> tuple[list[str], list[str]]:
    """Return the names of a print's pages that still hold by the marks of today, and the rest."""
    holds = [name for name, mark in printed.marks if marks.get(name) == mark]
    return holds, [name for name, _ in printed.marks if name not in set(holds)]
