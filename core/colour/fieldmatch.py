"""Which material each laid piece takes: the field's own rule, then accents, swaps and the hand.

A field takes each piece's nearest material, a few materials chosen well, a mixture that the eye
blends, or a shading from one material to another. Matching within the stock looks at all fields
at once, since they share the shelf.
"""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from core.colour.convert import Floats
from core.colour.difference import ciede2000
from core.colour.matching import choose_colours, differences
from core.colour.mixing import Mix, dealt_out, optical_mix
from core.colour.onshelf import match_on_shelf
from core.colour.scatter import accents, graded, order_of, progress
from core.colour.seen import seen_lab
from core.colour.wanted import SketchColours, shifted_lab, stocked_lab
from core.commission import Commission, Field
from core.geometry import polygon_of
from core.pieces import LaidField, Pieces
from core.quantities import InHand, blank_of, fitting, laid_whole

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.object_]
Places = dict[str, int]

ALIKE = 2.0  # wanted colours nearer than this in CIELAB are mixed for alike
_NOT_SWAPPED: Final = 1e-4  # so much dearer, only to decide between equals


@dataclass(frozen=True, slots=True)
class _Rule:
    """What a field's own rule gives.

    `wanted` and `stock` are what each piece should look like and what it takes. Pieces that should
    look alike, and can be cut from the same, are of one `kind`, the row of `off`: its CIEDE2000 to
    each material (k, m), inf where that has no place in the field. `size` is the row of `fits`
    (f, m) that says what a piece can be cut from.
    """

    wanted: Floats
    stock: Ints
    kind: Ints
    off: Floats
    size: Ints
    fits: Bools


@dataclass(frozen=True, slots=True)
class _Matched:
    """A field by its own rule, its accent laid.

    `struck` are the pieces of its accent, `hand` the materials laid by hand, -1 for all others.
    """

    field: Field
    pieces: Pieces
    rule: _Rule
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
    lab, place = stocked_lab(doc.materials), _places(doc)
    every = []
    for f, p, codes in zip(doc.fields, pieces, by_hand, strict=True):
        rule = _rule_of(doc, f, p, colours, lab, place)
        struck = _struck(doc, f, p, place, rule)
        stock = np.where(struck, place[f.colour.accent], rule.stock) if struck.any() else rule.stock
        every.append(_Matched(f, p, rule, stock, struck, _hand(place, codes, len(p))))
    if not every:
        return ()
    if doc.within_stock and doc.materials:
        return _within_stock(doc, every, lab, place)
    stocks = [np.where(m.hand < 0, _becomes(doc, m.field, place)[m.stock], m.hand) for m in every]
    return _laid(every, stocks, lab, [()] * len(every))


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


def _struck(
    doc: Commission, field: Field, pieces: Pieces, place: Places, rule: _Rule
) -> NDArray[np.bool_]:
    """Return which pieces take the field's accent: of those cut from it, if there are any."""
    if field.colour.accent not in place or field.colour.accent_share <= 0:
        return np.zeros(len(pieces), bool)
    seed = zlib.crc32(f"{doc.seed}/{field.id}/accent".encode())
    struck = accents(pieces, field.colour.accent_share, field.colour.accent_along, seed)
    can = rule.fits[rule.size, place[field.colour.accent]]
    return struck & can if can.any() else struck


def _named(doc: Commission, field: Field) -> tuple[str, ...]:
    """Return the codes that a person named for a field or its motif."""
    of_motif = dict(doc.motif_palettes).get(field.motif, ()) if field.motif else ()
    return field.colour.palette or of_motif


def palette_of(doc: Commission, field: Field) -> tuple[str, ...]:
    """Return the codes that a field may use: its own, its motif's, or all that one colour tells.

    What has no one colour is laid by choice alone (`Material.by_choice`); a lock is a choice.
    """
    return _named(doc, field) or tuple(
        m.code for m in doc.materials if not m.by_choice or m.code in field.colour.locked
    )


def _places(doc: Commission) -> Places:
    """Return which of the materials each code is."""
    return {m.code: k for k, m in reversed(list(enumerate(doc.materials)))}


def _allowed(place: Places, codes: Sequence[str]) -> Ints:
    return np.array([place[c] for c in dict.fromkeys(codes) if c in place], np.int64)


# What a field's rule gave, for as long as its pieces live and nothing else changes: a swap or
# another count in hand then costs no new difference of colours.
_known: WeakKeyDictionary[Pieces, tuple[tuple[Any, ...], _Rule]] = WeakKeyDictionary()


def _rule_of(
    doc: Commission,
    field: Field,
    pieces: Pieces,
    colours: SketchColours | None,
    lab: Floats,
    place: Places,
) -> _Rule:
    hangs_on = (
        *(field, palette_of(doc, field), doc.seed, doc.grout_lab, doc.lightness_weight),
        *(doc.sketch, colours, lab.tobytes(), tuple(m.code for m in doc.materials)),
        tuple((b.long_mm, b.short_mm) for b in (blank_of(m, doc.rates) for m in doc.materials)),
    )
    known = _known.get(pieces)
    if known is None or known[0] != hangs_on:
        known = _known[pieces] = hangs_on, _rule(doc, field, pieces, colours, lab, place)
    return known[1]


def _rule(
    doc: Commission,
    field: Field,
    pieces: Pieces,
    colours: SketchColours | None,
    lab: Floats,
    place: Places,
) -> _Rule:
    n, m = len(pieces), len(lab)
    kl = _kl(doc)
    if field.colour.wanted_lab is not None:
        asked = np.array([field.colour.wanted_lab])
        few = _hundredths(shifted_lab(asked, field.colour.shift_lab))
        kind, unshifted = np.zeros(n, np.int64), np.broadcast_to(asked, (n, 3))
    elif colours is not None and doc.sketch is not None:
        unshifted = seen_lab(doc.sketch, colours, field.colour, pieces.polygons)
        few, kind = _alike(_hundredths(shifted_lab(unshifted, field.colour.shift_lab)))
    else:
        few, kind, unshifted = np.full((1, 3), np.nan), np.zeros(n, np.int64), np.empty((0, 3))
    wanted, known = few[kind], bool(np.isfinite(few).all())
    allowed = _allowed(place, palette_of(doc, field))
    blend = _allowed(place, field.colour.blend)
    box = pieces.box_mm if doc.materials else np.empty((n, 2))
    fits, size = _sizes(fitting(doc.materials, doc.rates, box))
    pair, kind = np.unique(kind * len(fits) + size, return_inverse=True)
    few, may = few[pair // len(fits)], fits[pair % len(fits)]
    if _named(doc, field):  # where nothing that was named is large enough, it is laid as asked
        may[~may[:, allowed].any(axis=1)] = True
    off = np.full((len(few), m), np.inf)
    if known:
        have = _allowed(place, (*palette_of(doc, field), *field.colour.blend, field.colour.accent))
        off[:, have] = np.where(may[:, have], differences(few, lab[have], kl), np.inf)
    stock = np.full(n, -1, np.int64)
    if n and len(allowed):
        if known:
            stock = _nearest(off, allowed)[kind]
        elif _named(doc, field) or field.colour.blend:
            first = np.where(may[:, allowed].any(axis=1), may[:, allowed].argmax(axis=1), -1)
            stock = np.where(first < 0, -1, allowed[first])[kind]
    if n and field.colour.match == "shade" and len(blend) > 1:
        stock = _cut_from(_shaded(doc, field, pieces, blend), blend, lab, fits[size])
    elif n and len(allowed) and known:
        if field.colour.match == "mix":
            dealt = blend if len(blend) else allowed
            stock = _cut_from(
                _mixed(doc, field, pieces, wanted, lab, dealt), dealt, lab, fits[size]
            )
        elif 0 < field.colour.at_most < len(np.unique(stock[stock >= 0])):
            chosen = choose_colours(
                wanted,
                pieces.area_mm2,
                lab[allowed],
                field.colour.at_most,
                kl,
                sizes=(fits[:, allowed], size),
            )
            among = _nearest(off, allowed[list(chosen.index)])[kind]
            stock = np.where(among < 0, stock, among)  # too large for those: its nearest of all
        if field.colour.locked:
            stock = _locked(
                field, _hundredths(unshifted), lab, allowed, stock, kl, place, may[kind]
            )
    return _Rule(wanted, stock, kind, off, size, fits)


def _sizes(fit: Bools) -> tuple[Bools, Ints]:
    """Return the different rows of a table (n, m), and which of them each is."""
    packed = np.ascontiguousarray(np.packbits(fit, axis=1))
    keys = packed.view(np.dtype((np.void, max(packed.shape[1], 1)))).reshape(-1)
    if not fit.size:
        return np.ones((1, fit.shape[1]), bool), np.zeros(len(fit), np.int64)
    _, first, of = np.unique(keys, return_index=True, return_inverse=True)
    return fit[first], of.reshape(-1).astype(np.int64)


def _nearest(off: Floats, among: Ints) -> Ints:
    """Return the nearest of some materials for each kind, -1 where it may take none."""
    least = off[:, among].argmin(axis=1)
    known = np.isfinite(off[np.arange(len(off)), among[least]])
    return np.where(known, among[least], -1)


def _cut_from(stock: Ints, dealt: Ints, lab: Floats, fits: Bools) -> Ints:
    """Lay pieces too large for what was dealt out to them in the nearest to it that is not."""
    stock = stock.copy()
    for k in dealt:
        large = np.flatnonzero((stock == k) & ~fits[:, k])
        if len(large):
            instead = dealt[np.argsort(ciede2000(lab[k], lab[dealt]), kind="stable")]
            can = fits[np.ix_(large, instead)]
            stock[large] = np.where(can.any(axis=1), instead[can.argmax(axis=1)], k)
    return stock


def _hundredths(lab: Floats) -> Floats:
    """Return colours as they are kept: the same on every machine, and finer than any eye."""
    return np.round(lab, 2)


def _kl(doc: Commission) -> float:
    return 1 / max(doc.lightness_weight, 1e-3)


def _alike(wanted: Floats) -> tuple[Floats, Ints]:
    """Return the different ones of colours (n, 3), and which of them each is."""
    order = np.lexsort(wanted.T[::-1])
    ordered = wanted[order]
    new = np.ones(len(wanted), bool)
    new[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    kind = np.empty(len(wanted), np.int64)
    kind[order] = np.cumsum(new) - 1
    return ordered[new], kind


def _locked(
    field: Field,
    unshifted: Floats,
    lab: Floats,
    allowed: Ints,
    stock: Ints,
    kl: float,
    place: Places,
    may: Bools,
) -> Ints:
    """Keep locked materials on the pieces that they match best before any shift."""
    few, kind = _alike(unshifted)
    off = differences(few, lab[allowed], kl)[kind]
    first = allowed[np.where(may[:, allowed], off, np.inf).argmin(axis=1)]
    kept = np.isin(first, _allowed(place, field.colour.locked))
    return np.where(kept, first, stock)


def _order(doc: Commission, field: Field, pieces: Pieces) -> Floats:
    return order_of(pieces, zlib.crc32(f"{doc.seed}/{field.id}/even".encode()))


def _shaded(doc: Commission, field: Field, pieces: Pieces, blend: Ints) -> Ints:
    along = progress(pieces, field.colour.shade_along)
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
    parts = 3 if len(field.colour.blend) == 3 else 2
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
    place = _places(doc)
    blend = _allowed(place, field.colour.blend)
    blend = blend if len(blend) else _allowed(place, palette_of(doc, field))
    n = len(laid.pieces)
    if (
        field.colour.match != "mix"
        or not n
        or not len(blend)
        or not np.isfinite(laid.wanted_lab).all()
    ):
        return None
    palette = stocked_lab(doc.materials)[blend]
    mix = _mixture(doc, field, laid.pieces, laid.wanted_lab, palette)
    return float(mix.delta_e_single.mean()), float(mix.delta_e.mean())


def _hand(place: Places, codes: Codes | None, n: int) -> Ints:
    """Return the materials laid by hand; a code that is no longer there is left to the match."""
    hand = np.full(n, -1, np.int64)
    if codes is not None:
        for k in np.flatnonzero(codes != ""):
            hand[k] = place.get(codes[k], -1)
    return hand


def _becomes(doc: Commission, field: Field, place: Places) -> Ints:
    """Return what each material becomes by the swaps that hold in a field, in their order.

    The last entry is for pieces without a material, which stay so.
    """
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
    every: Sequence[_Matched],
    stocks: Sequence[Ints],
    lab: Floats,
    unswapped: Sequence[tuple[tuple[str, int], ...]],
) -> tuple[LaidField, ...]:
    stock = np.concatenate(stocks)
    laid = stock >= 0
    delta_e = np.full(len(stock), np.nan)
    wanted = np.concatenate([m.rule.wanted for m in every])
    delta_e[laid] = ciede2000(wanted[laid], lab[stock[laid]])
    ends = np.cumsum([len(s) for s in stocks])[:-1]
    return tuple(
        LaidField(m.field.id, m.pieces, m.rule.wanted, s, d, u)
        for m, s, d, u in zip(every, stocks, np.split(delta_e, ends), unswapped, strict=True)
    )


def _within_stock(
    doc: Commission, every: Sequence[_Matched], lab: Floats, place: Places
) -> tuple[LaidField, ...]:
    """Match again within what is in hand.

    What a person chose comes first: pieces laid by hand, whatever is in hand, then swaps as far as
    there are pieces. Accents, locked materials, mixtures, shadings and few colours keep what they
    chose as far as it is in hand; an accent goes on in other lots of its material. All pieces that
    take their nearest material share the rest, at the least total difference; of the others each
    takes what comes nearest to what it lost.
    """
    n = len(lab)
    ends = np.cumsum([len(m.pieces) for m in every])[:-1]
    of = np.repeat(np.arange(len(every)), [len(m.pieces) for m in every])
    # asked for even where no material is short yet: the swap that makes it so is not to wait
    order = np.concatenate([_order(doc, m.field, m.pieces) for m in every])
    stock = np.concatenate([m.stock for m in every])
    hand = np.concatenate([m.hand for m in every])
    in_hand = InHand(
        doc.materials,
        doc.rates,
        np.concatenate([m.pieces.box_mm for m in every]),
        np.concatenate([m.pieces.area_mm2 for m in every]),
        np.concatenate([laid_whole(m.field, m.pieces) for m in every]),
    )
    for j in np.unique(hand[hand >= 0]):
        in_hand.take(j, np.flatnonzero(hand == j))

    def take(asking: Bools, asked: Ints) -> Bools:
        """Take from what is left; return who could have what was asked, evenly spread."""
        having = np.zeros(len(asking), bool)
        for j in np.unique(asked[asking]):
            takers = np.flatnonzero(asking & (asked == j))
            if in_hand.could(j, takers) < len(takers):
                takers = takers[np.argsort(order[takers], kind="stable")]
                takers = takers[: in_hand.could(j, takers)]
            in_hand.take(j, takers)
            having[takers] = True
        return having

    becomes = np.stack([_becomes(doc, m.field, place) for m in every])
    swapped = becomes[of, stock]
    asking = (swapped != stock) & (hand < 0)
    got = take(asking, swapped)
    plain, target, locked, palettes = _rules(doc, every, place)
    rest = (hand < 0) & ~got & (stock >= 0)
    struck = np.concatenate([m.struck for m in every])
    held = rest & (~plain[of] | locked[of, stock] | struck)
    pool = rest & ~take(held, stock)
    for accent, lot in _other_lots(doc, every, place):
        served = take(pool & struck & (stock == accent), np.full(len(stock), lot))
        stock[served] = lot
        pool &= ~served
    between = differences(lab, lab, _kl(doc)) if not target.all() else lab
    costs = [
        _costs(m.rule.off if t else between, p, b[:-1])
        for m, t, p, b in zip(every, target, palettes, becomes, strict=True)
    ]
    groups = _groups(
        every,
        costs,
        [m.rule.kind if t else m.stock for m, t in zip(every, target, strict=True)],
        np.split(pool, ends),
    )
    stock = np.where(got, swapped, np.where(hand >= 0, hand, stock))
    rows = [g.rows for g in groups]
    stock[np.concatenate([*rows, np.empty(0, np.int64)])] = match_on_shelf(
        in_hand, [g.cost for g in groups], [g.kind for g in groups], rows, order
    )
    vain = asking & ~got
    asked = np.where(vain, swapped, becomes[of, stock])
    # nor had a piece a swap that lies where one holds and was not swapped to that
    to = np.zeros((len(every), n + 1), bool)
    to[np.arange(len(every))[:, None], becomes] = True
    vain |= pool & ~to[of, stock]
    unswapped = [
        _by_code(doc, a[v])
        for a, v in zip(np.split(asked, ends), np.split(vain, ends), strict=True)
    ]
    return _laid(every, np.split(stock, ends), lab, unswapped)


@dataclass(frozen=True, slots=True)
class _Group:
    """Pieces of one field that can be cut from the same materials: `rows` among all pieces."""

    rows: Ints
    kind: Ints
    cost: Floats


def _groups(
    every: Sequence[_Matched],
    costs: Sequence[Floats],
    kinds: Sequence[Ints],
    pool: Sequence[Bools],
) -> list[_Group]:
    """Return the pieces of a pool, field by field and what they can be cut from."""
    found, start = [], 0
    for m, cost, kind, here in zip(every, costs, kinds, pool, strict=True):
        for s in np.unique(m.rule.size[here]):
            some = np.flatnonzero(here & (m.rule.size == s))
            can = np.where(m.rule.fits[s], cost, np.inf)
            # where nothing that was named is large enough, it is laid as asked
            could = np.isfinite(can[kind[some[:1]]]).any()
            found.append(_Group(start + some, kind[some], can if could else cost))
        start += len(here)
    return found


def _other_lots(doc: Commission, every: Sequence[_Matched], place: Places) -> list[tuple[int, int]]:
    """Return every accent with each other lot of its material that has a colour of its own."""
    accents = dict.fromkeys(place[m.field.colour.accent] for m in every if m.struck.any())
    return [
        (a, k)
        for a in accents
        for k, other in enumerate(doc.materials)
        if k != a and other.order_code == doc.materials[a].order_code
    ]


def _costs(off: Floats, palette: NDArray[np.bool_], becomes: Ints) -> Floats:
    """Return the least cost (k, m) at which each material can be laid, for itself or another.

    What a swap brings in is laid at the difference of the material it replaces, which is laid
    itself only where nothing is left of the other.
    """
    swapped = becomes != np.arange(len(becomes))
    cost = off
    if (np.isfinite(off) & ~palette).any():
        cost = np.where(palette, off, np.inf)
    if swapped[palette].any():
        own, cost = cost, cost + np.where(swapped, _NOT_SWAPPED, 0.0)
        for old in np.flatnonzero(swapped & palette):
            new = becomes[old]
            cost[:, new] = np.minimum(cost[:, new], own[:, old])
    return cost


def _rules(
    doc: Commission, every: Sequence[_Matched], place: Places
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_], NDArray[np.bool_]]:
    """Return, a row a field, whether its pieces take their nearest and whether they are matched
    to what is wanted, and of each material whether it is locked and whether it may be laid.
    """
    n = len(every)
    plain, target = np.zeros((2, n), bool)
    locked, palettes = np.zeros((2, n, len(doc.materials)), bool)
    for k, m in enumerate(every):
        f = m.field
        target[k] = f.colour.match == "nearest" and bool(np.isfinite(m.rule.wanted).all())
        plain[k] = target[k] and f.colour.at_most == 0
        few = f.colour.match == "nearest" and f.colour.at_most > 0
        locked[k, _allowed(place, f.colour.locked)] = True
        palettes[k, m.stock[m.stock >= 0]] = few
        if not few:
            palettes[k, _allowed(place, (*palette_of(doc, f), *f.colour.blend))] = True
    return plain, target, locked, palettes


def _by_code(doc: Commission, stock: Ints) -> tuple[tuple[str, int], ...]:
    many = np.bincount(stock, minlength=len(doc.materials))
    return tuple((doc.materials[k].code, int(many[k])) for k in np.flatnonzero(many))
