"""Takes the studio's stock into a commission, and brings what it took before up to date.

A lot whose colour differs from its material's becomes a material of its own there, with a tray of
its own and its own pieces in hand, so that matching, swaps, counts and orders need to know nothing
of lots. It is known again by its number, whatever the commission calls it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from itertools import count

from core.commission import Commission, Swap, new_commission_id, rename_codes
from core.material import Material
from core.stock.store import StockStore

_MOST_NAMED = 8


def use_stock(doc: Commission, store: StockStore) -> tuple[Commission, tuple[str, ...]]:
    """Return the commission with the studio's materials, and in plain words what became of them.

    Materials that it has are brought up to date, the others are added; `pieces` is what is free
    for it. A lot that is new to it is treated as its material was: it may be laid wherever a
    palette names the material, stays where that is locked, and is swapped where that is swapped.
    Accents and mixtures, a person's choice of single colours, stay as they are, which is said
    (matching within the stock goes on in an accent's other lots when it runs out).
    What the studio no longer stocks stays, with none in hand; a lot that has no longer a colour
    of its own is its material again.
    """
    if not doc.id:
        # its title until now: what was set aside under that stays its own, also when this is undone
        doc = replace(doc, id=doc.title or new_commission_id())
    offered = {m.key: m for m in store.offered(doc.key)}
    kept: list[Material] = []
    merged: dict[str, str] = {}
    changed, empty, gone = [], [], []
    for m in doc.materials:
        now = offered.pop(m.key, None)
        if now is not None:
            if _seen_as(now) != _seen_as(m):
                changed.append(m.code)
            if m.pieces and not now.pieces:
                empty.append(m.code)
            kept.append(replace(now, code=m.code))
        elif _is_its_material(m, store):
            merged[m.code] = m.lot_of
        else:
            gone.append(m.code)
            kept.append(replace(m, pieces=0))
    added = [m for m in offered.values() if m.lot is None]
    codes = {m.code for m in (*kept, *added)}
    lots: dict[str, list[Material]] = {}
    for m in offered.values():
        if m.lot is not None and m.pieces:
            m = replace(m, code=_free(m.code, codes))
            codes.add(m.code)
            lots.setdefault(m.lot_of, []).append(m)
    every: list[Material] = []
    for m in (*kept, *added):
        every += [m, *(lots.get(m.code, ()) if m.lot is None else ())]
    doc = rename_codes(replace(doc, materials=tuple(every)), merged)
    new = {code: tuple(m.code for m in some) for code, some in lots.items()}
    doc = _joined(doc, new)
    words = (
        (
            "Lots with a colour, and a tray, of their own",
            [code for some in new.values() for code in some],
        ),
        (
            "Mixtures lay what was chosen for them, not its new lots, and accents do until it runs "
            "out; choose those there if they are meant",
            _chosen_singly(doc, new),
        ),
        ("Of another colour than before", changed),
        ("None left for it", empty),
        ("No longer of a colour of their own, so laid as their material", list(merged)),
        ("Not in this stock, so none in hand", gone),
    )
    return doc, tuple(f"{what}: {_listed(some)}." for what, some in words if some)


def _seen_as(m: Material) -> tuple[object, ...]:
    """Return what a material's colour hangs on."""
    return m.lab, m.illuminant, m.observer


def _is_its_material(m: Material, store: StockStore) -> bool:
    """Return whether a lot is in the stock, but with no colour of its own."""
    if m.lot is None or m.lot_of not in store.available():
        return False
    return any(v.id == m.lot and v.lab is None for v in store.lots(m.lot_of))


def _free(code: str, taken: Collection[str]) -> str:
    return next(
        c for c in (code if k == 1 else f"{code} ({k})" for k in count(1)) if c not in taken
    )


def _joined(doc: Commission, lots: dict[str, tuple[str, ...]]) -> Commission:
    """Name new lots, by their material's code, beside it wherever it may, must or may not lie."""

    def beside(codes: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(v for c in codes for v in (c, *lots.get(c, ()))))

    of = {m.code: m.lot_of for m in doc.materials}
    swaps: list[Swap] = []
    for s in doc.swaps:
        if of.get(s.new) != s.old:
            swaps += [replace(s, old=v) for v in lots.get(s.old, ())]
        swaps.append(s)
    return replace(
        doc,
        fields=tuple(
            f.with_choices(palette=beside(f.colour.palette), locked=beside(f.colour.locked))
            for f in doc.fields
        ),
        motif_palettes=tuple((motif, beside(codes)) for motif, codes in doc.motif_palettes),
        swaps=tuple(swaps),
    )


def _chosen_singly(doc: Commission, codes: Collection[str]) -> list[str]:
    """Return the fields whose accent or mixture is of these materials, and of which."""
    found = []
    for f in doc.fields:
        accent = (f.colour.accent,) if f.colour.accent_share > 0 else ()
        blend = f.colour.blend if f.colour.match != "nearest" else ()
        some = [c for c in dict.fromkeys((*accent, *blend)) if c in codes]
        if some:
            found.append(f"{f.name} ({' and '.join(some)})")
    return found


def _listed(codes: Sequence[str]) -> str:
    more = len(codes) - _MOST_NAMED
    return ", ".join(codes[:_MOST_NAMED]) + (f" and {more} more" if more > 0 else "")
