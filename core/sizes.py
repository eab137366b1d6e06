"""Where a field's pieces are of another size: along lines that say so, and toward a motif."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import LineString, MultiLineString, MultiPolygon

from core.commission import IN_COURSES, Commission, Field, Laying
from core.flow import curve_of
from core.geometry import polygon_of
from core.laying.exact import raised
from core.laying.field.scale import GRADE, STEEPEST, Scale, Size, scale_over, sizes_felt
from core.moves import STILL


def takes_sizes(laying: Laying) -> bool:
    """Return whether a laying grades its pieces: those in courses do, each piece cut for it."""
    return laying.pieces == "cut" and laying.opus in IN_COURSES


def sizes_for(doc: Commission, field: Field) -> tuple[Size, ...]:
    """Return the sizes that tell in a field, one for all lines of a size and grade."""
    if not takes_sizes(field.laying):
        return ()
    lines = [
        Size(MultiLineString([curve_of(w)]), w.tessera_mm)
        for w in doc.flow_lines
        if w.tessera_mm is not None and w.field_id in (None, field.id)
    ]
    sizes = lines + _toward(doc, field)
    if not sizes:
        return ()
    felt = sizes_felt(polygon_of(field.outline), field.laying.tessera_mm, sizes)
    together: dict[tuple[float, float], list[LineString]] = {}
    for s in felt:
        together.setdefault((s.tessera_mm, s.grade), []).extend(s.lines.geoms)
    return tuple(Size(MultiLineString(together[k]), *k) for k in sorted(together))


def smallest_mm(doc: Commission, field: Field) -> float:
    """Return the smallest tessera that is asked for anywhere in a field."""
    asked = (s.tessera_mm for s in sizes_for(doc, field))
    return min((field.laying.tessera_mm, *asked))


def scale_for(doc: Commission, field: Field) -> Scale:
    """Return how large the pieces of a field are meant to be at each place.

    Those of a linked field are as large as in the first place of its repeat.
    """
    first, move = doc.copies().get(field.id, (field.id, STILL))
    if first == field.id:
        sizes = sizes_for(doc, field)
    else:
        sizes = tuple(
            replace(s, lines=shapely.transform(s.lines, move.out))
            for s in sizes_for(doc, doc.field_by_id(first))
        )
    laying = field.laying
    outline = polygon_of(field.outline) if sizes else MultiPolygon()
    return scale_over(outline, laying.tessera_mm, laying.joint_mm, sizes)


def grade_of(laying: Laying) -> float:
    """Return by how much each piece differs from the one before it, toward a motif.

    So that the first beside the motif is of its size and the last of the field's own; never more
    than courses can take (`core.laying.field.scale`).
    """
    apart = max(laying.finest_mm / laying.tessera_mm, laying.tessera_mm / laying.finest_mm)
    asked = float(raised(np.array(apart), 1 / (laying.finer_within - 1))) - 1
    return min(asked, STEEPEST) or GRADE


def least_within(laying: Laying) -> int:
    """Return over how many pieces at least the size is graded toward a motif."""
    size, pieces = min(laying.finest_mm, laying.tessera_mm), 1
    while size < max(laying.finest_mm, laying.tessera_mm) * (1 - 1e-9):
        size, pieces = size * (1 + STEEPEST), pieces + 1
    return pieces


def _toward(doc: Commission, field: Field) -> list[Size]:
    """Return the borders of the motif toward which a field grows finer, each by itself."""
    laying = field.laying
    if not laying.finer_toward:
        return []
    rings = [
        LineString((*ring, ring[0]))
        for f in doc.fields
        if f.motif == laying.finer_toward and f.id != field.id
        for part in f.outline
        for ring in part
    ]
    grade = grade_of(laying)
    return [Size(MultiLineString([shapely.LineString(r)]), laying.finest_mm, grade) for r in rings]
