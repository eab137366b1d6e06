"""Layings whose first courses hug a border: vermiculatum and classicum.

The field is divided into a band of small courses along the border and the rest, which is laid
as a field of its own. Each part keeps half a joint from its outline, so one even joint runs
between them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Literal

import numpy as np
import shapely
from shapely import LineString, MultiPolygon

from core.geometry import onwards, polygons_in
from core.laying.opus.bands import lay_bands
from core.laying.opus.coursed import lay_courses
from core.laying.spec import Setting
from core.pieces import Pieces, together

IN_LINES = ("tessellatum", "vermiculatum")
CLEAR = 3.0  # pitches from all else at which one course hugs a figure: room for two more
LEAST_REST = 0.8  # pitches; where less than that is left over, the band takes it


def hugs(setting: Setting) -> bool:
    """Return whether small courses are to be laid apart from the rest of the field."""
    return _small(setting) or bool(_figures(setting))


def _small(setting: Setting) -> bool:
    """Return whether courses of their own size, or round motifs that are named, are asked for."""
    laying = setting.laying
    if laying.opus == "classicum":
        return True
    return laying.opus == "vermiculatum" and (
        bool(setting.hug) or laying.hug_tessera_mm != laying.tessera_mm
    )


def _figures(setting: Setting) -> list[LineString]:
    """Return the borders of what stands clear in a ground whose courses do not follow its border.

    One course hugs it (common practice), so that courses do not end against it in points. Where
    something else comes nearer than `CLEAR` there is no room for that course and courses beside.
    """
    laying = setting.laying
    if laying.follow_border or setting.sizes or laying.opus not in IN_LINES or _small(setting):
        return []
    out = []
    for part in setting.outline.geoms:
        rings = np.array(_rings(MultiPolygon([part])), dtype=object)
        inside = rings[1:]
        near = shapely.STRtree(rings).query(inside, "dwithin", CLEAR * setting.pitch_mm)[0]
        out += inside[np.bincount(near, minlength=len(inside)) == 1].tolist()  # itself alone
    return out


def lay_hugging(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay the hugging courses, then the rest; courses are numbered on from one to the other."""
    figures = _figures(setting)
    if figures:
        laying = replace(setting.laying, hug_courses=1, hug_tessera_mm=setting.laying.tessera_mm)
        setting = replace(setting, laying=laying, hug=tuple(figures))
    band, rest = divided(setting, "mitre" if figures else "round")
    small = setting.laying.hug_tessera_mm or setting.laying.tessera_mm * 2 / 3
    lines = setting.hug or tuple(_rings(setting.outline))
    parts = []
    if not band.is_empty:
        parts.append(
            lay_bands(
                replace(
                    setting.with_choices(opus="musivum", tessera_mm=small),
                    outline=band,
                    hug=lines,
                    flow=(),
                    sizes=(),
                ),
                stop,
            )
        )
    if not rest.is_empty:
        follows = setting.laying.opus == "vermiculatum" and setting.laying.follow_border
        parts.append(
            lay_courses(
                replace(
                    setting.with_choices(opus="tessellatum", follow_border=follows),
                    outline=rest,
                    hug=(),
                ),
                stop,
            )
        )
    return together(parts)


def divided(
    setting: Setting, corners: Literal["round", "mitre"] = "round"
) -> tuple[MultiPolygon, MultiPolygon]:
    """Return the band that the hugging courses fill, and the rest of the field.

    Beyond a corner of what they hug the band's own is round, or as square as that corner.
    """
    small = setting.laying.hug_tessera_mm or setting.laying.tessera_mm * 2 / 3
    wide = setting.laying.hug_courses * (small + setting.laying.joint_mm)
    lines = setting.hug or tuple(_rings(setting.outline))
    near = shapely.union_all(
        [
            shapely.buffer(
                onwards(w, wide),  # where it meets the field's border
                wide,
                cap_style="flat",
                join_style=corners,
                mitre_limit=2.0,
                quad_segs=16,
            )
            for w in lines
        ]
    )
    rest = shapely.difference(setting.outline, near)
    half = LEAST_REST * setting.pitch_mm / 2
    opened = shapely.buffer(
        shapely.buffer(rest, -half, quad_segs=16), half, join_style="mitre", mitre_limit=3.0
    )
    rest = _polygons(shapely.intersection(shapely.intersection(rest, opened), setting.outline))
    return _polygons(shapely.difference(setting.outline, rest)), rest


def _rings(outline: MultiPolygon) -> list[LineString]:
    return [LineString(r.coords) for p in outline.geoms for r in (p.exterior, *p.interiors)]


def _polygons(geometry: shapely.Geometry) -> MultiPolygon:
    return MultiPolygon(polygons_in(shapely.make_valid(geometry), 1e-6))
