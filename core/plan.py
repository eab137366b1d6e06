"""Rebuilds all that is derived from a commission, in order, from the first stale step.

A field's pieces are kept by the setting that made them and its colours by the choices that made
them, so that a change lays again only what it touches.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Mapping

from core.colour.wanted import SketchColours, match_field
from core.commission import Commission, Field
from core.flow import lines_for
from core.geometry import polygon_of
from core.laying import Setting, lay_field
from core.pieces import LaidField, Layout, Pieces

Progress = Callable[[float, str], None]


def setting_of(doc: Commission, field: Field) -> Setting:
    """Return what the solver is given for one field of a commission."""
    return Setting(
        outline=polygon_of(field.outline),
        laying=field.laying,
        tessera_mm=field.tessera_mm,
        joint_mm=field.joint_mm,
        follow_border=field.follow_border,
        flow=lines_for(doc, field),
        variation=field.variation,
        seed=zlib.crc32(f"{doc.seed}/{field.id}".encode()),
    )


class Planner:
    """Derives layouts and remembers what it derived. Safe to use from one thread at a time."""

    def __init__(self) -> None:
        self._pieces: dict[str, tuple[Setting, Pieces]] = {}
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
        core.errors.Stopped
            `stop` answered True.
        """
        done = []
        for k, field in enumerate(doc.fields):
            progress(k / max(len(doc.fields), 1), f"Laying {field.name}")
            setting = setting_of(doc, field)
            kept = self._pieces.get(field.id)
            pieces = kept[1] if kept and kept[0] == setting else lay_field(setting, stop)
            self._pieces[field.id] = (setting, pieces)
            done.append(self._coloured(doc, images, field, pieces))
        progress(1.0, "Laid")
        return Layout(tuple(done))

    def _coloured(
        self, doc: Commission, images: Mapping[str, bytes], field: Field, pieces: Pieces
    ) -> LaidField:
        return match_field(doc, field, pieces, self._sketch(doc, images))

    def _sketch(self, doc: Commission, images: Mapping[str, bytes]) -> SketchColours | None:
        if doc.sketch is None or doc.sketch.image not in images:
            return None
        if self._colours is None or self._colours[0] != doc.sketch.image:
            key = doc.sketch.image
            self._colours = (key, SketchColours.read(images[key], key))
        return self._colours[1]
