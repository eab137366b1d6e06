"""Lays a field by the rule of its laying, after its outline was made sound."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import shapely
from shapely import LineString, MultiPolygon, Polygon

from core.errors import EmblemaError
from core.geometry import largest, polygons_in, valid
from core.laying.alike import copied, first_alike
from core.laying.exact import angles
from core.laying.field.frame import frame_of
from core.laying.field.scale import Size, sizes_felt
from core.laying.opus.bands import lay_bands
from core.laying.opus.circumactum import lay_circumactum
from core.laying.opus.coursed import lay_courses
from core.laying.opus.hugging import hugs, lay_hugging
from core.laying.opus.natural import lay_natural
from core.laying.opus.palladianum import lay_palladianum
from core.laying.opus.rays import lay_star, star_of
from core.laying.opus.regulatum import lay_regulatum
from core.laying.opus.rounds import is_small_round, lay_round
from core.laying.opus.sectile import lay_sectile
from core.laying.pieces.border import clear_of_border
from core.laying.pieces.shape import shape_pieces
from core.laying.pieces.tips import into_tips
from core.laying.rooms.split import in_lengths
from core.laying.spec import Setting
from core.laying.stems import runs_of
from core.pieces import Pieces, together
from core.quality import LEAST_PIECE, LIKE

SOLVER_VERSION: int = 5  # raised whenever a change of the code alters a piece of the demo

MOST_PIECES = 200_000
TONGUE = 0.1  # tesserae: half the width of the slimmest piece set by itself
GUIDE_TRUE = 0.002  # pitches that a line may stray when points that do not tell are left out
FEW_POINTS = 2000  # of an outline that are no matter, wherever they lie
MOST_STRAY = 0.45  # joints that an outline with too many points may be made plainer by
MOST_TURNS = 2.0  # of a border in the room of a tessera; all that was drawn on purpose has 1
FEW_CORNERS = 200  # of an outline that are no matter, however they turn
MOST_CROWD = 16.0  # points of an outline in the room of a tessera
GUIDE_REACH = 8.0  # pitches beyond a field at which a flow line no longer tells

IN_COURSES = (lay_courses, lay_bands)
CRUMB_MM2 = 1e-5  # that mending leaves of an outline that crosses itself
IRREGULAR = ("palladianum", "circumactum")  # by nature

Rule = Callable[[Setting, Callable[[], bool]], Pieces]
RULES: dict[str, Rule] = {
    "tessellatum": lay_bands,
    "musivum": lay_bands,
    "regulatum": lay_regulatum,
    "palladianum": lay_palladianum,
    "circumactum": lay_circumactum,
    "sectile": lay_sectile,
}


def lay_field(setting: Setting, stop: Callable[[], bool] = lambda: False) -> Pieces:
    """Lay one field, in a frame of its own (see `core.laying.field.frame`).

    The same setting gives the same pieces, to the last bit on one machine and as far as can be on
    another. Corners are whole micrometres, angles whole millionths of a radian.

    Raises
    ------
    core.errors.EmblemaError
        The outline or the numbers cannot be laid.
    core.errors.Stopped
        `stop` answered True; it is asked between steps (see `SideBySide` for large fields).
    """
    setting = by_its_seed(setting)
    drawn = _sound(setting)
    parts = _apart(setting, drawn)
    laid: list[Pieces] = []
    for part, (first, move) in zip(parts, first_alike(parts), strict=True):
        if move is not None:
            laid.append(copied(laid[first], move, part))
        else:
            laid.append(_lay_part(part, stop))
    return together(laid) if len(laid) > 1 else laid[0]


def by_its_seed(setting: Setting) -> Setting:
    """Return a setting with the seed that it is laid by.

    Fields in courses share one, so that congruent fields are alike, unless pieces are asked to be
    unlike by hand; what is irregular by nature has its own.
    """
    laying = setting.laying
    unlike = laying.variation > LIKE or laying.width_variation > 0
    if setting.repeat_seed is None or unlike or laying.opus in IRREGULAR or laying.pieces != "cut":
        return replace(setting, repeat_seed=None)
    return replace(setting, seed=setting.repeat_seed, repeat_seed=None)


def _apart(setting: Setting, drawn: MultiPolygon) -> list[Setting]:
    """Return the parts of a field that know nothing of one another, else the field.

    Where courses follow the border each part has its own; a ground's courses run on beneath what
    lies on it.
    """
    follows = setting.laying.follow_border and not setting.hug
    rule = _rule(setting)
    led = follows or (setting.flow and not setting.hug)
    if rule not in (*IN_COURSES, lay_round, lay_star) or not led:
        return [setting]
    each = _without_crumbs(drawn)
    tangle = _tangled(drawn, setting.pitch_mm)  # refused, or made plainer, as a whole
    runs = [[p] if tangle else runs_of(p, setting.pitch_mm) for p in each]
    nets = [r for r in runs if len(r) > 1]
    plain = [r[0] for r in runs if len(r) == 1]
    if not nets and (len(each) < 2 or not follows):
        return [setting]

    def part(*some: Polygon, **choices: Any) -> Setting:
        whole = MultiPolygon(some)
        share = round(whole.area / drawn.area, 3)
        return replace(setting.with_choices(**choices), outline=whole, share=share)

    laid = [part(p) for p in plain] if follows else [part(*plain)] * bool(plain)
    return laid + [part(p, follow_border=True, flow=()) for r in nets for p in r]


def _without_crumbs(outline: MultiPolygon) -> list[Polygon]:
    """Return the parts of an outline, without what is no larger than rounding, nor such holes."""
    return [
        Polygon(p.exterior, [h for h in p.interiors if Polygon(h).area > CRUMB_MM2])
        for p in outline.geoms
        if p.area > CRUMB_MM2
    ]


def _lay_part(setting: Setting, stop: Callable[[], bool]) -> Pieces:
    """Lay a field, or a part of it, in a frame of its own."""
    drawn = _valid(setting.outline)
    parts = _without_crumbs(setting.outline if shapely.is_valid(setting.outline) else drawn)
    if not parts:
        return Pieces.empty()
    setting = replace(setting, outline=MultiPolygon(parts))
    setting = replace(setting, sizes=_felt(setting))
    frame = frame_of(setting)
    setting = frame.setting(setting)
    sound = _valid(setting.outline)
    outline = _smooth_enough(sound, setting.pitch_mm, setting.laying.joint_mm)
    # points that do not tell cost as much as those that do
    outline = _valid(shapely.simplify(outline, GUIDE_TRUE * setting.pitch_mm))
    setting = replace(setting, outline=outline, flow=_near(setting, outline))
    pieces = _rule(setting)(setting, stop)
    if setting.laying.pieces == "cut":
        reached = into_tips(pieces.polygons, outline, setting.scale)
        pieces = replace(pieces, polygons=reached)
    pieces = _every_part(setting, _trimmed(replace(setting, outline=sound), pieces))
    return frame.pieces(pieces, drawn)


def _felt(setting: Setting) -> tuple[Size, ...]:
    """Return the sizes that tell in a part of a field."""
    return sizes_felt(setting.outline, setting.laying.tessera_mm, setting.sizes)


def _near(setting: Setting, outline: MultiPolygon) -> tuple[LineString, ...]:
    """Return the flow lines as far as this field feels them, with no more points than tell."""
    pitch = setting.pitch_mm
    some = [line for line in setting.flow if line.length > GUIDE_TRUE * pitch]
    if not some:
        return ()
    plain = shapely.remove_repeated_points(np.array(some, dtype=object))
    lines = shapely.simplify(plain, GUIDE_TRUE * pitch)
    reach = shapely.box(*shapely.buffer(outline, GUIDE_REACH * pitch).bounds)
    away = ~shapely.covers(reach, lines)
    lines[away] = shapely.intersection(lines[away], reach)
    parts = shapely.get_parts(lines)
    return tuple(g for g in parts if isinstance(g, LineString) and g.length > 0)


def _rule(setting: Setting) -> Rule:
    if setting.laying.pieces != "cut":
        return lay_natural
    if hugs(setting):
        return lay_hugging
    rule = RULES.get(setting.laying.opus, lay_courses)
    if rule not in IN_COURSES:
        return rule
    if setting.sizes:
        return lay_courses
    if is_small_round(setting):
        return lay_round
    return lay_star if star_of(setting) is not None else rule


def _trimmed(setting: Setting, pieces: Pieces) -> Pieces:
    """Trim the few pieces that leave the field or overlap another, whatever the laying's rule."""
    if not len(pieces):
        return pieces
    p = pieces.polygons.copy()
    shapely.prepare(setting.outline)
    out = np.flatnonzero(~shapely.contains(setting.outline, p))
    if len(out):
        inside = shapely.buffer(setting.outline, -0.3 * setting.laying.joint_mm, join_style="mitre")
        p[out] = largest(shapely.intersection(p[out], inside))
    a, b = shapely.STRtree(p).query(p, predicate="intersects")
    for i, j in zip(a[a < b], b[a < b], strict=True):
        if shapely.intersects(p[i], p[j]):
            small, large = (i, j) if p[i].area < p[j].area else (j, i)
            clear = shapely.buffer(p[large], setting.laying.joint_mm, join_style="mitre")
            p[small] = largest(np.array([shapely.difference(p[small], clear)], dtype=object))[0]
    keep = shapely.area(p) > LEAST_PIECE * setting.scale.tessera_of(p) ** 2
    return Pieces(p[keep], pieces.course[keep], pieces.piece[keep], pieces.angle_rad[keep])


def _every_part(setting: Setting, pieces: Pieces) -> Pieces:
    """Lay a piece in each part of the field that was too small for a course, more in a strip."""
    parts = np.array(setting.outline.geoms, dtype=object)
    bare = np.ones(len(parts), bool)
    if len(pieces):
        # a tongue of a field that is narrower than two joints stays grout
        least = max(
            setting.laying.joint_mm,
            TONGUE * setting.laying.tessera_mm + setting.laying.joint_mm / 2,
        )
        bare &= ~shapely.is_empty(shapely.buffer(parts, -least, join_style="mitre"))
        inside = shapely.point_on_surface(pieces.polygons)
        bare[shapely.STRtree(parts).query(inside, predicate="within")[1]] = False
    if not bare.any():
        return pieces
    whole = shape_pieces(in_lengths(parts[bare], setting.scale), setting.laying.joint_mm)
    whole = clear_of_border(whole, setting.outline, setting.laying.joint_mm)
    whole = whole[~shapely.is_empty(whole)]
    n = len(whole)
    alone = Pieces(whole, np.arange(n), np.zeros(n, np.int64), np.zeros(n))
    return together([pieces, alone])


def _sound(setting: Setting) -> MultiPolygon:
    """Return the outline made valid, or say why it cannot be laid."""
    pitch = setting.pitch_mm
    if not (np.isfinite(pitch) and 0 < setting.laying.joint_mm < setting.laying.tessera_mm):
        raise EmblemaError("The joint must be more than nothing and less than the tessera.")
    sound = _valid(setting.outline)
    if sound.is_empty:
        raise EmblemaError("The outline encloses nothing.")
    finest = replace(setting, outline=sound, sizes=_felt(setting)).scale.finest_mm
    number = sound.area / finest**2  # as fine as its grids are
    if number > MOST_PIECES:
        raise EmblemaError(
            f"A field of {number:,.0f} pieces{' as small as its smallest' * (finest < pitch)} is "
            f"more than can be laid at once ({MOST_PIECES:,}); divide the field or take larger "
            "tesserae."
        )
    return sound


def _valid(outline: MultiPolygon) -> MultiPolygon:
    """Return all that an outline encloses, whatever crosses itself in it."""
    return MultiPolygon(polygons_in(valid(outline)))


def _smooth_enough(outline: MultiPolygon, pitch: float, joint: float) -> MultiPolygon:
    """Return an outline drawn far more finely than a tessera with no more points than it takes.

    It strays by as little as will do, and never by half a joint. Where the outline is still a
    tangle, no border can be followed, and its points would take all memory or many minutes.
    """
    if not _tangled(outline, pitch):
        return outline
    most = MOST_STRAY * joint
    plainest = _plainer(outline, most)
    if _tangled(plainest, pitch):
        raise EmblemaError(
            f"Its outline is too rough: {shapely.get_num_coordinates(outline):,} points, and in "
            f"the room of one tessera it turns about some {_turns(outline, pitch):.0f} times. "
            "Smooth the outline, or draw it again."
        )
    stray = GUIDE_TRUE * pitch
    while stray < most:
        plain = _plainer(outline, stray)
        if not _tangled(plain, pitch):
            return plain
        stray *= 2
    return plainest


def _tangled(outline: MultiPolygon, pitch: float) -> bool:
    return _crowd(outline, pitch) > MOST_CROWD or _turns(outline, pitch) > MOST_TURNS


def _plainer(outline: MultiPolygon, stray: float) -> MultiPolygon:
    """Return an outline without what strays by less, and without crumbs and holes as small."""
    plain = _valid(shapely.simplify(outline, stray))
    least = (2 * stray) ** 2
    parts = [p for p in plain.geoms if p.area >= least]
    whole = [
        Polygon(p.exterior, [h for h in p.interiors if Polygon(h).area >= least]) for p in parts
    ]
    return MultiPolygon(whole) if whole else plain


def _turns(outline: MultiPolygon, pitch: float) -> float:
    """Return how often a border turns right round in the room of a tessera, as a corner sees it.

    Curves turn little, however finely they are drawn; a star's tip turns half round.
    """
    if shapely.get_num_coordinates(outline) < FEW_CORNERS:
        return 0.0
    xy, turn = [], []
    for ring in shapely.get_rings(shapely.get_parts(outline)):
        c = shapely.get_coordinates(ring)
        step = np.diff(c, axis=0)
        way = angles(step[:, 1], step[:, 0])
        bend = np.diff(way, prepend=way[-1:])  # at the point where a step begins
        turn.append(np.abs((bend + np.pi) % (2 * np.pi) - np.pi) / (2 * np.pi))
        xy.append(c[:-1])
    _, room = np.unique(np.floor(np.vstack(xy) / pitch), axis=0, return_inverse=True)
    within = np.bincount(room.ravel(), np.concatenate(turn))
    return float((within**2).sum() / within.sum())


def _crowd(outline: MultiPolygon, pitch: float) -> float:
    """Return how many points there are in the room of a tessera, as a point sees it."""
    xy = shapely.get_coordinates(outline)
    if len(xy) < FEW_POINTS:
        return 0.0
    _, count = np.unique(np.floor(xy / pitch), axis=0, return_counts=True)
    return float((count**2).sum() / len(xy))
