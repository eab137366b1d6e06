"""A colour read in gloss, shadow or uneven light is said to be doubtful, and no other is."""

import numpy as np
import pytest
from scipy import ndimage
from test_colour_chart import corners_of, photograph, sample_outline, spectra, through_camera

from core.colour import lab_from_linear, linear_from_lab, srgb_from_linear
from core.colour.chart import correction_from_chart, read_sample
from core.colour.evenness import JUST_NOTICED, doubts_of_sample, light_across
from core.colour.findchart import LATTICE, carried

SIDE = 60
AT = np.stack(np.meshgrid(np.arange(SIDE), np.arange(SIDE)), axis=-1).reshape(-1, 2)
X = AT[:, 0] / (SIDE - 1)
GLASS = (45.0, 20.0, -12.0)


def sample(light=1.0, noise=0.03, seed=1):
    """A glass's Lab under light of a strength at each pixel, with the grain of a camera."""
    grain = 1 + noise * np.random.default_rng(seed).standard_normal((SIDE * SIDE, 3))
    return lab_from_linear(linear_from_lab(GLASS) * np.reshape(light, (-1, 1)) * grain)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05, 0.12])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_evenly_lit_sample_is_not_doubted_whatever_its_grain(noise, seed):
    assert doubts_of_sample(sample(noise=noise, seed=seed), AT, 0.0) == ()


def test_glass_that_is_a_little_streaky_is_not_doubted():
    streaks = ndimage.gaussian_filter1d(np.random.default_rng(2).standard_normal(SIDE), 2)
    light = 1 + 0.02 * streaks[AT[:, 0]] / streaks.std()
    assert doubts_of_sample(sample(light), AT, 0.0) == ()


@pytest.mark.parametrize("direction", [(1, 0), (0, 1), (0.7, -0.7)])
def test_light_that_falls_off_over_the_sample_is_told_with_its_size(direction):
    way = AT @ np.array(direction) / (SIDE - 1)
    light = 1 - 0.25 * (way - way.min()) / np.ptp(way)
    (doubt,) = doubts_of_sample(sample(light), AT, 0.0)
    # L* goes with 116/3 Y^(1/3) of the logarithm of light (CIE 15)
    clear = np.ptp(lab_from_linear(linear_from_lab(GLASS) * np.array([[1.0], [0.75]]))[:, 0])
    assert "lit unevenly" in doubt
    assert float(doubt.split("by ")[1].split()[0]) == pytest.approx(clear, abs=1)
    assert doubts_of_sample(sample(1 - 0.03 * X), AT, 0.0) == ()
    (doubt,) = doubts_of_sample(sample(light, noise=0.0), AT, 0.0)
    assert "lit unevenly" in doubt


@pytest.mark.parametrize("share", [0.15, 0.3, 0.5])
def test_a_spot_of_gloss_or_shadow_is_told_as_a_second_colour(share):
    middle = np.hypot(*(AT - SIDE / 2).T) < SIDE * np.sqrt(share / np.pi)
    for by in (1.9, 0.4):
        found = doubts_of_sample(sample(np.where(middle, by, 1.0)), AT, 0.0)
        assert len(found) == 1 and "two colours" in found[0]
        said = float(found[0].split(" %")[0].split()[-1]) / 100
        assert said == pytest.approx(min(middle.mean(), 1 - middle.mean()), abs=0.02)


def test_gloss_in_a_corner_is_not_taken_for_light_that_falls_off():
    light = np.where((AT < SIDE / 2).all(axis=1), 2.0, 1.0)
    (doubt,) = doubts_of_sample(sample(light), AT, 0.0)
    assert "two colours" in doubt and "25 % of it" in doubt
    found = doubts_of_sample(sample(light * (1 - 0.3 * X)), AT, 0.0)
    assert any("two colours" in d for d in found)


def test_a_small_spot_is_told_in_one_way_or_another():
    spot = np.hypot(*(AT - 20).T) < 7
    for by in (2.5, 0.3):
        assert doubts_of_sample(sample(np.where(spot, by, 1.0)), AT, 0.0)


def test_blotches_are_told_and_clipped_pixels_and_too_few():
    cloud = ndimage.gaussian_filter(np.random.default_rng(4).standard_normal((SIDE, SIDE)), 9)
    cloud -= cloud.mean()
    (doubt,) = doubts_of_sample(sample(1 + 0.12 * (cloud / cloud.std()).ravel()), AT, 0.0)
    assert "from place to place" in doubt or "unevenly" in doubt or "two colours" in doubt
    assert "too bright or too dark" in doubts_of_sample(sample(), AT, 0.05)[0]
    assert doubts_of_sample(sample(), AT, 0.01) == ()
    assert "very small" in doubts_of_sample(sample()[:20], AT[:20], 0.0)[0]


def test_the_lights_slope_is_found_within_the_patches_whatever_their_colours():
    """Drawn patches under light that falls off by a known slope, with grain and one scratch."""
    rng = np.random.default_rng(5)
    across = np.linspace(-0.25, 0.25, 13)
    at = np.stack(np.meshgrid(across, across), axis=-1).reshape(-1, 2)
    slope = np.array([0.04, -0.025])
    colours = rng.uniform(0.04, 0.9, 24)
    seen = colours[:, None] * np.exp(at @ slope) * (1 + 0.02 * rng.standard_normal((24, len(at))))
    seen[3, :30] *= 0.3
    light = light_across(seen, at)
    assert (np.abs(light.slope - slope) < 4 * light.error).all() and (light.error < 0.01).all()
    assert light.fall_off == pytest.approx(1 - np.exp(-(0.2 + 0.075)), abs=0.05)
    even = light_across(colours[:, None] * np.ones((24, len(at))), at)
    assert even.fall_off == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("pose", [{"turn": 0.35, "tilt": 0.25}, {"turn": 1.6}], ids=str)
@pytest.mark.parametrize("shade", [0.0, 0.5, 0.7])
def test_uneven_light_beside_the_chart_is_told_where_it_spoils_a_sample(pose, shade):
    chart, glass = through_camera("D50")
    picture, transform = photograph(chart, glass, shade=shade, **pose)
    correction = correction_from_chart(picture, corners_of(transform))
    along = np.log(1 - shade * carried(transform, LATTICE)[:, 0] / picture.shape[1])
    true = np.linalg.lstsq(np.column_stack([np.ones(24), LATTICE]), along, rcond=None)[0][1:]
    assert correction.light is not None
    assert correction.light.slope == pytest.approx(true, abs=0.008)
    across = 1 - np.exp(-np.abs(true) @ (5, 3))
    assert bool(correction.doubts) == (across > 0.12)
    read = [read_sample(picture, sample_outline(transform, k), correction) for k in range(8)]
    off = np.array([r.lab[0] for r in read]) - spectra()[2][:, 0]
    doubted = np.array([bool(r.doubts) for r in read])
    if shade == 0:
        assert not doubted.any()
    # whatever is off by more than twice what is noticed, beside what even light leaves, is told
    assert doubted[np.abs(off) > JUST_NOTICED + 1].all()
    for r, by in zip(read, off, strict=True):
        for doubt in r.doubts:
            assert ("too light" in doubt) == (by > 0)


def test_gloss_on_a_sample_in_a_photograph_is_told():
    chart, glass = through_camera("D50")
    picture, transform = photograph(chart, glass)
    correction = correction_from_chart(picture, corners_of(transform))
    outline = sample_outline(transform, 2)
    assert read_sample(picture, outline, correction).doubts == ()
    (left, top), (right, bottom) = outline.min(axis=0).astype(int), outline.max(axis=0).astype(int)
    glossy = picture.astype(float)
    part = glossy[top : (top + bottom) // 2, left : (left + right) // 2]
    part[:] = 255 * srgb_from_linear(0.2 + 0.5 * (part / 255) ** 2.2)
    read = read_sample(glossy.astype(np.uint8), outline, correction)
    assert any("two colours" in d for d in read.doubts)
