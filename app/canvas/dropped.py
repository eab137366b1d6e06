"""A tray dropped on the bench: where its material may be laid, and laying it there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import shapely
from PySide6.QtWidgets import QMenu

from app.widgets import headed_menu
from core.errors import EmblemaError
from core.handwork import lay_in

if TYPE_CHECKING:
    from app.canvas.bench import Bench

MATERIAL = "application/x-emblema-material"


def drop_menu(bench: Bench, code: str, x: float, y: float) -> QMenu | None:
    """Return the choices for a material dropped at a place on the work.

    They mean the piece, field and materials that the menu was opened for, whatever is laid
    meanwhile; what is no longer there is said.
    """
    session = bench.session
    field, piece = bench.field_at(x, y), bench.piece_at(x, y)
    layout, laid_doc = session.layout, session.laid_doc
    if field is None or piece is None or layout is None or laid_doc is None:
        session.message.emit("Drop the tray on a laid piece.")
        return None
    row = layout.by_id(piece[0])
    if row.stock[piece[1]] < 0:
        session.message.emit("Nothing is matched here yet: give the field a palette.")
        return None
    old = laid_doc.materials[row.stock[piece[1]]].code
    outline: shapely.Polygon = row.pieces.polygons[piece[1]]
    menu = headed_menu(bench, f"Lay {code} for {old}")

    def offer(words: str, do: Callable[[], None]) -> None:
        menu.addAction(words, lambda: bench.guarded(do))

    offer("This piece", lambda: _lay_piece(bench, piece[0], (x, y), outline, code))
    offer(f"This field: {field.name}", lambda: session.swap(old, code, field_id=field.id))
    if field.motif:
        offer(f"This motif: {field.motif}", lambda: session.swap(old, code, motif=field.motif))
    offer("Everywhere", lambda: session.swap(old, code))
    return menu


def _lay_piece(
    bench: Bench, field_id: str, at: tuple[float, float], outline: shapely.Polygon, code: str
) -> None:
    """Lay the piece of this outline in a material, if it still lies at its place."""
    session = bench.session
    layout, piece = session.layout, bench.piece_at(*at)
    if layout is None or not session.layout_is_current:
        raise EmblemaError("The work is being laid; drop the tray again in a moment.")
    if (
        piece is None
        or piece[0] != field_id
        or layout.by_id(field_id).pieces.polygons[piece[1]] != outline
    ):
        raise EmblemaError("That piece is no longer there; drop the tray again.")
    doc = lay_in(session.doc, layout, *piece, code)
    session.apply(f"Lay one piece in {code}", doc)
