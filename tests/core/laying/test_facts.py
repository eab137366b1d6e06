"""The laying against geometry that does not depend on it: closed forms and published constants."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from settings import setting_of
from shapely import LineString, MultiPolygon, Point, Polygon

from core.laying import Setting, lay_field
from core.laying.courses.trace import trace_courses
from core.laying.field.direction import direction_field
from core.laying.field.phase import phase_field
from core.laying.opus.palladianum import graded_sizes
from core.laying.rooms.power import sized_cells
from core.pieces import Pieces

TESSERA, JOINT = 10.0, 1.5
PITCH = TESSERA + JOINT


def setting(shape: Polygon, *lines: LineString, follow: bool = True, **more: object) -> Setting:
    return setting_of(
        MultiPolygon([shape]),
        "tessellatum",
        TESSERA,
        JOINT,
        follow,
        tuple(lines),
        variation=0.0,
        **more,  # type: ignore[arg-type]
    )


def courses_of(s: Setting) -> list[np.ndarray]:
    return trace_courses(phase_field(s, direction_field(s), lambda: False), s)


def length(c: np.ndarray) -> float:
    return float(np.hypot(*np.diff(c, axis=0).T).sum())


def ring(inner: float, courses: float) -> Polygon:
    disc = Point(0, 0).buffer(inner + courses * PITCH, quad_segs=128)
    return disc.difference(Point(0, 0).buffer(inner, quad_segs=128))


def corners(p: Polygon) -> np.ndarray:
    return shapely.get_coordinates(p.exterior)[:-1]


@pytest.mark.parametrize(("inner", "courses"), [(57.5, 5), (80.5, 4), (69.0, 6), (120.0, 3)])
def test_a_ring_takes_its_circumference_over_the_pitch(inner: float, courses: int) -> None:
    """Course k of a ring, of mean radius R, holds round(2 pi R / p) pieces: within one.

    Of rings too tight to keep the turn limit so, see test_bends.py.
    """
    pieces = lay_field(setting(ring(inner, courses)))
    far = np.hypot(*pieces.centre_mm.T)
    for k in range(courses):
        radius = inner + (k + 0.5) * PITCH
        mine = np.abs(far - radius) < PITCH / 2
        assert abs(mine.sum() - round(2 * np.pi * radius / PITCH)) <= 1
        assert len(np.unique(pieces.course[mine])) == 1


def test_a_rings_pieces_taper_by_a_full_turn_over_their_number() -> None:
    """n pieces round a ring: the two joints beside a piece stand 2 pi / n apart."""
    pieces = lay_field(setting(ring(60.0, 1)))
    n = len(pieces)
    tapers = []
    for p in pieces.polygons:
        c = corners(p)
        assert len(c) == 4
        edges = np.roll(c, -1, 0) - c
        middle = (np.roll(c, -1, 0) + c) / 2
        out = middle / np.hypot(*middle.T)[:, None]
        along = np.abs((edges * out).sum(1)) / np.hypot(*edges.T)
        one, two = edges[np.argsort(-along)[:2]]
        tapers.append(np.pi - np.arccos((one @ two) / np.hypot(*one) / np.hypot(*two)))
    assert np.mean(tapers) == pytest.approx(2 * np.pi / n, rel=0.05)


@pytest.mark.parametrize(("n", "share"), [(12, 0.9549), (24, 0.9886)])
def test_straight_pieces_cover_of_a_ring_what_trapezoids_can(n: int, share: float) -> None:
    """A regular polygon covers sin(2 pi/n) / (2 pi/n) of its circle: 0.9549 for 12, 0.9886 for 24.

    n trapezoids with outer corners on R and inner sides on r, half a joint inside the ring, cover
    n/2 R^2 sin(2 pi/n) - n r^2 tan(pi/n), less n joints; pieces may not fall short of that, nor
    cover more than the ring less its joints.
    """
    assert np.sin(2 * np.pi / n) / (2 * np.pi / n) == pytest.approx(share, abs=5e-5)
    middle = n * PITCH / (2 * np.pi)
    pieces = lay_field(setting(ring(middle - PITCH / 2, 1)))
    assert len(pieces) == n
    big, small = middle + TESSERA / 2, middle - TESSERA / 2
    trapezoids = n / 2 * big**2 * np.sin(2 * np.pi / n) - n * small**2 * np.tan(np.pi / n)
    least = trapezoids - n * JOINT * (big * np.cos(np.pi / n) - small)
    most = np.pi * (big**2 - small**2) - n * JOINT * TESSERA
    assert 0.99 * least < pieces.area_mm2.sum() < most


def test_courses_inside_a_closed_curve_shorten_by_a_full_turn() -> None:
    """A parallel curve at distance d inside a convex curve is 2 pi d shorter (Steiner)."""
    t = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    egg = Polygon(np.c_[120 * np.cos(t), 80 * np.sin(t) * (1 + 0.2 * np.cos(t))])
    closed = [c for c in courses_of(setting(egg)) if np.hypot(*(c[0] - c[-1])) < 1e-6]
    depth = [float(shapely.distance(shapely.points(c), egg.exterior).mean()) for c in closed]
    for k in range(2):
        c, d = closed[int(np.argsort(depth)[k])], sorted(depth)[k]
        assert d == pytest.approx((k + 0.5) * PITCH, abs=0.05 * PITCH)
        assert length(c) == pytest.approx(egg.exterior.length - 2 * np.pi * d, rel=0.002)


def test_courses_round_a_hole_lengthen_by_a_full_turn() -> None:
    """And one at distance d outside a convex hole is 2 pi d longer."""
    hole = Point(0, 0).buffer(40, quad_segs=64)
    field = Point(0, 0).buffer(40 + 5 * PITCH, quad_segs=128).difference(hole)
    for c in courses_of(setting(field)):
        d = float(shapely.distance(shapely.points(c), hole).mean())
        assert length(c) == pytest.approx(hole.exterior.length + 2 * np.pi * d, rel=0.002)


FANS = [
    (100, 400, 80),
    (60, 300, 60),
    (150, 400, 70),
    (80, 350, 75),
    (120, 420, 65),
    (100, 300, 85),
]


def test_courses_of_a_fan_begin_as_its_width_asks() -> None:
    """Between two rays at angle a, a (r2 - r1) / p courses begin from r1 out to r2."""
    found, wanted = zip(*(begun_in_a_fan(*fan) for fan in FANS), strict=True)
    assert sum(found) == pytest.approx(sum(wanted), rel=0.06)
    # of some twenty, three more or less hang on the seed
    assert all(abs(n - w) < 3 for n, w in zip(found, wanted, strict=True)), (found, wanted)


def begun_in_a_fan(r1: float, r2: float, degrees: float) -> tuple[int, float]:
    """Return how many courses begin in a fan, and how many its width asks for."""
    a = np.radians(degrees)
    turn = np.linspace(-a / 2, a / 2, 160)
    arc = np.c_[np.cos(turn), np.sin(turn)]
    fan = Polygon(np.vstack([r2 * arc, r1 * arc[::-1]]))
    ray = a / 2 - 0.12
    rays = [LineString([r1 * way, r2 * way]) for way in np.array(
        [[np.cos(ray), -np.sin(ray)], [np.cos(ray), np.sin(ray)]]
    )]  # fmt: skip
    pieces = lay_field(setting(fan, *rays, follow=False))
    ends = course_ends(pieces)
    far, angle = np.hypot(*ends.T), np.arctan2(ends[:, 1], ends[:, 0])
    # those hard by the two arcs belong to the border
    rim = 1.1 * PITCH
    within = (np.abs(angle) < ray) & (far > r1 + rim) & (far < r2 - rim)
    return int(within.sum()), 2 * ray * (r2 - r1 - 2 * rim) / PITCH


def course_ends(pieces: Pieces) -> np.ndarray:
    """Return the middle of the first and the last piece of every course, (n, 2)."""
    order = np.lexsort((pieces.piece, pieces.course))
    course = pieces.course[order]
    first = np.r_[True, course[1:] != course[:-1]]
    last = np.r_[first[1:], True]
    return pieces.centre_mm[order][first | last]


def test_plain_relaxation_comes_near_the_hexagon() -> None:
    """Normalised second moment of the hexagon: 5 / (36 sqrt 3) = 0.0801875.

    Conway & Sloane, "Sphere Packings, Lattices and Groups", chapter 2; no other cell of a
    lattice in the plane is as round, so relaxed cells lie a little above.
    """
    hexagon = 5 / (36 * np.sqrt(3))
    assert hexagon == pytest.approx(0.0801875, abs=1e-7)
    outline = MultiPolygon([shapely.box(0, 0, 400, 400)])
    cells, _ = sized_cells(
        outline, np.ones(400), np.random.default_rng(3), lambda: False, rounds=120
    )
    inner = cells[shapely.distance(cells, outline.boundary) > 20]
    moments = [second_moment(p) for p in inner]
    assert hexagon < np.mean(moments) < 1.02 * hexagon


def second_moment(p: Polygon) -> float:
    """Return a polygon's second moment about its centroid, over twice its area squared."""
    c = corners(p) - shapely.get_coordinates(p.centroid)
    d = np.roll(c, -1, 0)
    w = c[:, 0] * d[:, 1] - d[:, 0] * c[:, 1]
    total = (w * (c * c + c * d + d * d).sum(1)).sum() / 12
    return float(abs(total) / (2 * p.area**2))


def test_second_moment_of_a_square() -> None:
    """1/12 (Conway & Sloane): the measure itself is right."""
    assert second_moment(shapely.box(3, 4, 8, 9)) == pytest.approx(1 / 12)


@pytest.mark.parametrize("spread", [0.1, 0.3, 0.5])
def test_graded_sizes_have_the_spread_asked_for(spread: float) -> None:
    sizes = graded_sizes(20_000, spread, np.random.default_rng(1))
    assert sizes.mean() == pytest.approx(1.0)
    assert sizes.std() == pytest.approx(spread, rel=0.08)


def test_a_whole_number_of_courses_is_taken_by_width() -> None:
    """A straight band takes n courses up to width / p = sqrt(n (n + 1)), and n + 1 beyond:
    there a course's height misses the pitch by as much either way.
    """
    for n in (1, 2, 3, 4):
        edge = np.sqrt(n * (n + 1)) * PITCH
        for wide, wanted in ((0.99 * edge, n), (1.01 * edge, n + 1)):
            band = shapely.box(0, 0, 20 * PITCH, wide)
            cross = LineString([(10 * PITCH, -1), (10 * PITCH, wide + 1)])
            courses = courses_of(setting(band, follow=False))
            assert sum(cross.intersects(LineString(c)) for c in courses) == wanted


@pytest.mark.parametrize(("inch", "a_dm2"), [(1 / 4, 185), (1 / 2, 53)])
def test_a_pavement_has_as_many_pieces_as_real_floors(inch: float, a_dm2: int) -> None:
    """Pieces of a quarter to half an inch: 185 to 53 a dm2 (Encyclopaedia Britannica, 9th
    edition); joints of 1 mm (common practice).
    """
    wall = MultiPolygon([shapely.box(0, 0, 600, 400)])
    pieces = lay_field(setting_of(wall, "tessellatum", inch * 25.4, 1.0))
    assert len(pieces) / (60 * 40 / 100) == pytest.approx(a_dm2, rel=0.03)


@pytest.mark.parametrize("tessera", [2.0, 3.0, 4.0])
def test_fine_work_has_many_times_as_many(tessera: float) -> None:
    """Vermiculatum is of pieces of 4 mm and less (common practice): 400 a dm2 and more."""
    face = MultiPolygon([Point(0, 0).buffer(60)])
    pieces = lay_field(setting_of(face, "musivum", tessera, 0.1 * tessera))
    assert len(pieces) / (face.area / 1e4) == pytest.approx(1e4 / (1.1 * tessera) ** 2, rel=0.05)
