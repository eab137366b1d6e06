"""A piece looks the same wherever it is painted, and takes the light as its material does."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from look_rig import PITCH, on_pieces, panel

from core.errors import EmblemaError, Stopped
from core.look.light import STANDARD, Light
from core.look.noise import bell, even, seeds_of
from core.look.render import Scene, picture
from core.look.shapes import Shapes
from core.material import Material
from core.pieces import Layout, Pieces

GREY = (55.0, 0.0, 0.0)
SMALTI = Material("S", "", "smalti", GREY, finish="polished")
GOLD = Material("G", "", "gold glass", (73.0, 7.0, 49.0), finish="metallic")
MARBLE = Material("M", "", "marble", (80.0, 1.0, 8.0))


@pytest.fixture(scope="module")
def scene() -> Scene:
    return Scene(*panel(SMALTI, MARBLE, GOLD, across=4, down=4))


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_pixels_are_the_same_whatever_the_tile(scene: Scene, data: st.DataObject) -> None:
    px_per_mm = data.draw(st.sampled_from([0.7, 2.0, 4.0, 7.3]))
    wide, high = (round(v * px_per_mm) for v in scene.size_mm)
    whole = scene.tile(px_per_mm, (0, 0, wide, high))
    x0, x1 = sorted(data.draw(st.lists(st.integers(0, wide), min_size=2, max_size=2, unique=True)))
    y0, y1 = sorted(data.draw(st.lists(st.integers(0, high), min_size=2, max_size=2, unique=True)))
    part = scene.tile(px_per_mm, (x0, y0, x1, y1))
    np.testing.assert_array_equal(part, whole[y0:y1, x0:x1])


def test_a_large_picture_is_its_tiles(monkeypatch: pytest.MonkeyPatch, scene: Scene) -> None:
    whole = scene.picture(4.0)
    monkeypatch.setattr("core.look.render.TILE_PX", (100, 70))
    np.testing.assert_array_equal(scene.picture(4.0), whole)


def test_a_stretch_of_the_work_is_cut_from_it() -> None:
    doc, layout = panel(SMALTI, GOLD, across=4, down=4)
    whole = picture(doc, layout, 4.0)
    part = picture(doc, layout, 4.0, box_mm=(11.0, 5.5, 44.0, 38.5))
    np.testing.assert_array_equal(part, whole[22:154, 44:176])


def test_a_piece_looks_the_same_in_whatever_order_it_comes() -> None:
    doc, layout = panel(SMALTI, MARBLE, across=5, down=4)
    turned = Layout(tuple(reversed(layout.fields)))
    a, b = picture(doc, layout, 4.0), picture(doc, turned, 4.0)
    assert np.abs(a.astype(int) - b).max() <= 1  # its colour is set from the mean of all


def test_no_two_pieces_look_alike() -> None:
    doc, layout = panel(MARBLE, across=4, down=4)
    pixels = picture(doc, layout, 2.0).astype(int)
    pitch = round(PITCH * 2)
    faces = [
        pixels[y * pitch : (y + 1) * pitch, x * pitch : (x + 1) * pitch]
        for y in range(4)
        for x in range(4)
    ]
    assert min(np.abs(a - b).mean() for k, a in enumerate(faces) for b in faces[:k]) > 1.0


def piece_means(material: Material, light: Light) -> np.ndarray:
    doc, layout = panel(material, across=8, down=8)
    pixels = picture(doc, layout, 3.0, light=light).astype(float).mean(2)
    pitch = round(PITCH * 3)
    return pixels.reshape(8, pitch, 8, pitch).mean((1, 3)).ravel()


def test_gold_turns_with_the_light() -> None:
    left, right = (piece_means(GOLD, replace(STANDARD, azimuth_deg=a)) for a in (270.0, 90.0))
    # leaf plays far more than stone, and what faces one side is turned from the other
    assert left.std() > 2 * piece_means(MARBLE, STANDARD).std()
    assert np.corrcoef(left, right)[0, 1] < 0.2
    assert np.abs(left - right).mean() > 5


def test_gold_away_from_the_light_is_brown() -> None:
    doc, layout = panel(GOLD, across=8, down=8)
    pixels = picture(doc, layout, 3.0)[on_pieces(3.0, 8, 8, 0.8)].astype(float)
    light = pixels.mean(1)
    dark, bright = (
        pixels[light < np.quantile(light, 0.1)],
        pixels[light > np.quantile(light, 0.9)],
    )
    assert bright.mean() > 1.5 * dark.mean()
    ratio = dark.mean(0) / bright.mean(0)
    assert ratio[2] < ratio[1] < ratio[0]  # blue falls first, red last


def test_far_off_it_is_the_mean_of_what_is_near(scene: Scene) -> None:
    from core.colour.convert import linear_from_srgb

    near, far = (linear_from_srgb(scene.picture(v) / 255).mean((0, 1)) for v in (8.0, 0.5))
    assert far == pytest.approx(near, rel=0.06)


def test_nothing_laid_is_grout() -> None:
    doc, _ = panel(SMALTI)
    pixels = picture(replace(doc, width_mm=20.0, height_mm=10.0), Layout(()), 2.0)
    assert pixels.shape == (20, 40, 3) and len(np.unique(pixels.reshape(-1, 3), axis=0)) == 1


def test_it_can_be_stopped(scene: Scene) -> None:
    with pytest.raises(Stopped):
        scene.picture(4.0, stop=lambda: True)


@pytest.mark.parametrize(
    "wrong", [{"azimuth_deg": 400.0}, {"height_deg": 0.0}, {"strength": 3.0}, {"strength": np.nan}]
)
def test_a_light_that_cannot_be_is_refused(wrong: dict[str, float]) -> None:
    with pytest.raises(EmblemaError, match="The light's"):
        Light(**wrong)


def test_the_light_comes_from_where_it_is_said_to() -> None:
    assert Light(0, 30).toward == pytest.approx((0, -np.sqrt(0.75), 0.5))
    assert Light(90, 5).toward[0] == pytest.approx(np.cos(np.radians(5)))
    # a face that mirrors the lamp to the front stands half way to it
    x, y = Light(90, 30).mirror
    assert np.degrees(np.arctan(np.hypot(x, y))) == pytest.approx(30)


@given(st.lists(st.integers(-(10**7), 10**7), min_size=2, max_size=40, unique=True))
def test_draws_hang_on_the_place_alone(um: list[int]) -> None:
    polygons = shapely.box(np.array(um) / 1000, 0, np.array(um) / 1000 + 10, 10)
    seed = seeds_of(polygons)
    assert len(np.unique(seed)) == len(um)
    np.testing.assert_array_equal(seed[::-1], seeds_of(polygons[::-1]))
    assert ((even(seed, 3) >= 0) & (even(seed, 3) < 1)).all()


def test_draws_are_even_and_bell_shaped() -> None:
    x, y = np.meshgrid(np.arange(100) * 11.0, np.arange(100) * 11.0)
    seed = seeds_of(shapely.box(x, y, x + 10, y + 10).ravel())
    for k in range(3):
        counts = np.histogram(even(seed, k), 20, (0, 1))[0]
        assert ((counts - 500) ** 2 / 500).sum() < 43.8  # chi square, 19 degrees, 1 in 1,000
        assert bell(seed, k).mean() == pytest.approx(0, abs=0.04)
        assert bell(seed, k).std() == pytest.approx(1, abs=0.03)
        assert abs(np.corrcoef(bell(seed, k), bell(seed, k + 1))[0, 1]) < 0.04


@pytest.mark.parametrize(
    "corners",
    [
        [(0, 0), (10, 1), (9, 8), (-1, 9)],
        [(0, 0), (10, 0), (10, 10), (5, 4), (0, 10)],
        [(5 + 5 * np.cos(a), 5 + 5 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 24, False)],
    ],
    ids=["convex", "hollow", "round"],
)
def test_pixels_lie_within_a_piece_as_geometry_says(corners: list[tuple[float, float]]) -> None:
    polygon = shapely.Polygon(corners)
    shapes = Shapes.of(np.array([polygon]))
    x = np.arange(-2, 12, 0.25, dtype=np.float32) + np.float32(0.1)
    off = shapes.middle_mm[0]
    got = shapes.within(
        np.array([0]),
        (x - off[0]).astype(np.float32)[None, None, :],
        (x - off[1]).astype(np.float32)[None, :, None],
        np.zeros(1),
    )[0]
    points = shapely.points(*np.meshgrid(x, x))
    inside = shapely.contains_xy(polygon, *np.meshgrid(x, x))
    true = shapely.distance(points, polygon.exterior) * np.where(inside, 1, -1)
    clear = np.abs(true) > 1e-4
    assert ((got > 0) == inside)[clear].all()
    np.testing.assert_allclose(got[inside], true[inside], atol=1e-3)


def test_pieces_of_no_material_are_painted() -> None:
    doc, layout = panel(SMALTI, across=2, down=2)
    laid = layout.fields[0]
    bare = replace(laid, stock=np.full(4, -1), wanted_lab=np.tile([40.0, 30.0, 20.0], (4, 1)))
    pixels = picture(doc, Layout((bare,)), 3.0)[on_pieces(3.0, 2, 2, 1.0)].astype(float)
    assert pixels.mean(0)[0] > 1.2 * pixels.mean(0)[2]


def test_a_piece_of_one_side_too_many_is_painted_like_another() -> None:
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    shape = shapely.Polygon(np.stack([10 + 6 * np.cos(turn), 10 + 6 * np.sin(turn)], axis=1))
    doc, layout = panel(SMALTI, across=2, down=2)
    one = Pieces(np.array([shape]), np.zeros(1, int), np.zeros(1, int), np.zeros(1))
    laid = replace(
        layout.fields[0], pieces=one, stock=np.zeros(1, int), wanted_lab=np.full((1, 3), np.nan)
    )
    pixels = picture(doc, Layout((laid,)), 4.0).astype(int)
    middle, corner = pixels[30:50, 30:50].mean((0, 1)), pixels[:6, :6].mean((0, 1))
    assert np.abs(middle - corner).max() > 8
