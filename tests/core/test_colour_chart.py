"""The chart photographed: spectra of its patches through a real camera's sensitivities.

Patches are the chart's reflectances as published with colour-science (Ohta 1997), the camera is
its Nikon 5100 (NPL); samples are the CIE's test colour samples (CIE 13.3-1995).
"""

import functools
import warnings

import numpy as np
import pytest
from scipy import ndimage

from core.colour import ciede2000, lab_from_linear, linear_from_lab, srgb_from_linear
from core.colour.chart import (
    MEAN_LIMIT,
    WORST_LIMIT,
    chart_colours,
    correction_from_chart,
    correction_from_grey,
    find_chart,
    read_sample,
)
from core.colour.convert import LINEAR_OF_BYTE, WHITES, lab_from_xyz
from core.colour.findchart import LATTICE, carried, projective
from core.colour.science import colour_science
from core.errors import EmblemaError

NM = np.arange(400, 701, 10)


@functools.cache
def spectra():
    """Reflectances: the chart's (24, bands), the samples' (8, bands), samples' Lab under D65."""
    colour = colour_science()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from colour.quality import SDS_TCS

        patches = colour.SDS_COLOURCHECKERS["ColorChecker N Ohta"]
        chart = np.array([[sd[float(n)] for n in NM] for sd in patches.values()])
        tests = [sd for _, sd in zip(range(8), SDS_TCS["CIE 1995"].values(), strict=False)]
        samples = np.array([[sd[float(n)] for n in NM] for sd in tests])
        d65 = colour.SDS_ILLUMINANTS["D65"]
        xyz = np.array([colour.sd_to_XYZ(sd, illuminant=d65) for sd in tests]) / 100
    return chart, samples, lab_from_xyz(xyz, WHITES["D65", 2])


@functools.cache
def through_camera(light):
    """Linear camera values of chart and samples under a light, white balanced for it."""
    colour = colour_science()
    chart, samples, _ = spectra()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        shape = colour.SpectralShape(400, 700, 10)
        camera = colour.MSDS_CAMERA_SENSITIVITIES["Nikon 5100 (NPL)"].copy().align(shape).values
        power = colour.SDS_ILLUMINANTS[light].copy().align(shape).values
    weight = camera * power[:, None]
    white = weight.sum(axis=0)
    # What cameras do next: from their own primaries towards sRGB's, here with a fixed matrix.
    own = np.array([[1.6, -0.5, -0.1], [-0.2, 1.5, -0.3], [0.0, -0.4, 1.4]])
    return (chart @ weight / white) @ own.T, (samples @ weight / white) @ own.T


@functools.cache
def backdrop(fine, seed):
    """A wooden board, ten patches square."""
    rng = np.random.default_rng(seed)
    grain = ndimage.gaussian_filter(rng.standard_normal((10 * fine, 10 * fine)), (1, 9))
    return np.full((10 * fine, 10 * fine, 3), 0.30) * (1, 0.8, 0.6) * (1 + 0.1 * grain)[..., None]


def photograph(
    chart,
    samples,
    *,
    turn=0.0,
    tilt=0.0,
    gain=(1.0, 1.0, 1.0),
    gamma=None,
    noise=0.004,
    shade=0.0,
    size=(600, 800),
    seed=1,
    clutter=True,
    gap=0.14,
):
    """Render the board with chart and samples; return the picture and its map from the lattice.

    `gamma` is the camera's tone curve as a power instead of sRGB's; `shade` how much the light
    falls off to one side.
    """
    rng = np.random.default_rng(seed)
    fine = 40  # board pixels a patch
    board = backdrop(fine, seed).copy()

    def square(column, row, light, half):
        x, y = (round((v + 2.5) * fine) for v in (column, row))
        h = round(half * fine)
        board[y - h : y + h, x - h : x + h] = light

    board[int(1.8 * fine) : int(6.2 * fine), int(1.8 * fine) : int(8.2 * fine)] = 0.03
    for (column, row), light in zip(LATTICE, chart, strict=True):
        square(column, row, light, (1 - gap) / 2)
    for k, light in enumerate(samples):
        square(k % 4 * 0.9, 4.6 + k // 4 * 0.9, light, 0.32)
    if clutter:  # a row of cut pieces beside the chart, as square as its patches
        for k in range(12):
            square(4.2 + k % 4 * 0.7, 4.6 + k // 4 * 0.7, rng.uniform(0.05, 0.7, 3), 0.27)

    height, width = size
    # From the picture to the board: turned and tilted about the middle.
    c, s = np.cos(turn), np.sin(turn)
    scale = 10.2 * fine / min(width, height) * 1.35
    spin = np.array([[c, s, 0], [-s, c, 0], [0, tilt / min(width, height), 1]])
    to_middle = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    to_board = np.array([[scale, 0, 5 * fine], [0, scale, 4.6 * fine], [0, 0, 1]])
    back = to_board @ spin @ to_middle
    y, x = np.mgrid[0:height, 0:width]
    at = carried(back, np.stack([x, y], axis=-1).astype(float))
    light = np.stack(
        [
            ndimage.map_coordinates(
                board[..., k], [at[..., 1], at[..., 0]], order=1, mode="nearest"
            )
            for k in range(3)
        ],
        axis=-1,
    )
    light *= np.asarray(gain) * (1 - shade * x / width)[..., None]
    light = ndimage.gaussian_filter(light, (0.6, 0.6, 0))
    light += noise * np.sqrt(np.maximum(light, 0.01)) * rng.standard_normal(light.shape)
    light = np.clip(light, 0, 1)
    tone = srgb_from_linear(light) if gamma is None else light ** (1 / gamma)
    lattice_to_board = np.array(
        [[fine, 0, 2.5 * fine - 0.5], [0, fine, 2.5 * fine - 0.5], [0, 0, 1]]
    )
    return np.rint(255 * tone).astype(np.uint8), np.linalg.inv(back) @ lattice_to_board


def corners_of(transform):
    return carried(transform, np.array([[0.0, 0], [5, 0], [5, 3], [0, 3]]))


def sample_outline(transform, k):
    middle = np.array([k % 4 * 0.9, 4.6 + k // 4 * 0.9])
    ring = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 0.24
    return carried(transform, middle + ring)


LIGHTS = ("D65", "D50", "A", "FL7", "LED-B3")
POSES = (
    {"turn": 0.0},
    {"turn": 0.35, "tilt": 0.25},
    {"turn": -1.2, "tilt": -0.2, "gamma": 1.9},
    {"turn": 2.6, "tilt": 0.3, "gain": (0.55, 0.7, 0.62)},
    {"turn": 1.6, "size": (960, 1240), "noise": 0.02},
)


@pytest.mark.parametrize("pose", POSES, ids=str)
def test_finds_the_chart_whatever_way_it_lies(pose):
    chart, samples = through_camera("D50")
    picture, transform = photograph(chart, samples, **pose)
    found = find_chart(picture)
    patch = np.linalg.norm(corners_of(transform)[1] - corners_of(transform)[0]) / 5
    off = np.linalg.norm(found - corners_of(transform), axis=1)
    assert off.max() < 0.06 * patch


@pytest.mark.parametrize("light", LIGHTS)
def test_samples_are_read_right_under_many_lights(light):
    chart, samples = through_camera(light)
    picture, transform = photograph(chart, samples, turn=0.2, tilt=0.2, gain=(0.9, 0.85, 0.95))
    correction = correction_from_chart(picture)
    assert np.abs(correction.corners_px - corners_of(transform)).max() < 3
    _, _, truth = spectra()
    read = [read_sample(picture, sample_outline(transform, k), correction) for k in range(8)]
    off = ciede2000([r.lab for r in read], truth)
    plain = ciede2000([as_seen(picture, sample_outline(transform, k)) for k in range(8)], truth)
    assert off.mean() < 2 and off.max() < 4
    assert off.mean() < 0.5 * plain.mean()
    assert all(r.sure and r.clipped == 0 and r.spread < 2.5 and not r.doubts for r in read)
    assert correction.doubts == ()
    assert correction.mean_delta_e <= MEAN_LIMIT and correction.worst_delta_e <= WORST_LIMIT
    assert correction.mean_delta_e <= correction.mean_unseen


def as_seen(picture, outline):
    """A sample's colour taken as the camera gave it."""
    x, y = outline.mean(axis=0).astype(int)
    patch = picture[y - 3 : y + 4, x - 3 : x + 4]
    return lab_from_linear(LINEAR_OF_BYTE[patch].mean(axis=(0, 1)))


@pytest.mark.parametrize("pose", POSES[2:], ids=str)
def test_samples_are_read_right_with_another_tone_curve_little_light_or_noise(pose):
    chart, samples = through_camera("D50")
    picture, transform = photograph(chart, samples, **pose)
    correction = correction_from_chart(picture, corners_of(transform))
    read = [read_sample(picture, sample_outline(transform, k), correction) for k in range(8)]
    assert ciede2000([r.lab for r in read], spectra()[2]).mean() < 2


def test_a_camera_that_sees_true_needs_no_correction():
    wanted = chart_colours()[1]
    picture, transform = photograph(np.clip(linear_from_lab(wanted), 0, 1), [], noise=0.0)
    correction = correction_from_chart(picture, corners_of(transform))
    assert correction.method == "matrix" and correction.mean_delta_e < 0.5
    assert correction.corners_px is not None and correction.sure


def test_published_chart_values():
    # The chart after November 2014, D50 (in colour-science), brought to D65 by Bradford: greys
    # keep their lightness and stay near neutral.
    names, lab = chart_colours()
    assert len(names) == 24 and names[0] == "dark skin" and lab.shape == (24, 3)
    assert lab[18, 0] == pytest.approx(95.19, abs=0.05)
    assert lab[23, 0] == pytest.approx(20.64, abs=0.05)
    assert np.abs(lab[18:, 1:]).max() < 3.5


def test_colours_that_are_no_chart_are_not_taken_for_one():
    chart, samples = through_camera("D50")
    for seed in (1, 2):
        shuffled = np.random.default_rng(seed).permutation(chart)
        picture, transform = photograph(shuffled, samples, turn=seed)
        with pytest.raises(EmblemaError, match="Mark the middles"):
            find_chart(picture)
        with pytest.raises(EmblemaError, match="cannot be brought right"):
            correction_from_chart(picture, corners_of(transform))
    for blank in (np.zeros((300, 400, 3), np.uint8), np.zeros((20, 30, 3), np.uint8)):
        with pytest.raises(EmblemaError, match="not found"):
            find_chart(blank)


def test_a_chart_in_gloss_shadow_or_marked_wrongly_is_refused():
    chart, samples = through_camera("D50")
    picture, transform = photograph(chart, samples)
    corners = corners_of(transform)
    with pytest.raises(EmblemaError, match="cannot be brought right"):
        correction_from_chart(picture, corners[::-1])
    with pytest.raises(EmblemaError, match="must lie in the photograph"):
        correction_from_chart(picture, corners + 5000)
    shadow = picture.copy()
    x, y = corners[0].astype(int)
    shadow[y - 20 : y + 90, x - 20 : x + 90] = shadow[y - 20 : y + 90, x - 20 : x + 90] // 2
    with pytest.raises(EmblemaError, match="even light"):
        correction_from_chart(shadow, corners)
    bright, _ = photograph(chart, samples, gain=(1.6, 1.6, 1.6))
    with pytest.raises(EmblemaError, match=r"too bright.*row 4, place 1"):
        correction_from_chart(bright, corners)


def test_a_grey_card_takes_out_the_cast_and_is_less_sure():
    wanted = np.array([[55.0, 20.0, 10.0], [60.0, -15.0, 25.0], [49.5, 0.0, 0.0]])
    light = np.repeat(linear_from_lab(wanted)[None, :, None], 30, axis=0)
    light = np.repeat(light.repeat(40, axis=2), 1, axis=0).reshape(30, 120, 3)
    cast = light * (0.9, 0.7, 0.5)
    picture = np.rint(255 * srgb_from_linear(cast)).astype(np.uint8)
    outline = np.array([[2, 2], [38, 2], [38, 28], [2, 28]])
    correction = correction_from_grey(picture, outline + np.array([80, 0]))
    assert not correction.sure and np.isnan(correction.mean_delta_e)
    for k in range(2):
        read = read_sample(picture, outline + np.array([40 * k, 0]), correction)
        assert ciede2000(read.lab, wanted[k]) < 0.6 and not read.sure
        assert ciede2000(as_seen(picture, outline + np.array([40 * k, 0])), wanted[k]) > 5
    with pytest.raises(EmblemaError, match="too dark"):
        correction_from_grey(np.zeros_like(picture), outline)


def test_spread_and_gloss_of_a_sample_are_told():
    wanted = chart_colours()[1]
    picture, transform = photograph(np.clip(linear_from_lab(wanted), 0, 1), [], noise=0.0)
    correction = correction_from_chart(picture, corners_of(transform))
    rng = np.random.default_rng(3)
    mottled = np.array([[50.0, 5, 10], [62.0, 5, 10]])[rng.integers(0, 2, (40, 40))]
    pixels = np.rint(255 * srgb_from_linear(linear_from_lab(mottled))).astype(np.uint8)
    outline = np.array([[0, 0], [40, 0], [40, 40], [0, 40]])
    read = read_sample(pixels, outline, correction)
    mean = lab_from_linear(linear_from_lab(mottled).mean(axis=(0, 1)))
    assert ciede2000(read.lab, mean) < 0.8
    assert read.spread == pytest.approx(ciede2000(mottled, mean).mean(), abs=0.5)
    pixels[:10] = 255
    glossy = read_sample(pixels, outline, correction)
    assert glossy.clipped == 0.25 and ciede2000(glossy.lab, mean) < 1
    pixels[:] = 255
    with pytest.raises(EmblemaError, match="gloss"):
        read_sample(pixels, outline, correction)
    with pytest.raises(EmblemaError, match="holds nothing"):
        read_sample(pixels, outline + 500, correction)


def test_the_projective_map_is_exact_for_four_points_and_carries_back():
    corners = np.array([[10.0, 20], [300, 40], [280, 190], [30, 210]])
    lattice = np.array([[0.0, 0], [5, 0], [5, 3], [0, 3]])
    np.testing.assert_allclose(carried(projective(lattice, corners), lattice), corners, atol=1e-9)
