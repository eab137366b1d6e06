"""The parts that a work is laid in, and ticked off in: its sheets, or its fields where it has none.

A part that is ticked off keeps the pieces that it had then, so that the studio's pace is measured
by what was laid, whatever is laid anew later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission
from core.figures.pace import counted, groups_of, paces
from core.pieces import Layout
from core.sheets.made import in_setting_order, sheet_of
from core.terms import Laid, WorkDone


@dataclass(frozen=True, slots=True)
class Unit:
    """One part of the work.

    Attributes
    ----------
    what, of : str
        As in `core.terms.WorkDone`; `what` is empty for pieces that are on no sheet.
    which : ndarray of int
        Its pieces, as places in the layout.
    hours : float
        By all that is known of the studio's pace.
    left : float
        The hours of its pieces that are not laid yet, by this or another part ticked off.
    done : WorkDone or None
    """

    what: str
    of: str
    words: str
    which: NDArray[np.int64]
    laid: tuple[Laid, ...]
    hours: float
    left: float
    done: WorkDone | None

    @property
    def pieces(self) -> int:
        """How many there are now."""
        return len(self.which)

    @property
    def changed(self) -> int:
        """By how many pieces it differs from what was ticked off."""
        return self.pieces - sum(x.pieces for x in self.done.laid) if self.done else 0


def units(doc: Commission, layout: Layout) -> tuple[Unit, ...]:
    """Return the parts of a work in the order in which they are laid."""
    n = len(layout)
    size = [len(f.pieces) for f in layout.fields]
    ids = [f.field_id for f in layout.fields]
    field = np.repeat(np.arange(len(ids)), size)
    polygons = layout.polygons
    sheet = sheet_of(doc.sheets, polygons)
    done = {(d.what, d.of): d for d in doc.done}
    laid = np.zeros(n, bool)
    for what, of in done:
        if what == "sheet":
            laid |= sheet == int(of) if of.isdigit() else False
        elif of in ids:
            laid |= field == ids.index(of)
    parts: list[tuple[str, str, str, NDArray[np.int64]]] = []
    if doc.sheets:
        for s, which in in_setting_order(doc, polygons, sheet):
            parts.append(("sheet", str(s.number), f"Sheet {s.number}", which))
        parts.append(("", "", "On no sheet", np.flatnonzero(sheet == 0)))
    else:
        for k, i in enumerate(ids):
            parts.append(("field", i, doc.field_by_id(i).name, np.flatnonzero(field == k)))
    known, (groups, of_piece) = paces(doc), groups_of(doc, layout)
    out = []
    for what, of, words, which in parts:
        if not len(which):
            continue
        pieces = counted(groups, of_piece[which])
        left = known.hours_of(counted(groups, of_piece[which[~laid[which]]]))
        hours = known.hours_of(pieces)
        out.append(Unit(what, of, words, which, pieces, hours, left, done.get((what, of))))
    return tuple(out)


def tick_off(doc: Commission, part: Sequence[Unit], hours: float, on: str) -> Commission:
    """Return the commission with parts ticked off, all of them together in so many hours.

    Hours are shared out as they were reckoned. A part ticked off before is written anew.
    """
    whole = sum(u.hours for u in part)
    new = tuple(
        WorkDone(u.what, u.of, round(hours * u.hours / whole if whole else 0.0, 4), on, u.laid)
        for u in part
        if u.what
    )
    return replace(doc, done=(*not_of(doc.done, part), *new))


def take_back(doc: Commission, part: Sequence[Unit]) -> Commission:
    """Return the commission with parts no longer ticked off."""
    return replace(doc, done=not_of(doc.done, part))


def not_of(done: tuple[WorkDone, ...], part: Sequence[Unit]) -> tuple[WorkDone, ...]:
    """Return the work done that is of none of some parts."""
    gone = {(u.what, u.of) for u in part}
    return tuple(d for d in done if (d.what, d.of) not in gone)
