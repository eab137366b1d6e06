"""Which material each laid piece takes: the field's own rule, then accents, swaps and the hand.

A field takes each piece's nearest material, a few materials chosen well, a mixture that the eye
blends, or a shading from one material to another. Matching within the stock looks at all fields
at once, since they share the shelf.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats
from core.colour.difference import ciede2000, nearest
from core.colour.matching import choose_colours, match_within_stock
from core.colour.mixing import dealt_out, optical_mix
from core.colour.scatter import accents, graded, order_of, progress
from core.colour.wanted import SketchColours, shifted_lab, stocked_lab
from core.commission import Commission, Field
from core.geometry import polygon_of
from core.pieces import LaidField, Pieces

Ints = NDArray[np.int64]
Codes = NDArray[np.object_]

ALIKE = 2.0  # wanted colours nearer than this in CIELAB are mixed for alike


def match_layout(
    doc: Commission,
    pieces: Sequence[Pieces],
    colours: SketchColours | None,
    by_hand: Sequence[Codes | None],
) -> tuple[LaidField, ...]:
    """Match every field of a commission, in its order; `pieces` and `by_hand` are in that order."""
    free = []
    struck = [_struck(doc, f, p) for f, p in zip(doc.fields, pieces, strict=True)]
    for f, p, s in zip(doc.fields, pieces, struck, strict=True):
        wanted, stock = _field(doc, f, p, colours)
        free.append((wanted, _accented(doc, f, stock, s)))
    if doc.within_stock:
        free = _within_stock(doc, pieces, free, struck)
    return tuple(
        _finished(doc, f, p, wanted, stock, hand)
        for f, p, (wanted, stock), hand in zip(doc.fields, pieces, free, by_hand, strict=True)
    )


def match_field(
    doc: Commission,
    field: Field,
    pieces: Pieces,
    colours: SketchColours | None,
    by_hand: Codes | None = None,
) -> LaidField:
    """Match one field, whatever the others take.

    The rule of the field's palette (of its motif's, of all materials, where it has none), then
    its accent, then the commission's swaps in the order in which they were made, then what was
    laid `by_hand` (codes, "" for all others). With neither a sketch nor a wanted colour the
    field's palette decides: its first material is laid.
    """
    wanted, stock = _field(doc, field, pieces, colours)
    stock = _accented(doc, field, stock, _struck(doc, field, pieces))
    return _finished(doc, field, pieces, wanted, stock, by_hand)


def _struck(doc: Commission, field: Field, pieces: Pieces) -> NDArray[np.bool_]:
    """Return which pieces take the field's accent."""
    if field.accent not in _places(doc) or field.accent_share <= 0:
        return np.zeros(len(pieces), bool)
    seed = zlib.crc32(f"{doc.seed}/{field.id}/accent".encode())
    return accents(pieces, field.accent_share, field.accent_along, seed)


def _accented(doc: Commission, field: Field, stock: Ints, struck: NDArray[np.bool_]) -> Ints:
    if not struck.any():
        return stock
    return np.where(struck, _places(doc)[field.accent], stock)


def palette_of(doc: Commission, field: Field) -> tuple[str, ...]:
    """Return the codes that a field may use: its own, its motif's, or all there are."""
    of_motif = dict(doc.motif_palettes).get(field.motif, ()) if field.motif else ()
    return field.palette or of_motif or tuple(m.code for m in doc.materials)


def _places(doc: Commission) -> dict[str, int]:
    return {m.code: k for k, m in reversed(list(enumerate(doc.materials)))}


def _allowed(doc: Commission, codes: Sequence[str]) -> Ints:
    place = _places(doc)
    return np.array([place[c] for c in dict.fromkeys(codes) if c in place], np.int64)


def _field(
    doc: Commission, field: Field, pieces: Pieces, colours: SketchColours | None
) -> tuple[Floats, Ints]:
    """Return each piece's wanted colour and the material of the field's own rule."""
    n = len(pieces)
    stock = np.full(n, -1, np.int64)
    allowed = _allowed(doc, palette_of(doc, field))
    lab = stocked_lab(doc.materials)
    kl = 1 / max(doc.lightness_weight, 1e-3)
    sketch = doc.sketch if colours is not None else None
    if field.wanted_lab is not None:
        wanted = np.tile(shifted_lab(np.array([field.wanted_lab]), field.shift_lab), (n, 1))
        if n and len(allowed):
            stock[:] = allowed[nearest(wanted[:1], lab[allowed], kl)[0]]
    elif colours is not None and sketch is not None:
        if len(allowed):
            wanted, index = colours.nearest(
                sketch, pieces.polygons, field.shift_lab, lab[allowed], kl
            )
            stock[:] = allowed[index]
        else:
            wanted = shifted_lab(colours.mean_lab(sketch, pieces.polygons), field.shift_lab)
    else:
        wanted = np.full((n, 3), np.nan)
        if (field.palette or field.blend) and len(allowed):
            stock[:] = allowed[0]
    blend = _allowed(doc, field.blend)
    if n and field.match == "shade" and len(blend) > 1:
        return wanted, _shaded(doc, field, pieces, blend)
    if not n or not len(allowed) or not np.isfinite(wanted).all():
        return wanted, stock
    if field.match == "mix":
        stock = _mixed(doc, field, pieces, wanted, lab, blend if len(blend) else allowed)
    elif 0 < field.at_most < len(np.unique(stock)):
        chosen = choose_colours(wanted, pieces.area_mm2, lab[allowed], field.at_most, kl)
        few = allowed[list(chosen.index)]
        stock = few[nearest(wanted, lab[few], kl)[0]]
    if field.locked:
        stock = _locked(doc, field, wanted, lab, allowed, stock, kl)
    return wanted, stock


def _locked(
    doc: Commission,
    field: Field,
    wanted: Floats,
    lab: Floats,
    allowed: Ints,
    stock: Ints,
    kl: float,
) -> Ints:
    """Keep locked materials on the pieces that they match best before any shift."""
    plain = shifted_lab(wanted.copy(), tuple(-v for v in field.shift_lab))  # type: ignore[arg-type]
    first = allowed[nearest(plain, lab[allowed], kl)[0]]
    kept = np.isin(first, _allowed(doc, field.locked))
    return np.where(kept, first, stock)


def _order(doc: Commission, field: Field, pieces: Pieces) -> Floats:
    return order_of(pieces, zlib.crc32(f"{doc.seed}/{field.id}/even".encode()))


def _shaded(doc: Commission, field: Field, pieces: Pieces, blend: Ints) -> Ints:
    along = progress(pieces, field.shade_along)
    return np.asarray(blend[graded(along, _order(doc, field, pieces), len(blend))])


def _mixed(
    doc: Commission, field: Field, pieces: Pieces, wanted: Floats, lab: Floats, blend: Ints
) -> Ints:
    """Mix two or three materials so that with the grout they blend to what is wanted."""
    area = polygon_of(field.outline).area
    joint = min(max(1 - float(pieces.area_mm2.sum()) / max(area, 1e-9), 0.0), 0.6)
    _, owner = np.unique(np.round(wanted / ALIKE), axis=0, return_inverse=True)
    owner = owner.reshape(-1)
    kinds = np.stack([np.bincount(owner, c) for c in wanted.T], 1) / np.bincount(owner)[:, None]
    parts = 3 if len(field.blend) == 3 else 2
    mix = optical_mix(kinds, lab[blend], np.array(doc.grout_lab), joint, parts)
    every = type(mix)(*(getattr(mix, k)[owner] for k in mix.__slots__))
    return np.asarray(blend[dealt_out(every, _order(doc, field, pieces))])


def _within_stock(
    doc: Commission,
    pieces: Sequence[Pieces],
    free: list[tuple[Floats, Ints]],
    struck: Sequence[NDArray[np.bool_]],
) -> list[tuple[Floats, Ints]]:
    """Match again within what is in hand.

    All pieces that take their nearest material share the shelf, at the least total difference.
    Accents, locked materials, mixtures, shadings and few colours come first and keep what they
    chose as far as it is in hand; of the rest each takes what comes nearest to it.
    """
    lab = stocked_lab(doc.materials)
    left = np.array([int(m.pieces * (1 - m.waste) + 1e-9) for m in doc.materials], np.int64)
    groups, rows, pools = [], [], []
    palettes = np.zeros((len(doc.fields), len(doc.materials)), bool)
    for k, (f, p, (wanted, stock)) in enumerate(zip(doc.fields, pieces, free, strict=True)):
        nearest_of_all = f.match == "nearest" and f.at_most == 0 and bool(np.isfinite(wanted).all())
        held = np.isin(stock, _allowed(doc, f.locked)) if nearest_of_all else stock >= 0
        held |= struck[k]
        over = _surplus(doc, f, p, stock, held, left)
        pool = ~held | over if nearest_of_all else over
        left -= np.bincount(stock[held & ~over], minlength=len(left))
        few = f.match == "nearest" and f.at_most > 0
        may = stock[stock >= 0] if few else _allowed(doc, (*palette_of(doc, f), *f.blend))
        palettes[k, may] = True
        groups.append(np.full(int(pool.sum()), k))
        rows.append(wanted[pool] if nearest_of_all or few else lab[stock[pool]])
        pools.append(pool)
    found = match_within_stock(
        np.concatenate(rows) if rows else np.empty((0, 3)),
        lab,
        left,
        1 / max(doc.lightness_weight, 1e-3),
        np.concatenate(groups) if groups else None,
        palettes,
    )
    out = []
    start = 0
    for (wanted, stock), pool in zip(free, pools, strict=True):
        stock, n = stock.copy(), int(pool.sum())
        stock[pool] = found.index[start : start + n]
        out.append((wanted, stock))
        start += n
    return out


def _surplus(
    doc: Commission, field: Field, pieces: Pieces, stock: Ints, held: NDArray[np.bool_], left: Ints
) -> NDArray[np.bool_]:
    """Return which of the pieces held are more than is left, evenly spread over the field."""
    over = np.zeros(len(stock), bool)
    short = np.flatnonzero(np.bincount(stock[held], minlength=len(left)) > left)
    order = _order(doc, field, pieces) if len(short) else np.empty(0)
    for j in short:
        takers = np.flatnonzero(held & (stock == j))
        over[takers[np.argsort(order[takers], kind="stable")[left[j] :]]] = True
    return over


def _finished(
    doc: Commission,
    field: Field,
    pieces: Pieces,
    wanted: Floats,
    stock: Ints,
    by_hand: Codes | None,
) -> LaidField:
    """Lay swaps and what was laid by hand over the field's own rule."""
    place = _places(doc)
    stock = stock.copy()
    for swap in doc.swaps:
        if (
            swap.field_id in (None, field.id)
            and swap.motif in (None, field.motif)
            and swap.old in place
            and swap.new in place
        ):
            stock[stock == place[swap.old]] = place[swap.new]
    if by_hand is not None:
        for k in np.flatnonzero(by_hand != ""):
            stock[k] = place.get(by_hand[k], stock[k])
    laid = stock >= 0
    delta_e = np.full(len(pieces), np.nan)
    delta_e[laid] = ciede2000(wanted[laid], stocked_lab(doc.materials)[stock[laid]])
    return LaidField(field.id, pieces, wanted, stock, delta_e)
