"""Rebuilds all that is derived from a commission, in order, from the first stale step.

What stands is not worked out again: a field's pieces as long as its setting has the key that they
were laid by, its colours as long as all that they hang on is the same.
"""

from __future__ import annotations

import zlib
from collections import OrderedDict
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.difference import ciede2000
from core.colour.fieldmatch import match_layout, palette_of
from core.colour.wanted import SketchColours, stocked_lab
from core.commission import Commission, Field, HandEdit, Laying, Outline
from core.errors import CannotLay, EmblemaError
from core.flow import hugged, lines_for
from core.geometry import polygon_of
from core.handwork import Dropped, apply_edits
from core.kept import Kept, KeptColours, KeptField, key_of, key_of_choices
from core.laying import GUIDE_REACH, SOLVER_VERSION, Setting, SideBySide
from core.laying.field.frame import Frame
from core.material import Material
from core.moves import Move
from core.packing import packed, packed_colours, unpacked, unpacked_colours, whole_um
from core.pieces import LaidField, Layout, Pieces
from core.quantities import cuts
from core.sizes import scale_for, sizes_for

Progress = Callable[[float, str], None]
Codes = NDArray[np.object_]

RECENT_BYTES: Final = 64_000_000  # of pieces laid lately, whether or not they stand


def setting_of(doc: Commission, field: Field) -> Setting:
    """Return what the solver is given for one field of a commission.

    A line for all fields belongs to a field's setting only where it comes near.
    """
    outline = polygon_of(field.outline)
    lines = lines_for(doc, field)
    if lines and not outline.is_empty:
        x0, y0, x1, y1 = outline.bounds
        far = GUIDE_REACH * field.laying.pitch_mm
        near = shapely.intersects(shapely.box(x0 - far, y0 - far, x1 + far, y1 + far), lines)
        lines = tuple(line for line, felt in zip(lines, near, strict=True) if felt)
    return Setting(
        outline=outline,
        laying=_plain(field.laying),
        flow=lines,
        hug=hugged(doc, field),
        seed=zlib.crc32(f"{doc.seed}/{field.id}".encode()) + field.laying.throw,
        repeat_seed=zlib.crc32(f"{doc.seed}".encode()) + field.laying.throw,
        sizes=sizes_for(doc, field),
    )


def _plain(laying: Laying) -> Laying:
    """Return a laying without what a setting gives as lines and numbers of its own."""
    own = Laying()
    return replace(
        laying,
        hug=own.hug,
        throw=own.throw,
        finer_toward=own.finer_toward,
        finer_mm=own.finer_mm,
        finer_within=own.finer_within,
    )


def only_recoloured(before: Commission, after: Commission) -> bool:
    """Return whether all pieces stay where they are from one document to the next."""
    if (before.seed, before.edits, before.flow_lines, before.repeats) != (
        after.seed,
        after.edits,
        after.flow_lines,
        after.repeats,
    ):
        return False
    if before.fields is after.fields:
        return True
    return len(before.fields) == len(after.fields) and all(
        a is b or replace(a, colour=b.colour) == b
        for a, b in zip(before.fields, after.fields, strict=True)
    )


@dataclass(frozen=True, slots=True)
class _Edited:
    """A field's pieces with the work by hand done: what was laid by hand, what could not be."""

    pieces: Pieces
    materials: Codes | None
    dropped: tuple[Dropped, ...]


class Planner:
    """Derives layouts and remembers what it derived. Safe to use from one thread at a time."""

    def __init__(self) -> None:
        self._hands = SideBySide()
        self._kept: Kept = {}
        self._recent: OrderedDict[str, KeptField] = OrderedDict()
        self._keys: dict[str, tuple[Setting, str]] = {}
        self._pieces: dict[str, tuple[KeptField, Pieces]] = {}
        self._copied: dict[str, tuple[tuple[bytes, Move, Outline], bytes]] = {}
        self._edited: dict[str, tuple[Pieces, tuple[HandEdit, ...], _Edited]] = {}
        self._matched: dict[str, tuple[tuple[Any, ...], LaidField]] = {}
        self._colours: tuple[str, SketchColours] | None = None

    def layout(
        self,
        doc: Commission,
        images: Mapping[str, bytes],
        progress: Progress = lambda share, what: None,
        stop: Callable[[], bool] = lambda: False,
        kept: Kept | None = None,
        anew: Collection[str] = (),
    ) -> Layout:
        """Lay and match what does not stand.

        Parameters
        ----------
        images : mapping of str to bytes
            The pictures that travel with the document, by `Sketch.image`.
        progress : callable
            Told the share done (0 to 1) and what is being done, in plain words.
        kept : mapping of str to KeptField, optional
            What stands; where left out, what stood in the layout before.
        anew : collection of str
            Fields to lay with this version whatever stands.

        Raises
        ------
        core.errors.EmblemaError
            A field cannot be laid.
        core.errors.Stopped
            `stop` answered True.
        """
        before = self._kept if kept is None else kept
        stands, broken = self._lay(doc, before, anew, progress, stop)
        same = len(stands) == len(before) and all(before.get(k) is v for k, v in stands.items())
        self._kept = before if same else stands
        self._forget(doc)
        edited = self._all_by_hand(doc)
        done = self._match(doc, images, edited)
        dropped = tuple(
            (f.name, d.edit.kind, d.reason)
            for f, e in zip(doc.fields, edited, strict=True)
            for d in e.dropped
        )
        progress(1.0, "Laid")
        return Layout(done, dropped, self._kept, broken)

    def close(self) -> None:
        """End the worker processes."""
        self._hands.close()

    # pieces

    def _lay(
        self,
        doc: Commission,
        kept: Kept,
        anew: Collection[str],
        progress: Progress,
        stop: Callable[[], bool],
    ) -> tuple[dict[str, KeptField], tuple[str, ...]]:
        """Return what stands of each field, and the names of those whose pieces were damaged."""
        stands: dict[str, KeptField] = {}
        stale: list[Field] = []
        broken: list[str] = []
        copies = doc.copies()
        anew = {copies[i][0] if i in copies else i for i in anew}
        for field in doc.fields:
            key = self._key(doc, field)
            if field.id in copies:
                continue
            for one in (kept.get(field.id), self._recent.get(key)):
                if one is None or one.key != key or field.id in anew:
                    continue
                try:
                    self._open(field.id, one)
                except EmblemaError:
                    broken.append(field.name)
                    continue
                stands[field.id] = one
                break
            else:
                stale.append(field)
        settings = [self._keys[f.id][0] for f in stale]
        size = [max(s.outline.area / s.pitch_mm**2, 1.0) for s in settings]
        laid = 0.0
        if stale:
            progress(0.0, f"Laying {stale[0].name}")
        try:
            for k, pieces in self._hands.lay(settings, stop):
                field = stale[k]
                one = KeptField(self._keys[field.id][1], SOLVER_VERSION, packed(pieces))
                stands[field.id] = one
                self._remember(one)
                self._open(field.id, one)
                laid += size[k]
                progress(0.95 * laid / sum(size), f"Laid {field.name}")
        except CannotLay as error:
            raise EmblemaError(f"{stale[error.which].name} cannot be laid. {error}") from error
        for field_id, (first, move) in copies.items():
            field = doc.field_by_id(field_id)
            stands[field_id] = self._copy(field, first, stands[first], move, kept.get(field_id))
        return {f.id: stands[f.id] for f in doc.fields}, tuple(broken)

    def _copy(
        self,
        field: Field,
        first_id: str,
        first: KeptField,
        move: Move,
        before: KeptField | None,
    ) -> KeptField:
        """Return what stands of a linked field: the first one's pieces, moved.

        It has the key of a field by itself, so that its pieces stay when it is parted.
        """
        inputs = first.packed, move, field.outline
        known = self._copied.get(field.id)
        if known is None or known[0] != inputs:
            moved = _moved(self._open(first_id, first), move, field)
            known = self._copied[field.id] = inputs, packed(moved)
        key = self._keys[field.id][1]
        if before is None or (before.key, before.packed) != (key, known[1]):
            before = KeptField(key, first.solver, known[1])
        self._open(field.id, before)
        return before

    def _key(self, doc: Commission, field: Field) -> str:
        setting = setting_of(doc, field)
        known = self._keys.get(field.id)
        if known is None or known[0] != setting:
            known = self._keys[field.id] = setting, key_of(setting)
        return known[1]

    def _open(self, field_id: str, kept: KeptField) -> Pieces:
        """Return kept pieces unpacked, the very ones as long as they stand."""
        known = self._pieces.get(field_id)
        if known is None or known[0].packed is not kept.packed:
            known = self._pieces[field_id] = kept, unpacked(kept.packed)
        return known[1]

    def _remember(self, kept: KeptField) -> None:
        """Keep what was laid, in case the layout is stopped or is wanted again soon."""
        self._recent[kept.key] = kept
        self._recent.move_to_end(kept.key)
        size = sum(len(k.packed) for k in self._recent.values())
        while size > RECENT_BYTES and len(self._recent) > 1:
            size -= len(self._recent.popitem(last=False)[1].packed)

    def _all_by_hand(self, doc: Commission) -> list[_Edited]:
        """Return every field's pieces with the hand edits done; linked ones after the first."""
        copies = doc.copies()
        done = {f.id: self._by_hand(doc, f) for f in doc.fields if f.id not in copies}
        for field_id, (first, move) in copies.items():
            field = doc.field_by_id(field_id)
            done[field_id] = self._by_hand(doc, field, (done[first], move))
        return [done[f.id] for f in doc.fields]

    def _by_hand(
        self, doc: Commission, field: Field, linked: tuple[_Edited, Move] | None = None
    ) -> _Edited:
        """Return a field's pieces with the hand edits done, kept while neither changes.

        A linked field's are those of the first, moved: done anew they might be cut otherwise.
        """
        pieces = self._pieces[field.id][1]
        edits = tuple(e for e in doc.edits if e.field_id == field.id)
        known = self._edited.get(field.id)
        if known is None or known[0] is not pieces or known[1] != edits:
            done = _Edited(pieces, None, ())
            if edits:
                before = known[2].pieces if known is not None else pieces
                edited = _linked(field, linked) if linked else None
                if edited is None:
                    now, materials, dropped = apply_edits(
                        field, pieces, edits, scale=scale_for(doc, field)
                    )
                    edited = _Edited(_rounded(now, pieces), materials, dropped)
                # where every piece lies as before, what is known of them stays known
                done = replace(edited, pieces=before) if _same(edited.pieces, before) else edited
            known = self._edited[field.id] = pieces, edits, done
        return known[2]

    def _forget(self, doc: Commission) -> None:
        ids = {f.id for f in doc.fields}
        for known in (self._keys, self._pieces, self._copied, self._edited, self._matched):
            for gone in [k for k in known if k not in ids]:
                del known[gone]

    # colours

    def _match(
        self, doc: Commission, images: Mapping[str, bytes], edited: list[_Edited]
    ) -> tuple[LaidField, ...]:
        """Match the fields whose colours do not stand; within the stock, all of them at once."""
        hang_on = _colours_hang_on(doc, self._kept)
        keys: list[str] = []
        stale = []
        count = {f.id: len(e.pieces) for f, e in zip(doc.fields, edited, strict=True)}
        # within the stock each piece takes what is left on the shelf
        alike = {
            copy: first
            for copy, (first, _) in doc.copies().items()
            if count[copy] == count[first] and not doc.within_stock
        }
        for k, (field, e, inputs) in enumerate(zip(doc.fields, edited, hang_on, strict=True)):
            known = self._matched.get(field.id)
            if field.id in alike:
                continue
            if known is not None and known[0] == inputs and known[1].pieces is e.pieces:
                continue
            colours, found = self._kept[field.id].colours, None
            if colours is not None:
                keys = keys or _keys(hang_on)
                found = _as_kept(doc, field, e.pieces, colours) if colours.key == keys[k] else None
            if found is None:
                stale.append((field, e, inputs))
            else:
                self._matched[field.id] = inputs, found
        if stale and doc.within_stock:
            stale = list(zip(doc.fields, edited, hang_on, strict=True))
        if stale:
            some = replace(doc, fields=tuple(f for f, _, _ in stale))
            pieces, materials = [e.pieces for _, e, _ in stale], [e.materials for _, e, _ in stale]
            seen = self._sketch(doc, images)
            for laid, (field, _, inputs) in zip(
                match_layout(some, pieces, seen, materials), stale, strict=True
            ):
                self._matched[field.id] = inputs, laid
        for field, e, inputs in zip(doc.fields, edited, hang_on, strict=True):
            if field.id in alike:
                self._matched[field.id] = inputs, self._coloured_as(alike[field.id], field, e)
        return tuple(self._matched[f.id][1] for f in doc.fields)

    def _coloured_as(self, first: str, field: Field, edited: _Edited) -> LaidField:
        """Return a linked field in the colours of the first, the same one while both stand."""
        as_first = replace(self._matched[first][1], field_id=field.id, pieces=edited.pieces)
        if (known := self._matched.get(field.id)) is None:
            return as_first
        before = known[1]
        same = before.pieces is as_first.pieces and before.stock is as_first.stock
        return before if same else as_first

    def _sketch(self, doc: Commission, images: Mapping[str, bytes]) -> SketchColours | None:
        if doc.sketch is None or doc.sketch.image not in images:
            return None
        if self._colours is None or self._colours[0] != doc.sketch.image:
            key = doc.sketch.image
            self._colours = (key, SketchColours.read(images[key], key))
        return self._colours[1]


def _colours_hang_on(doc: Commission, kept: Kept) -> list[tuple[Any, ...]]:
    return hangs_on(doc, {k: (one.key, one.solver) for k, one in kept.items()})


def hangs_on(doc: Commission, laid: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    """Return all that each field's colours and its work by hand hang on, in order of the fields.

    `laid` says by a field's id how its pieces were laid.
    """
    materials = tuple(_looks(m, doc.within_stock) for m in doc.materials)
    common = (doc.seed, doc.grout_lab, doc.lightness_weight, doc.sketch, materials, cuts(doc.rates))
    every = tuple(
        (
            *(f.id, laid[f.id], f.colour, palette_of(doc, f)),
            tuple(e for e in doc.edits if e.field_id == f.id),
            tuple(
                s for s in doc.swaps if s.field_id in (None, f.id) and s.motif in (None, f.motif)
            ),
        )
        for f in doc.fields
    )
    # within the stock they share the shelf
    return [(one, common, every if doc.within_stock else ()) for one in every]


def _keys(hang_on: list[tuple[Any, ...]]) -> list[str]:
    """Return a key of what each field's colours hang on; what all have in common is read once."""
    common = key_of_choices(*hang_on[0][1:]) if hang_on else ""
    return [key_of_choices(own, common) for own, *_ in hang_on]


def _looks(m: Material, within_stock: bool) -> Material:
    """Return a material as far as matching may look at it."""
    m = replace(m, description="", price=Decimal(0), price_unit="kg", grade="", supplier="")
    m = replace(m, example=False, pieces_a_kg=0.0, pack=0.0, pack_unit="kg", supplier_no="")
    m = replace(m, absorption=0.0, slip_ptv=0.0, frost_cycles=0)
    if within_stock:
        return m
    return replace(m, pieces=0, waste=0.0, broken=0.0, off_colour=0.0, wrong_size=0.0)


def with_colours(doc: Commission, layout: Layout) -> Kept:
    """Return what stands of a document's layout with its colours, as the file keeps it."""
    keys = _keys(_colours_hang_on(doc, layout.kept))
    codes = tuple(m.code for m in doc.materials)
    return {
        laid.field_id: replace(
            layout.kept[laid.field_id],
            colours=KeptColours(
                key,
                codes,
                packed_colours(laid.stock, laid.wanted_lab),
                laid.unswapped,
            ),
        )
        for laid, key in zip(layout.fields, keys, strict=True)
    }


def _as_kept(doc: Commission, field: Field, pieces: Pieces, kept: KeptColours) -> LaidField | None:
    """Return a field's colours as they are kept, None where they are damaged."""
    try:
        stock, wanted = unpacked_colours(kept.packed)
    except EmblemaError:
        return None
    if kept.codes != tuple(m.code for m in doc.materials) or len(stock) != len(pieces):
        return None
    if len(stock) and not -1 <= stock.min() <= stock.max() < len(kept.codes):
        return None
    delta_e = np.full(len(stock), np.nan)
    on = stock >= 0
    delta_e[on] = ciede2000(wanted[on], stocked_lab(doc.materials)[stock[on]])
    return LaidField(field.id, pieces, wanted, stock, delta_e, kept.unswapped)


def _moved(pieces: Pieces, move: Move, field: Field) -> Pieces:
    frame = Frame(move.origin_mm, move.way, move.mirrored)
    return frame.pieces(pieces, polygon_of(field.outline))


def _linked(field: Field, linked: tuple[_Edited, Move]) -> _Edited | None:
    """Return what is done by hand in the first place, moved; None where a piece would not lie."""
    first, move = linked
    moved = _moved(first.pieces, move, field)
    return _Edited(moved, first.materials, ()) if len(moved) == len(first.pieces) else None


def _rounded(pieces: Pieces, known: Pieces) -> Pieces:
    """Return pieces in whole micrometres; those that lay there before are left as they are."""
    before = set(map(id, known.polygons))
    new = [k for k, p in enumerate(pieces.polygons) if id(p) not in before]
    if not new:
        return pieces
    polygons = pieces.polygons.copy()
    polygons[new] = whole_um(polygons[new])
    return replace(pieces, polygons=polygons)


def _same(a: Pieces, b: Pieces) -> bool:
    """Return whether pieces lie as others do, in the same order."""
    return (
        len(a) == len(b)
        and np.array_equal(a.course, b.course)
        and np.array_equal(a.piece, b.piece)
        and np.array_equal(a.angle_rad, b.angle_rad)
        and bool(shapely.equals_identical(a.polygons, b.polygons).all())
    )
