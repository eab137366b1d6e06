"""Every awkward shape in every laying: soundly laid; and by its own laying as a careful hand would.

`SHORT` names what some shapes miss, and why, and the reason is worked out from each shape itself:
a bound is never loosened for one.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE
from forbidden import a_cake_falls_short, courses_turn, one_piece_falls_short
from measures import kept, measure, overlap_mm2

from core.commission import LAYINGS
from core.laying import Setting, lay_field
from core.pieces import Pieces

Excuse = tuple[str, Callable[[Setting], bool]]
TURNS = ("exact parallels of its border turn, whatever the lengths of pieces", courses_turn)
ONE = ("one piece, half a joint from its border, covers no more", one_piece_falls_short)
CAKE = ("sectors of so small a disc, or a ring in it, cover no more", a_cake_falls_short)
SHORT: dict[str, dict[str, Excuse]] = {
    "disc_small": {"course_turn_deg": TURNS, "coverage": CAKE},
    "field_of_one": {"coverage": ONE},
    "field_smaller_than_a_piece": {"coverage": ONE},
    "parts_apart": {"course_turn_deg": TURNS},
}
PIECES = ("rounds", "tapers")


def in_another_way(s: Setting, kind: str) -> Setting:
    if kind in PIECES:
        return s.with_choices(pieces=kind, slenderness=4.0 if kind == "tapers" else 1.4)
    return s.with_choices(opus=kind, hug_tessera_mm=0.7 * s.laying.tessera_mm, hug_courses=2)


def is_sound(s: Setting, pieces: Pieces) -> None:
    p = pieces.polygons
    assert len(p) and shapely.is_valid(p).all() and (shapely.get_type_id(p) == 3).all()
    whole = float(shapely.area(p).sum())
    assert overlap_mm2(p) <= 1e-9 * whole
    assert shapely.area(shapely.difference(p, s.outline)).sum() <= 1e-9 * whole
    assert np.isfinite(pieces.angle_rad).all()
    on = pieces.course >= 0
    keys = np.stack([pieces.course[on], pieces.piece[on]], axis=1)
    assert len(np.unique(keys, axis=0)) == len(keys)


def test_there_are_forty_shapes_and_more() -> None:
    assert len(CATALOGUE) >= 40
    assert set(SHORT) <= set(CATALOGUE)


@pytest.mark.parametrize("name", CATALOGUE)
def test_laid_as_a_careful_hand_would(name: str) -> None:
    s = CATALOGUE[name]()
    pieces = lay_field(s)
    is_sound(s, pieces)
    found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces, s.flow)
    if s.laying.opus == "regulatum":  # whose joints are meant to be in line
        found.pop("aligned_joints", None)
    missed = {k: round(v, 4) for k, v in found.items() if not kept(k, v)}
    assert set(missed) <= set(SHORT.get(name, {})), missed


@pytest.mark.parametrize("name", SHORT)
def test_what_a_shape_misses_is_forbidden_by_its_geometry(name: str) -> None:
    for bound, (reason, forbids) in SHORT[name].items():
        assert forbids(CATALOGUE[name]()), (bound, reason)


def test_no_shape_is_excused_that_needs_no_excuse() -> None:
    for name in ("ring_wide", "ribbon_three", "ribbon_five", "disc_whole", "letter_s"):
        assert not courses_turn(CATALOGUE[name]())
    assert not one_piece_falls_short(CATALOGUE["field_of_three"]())
    assert not one_piece_falls_short(CATALOGUE["field_of_twenty"]())
    assert not a_cake_falls_short(CATALOGUE["disc_small"]().with_choices(joint_mm=0.4))


@pytest.mark.parametrize("name", CATALOGUE)
def test_every_laying_is_sound(name: str) -> None:
    s = CATALOGUE[name]()
    for kind in (*LAYINGS, *PIECES):
        other = in_another_way(s, kind)
        is_sound(other, lay_field(other))
