"""The material look on the bench: painted aside when the work is still, and kept until it is other.

What was painted stays with the pieces it shows, so that choosing a field or moving the view a
little costs no new painting; what has not been painted yet is shown in flat colours.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QImage, QPainter, QPainterPath, QPolygonF

from app.canvas.pieces import Looked, PieceTable
from app.canvas.view import View, Want

Box = tuple[float, float, float, float]


def looks(want: Want) -> PieceTable | None:
    """Return the pieces that are to be seen in their materials, if any are."""
    plain = want.colours == "plain" and want.lit is None and want.show_pieces
    return want.table if want.light is not None and plain and want.table else None


def stretch(want: Want, table: PieceTable) -> Box | None:
    """Return what of the work is in the view: x0, y0, x1, y1 mm."""
    v = want.view
    x0, y0, x1, y1 = table.extent
    right, bottom = v.to_mm(v.width, v.height)
    box = max(x0, v.left), max(y0, v.top), min(x1, right), min(y1, bottom)
    return box if box[0] < box[2] and box[1] < box[3] else None


def looked(want: Want) -> bool:
    """Whether all that is in the view was painted in its materials already, as it will stay."""
    table = looks(want)
    if table is None:
        return True
    box, kept = stretch(want, table), table.looked
    if box is None:
        return True
    per = want.view.px_per_mm * want.ratio
    return (
        kept is not None
        and not kept.draft
        and (kept.px_per_mm, kept.light) == (per, want.light)
        and kept.covers(*box)
    )


def paint_aside(want: Want, stop: Callable[[], bool], draft: bool) -> None:
    """Paint what is in the view in its materials, to be shown by the next picture.

    Raises
    ------
    Stopped
        `stop` said so.
    """
    table = looks(want)
    box = stretch(want, table) if table is not None else None
    if table is None or box is None or looked(want):
        return
    assert want.light is not None
    v = want.view
    per = v.px_per_mm * want.ratio
    # whole pixels of the view, so that it need not be moved by parts of one to be shown
    left, top = (math.floor((a - b) * per) for a, b in ((box[0], v.left), (box[1], v.top)))
    wide, high = math.ceil((box[2] - v.left) * per) - left, math.ceil((box[3] - v.top) * per) - top
    x0, y0 = v.left + left / per, v.top + top / per
    pixels = table.scene.picture(
        per, (x0, y0, x0 + wide / per, y0 + high / per), want.light, stop, draft
    )
    high, wide = pixels.shape[:2]
    pixels = np.ascontiguousarray(pixels)
    image = QImage(pixels.data, wide, high, 3 * wide, QImage.Format.Format_RGB888)
    table.looked = Looked(
        x0, y0, per, want.light, draft, image.convertToFormat(QImage.Format.Format_RGB32)
    )


def show(p: QPainter, want: Want) -> None:
    """Show what was painted over the flat pieces: of fields that are laid, and of the whole work
    where no sketch lies beneath.
    """
    table = looks(want)
    kept = table.looked if table is not None else None
    v, ratio = want.view, want.ratio
    if table is None or kept is None or kept.px_per_mm != v.px_per_mm * ratio:
        return
    if kept.light != want.light and not kept.draft:
        return
    paths = laid_paths(want, table)
    if not want.show_sketch or want.sketch is None:
        whole = QPainterPath()
        whole.addRect(
            *v.to_px(0, 0), want.doc.width_mm * v.px_per_mm, want.doc.height_mm * v.px_per_mm
        )
        paths[0] = whole
    x, y = v.to_px(kept.left, kept.top)
    for path in paths:
        p.save()
        p.setClipPath(path)
        p.resetTransform()
        p.drawImage(round(x * ratio), round(y * ratio), kept.image)
        p.restore()


def laid_paths(want: Want, table: PieceTable) -> list[QPainterPath]:
    """Return the fields that are laid, in pixels of the view, and the pieces that lie beyond."""
    fields, beyond = QPainterPath(), QPainterPath()
    beyond.setFillRule(Qt.FillRule.WindingFill)
    laid = set(table.field_ids)
    for f in table.doc.fields:
        if f.id in laid:
            for ring in (ring for part in f.outline for ring in part):
                fields.addPolygon(_polygon(want.view, (*ring, ring[0])))
    for k in table.beyond.tolist():
        corners = table.points[table.starts[k] : table.starts[k + 1]].tolist()
        beyond.addPolygon(_polygon(want.view, corners))
    return [fields, beyond]


def _polygon(v: View, points: Iterable[Sequence[float]]) -> QPolygonF:
    return QPolygonF([QPointF(*v.to_px(x, y)) for x, y in points])
