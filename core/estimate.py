"""About what an edit comes to, before it is laid: as many pieces of each field as its area holds.

A client at the table has figures at once; those of the pieces as they lie follow.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from core.commission import Commission, Field
from core.geometry import polygon_of
from core.pieces import LaidField, Layout, Pieces


def about(before: Commission, layout: Layout, after: Commission) -> Layout:
    """Return a layout to reckon with, not to be drawn: pieces of the one before, more or fewer.

    A field that is as it was keeps its pieces. Any other has pieces of the one before, or of the
    field that it is most like, in number by area and pitch.
    """
    was = {f.id: f for f in before.fields}
    laid = {f.field_id: f for f in layout.fields if len(f.pieces)}
    out = []
    for f in after.fields:
        old = was.get(f.id)
        if old is not None and f.id in laid and _laid_alike(old, f):
            out.append(laid[f.id])
            continue
        like = old if old is not None and f.id in laid else _most_like(f, before, laid)
        if like is not None:
            out.append(_as_many(f, like, laid[like.id]))
    return Layout(tuple(out))


def _laid_alike(a: Field, b: Field) -> bool:
    return a.outline == b.outline and a.laying == b.laying


def _most_like(f: Field, before: Commission, laid: dict[str, LaidField]) -> Field | None:
    """Return the laid field that is most like another: by laying, motif, then area."""
    area = polygon_of(f.outline).area
    some = [g for g in before.fields if g.id in laid]
    return min(
        some,
        key=lambda g: (
            g.laying != f.laying,
            g.motif != f.motif,
            abs(polygon_of(g.outline).area - area),
        ),
        default=None,
    )


def _as_many(f: Field, like: Field, laid: LaidField) -> LaidField:
    """Return a field laid as another is, with as many pieces as it has room for."""
    share = polygon_of(f.outline).area / max(polygon_of(like.outline).area, 1e-9)
    share *= (like.laying.pitch_mm / f.laying.pitch_mm) ** 2
    have = len(laid.pieces)
    want = max(1, round(have * share))
    k = np.arange(want) * have // want
    p = laid.pieces
    pieces = Pieces(p.polygons[k], p.course[k], p.piece[k], p.angle_rad[k])
    return replace(
        laid,
        field_id=f.id,
        pieces=pieces,
        wanted_lab=laid.wanted_lab[k],
        stock=laid.stock[k],
        delta_e=laid.delta_e[k],
    )
