"""A work in a photograph lies where its corners were put, in the light that is there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from core.colour.convert import linear_from_srgb
from core.errors import EmblemaError
from core.proof.asked import WALLS, InPlace, check_corners
from core.proof.inplace import (
    FIGURE_MM,
    carried,
    figure,
    on_plain_wall,
    placed,
    plain_px_per_mm,
    px_per_mm,
    to_photograph,
)

SIZE = (600.0, 400.0)
PLAIN = InPlace(
    "",
    ((150.0, 100.0), (450.0, 100.0), (450.0, 300.0), (150.0, 300.0)),
    "white",
    -45,
    0,
    900,
    False,
)


def wall(colour: tuple[int, int, int] = (200, 200, 200)) -> np.ndarray:
    return np.full((500, 700, 3), colour, np.uint8)


def work(colour: tuple[int, int, int]) -> np.ndarray:
    return np.full((400, 600, 3), colour, np.uint8)


def dotted(at_mm: tuple[float, float]) -> np.ndarray:
    """A black work with a white disc, 1 pixel a mm."""
    y, x = np.mgrid[0:400, 0:600]
    on = np.hypot(x + 0.5 - at_mm[0], y + 0.5 - at_mm[1]) < 12
    return np.repeat((255 * on).astype(np.uint8)[..., None], 3, 2)


def test_straight_before_it_the_work_keeps_its_colours():
    seen = placed(wall(), work((180, 60, 40)), SIZE, PLAIN)
    inside = seen[102:298, 152:448]
    assert np.abs(inside.astype(int) - (180, 60, 40)).max() <= 1
    assert (seen[:40] == wall()[:40]).all()


jitter = st.floats(-60, 60)


@settings(deadline=None, max_examples=8)
@given(st.tuples(*(st.tuples(jitter, jitter) for _ in range(4))), st.floats(60, 540),
       st.floats(60, 340))  # fmt: skip
def test_every_place_is_seen_where_the_view_of_a_plane_has_it(moves, x, y):
    corners = tuple(
        (cx + dx, cy + dy) for (cx, cy), (dx, dy) in zip(PLAIN.corners_px, moves, strict=True)
    )
    place = replace(PLAIN, corners_px=corners)
    try:
        check_corners(corners)
    except EmblemaError:
        return
    seen = placed(wall((0, 0, 0)), dotted((x, y)), SIZE, place)
    light = linear_from_srgb(seen[..., 0] / 255.0)
    rows, columns = np.mgrid[0:500, 0:700]
    found = np.array([(light * (columns + 0.5)).sum(), (light * (rows + 0.5)).sum()]) / light.sum()
    # by the cross ratio of areas alone, no homography: (Hartley & Zisserman 2004, section 2.3)
    disc = shapely.Point(x, y).buffer(12, quad_segs=16)
    ring = carried(to_photograph(SIZE, place), shapely.get_coordinates(disc))
    middle = shapely.centroid(shapely.Polygon(ring))
    assert np.hypot(*(found - (middle.x, middle.y))) < 0.6
    ends = np.array([[0, 0], [600, 0], [600, 400], [0, 400]], float)
    assert np.abs(carried(to_photograph(SIZE, place), ends) - corners).max() < 1e-6
    # diagonals cross where they cross: straight lines stay straight
    meet = carried(to_photograph(SIZE, place), np.array([[300.0, 200.0]]))[0]
    crossing = shapely.intersection(
        shapely.LineString([corners[0], corners[2]]), shapely.LineString([corners[1], corners[3]])
    )
    assert np.hypot(*(meet - (crossing.x, crossing.y))) < 1e-6


@pytest.mark.parametrize("name", WALLS)
def test_the_light_of_the_room_falls_on_the_work(name):
    lit = replace(PLAIN, wall=name, room_light=1.0)
    shown = (140, 120, 90)  # a neutral wall in a warm and dim light
    seen = placed(wall(shown), work((255, 255, 255)), SIZE, lit)[150:250, 200:400].reshape(-1, 3)
    wanted = np.minimum(linear_from_srgb(np.array(shown) / 255) / WALLS[name], 1)
    assert np.abs(linear_from_srgb(seen / 255).mean(0) - wanted).max() < 0.01
    half = placed(wall(shown), work((255, 255, 255)), SIZE, replace(lit, room_light=0.5))
    between = linear_from_srgb(half[150:250, 200:400] / 255).mean((0, 1))
    assert np.abs(between - np.minimum((1 + linear_from_srgb(np.array(shown) / 255) /
                                        WALLS[name]) / 2, 1)).max() < 0.01  # fmt: skip


def test_light_that_falls_off_along_the_wall_falls_off_on_the_work():
    ramp = np.repeat(np.linspace(220, 110, 700)[None, :, None], 500, 0).repeat(3, 2)
    seen = placed(ramp.astype(np.uint8), work((200, 200, 200)), SIZE,
                  replace(PLAIN, room_light=1.0))  # fmt: skip
    there = linear_from_srgb(ramp[0, 155:445, 0] / 255) / WALLS["white"]  # the wall's own light
    found = linear_from_srgb(seen[110:290, 155:445, 0] / 255).mean(0) / linear_from_srgb(200 / 255)
    fall, seen_fall = there[:40].mean() - there[-40:].mean(), found[:40].mean() - found[-40:].mean()
    assert 0.6 * fall < seen_fall < 1.1 * fall  # without its fine detail, so a little less


def test_what_hangs_on_the_wall_leaves_no_print_on_the_work():
    dark = wall()
    dark[180:205, 280:305] = 30  # a socket
    seen = placed(dark, work((200, 200, 200)), SIZE, replace(PLAIN, room_light=1.0))
    inside = seen[120:280, 170:430].astype(int)
    assert np.ptp(inside) <= 8


def test_the_shadow_lies_away_from_the_light():
    seen = placed(wall(), work((10, 10, 10)), SIZE, replace(PLAIN, light_deg=-90.0)).astype(int)
    left, right = 200 - seen[200, 143:148, 0].mean(), 200 - seen[200, 452:457, 0].mean()
    assert right > left + 5
    assert right > 15


def test_a_part_of_the_work_alone_covers_the_wall():
    disc = shapely.Point(300, 200).buffer(150)
    seen = placed(wall(), work((250, 20, 20)), SIZE, PLAIN, disc)
    assert tuple(seen[200, 300]) == (250, 20, 20)
    assert np.ptp(seen[110, 160].astype(int)) <= 1  # the wall's grey, at most in shadow


@pytest.mark.parametrize(
    "corners",
    [
        ((0, 0), (10, 10), (10, 0), (0, 10)),
        ((0, 0), (0, 10), (10, 10), (10, 0)),
        ((0, 0), (10, 0), (20, 0), (0, 10)),
        ((0, 0), (10, 0), (10, float("nan")), (0, 10)),
    ],
)
def test_corners_that_are_no_view_of_a_rectangle_are_refused(corners):
    with pytest.raises(EmblemaError, match="four corners"):
        placed(wall(), work((0, 0, 0)), SIZE, replace(PLAIN, corners_px=corners))


def test_the_figure_is_as_tall_as_it_says_and_eight_heads():
    body = figure()
    x0, y0, x1, y1 = body.bounds
    assert y1 == pytest.approx(0, abs=20)
    assert y1 - y0 == pytest.approx(FIGURE_MM, rel=0.02)
    assert body.geom_type == "Polygon"
    # eight heads (common practice): the neck, where it is narrowest, lies an eighth below the top
    heights = np.linspace(y0, y1, 400)
    wide = [shapely.intersection(body, shapely.box(x0, y, x1, y + 4)).area / 4 for y in heights]
    upper = slice(20, 120)
    neck = heights[upper][int(np.argmin(wide[upper]))]
    assert (neck - y0) / (y1 - y0) == pytest.approx(1 / 8, abs=0.03)


def test_on_a_plain_wall_work_and_figure_have_one_scale():
    seen = on_plain_wall(work((250, 0, 0)), SIZE).astype(int)
    by = plain_px_per_mm(SIZE)
    red = (seen[..., 0] - seen[..., 1]) > 150
    rows, columns = np.flatnonzero(red.any(1)), np.flatnonzero(red.any(0))
    assert columns[-1] - columns[0] + 1 == pytest.approx(SIZE[0] * by, abs=2)
    assert rows[-1] - rows[0] + 1 == pytest.approx(SIZE[1] * by, abs=2)
    dark = seen.max(2) < 190
    dark[:, : columns[-1] + 10] = False
    tall = np.flatnonzero(dark.any(1))
    floor = rows[-1] + 1 + 900 * by
    assert tall[0] == pytest.approx(floor - FIGURE_MM * by, abs=0.02 * FIGURE_MM * by)


def test_the_picture_is_drawn_as_fine_as_its_nearest_side_is_seen():
    near = replace(PLAIN, corners_px=((100, 0), (400, 100), (400, 300), (100, 400)))
    assert px_per_mm(SIZE, near) == pytest.approx(1.0)
