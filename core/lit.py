"""What is lit of a work when it is projected: all, or one material, course or sheet by turns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.commission import Commission
from core.pieces import Layout
from core.sheets.made import in_setting_order

BY = ("all", "material", "course", "sheet")


@dataclass(frozen=True, slots=True)
class Lit:
    """Some pieces, in the order of the layout's fields, and what to call them."""

    words: str
    which: NDArray[np.int64]


def lit_by_turns(doc: Commission, layout: Layout, by: str) -> tuple[Lit, ...]:
    """Return what is lit one after the other; nothing where there is none of it.

    Materials come in the order of the commission, courses field by field, sheets as they are set.
    """
    if by == "material":
        stock = _of(layout, "stock")
        some = [k for k in np.unique(stock).tolist() if k >= 0]
        named = [(f"{doc.materials[k].code} {doc.materials[k].description}", k) for k in some]
        if (stock < 0).any():
            named.append(("without a material", -1))
        return tuple(_lit(words.strip(), np.flatnonzero(stock == k)) for words, k in named)
    if by == "course":
        return _courses(doc, layout)
    if by == "sheet":
        each = in_setting_order(doc, layout.polygons)
        return tuple(_lit(f"sheet {s.number}", which) for s, which in each)
    return (_lit("all", np.arange(len(layout))),) if len(layout) else ()


def _of(layout: Layout, column: str) -> NDArray[np.int64]:
    return np.concatenate([getattr(f, column) for f in layout.fields] or [np.empty(0, np.int64)])


def _courses(doc: Commission, layout: Layout) -> tuple[Lit, ...]:
    out, reach = [], 0
    for laid in layout.fields:
        course = laid.pieces.course
        name = doc.field_by_id(laid.field_id).name
        for n, k in enumerate(np.unique(course[course >= 0]).tolist(), 1):
            on = np.flatnonzero(course == k)
            out.append(_lit(f"{name}, course {n}", reach + on[np.argsort(laid.pieces.piece[on])]))
        loose = np.flatnonzero(course < 0)
        if len(loose):
            out.append(_lit(f"{name}, not in courses", reach + loose))
        reach += len(course)
    return tuple(out)


def _lit(words: str, which: NDArray[np.int64]) -> Lit:
    return Lit(f"{words}, {len(which):,} piece{'s' * (len(which) != 1)}", which)
