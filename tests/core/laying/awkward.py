"""A catalogue of awkward fields, like those a cartoon holds, each as the solver's setting.

Crossed with every laying in the tests. Shapes are made from formulas, so that each is exact.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from settings import setting_of
from shapely import LineString, MultiPolygon, Polygon
from shapely.affinity import rotate, scale, translate

from core.laying import Setting

Make = Callable[[], Setting]
CATALOGUE: dict[str, Make] = {}


def shape(make: Make) -> Make:
    CATALOGUE[make.__name__] = make
    return make


def setting(
    geometry: shapely.Geometry,
    tessera: float = 8.0,
    joint: float = 1.2,
    follow: bool = True,
    flow: Sequence[Sequence[tuple[float, float]]] = (),
    laying: str = "tessellatum",
) -> Setting:
    parts = [p for p in shapely.get_parts([geometry]).ravel()]
    parts = [q for p in parts for q in shapely.get_parts([p]) if q.geom_type == "Polygon"]
    return setting_of(
        outline=MultiPolygon(parts),
        opus=laying,
        tessera_mm=tessera,
        joint_mm=joint,
        follow_border=follow,
        flow=tuple(LineString(f) for f in flow),
    )


def leaf_outline(length: float, up: float, down: float, power: float = 1.3) -> Polygon:
    x = np.linspace(0, length, 90)
    bow = np.maximum(np.sin(np.pi * x / length), 0.0) ** power
    top = np.stack([x, up * bow], 1)
    low = np.stack([x, -down * bow], 1)[::-1]
    return Polygon(np.vstack([top, low[1:-1]]))


def star_outline(tips: int, outer: float, inner: float, turn: float = 0.2) -> Polygon:
    a = np.arange(2 * tips) * np.pi / tips + turn
    r = np.where(np.arange(2 * tips) % 2, inner, outer)
    return Polygon(np.stack([r * np.cos(a), r * np.sin(a)], 1))


def ribbon_outline(points: Sequence[tuple[float, float]], width: float) -> Polygon:
    return LineString(points).buffer(width / 2, cap_style="flat", join_style="mitre")


def wave(length: float, height: float, turns: float = 1.0) -> list[tuple[float, float]]:
    x = np.linspace(0, length, 120)
    return list(zip(x, height * np.sin(2 * np.pi * turns * x / length), strict=True))


def arc(radius: float, a0: float, a1: float) -> list[tuple[float, float]]:
    a = np.radians(np.linspace(a0, a1, 60))
    return list(zip(radius * np.cos(a), radius * np.sin(a), strict=True))


def disc(radius: float, x: float = 0.0, y: float = 0.0) -> Polygon:
    return shapely.Point(x, y).buffer(radius, quad_segs=24)


@shape
def leaf_slender() -> Setting:
    return setting(leaf_outline(220, 22, 18), follow=False, flow=[[(0, 0), (220, 0)]])


@shape
def leaf_followed() -> Setting:
    return setting(leaf_outline(240, 45, 40))


@shape
def leaf_broad_with_vein() -> Setting:
    return setting(
        leaf_outline(200, 60, 60, 0.9), flow=[[(0, 0), (100, 4), (200, 0)]], tessera=6, joint=1
    )


@shape
def leaf_sickle() -> Setting:
    x = np.linspace(0, 200, 80)
    bend = 40 * np.sin(np.pi * x / 200)
    half = 18 * np.sin(np.pi * x / 200) ** 0.8
    ring = np.vstack([np.stack([x, bend + half], 1), np.stack([x, bend - half], 1)[::-1]])
    return setting(Polygon(ring).buffer(0))


@shape
def leaf_needle() -> Setting:
    return setting(leaf_outline(160, 7, 7), tessera=6, joint=0.8)


@shape
def ribbon_two() -> Setting:
    return setting(ribbon_outline(wave(300, 30), 18.4))


@shape
def ribbon_three() -> Setting:
    return setting(ribbon_outline(wave(300, 40, 1.5), 27.6))


@shape
def ribbon_four() -> Setting:
    return setting(ribbon_outline(wave(300, 25), 36.8))


@shape
def ribbon_five() -> Setting:
    return setting(ribbon_outline(wave(300, 50), 46.0))


@shape
def ribbon_two_and_a_half() -> Setting:
    return setting(ribbon_outline([(0, 0), (120, 0), (200, 60)], 23.0))


@shape
def ribbon_one() -> Setting:
    return setting(ribbon_outline(wave(200, 20), 9.2))


@shape
def ribbon_widening() -> Setting:
    return setting(Polygon([(0, -8), (300, -30), (300, 30), (0, 8)]))


@shape
def ribbon_hairpin() -> Setting:
    return setting(ribbon_outline([(0, 0), (150, 0), (150, 45), (0, 45)], 28.0))


@shape
def star_four() -> Setting:
    return setting(star_outline(4, 100, 40))


@shape
def star_six() -> Setting:
    return setting(star_outline(6, 110, 60), laying="musivum")


@shape
def star_eight_blunt() -> Setting:
    return setting(star_outline(8, 110, 80), flow=[arc(50, 0, 350)])


@shape
def star_thin() -> Setting:
    return setting(star_outline(5, 130, 30), tessera=6, joint=1)


@shape
def ring_wide() -> Setting:
    return setting(disc(100) - disc(50))


@shape
def ring_narrow() -> Setting:
    return setting(disc(100) - disc(81))


@shape
def ring_off_centre() -> Setting:
    return setting(disc(100) - disc(45, 30, 10))


@shape
def disc_small() -> Setting:
    return setting(disc(14))


@shape
def disc_whole() -> Setting:
    return setting(disc(90), laying="musivum")


@shape
def fan_radial() -> Setting:
    fan = Polygon(arc(150, 20, 120) + arc(40, 120, 20))
    rays = [
        [(40 * np.cos(t), 40 * np.sin(t)), (150 * np.cos(t), 150 * np.sin(t))]
        for t in np.radians([30, 50, 70, 90, 110])
    ]
    return setting(fan, follow=False, flow=rays)


@shape
def fan_arcs() -> Setting:
    fan = Polygon([*arc(150, 20, 120), (0, 0)])
    return setting(fan, follow=False, flow=[arc(90, 20, 120)])


@shape
def half_moon() -> Setting:
    return setting(disc(90) - disc(80, 45, 0))


@shape
def wall_with_sockets() -> Setting:
    wall = Polygon([(0, 0), (420, 0), (420, 160), (200, 160), (200, 300), (0, 300)])
    holes = shapely.box(40, 40, 126, 126) | shapely.box(260, 50, 346, 136)
    return setting(wall - holes, tessera=10, joint=1.5, flow=[[(0, 20), (420, 20)]])


@shape
def wall_frame() -> Setting:
    return setting(shapely.box(0, 0, 300, 200) - shapely.box(35, 35, 265, 165))


@shape
def letter_a() -> Setting:
    outer = Polygon(
        [(0, 0), (40, 0), (55, 50), (105, 50), (120, 0), (160, 0), (100, 200), (60, 200)]
    )
    return setting(outer - Polygon([(64, 80), (96, 80), (80, 135)]), tessera=6, joint=1)


@shape
def letter_o() -> Setting:
    return setting(scale(disc(80), 0.8, 1.0) - scale(disc(48), 0.7, 1.0), tessera=6, joint=1)


@shape
def letter_s() -> Setting:
    mid = [*arc(40, 0, 270)]
    low = [(-x, y - 80) for x, y in arc(40, 90, 360)][::-1]
    return setting(LineString(mid + low[1:]).buffer(15, cap_style="flat"), tessera=6, joint=1)


@shape
def letter_t() -> Setting:
    return setting(shapely.box(0, 0, 140, 32) | shapely.box(54, 0, 86, 170))


@shape
def letter_x() -> Setting:
    a = ribbon_outline([(0, 0), (140, 180)], 30)
    return setting(a | ribbon_outline([(140, 0), (0, 180)], 30))


@shape
def feather() -> Setting:
    x = np.linspace(0, 260, 60)
    half = 4 + 30 * np.sin(np.pi * x / 270) ** 0.7
    saw = half * (1 - 0.25 * (np.arange(60) % 6 == 5))
    ring = np.vstack([np.stack([x, half], 1), np.stack([x, -saw], 1)[::-1]])
    return setting(Polygon(ring), tessera=6, joint=1, follow=False, flow=[[(0, 0), (260, 0)]])


@shape
def feather_barbs() -> Setting:
    body = leaf_outline(240, 40, 40)
    barbs = [[(x, 0), (x + 40, s * 40)] for x in (40, 90, 140) for s in (1, -1)]
    return setting(body, follow=False, flow=barbs)


@shape
def field_of_twenty() -> Setting:
    return setting(Polygon([(0, 0), (50, 4), (44, 40), (6, 36)]))


@shape
def field_of_three() -> Setting:
    return setting(Polygon([(0, 0), (26, 0), (26, 9), (0, 9)]))


@shape
def field_of_one() -> Setting:
    return setting(Polygon([(0, 0), (9, 1), (8, 9), (1, 8)]))


@shape
def field_smaller_than_a_piece() -> Setting:
    return setting(Polygon([(0, 0), (5, 0), (3, 4)]))


@shape
def triangle_acute() -> Setting:
    return setting(Polygon([(0, 0), (200, 0), (30, 40)]), follow=False)


@shape
def triangle_followed() -> Setting:
    return setting(Polygon([(0, 0), (160, 0), (80, 140)]))


@shape
def lines_that_cross() -> Setting:
    return setting(
        shapely.box(0, 0, 200, 160), follow=False, flow=[[(0, 0), (200, 160)], [(0, 160), (200, 0)]]
    )


@shape
def lines_that_contradict() -> Setting:
    return setting(
        shapely.box(0, 0, 200, 160),
        flow=[[(20, 60), (180, 60)], [(100, 75), (100, 150)], [(60, 66), (150, 90)]],
    )


@shape
def line_that_ends_inside() -> Setting:
    return setting(shapely.box(0, 0, 200, 160), follow=False, flow=[wave(100, 20)])


@shape
def line_that_turns_back() -> Setting:
    return setting(
        shapely.box(0, 0, 200, 160), follow=False, flow=[[(20, 20), (150, 80), (20, 140)]]
    )


@shape
def line_outside() -> Setting:
    return setting(shapely.box(0, 0, 120, 90), flow=[[(0, 300), (120, 380)]])


@shape
def parts_apart() -> Setting:
    return setting(MultiPolygon([disc(40), shapely.box(60, -30, 140, 30), disc(12, 0, 70)]))


@shape
def parts_that_touch() -> Setting:
    return setting(MultiPolygon([shapely.box(0, 0, 60, 60), shapely.box(60, 60, 120, 120)]))


@shape
def slit_wall() -> Setting:
    return setting(shapely.box(0, 0, 200, 120) - shapely.box(40, 58, 200, 61))


@shape
def comb() -> Setting:
    teeth = [shapely.box(30 * k, 0, 30 * k + 15, 90) for k in range(6)]
    return setting(shapely.union_all([*teeth, shapely.box(0, 80, 165, 110)]))


@shape
def gear() -> Setting:
    a = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    r = 80 + 12 * np.sign(np.sin(12 * a))
    return setting(Polygon(np.stack([r * np.cos(a), r * np.sin(a)], 1)).buffer(0))


@shape
def coast() -> Setting:
    rng = np.random.default_rng(5)
    a = np.linspace(0, 2 * np.pi, 150, endpoint=False)
    r = 90 + 25 * np.sin(3 * a) + 3 * rng.normal(size=150)
    return setting(Polygon(np.stack([r * np.cos(a), r * np.sin(a)], 1)).buffer(0))


@shape
def many_holes() -> Setting:
    holes = [disc(9, x, y) for x in range(30, 200, 45) for y in range(30, 160, 45)]
    return setting(shapely.box(0, 0, 220, 180) - shapely.union_all(holes))


@shape
def teardrop() -> Setting:
    a = np.linspace(0, 2 * np.pi, 100, endpoint=False)
    return setting(
        Polygon(np.stack([70 * np.cos(a), 50 * np.sin(a) * np.sin(a / 2) ** 2], 1)).buffer(0)
    )


@shape
def spiral_band() -> Setting:
    t = np.linspace(0, 5 * np.pi, 220)
    r = 20 + 7.5 * t
    return setting(
        LineString(np.stack([r * np.cos(t), r * np.sin(t)], 1)).buffer(13, cap_style="flat")
    )


@shape
def turned_square() -> Setting:
    return setting(
        rotate(shapely.box(0, 0, 120, 120), 37), follow=False, flow=[[(-50, 60), (200, 60)]]
    )


@shape
def regulatum_turned() -> Setting:
    return setting(disc(70), follow=False, flow=[[(-70, -20), (70, 25)]], laying="regulatum")


@shape
def far_from_origin() -> Setting:
    return setting(translate(leaf_outline(120, 30, 30), 80_000, -45_000))
