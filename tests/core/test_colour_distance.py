import numpy as np
import pytest
import shapely

from core.colour import ciede2000, lab_from_linear, linear_from_lab
from core.colour.coverage import painted
from core.colour.distance_view import (
    VISIONS,
    blend_of,
    blended_size_mm,
    blending_distance_mm,
    bytes_of,
    confused_with,
    lab_seen_with,
    linear_of,
    linear_picture,
    seen_from,
    seen_with,
)
from core.errors import EmblemaError

RNG = np.random.default_rng(4)


def test_pieces_blend_at_one_minute_of_arc():
    # d = s / tan(1'): 5 mm 17.2 m, 10 mm 34.4 m, 20 mm 68.8 m.
    for size, metres in ((5, 17.2), (10, 34.4), (20, 68.8)):
        assert blending_distance_mm(size) / 1000 == pytest.approx(metres, abs=0.05)
        assert blended_size_mm(blending_distance_mm(size)) == pytest.approx(size)


def some_pieces(n=25, size=7.0):
    """Pieces of any shape that do not overlap, half of them wound the other way."""
    k = int(np.sqrt(n))
    centre = (
        2.4 * size * (np.stack(np.meshgrid(np.arange(k), np.arange(k)), -1).reshape(-1, 2) + 0.3)
    )
    turn = np.sort(RNG.uniform(0, 2 * np.pi, (len(centre), 6)), axis=1)
    turn[::2] = turn[::2, ::-1]
    reach = RNG.uniform(0.4, 1.1, turn.shape) * size
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * reach[..., None]
    polygons = shapely.polygons(centre[:, None] + ring)
    return polygons[shapely.is_valid(polygons)]


@pytest.mark.parametrize("mm_per_px", [0.9, 3.0, 20.0])
def test_every_pixel_is_the_exact_mean_of_what_lies_in_it(mm_per_px):
    polygons = some_pieces()
    light, ground = RNG.random((len(polygons), 3)), np.array([0.2, 0.5, 0.9])
    found = painted(polygons, light, ground, (63.0, 54.0), mm_per_px)
    assert found.shape == (round(54 / mm_per_px), round(63 / mm_per_px), 3)
    y, x = np.indices(found.shape[:2]) * mm_per_px
    pixels = shapely.box(x, y, x + mm_per_px, y + mm_per_px)
    area = shapely.area(shapely.intersection(pixels[..., None], polygons)) / mm_per_px**2
    expected = area @ light + (1 - area.sum(axis=-1))[..., None] * ground
    np.testing.assert_allclose(found, expected, atol=1e-7)


def test_nothing_laid_is_all_ground():
    found = linear_picture(np.empty(0, object), np.empty((0, 3)), (50, 0, 0), (20, 10), 1.0)
    np.testing.assert_allclose(found, np.broadcast_to(linear_from_lab((50, 0, 0)), (10, 20, 3)))


def test_far_off_the_picture_is_the_blend_of_pieces_and_joints():
    at = np.stack(np.meshgrid(np.arange(30), np.arange(20)), -1).reshape(-1, 2) * 11.5 + 0.75
    polygons = shapely.box(at[:, 0], at[:, 1], at[:, 0] + 10, at[:, 1] + 10)
    lab = np.where((np.arange(600) % 2 == 0)[:, None], (30.0, 5, 10), (80.0, -5, 20))
    size = (345.0, 230.0)
    picture = linear_picture(polygons, lab, (60, 0, 4), size, 2.0)
    joint = size[0] * size[1] - 600 * 100
    blend = blend_of(shapely.area(polygons), lab, joint, (60, 0, 4))
    assert ciede2000(lab_from_linear(picture.mean(axis=(0, 1))), blend) < 0.1
    near, far = seen_from(picture, 2.0, 500), seen_from(picture, 2.0, 2 * blending_distance_mm(23))
    assert ciede2000(lab_from_linear(near), lab_from_linear(picture)).mean() < 0.5
    inside = lab_from_linear(far)[30:-30, 30:-30]  # the edge has neighbours on one side only
    assert ciede2000(inside, blend).max() < 1
    assert ciede2000(lab_from_linear(picture), blend).max() > 20
    np.testing.assert_allclose(far.mean(axis=(0, 1)), picture.mean(axis=(0, 1)), rtol=0.01)


def test_blend_is_taken_in_linear_light():
    # CIE 15: half of white's light is L* 76.07.
    assert blend_of([2.0], [[100.0, 0, 0]], 2.0, (0, 0, 0))[0] == pytest.approx(76.0693, abs=1e-3)
    with pytest.raises(EmblemaError):
        blend_of([], np.empty((0, 3)), 0.0, (0, 0, 0))


# Machado, Oliveira & Fernandes 2009, the published matrices for severity 1.
MACHADO = {
    "red-weak": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "green-weak": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ],
    "blue-weak": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ],
}


@pytest.mark.parametrize("vision", list(VISIONS))
def test_colour_vision_follows_the_published_matrices(vision):
    grey = np.full((4, 3), [[0.1], [0.4], [0.7], [1.0]])
    np.testing.assert_allclose(seen_with(grey, vision), grey, atol=1e-4)
    light = RNG.uniform(0.3, 0.5, (50, 3))
    expected = light @ np.array(MACHADO[vision]).T
    inside = ((expected > 0) & (expected < 1)).all(axis=1)
    assert inside.sum() > 20
    np.testing.assert_allclose(seen_with(light, vision)[inside], expected[inside], atol=1e-5)
    np.testing.assert_allclose(seen_with(light, vision, 0.0), light, atol=1e-9)
    picture = RNG.random((5, 6, 3))
    np.testing.assert_allclose(seen_with(picture, vision)[2, 3], seen_with(picture[2, 3], vision))


def test_pairs_that_some_eyes_confuse_are_named():
    palette = np.array([(50.0, 45, 35), (52.0, -35, 40), (20.0, 0, 0), (90.0, 0, 0)])
    limit = float(ciede2000(*lab_seen_with(palette[:2], "green-weak"))) + 1
    pairs = confused_with(palette, "green-weak", limit=limit)
    assert [(i, j) for i, j, _, _ in pairs] == [(0, 1)]
    _, _, plain, seen = pairs[0]
    assert plain == pytest.approx(float(ciede2000(palette[0], palette[1]))) and plain > 2 * seen
    with pytest.raises(EmblemaError, match="red-weak"):
        seen_with(palette, "x")


def test_screen_bytes_come_back():
    picture = RNG.integers(0, 256, (8, 9, 3), dtype=np.uint8)
    np.testing.assert_array_equal(bytes_of(linear_of(picture)), picture)
