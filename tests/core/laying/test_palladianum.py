"""Palladianum over the whole catalogue and a bank among reeds: no piece a master would not set.

`SHORT` names what some shapes miss, and why: a bound is never loosened for a shape.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from awkward import CATALOGUE, setting
from measures import corners, least_width, measure, smallest_corner_deg
from shapely import LineString, Polygon
from test_catalogue import in_another_way, is_sound

from core.laying import Setting, lay_field
from core.pieces import Pieces

NARROW = 0.4  # tesserae
SHARP_DEG = 40.0
STRIP = 3.0  # times its width
BOUNDS = {"pools": 0.0015, "uneven": 0.01, "hollow": 0.0, "narrow": 0.0, "sharp": 0.0, "small": 0.2}
NOTCHES = "its border has notches narrower than a joint, two a piece"
TEETH = "two hollow corners stand within a piece of each other, and one convex piece fits one"
SHORT: dict[str, dict[str, str]] = {
    "comb": {"pools": TEETH},
    "coast": {"pools": NOTCHES},
    "field_smaller_than_a_piece": {"small": "it holds no larger one"},
}


def palladianum(name: str) -> Setting:
    return in_another_way(CATALOGUE[name](), "palladianum")


def bank() -> Setting:
    """Return a bank that reeds squeeze to passages of a few mm, and a tongue between two reeds."""
    reeds = [(60, 20, 10), (84, 6, 10), (92, 4, 9), (150, -15, 9), (164, -14, 9), (178, -8, 9)]
    reeds += [(192.5, -7, 9), (250, 40, 12), (290, -40, 12)]
    strips = [LineString([(x, -5), (x + way, 125)]).buffer(w / 2) for x, way, w in reeds]
    ground = shapely.box(0, 0, 360, 110) - shapely.union_all(strips)
    tongue = Polygon([(380, 20), (383.5, 22), (382, 80)])
    return setting(ground | tongue, tessera=15, joint=1.6, laying="palladianum")


def at_tips(s: Setting, pieces: Pieces) -> np.ndarray:
    """Say which pieces lie at a corner of the field so sharp that it forces a sharp piece."""
    rings = shapely.polygons(shapely.get_exterior_ring(shapely.get_parts(s.outline)))
    xy, before, after, _ = corners(rings)
    a, b = before - xy, after - xy
    cosine = (a * b).sum(1) / np.maximum(np.hypot(*a.T) * np.hypot(*b.T), 1e-12)
    tips = shapely.multipoints(xy[cosine > 0.5])
    return np.asarray(shapely.dwithin(pieces.polygons, tips, 1.2 * s.pitch_mm))


def has_room(s: Setting, pieces: Pieces) -> np.ndarray:
    """Say which pieces lie where the field is wide enough for one that is not narrow."""
    half = (NARROW * s.laying.tessera_mm + s.laying.joint_mm) / 2
    wide = s.outline.buffer(-half, join_style="mitre").buffer(half)
    inside = shapely.area(shapely.intersection(pieces.polygons, wide))
    return inside > 0.5 * pieces.area_mm2


def missed(s: Setting, pieces: Pieces) -> dict[str, float]:
    found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces)
    free = ~at_tips(s, pieces)
    thin = least_width(pieces.polygons) < NARROW * s.laying.tessera_mm
    values = {
        "pools": found["pools"],
        "uneven": 1 - found["joint_even"],
        "hollow": 1 - found["convex"],
        "narrow": float(np.mean(thin & free & has_room(s, pieces))),
        "sharp": float(np.mean((smallest_corner_deg(pieces.polygons) < SHARP_DEG) & free)),
        "small": float(pieces.area_mm2.min()) / s.laying.tessera_mm**2,
    }
    return {k: v for k, v in values.items() if (v < BOUNDS[k] if k == "small" else v > BOUNDS[k])}


@pytest.mark.parametrize("name", CATALOGUE)
def test_a_master_would_leave_every_piece(name: str) -> None:
    s = palladianum(name)
    pieces = lay_field(s)
    is_sound(s, pieces)
    wrong = missed(s, pieces)
    assert set(wrong) == set(SHORT.get(name, {})), wrong


@pytest.mark.parametrize("seed", [2, 3])
def test_whatever_the_seed_hardly_a_piece_is_narrow_or_sharp(seed: int) -> None:
    number = bad = 0
    for name in CATALOGUE:
        s = replace(palladianum(name), seed=seed)
        pieces = lay_field(s)
        wrong = least_width(pieces.polygons) < NARROW * s.laying.tessera_mm
        wrong |= smallest_corner_deg(pieces.polygons) < SHARP_DEG
        number += len(pieces)
        bad += int(np.count_nonzero(wrong & ~at_tips(s, pieces) & has_room(s, pieces)))
    assert number > 9000
    assert bad <= 1e-4 * number, bad


def test_among_reeds() -> None:
    s = bank()
    pieces = lay_field(s)
    is_sound(s, pieces)
    # the one part that is a tongue by itself stays grout
    parts = np.array(s.outline.geoms, dtype=object)
    tongue = parts[np.argmin(shapely.area(parts))]
    assert tongue.buffer(-0.5 * (0.15 * s.laying.tessera_mm + s.laying.joint_mm)).is_empty
    assert not shapely.intersects(tongue, pieces.polygons).any()
    assert len(pieces) > 50
    wide = least_width(pieces.polygons)
    assert (smallest_corner_deg(pieces.polygons)[~at_tips(s, pieces)] >= SHARP_DEG).all()
    assert (wide[has_room(s, pieces)] >= NARROW * s.laying.tessera_mm).all()
    # in the passages between reeds a row of short pieces
    assert wide.min() > 0.2 * s.laying.tessera_mm
    narrow = wide < NARROW * s.laying.tessera_mm
    assert narrow.sum() > 5
    assert (pieces.area_mm2[narrow] < STRIP * wide[narrow] ** 2).all()
    found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces)
    assert found["joint_even"] > 0.98 and found["convex"] == 1.0
    assert found["pools"] < 0.025  # a third of it as deep as a joint between reed and border


def test_a_narrow_passage_is_one_row_cut_across() -> None:
    passage = shapely.box(0, 0, 150, 4.6)
    s = setting(passage | shapely.box(150, -60, 250, 60), laying="palladianum")
    pieces = lay_field(s)
    row = pieces.polygons[pieces.centre_mm[:, 0] < 145]
    x0, y0, x1, y1 = shapely.bounds(row).T
    assert 12 <= len(row) <= 30
    assert y1 - y0 == pytest.approx(4.6 - s.laying.joint_mm, abs=0.15 * s.laying.joint_mm)
    assert (x1 - x0 < STRIP * (y1 - y0)).all()


def test_a_tongue_narrower_than_two_joints_stays_grout() -> None:
    room = shapely.box(0, -40, 100, 40)
    for joints, laid in ((1.8, False), (5.0, True)):
        tongue = shapely.box(-60, 0, 0, joints * 1.2)
        s = setting(room | tongue, laying="palladianum")
        x0 = shapely.bounds(lay_field(s).polygons)[:, 0].min()
        assert (x0 < -55) == laid and (x0 > -1.0) == (not laid)


@pytest.mark.parametrize("spread", [0.1, 0.25, 0.4])
def test_sizes_keep_the_spread(spread: float) -> None:
    s = palladianum("lines_that_cross").with_choices(spread=spread)
    area = lay_field(s).area_mm2
    assert area.std() / area.mean() == pytest.approx(spread, abs=0.05)
