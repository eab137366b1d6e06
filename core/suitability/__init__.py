"""Whether what is laid, and what it is set with, suits the place: plain findings with reasons."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import numpy as np

from core.commission import Commission
from core.files import write_text
from core.material import Material
from core.pieces import Layout
from core.place import Place
from core.plaintext import csv_text
from core.suitability.rule import LEVELS, Rule, Unsuited
from core.suitability.rules import RULES

__all__ = ["LEVELS", "RULES", "Rule", "Unsuited", "judged", "unsuited", "write_suitability_csv"]

COLUMNS: Final = ("level", "what", "finding", "why", "source", "instead")


def unsuited(doc: Commission, layout: Layout) -> tuple[Unsuited, ...]:
    """Return what is laid, or chosen to set it with, that its place asks more of.

    What does not suit comes first. Nothing where no place is chosen.
    """
    stock = np.concatenate([f.stock for f in layout.fields] or [np.empty(0, np.int64)])
    return judged(doc.place, [doc.materials[k] for k in np.unique(stock[stock >= 0])])


def judged(place: Place, laid: Sequence[Material]) -> tuple[Unsuited, ...]:
    """Return what does not suit a place of some materials and of what they are set with."""
    found = []
    chosen = {"adhesive": place.adhesive, "grout": place.grout, "substrate": place.substrate}
    kinds = {m.kind for m in laid}
    for r in RULES:
        if not r.holds(place) or (r.beneath and kinds.isdisjoint(r.beneath)):
            continue
        if r.what == "material":
            about = tuple(dict.fromkeys(m.code for m in laid if r.of(m)))
        else:
            value = chosen[r.what]
            about = (value,) if value in r.classes else ()
        if about:
            found.append(Unsuited(r.level, r.what, about, r.finding, r.why, r.source, r.instead))
    return tuple(sorted(found, key=lambda u: tuple(LEVELS).index(u.level)))


def write_suitability_csv(path: str | Path, found: Sequence[Unsuited]) -> None:
    """Write one row a finding, every material named."""
    rows = [[u.level, _all(u), u.finding, u.why, u.source, u.instead] for u in found]
    write_text(path, csv_text([[*COLUMNS], *rows]))


def _all(u: Unsuited) -> str:
    return ", ".join(u.about) if u.what == "material" else u.named
