"""Lays an ornament into a commission: its parts become ordinary fields with ordinary flow lines."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon

from core.commission import Commission, Field, FlowLine, check_field, field_of, next_id, untaken
from core.coverage import knit, polygons_of
from core.errors import EmblemaError
from core.fields import LEAST_MM2, Edited, add_area
from core.geometry import SNAP_MM, outline_of, polygon_of
from core.ornament.parts import Ornament

LEAST_GUIDE = 0.5  # pitches: a shorter guide tells nothing


def add_ornament(doc: Commission, ornament: Ornament, motif: str = "", **choices: Any) -> Edited:
    """Lay an ornament over the fields beneath, one field a part, all of one motif.

    Parameters
    ----------
    motif : str
        What the fields' motif is called: the ornament's name, with a number where that is taken.
    **choices
        Attributes that all its fields have alike.

    Raises
    ------
    EmblemaError
        Nothing of it lies within the work.
    """
    name = motif or untaken(ornament.name, doc.motifs())
    made = add_area(doc, ornament.outline, name, name)
    bed = made.doc.field_by_id(made.field_id)
    ground = polygon_of(bed.outline)
    areas = [polygons_of(shapely.intersection(p.outline, ground)) for p in ornament.parts]
    others = [f for f in made.doc.fields if f.id != bed.id]
    shapes = [polygon_of(f.outline) for f in others]
    near = np.flatnonzero(shapely.dwithin(np.array(shapes, dtype=object), ground, 3 * SNAP_MM))
    # what rounding leaves between the parts goes to the last of them, the ground
    knitted = knit([*areas, ground, *(shapes[k] for k in near)])
    drawn, hair = knitted[: len(areas)], knitted[len(areas)]
    drawn[-1] = polygons_of(shapely.union(drawn[-1], hair, grid_size=SNAP_MM))
    for k, shape in zip(near, knitted[len(areas) + 1 :], strict=True):
        others[k] = _reshaped(others[k], shape)
    fields, lines = list(others), list(made.doc.flow_lines)
    pitch = ornament.tessera_mm + ornament.joint_mm
    for part, shape in zip(ornament.parts, drawn, strict=True):
        if shape.area < LEAST_MM2:
            continue
        number = next_id("f", (f.id for f in (*fields, bed)))
        new = field_of(
            number,
            f"{name}: {part.role}",
            outline_of(shape),
            name,
            opus=part.opus,
            follow_border=part.follow_border,
            tessera_mm=ornament.tessera_mm,
            joint_mm=ornament.joint_mm,
        ).with_choices(**choices)
        check_field(new)
        fields.append(new)
        for guide in part.flow:
            if guide.length > LEAST_GUIDE * pitch and guide.intersects(shape):
                lines.append(_line(next_id("l", (w.id for w in lines)), guide, number))
    out = replace(made.doc, fields=tuple(fields), flow_lines=tuple(lines))
    return Edited(out, fields[-1].id, (*ornament.notes, *made.notes))


def _reshaped(f: Field, shape: MultiPolygon) -> Field:
    outline = outline_of(shape)
    return f if outline == f.outline else replace(f, outline=outline)


def _line(number: str, guide: LineString, owner: str) -> FlowLine:
    plain = shapely.simplify(guide, SNAP_MM * 10)
    points = tuple((round(x, 4), round(y, 4)) for x, y in plain.coords)
    if len(points) < 2:
        raise EmblemaError("A flow line needs at least two different points.")
    return FlowLine(number, points, owner, smooth=False)
