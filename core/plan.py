"""Rebuilds all that is derived from a commission, in order, from the first stale step.

A field's pieces are kept by the setting that made them and its colours by the choices that made
them, so that a change lays again only what it touches.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.fieldmatch import match_layout
from core.colour.wanted import SketchColours
from core.commission import Commission, Field, HandEdit
from core.errors import CannotLay, EmblemaError
from core.flow import hugged, lines_for
from core.geometry import polygon_of
from core.handwork import Dropped, apply_edits
from core.laying import Setting, SideBySide
from core.pieces import Layout, Pieces

Progress = Callable[[float, str], None]
_Edited = tuple[Pieces, NDArray[np.object_] | None, tuple[Dropped, ...]]


def setting_of(doc: Commission, field: Field) -> Setting:
    """Return what the solver is given for one field of a commission."""
    return Setting(
        outline=polygon_of(field.outline),
        laying=replace(field.laying, hug=()),  # the borders themselves are given
        flow=lines_for(doc, field),
        hug=hugged(doc, field),
        seed=zlib.crc32(f"{doc.seed}/{field.id}".encode()),
    )


def only_recoloured(before: Commission, after: Commission) -> bool:
    """Return whether all pieces stay where they are from one document to the next."""
    if (before.seed, before.edits, before.flow_lines) != (
        after.seed,
        after.edits,
        after.flow_lines,
    ):
        return False
    if before.fields is after.fields:
        return True
    return len(before.fields) == len(after.fields) and all(
        a is b or replace(a, colour=b.colour) == b
        for a, b in zip(before.fields, after.fields, strict=True)
    )


class Planner:
    """Derives layouts and remembers what it derived. Safe to use from one thread at a time."""

    def __init__(self) -> None:
        self._hands = SideBySide()
        self._pieces: dict[str, tuple[Setting, Pieces]] = {}
        self._edited: dict[str, tuple[Pieces, tuple[HandEdit, ...], _Edited]] = {}
        self._colours: tuple[str, SketchColours] | None = None

    def layout(
        self,
        doc: Commission,
        images: Mapping[str, bytes],
        progress: Progress = lambda share, what: None,
        stop: Callable[[], bool] = lambda: False,
    ) -> Layout:
        """Lay and match every field.

        Parameters
        ----------
        images : mapping of str to bytes
            The pictures that travel with the document, by `Sketch.image`.
        progress : callable
            Told the share done (0 to 1) and what is being done, in plain words.

        Raises
        ------
        core.errors.EmblemaError
            A field cannot be laid.
        core.errors.Stopped
            `stop` answered True.
        """
        settings = [setting_of(doc, field) for field in doc.fields]
        stale = [
            k
            for k, (field, setting) in enumerate(zip(doc.fields, settings, strict=True))
            if field.id not in self._pieces or self._pieces[field.id][0] != setting
        ]
        size = [max(settings[k].outline.area / settings[k].pitch_mm ** 2, 1.0) for k in stale]
        laid = 0.0
        if stale:
            progress(0.0, f"Laying {doc.fields[stale[0]].name}")
        try:
            for which, pieces in self._hands.lay([settings[k] for k in stale], stop):
                field = doc.fields[stale[which]]
                self._pieces[field.id] = (settings[stale[which]], pieces)
                laid += size[which]
                progress(0.95 * laid / sum(size), f"Laid {field.name}")
        except CannotLay as error:
            name = doc.fields[stale[error.which]].name
            raise EmblemaError(f"{name} cannot be laid. {error}") from error
        self._forget(doc)
        colours = self._sketch(doc, images)
        edited = [self._by_hand(doc, f) for f in doc.fields]
        done = match_layout(doc, [e[0] for e in edited], colours, [e[1] for e in edited])
        dropped = tuple(
            (f.name, d.edit.kind, d.reason)
            for f, e in zip(doc.fields, edited, strict=True)
            for d in e[2]
        )
        progress(1.0, "Laid")
        return Layout(done, dropped)

    def _by_hand(self, doc: Commission, field: Field) -> _Edited:
        """Return a field's pieces with the hand edits done, kept while neither changes."""
        pieces = self._pieces[field.id][1]
        edits = tuple(e for e in doc.edits if e.field_id == field.id)
        kept = self._edited.get(field.id)
        if kept is None or kept[0] is not pieces or kept[1] != edits:
            done: _Edited = (pieces, None, ())
            if edits:
                before = kept[2][0] if kept is not None else pieces
                now, materials, dropped = apply_edits(field, pieces, edits)
                # where every piece lies as before, what is known of them stays known
                done = (before if _same(now, before) else now, materials, dropped)
            kept = self._edited[field.id] = (pieces, edits, done)
        return kept[2]

    def close(self) -> None:
        """End the worker processes."""
        self._hands.close()

    def _forget(self, doc: Commission) -> None:
        ids = {f.id for f in doc.fields}
        for gone in [k for k in self._pieces if k not in ids]:
            del self._pieces[gone]
            self._edited.pop(gone, None)

    def _sketch(self, doc: Commission, images: Mapping[str, bytes]) -> SketchColours | None:
        if doc.sketch is None or doc.sketch.image not in images:
            return None
        if self._colours is None or self._colours[0] != doc.sketch.image:
            key = doc.sketch.image
            self._colours = (key, SketchColours.read(images[key], key))
        return self._colours[1]


def _same(a: Pieces, b: Pieces) -> bool:
    """Return whether pieces lie as others do, in the same order."""
    return (
        len(a) == len(b)
        and np.array_equal(a.course, b.course)
        and np.array_equal(a.piece, b.piece)
        and np.array_equal(a.angle_rad, b.angle_rad)
        and bool(shapely.equals_identical(a.polygons, b.polygons).all())
    )
