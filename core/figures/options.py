"""The same work priced otherwise: mounted otherwise, or of another kind of glass. Nothing of the
work itself is altered by asking.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.colour.difference import nearest
from core.colour.wanted import stocked_lab
from core.commission import Commission
from core.figures.whole import Figures, figures
from core.material import Material
from core.pieces import Layout

GLASSES = ("smalti", "vitreous")
WORDS = {
    "fixed": "Fixed in place",
    "panel": "On a removable panel",
    "smalti": "In smalti",
    "vitreous": "In vitreous glass",
}


@dataclass(frozen=True, slots=True)
class Option:
    """A way to have the work: its name (of `core.terms.OPTIONS`, "" as it is offered) and figures.

    `note` says in words what differs, `fault` why it cannot be had; one of them may be empty.
    """

    key: str
    words: str
    figures: Figures | None
    note: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Swapped:
    """A layout in another kind of glass: `mean` and `worst` difference (CIEDE2000) of the pieces
    that it changes, from the materials they were laid in.
    """

    doc: Commission
    layout: Layout
    pieces: int
    mean: float
    worst: float


def in_glass(
    doc: Commission, layout: Layout, kind: str, stock: Sequence[Material]
) -> Swapped | None:
    """Return the layout with each piece of the other glass in the nearest of this one.

    Parameters
    ----------
    kind : str
        One of `GLASSES`; pieces of all else stay as they are.
    stock : sequence of Material
        What there is beside the commission's own materials.

    Returns
    -------
    Swapped or None
        None where there is no such glass.
    """
    codes = {m.code for m in doc.materials}
    every = (*doc.materials, *(m for m in stock if m.code not in codes))
    have = [k for k, m in enumerate(every) if m.kind == kind and not m.by_choice]
    if not have:
        return None
    lab = stocked_lab(every)
    other = [
        k
        for k, m in enumerate(doc.materials)
        if m.kind in GLASSES and m.kind != kind and not m.by_choice
    ]
    new, off = np.arange(len(doc.materials)), np.zeros(len(doc.materials))
    if other:
        index, off[other] = nearest(lab[other], lab[have])
        new[other] = np.array(have)[index]
    fields = tuple(
        replace(f, stock=np.where(f.stock >= 0, new[f.stock], -1)) if len(f.stock) else f
        for f in layout.fields
    )
    laid = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
    changed = off[laid[np.isin(laid, other)]]
    far = (float(changed.mean()), float(changed.max())) if len(changed) else (0.0, 0.0)
    swapped = replace(layout, fields=fields)
    return Swapped(replace(doc, materials=every), swapped, len(changed), *far)


def options(doc: Commission, layout: Layout, stock: Sequence[Material] = ()) -> tuple[Option, ...]:
    """Return the work as it is offered, and beside it what the quote's terms ask for."""
    out = [Option("", WORDS[doc.terms.mount], figures(doc, layout))]
    for key in doc.terms.options:
        if key in GLASSES:
            out.append(_glass(doc, layout, key, stock))
        elif key != doc.terms.mount:
            other = replace(doc, terms=replace(doc.terms, mount=key))
            out.append(Option(key, WORDS[key], figures(other, layout)))
    return tuple(out)


def _glass(doc: Commission, layout: Layout, kind: str, stock: Sequence[Material]) -> Option:
    found = in_glass(doc, layout, kind, stock)
    if found is None:
        return Option(kind, WORDS[kind], None, fault=f"There is no {kind} in the stock.")
    if not found.pieces:
        return Option(kind, WORDS[kind], None, fault="None of it is in the other glass.")
    f = figures(found.doc, found.layout)
    note = (
        f"{found.pieces:,} pieces in the nearest colour of it in stock; they differ by "
        f"{found.mean:.1f} on average and {found.worst:.1f} at most (CIEDE2000, where 1 is just "
        "seen side by side)."
    )
    kinds = {m.code for m in found.doc.materials if m.kind == kind}
    large = sum(c.too_large for c in f.counts if c.material.code in kinds)
    if large:
        note += f" {large:,} are larger than it is stocked and would have to be parted."
    return Option(kind, WORDS[kind], f, note)
