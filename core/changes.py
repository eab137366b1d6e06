"""What another layout of the same document would change, in figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.agreed import piece_marks
from core.commission import Commission
from core.pieces import Layout


@dataclass(frozen=True, slots=True)
class Changes:
    """What differs between two layouts of one document.

    Attributes
    ----------
    fields : tuple of (str, int, int)
        A field's id, its pieces that would lie or be laid in otherwise, and its pieces then.
    counts : tuple of (str, int)
        A material's code and how many more pieces would be laid in it (fewer below nothing).
    """

    fields: tuple[tuple[str, int, int], ...]
    counts: tuple[tuple[str, int], ...]


def changes(doc: Commission, before: Layout, after: Layout) -> Changes:
    """Return what differs from one layout of a document to another."""
    was, now = _by_field(doc, before), _by_field(doc, after)
    fields = []
    for i, marks in now.items():
        new = int(np.count_nonzero(~np.isin(marks, was[i])))
        if new or len(marks) != len(was[i]):
            fields.append((i, new, len(marks)))
    more = _counts(doc, after) - _counts(doc, before)
    counts = tuple((doc.materials[k].code, int(more[k])) for k in np.flatnonzero(more))
    return Changes(tuple(fields), counts)


def told(doc: Commission, found: Changes, most: int = 8) -> str:
    """Return changes in words, a line a field and one for the counts."""
    if not found.fields:
        return "Every piece would lie just where it lies."
    lines = [
        f"{doc.field_by_id(i).name}: {new:,} of {of:,} pieces would be otherwise"
        for i, new, of in found.fields[:most]
    ]
    if len(found.fields) > most:
        lines.append(f"and {len(found.fields) - most} more fields")
    if found.counts:
        counts = ", ".join(f"{code} {n:+,}" for code, n in found.counts[:most])
        more = len(found.counts) - most
        lines.append(f"Counts: {counts}" + (f" and {more} more" if more > 0 else ""))
    return "\n".join(lines)


def _by_field(doc: Commission, layout: Layout) -> dict[str, NDArray[np.uint64]]:
    marks = piece_marks(doc, layout)
    ends = np.cumsum([len(f.pieces) for f in layout.fields])[:-1]
    ids = (f.field_id for f in layout.fields)
    return dict(zip(ids, np.split(marks, ends), strict=True))


def _counts(doc: Commission, layout: Layout) -> NDArray[np.int64]:
    stock = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
    return np.bincount(stock[stock >= 0], minlength=len(doc.materials))
