"""Which material each laid piece takes: the field's own rule, then accents, swaps and the hand.

A field takes each piece's nearest material, a few materials chosen well, a mixture that the eye
blends, or a shading from one material to another. Matching within the stock looks at all fields
at once, since they share the shelf.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats
from core.colour.difference import ciede2000, nearest
from core.colour.matching import choose_colours, match_within_stock
from core.colour.mixing import Mix, dealt_out, optical_mix
from core.colour.scatter import accents, graded, order_of, progress
from core.colour.wanted import SketchColours, shifted_lab, stocked_lab
from core.commission import Commission, Field
from core.geometry import polygon_of
from core.pieces import LaidField, Pieces

Ints = NDArray[np.int64]
Codes = NDArray[np.object_]

ALIKE = 2.0  # wanted colours nearer than this in CIELAB are mixed for alike


@dataclass(frozen=True, slots=True)
class _Matched:
    """A field by its own rule: what each piece should look like and what it takes.

    `struck` are the pieces of its accent, `hand` the materials laid by hand, -1 for all others.
    """

    field: Field
    pieces: Pieces
    wanted: Floats
    stock: Ints
    struck: NDArray[np.bool_]
    hand: Ints


def match_layout(
    doc: Commission,
    pieces: Sequence[Pieces],
    colours: SketchColours | None,
    by_hand: Sequence[Codes | None],
) -> tuple[LaidField, ...]:
    """Match every field of a commission, in its order; `pieces` and `by_hand` are in that order."""
    every = []
    for f, p, codes in zip(doc.fields, pieces, by_hand, strict=True):
        wanted, stock = _field(doc, f, p, colours)
        struck = _struck(doc, f, p)
        if struck.any():
            stock = np.where(struck, _places(doc)[f.accent], stock)
        every.append(_Matched(f, p, wanted, stock, struck, _hand(doc, codes, len(p))))
    if doc.within_stock:
        return _within_stock(doc, every)
    return tuple(
        _laid(doc, m, np.where(m.hand < 0, _becomes(doc, m.field)[m.stock], m.hand)) for m in every
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
    alone = replace(doc, fields=(field,), within_stock=False)
    return match_layout(alone, [pieces], colours, [by_hand])[0]


def _struck(doc: Commission, field: Field, pieces: Pieces) -> NDArray[np.bool_]:
    """Return which pieces take the field's accent."""
    if field.accent not in _places(doc) or field.accent_share <= 0:
        return np.zeros(len(pieces), bool)
    seed = zlib.crc32(f"{doc.seed}/{field.id}/accent".encode())
    return accents(pieces, field.accent_share, field.accent_along, seed)


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
    mix = _mixture(doc, field, pieces, wanted, lab[blend])
    return np.asarray(blend[dealt_out(mix, _order(doc, field, pieces))])


def _mixture(doc: Commission, field: Field, pieces: Pieces, wanted: Floats, palette: Floats) -> Mix:
    """Return what to mix at each piece, those that want nearly the same alike."""
    area = polygon_of(field.outline).area
    joint = min(max(1 - float(pieces.area_mm2.sum()) / max(area, 1e-9), 0.0), 0.6)
    _, owner = np.unique(np.round(wanted / ALIKE), axis=0, return_inverse=True)
    owner = owner.reshape(-1)
    kinds = np.stack([np.bincount(owner, c) for c in wanted.T], 1) / np.bincount(owner)[:, None]
    parts = 3 if len(field.blend) == 3 else 2
    mix = optical_mix(kinds, palette, np.array(doc.grout_lab), joint, parts)
    return Mix(mix.parts[owner], mix.shares[owner], mix.delta_e[owner], mix.delta_e_single[owner])


def blended_difference(doc: Commission, laid: LaidField) -> tuple[float, float] | None:
    """Return how near a mixed field comes to what is wanted once the eye blends it.

    Returns
    -------
    single, mixed : float
        Mean CIEDE2000 of the one best material and of the mixture, the grout blended in; None
        where the field is not mixed.
    """
    field = doc.field_by_id(laid.field_id)
    blend = _allowed(doc, field.blend)
    blend = blend if len(blend) else _allowed(doc, palette_of(doc, field))
    n = len(laid.pieces)
    if field.match != "mix" or not n or not len(blend) or not np.isfinite(laid.wanted_lab).all():
        return None
    palette = stocked_lab(doc.materials)[blend]
    mix = _mixture(doc, field, laid.pieces, laid.wanted_lab, palette)
    return float(mix.delta_e_single.mean()), float(mix.delta_e.mean())


def _hand(doc: Commission, codes: Codes | None, n: int) -> Ints:
    """Return the materials laid by hand; a code that is no longer there is left to the match."""
    hand = np.full(n, -1, np.int64)
    if codes is not None:
        place = _places(doc)
        for k in np.flatnonzero(codes != ""):
            hand[k] = place.get(codes[k], -1)
    return hand


def _becomes(doc: Commission, field: Field) -> Ints:
    """Return what each material becomes by the swaps that hold in a field, in their order.

    The last entry is for pieces without a material, which stay so.
    """
    place = _places(doc)
    becomes = np.arange(len(doc.materials) + 1)
    becomes[-1] = -1
    for swap in doc.swaps:
        if (
            swap.field_id in (None, field.id)
            and swap.motif in (None, field.motif)
            and swap.old in place
            and swap.new in place
        ):
            becomes[becomes == place[swap.old]] = place[swap.new]
    return becomes


def _laid(
    doc: Commission, m: _Matched, stock: Ints, unswapped: tuple[tuple[str, int], ...] = ()
) -> LaidField:
    laid = stock >= 0
    delta_e = np.full(len(stock), np.nan)
    delta_e[laid] = ciede2000(m.wanted[laid], stocked_lab(doc.materials)[stock[laid]])
    return LaidField(m.field.id, m.pieces, m.wanted, stock, delta_e, unswapped)


def _within_stock(doc: Commission, every: Sequence[_Matched]) -> tuple[LaidField, ...]:
    """Match again within what is in hand.

    What a person chose comes first: pieces laid by hand, whatever is in hand, then swaps as far as
    there are pieces. Accents, locked materials, mixtures, shadings and few colours keep what they
    chose as far as it is in hand. All pieces that take their nearest material share the rest, at
    the least total difference; of the others each takes what comes nearest to what it lost.
    """
    if not every:
        return ()
    lab, n = stocked_lab(doc.materials), len(doc.materials)
    start = np.cumsum([0, *(len(m.pieces) for m in every)])
    of = np.repeat(np.arange(len(every)), np.diff(start))
    wanted = np.concatenate([m.wanted for m in every])
    stock = np.concatenate([m.stock for m in every])
    hand = np.concatenate([m.hand for m in every])
    left = np.array([int(m.pieces * (1 - m.waste) + 1e-9) for m in doc.materials], np.int64)
    left = np.maximum(left - np.bincount(hand[hand >= 0], minlength=n), 0)

    def take(asking: NDArray[np.bool_], asked: Ints) -> NDArray[np.bool_]:
        """Take from what is left; return who could have what was asked, evenly spread."""
        many = np.bincount(asked[asking], minlength=n)
        having = asking.copy()
        for j in np.flatnonzero(many > left):
            takers = np.flatnonzero(asking & (asked == j))
            turn = np.empty(len(takers))
            for k in np.unique(of[takers]):
                here = of[takers] == k
                order = _order(doc, every[k].field, every[k].pieces)
                turn[here] = order[takers[here] - start[k]]
            having[takers[np.argsort(turn, kind="stable")[left[j] :]]] = False
        left[:] -= np.minimum(many, left)
        return having

    becomes = np.stack([_becomes(doc, m.field) for m in every])
    swapped = becomes[of, stock]
    asking = (swapped != stock) & (hand < 0)
    got = take(asking, swapped)
    plain, target, locked, palettes = _rules(doc, every, lab)
    rest = (hand < 0) & ~got & (stock >= 0)
    held = rest & (~plain[of] | locked[of, stock] | np.concatenate([m.struck for m in every]))
    pool = rest & ~take(held, stock)
    found = match_within_stock(
        np.where(target[of, None], wanted, lab[stock])[pool],
        lab,
        left,
        1 / max(doc.lightness_weight, 1e-3),
        of[pool],
        palettes,
        becomes[:, :-1],
    )
    stock = np.where(got, swapped, np.where(hand >= 0, hand, stock))
    stock[pool] = found.index
    vain = asking & ~got
    asked = np.where(vain, swapped, becomes[of, stock])
    # nor had a piece a swap that lies where one holds and was not swapped to that
    to = np.zeros((len(every), n + 1), bool)
    to[np.arange(len(every))[:, None], becomes] = True
    vain |= pool & ~to[of, stock]
    return tuple(
        _laid(doc, m, s, _by_code(doc, a[v]))
        for m, s, a, v in zip(
            every, *(np.split(x, start[1:-1]) for x in (stock, asked, vain)), strict=True
        )
    )


def _rules(
    doc: Commission, every: Sequence[_Matched], lab: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return, a row a field, whether its pieces take their nearest and whether they are matched
    to what is wanted, and of each material whether it is locked and whether it may be laid.
    """
    n = len(every)
    plain, target = np.zeros((2, n), bool)
    locked, palettes = np.zeros((2, n, len(lab)), bool)
    for k, m in enumerate(every):
        f = m.field
        target[k] = f.match == "nearest" and bool(np.isfinite(m.wanted).all())
        plain[k] = target[k] and f.at_most == 0
        few = f.match == "nearest" and f.at_most > 0
        locked[k, _allowed(doc, f.locked)] = True
        palettes[k, m.stock[m.stock >= 0]] = few
        if not few:
            palettes[k, _allowed(doc, (*palette_of(doc, f), *f.blend))] = True
    return plain, target, locked, palettes


def _by_code(doc: Commission, stock: Ints) -> tuple[tuple[str, int], ...]:
    index, many = np.unique(stock, return_counts=True)
    return tuple((doc.materials[k].code, int(n)) for k, n in zip(index, many, strict=True))
