import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skimage.color import deltaE_ciede2000

from core.colour import ciede2000, nearest
from core.colour.science import colour_science

# Sharma, Wu & Dalal 2005, doi 10.1002/col.20070, table 1: L1 a1 b1 L2 a2 b2 dE00.
SHARMA = np.array(
    [
        [50.0000, 2.6772, -79.7751, 50.0000, 0.0000, -82.7485, 2.0425],
        [50.0000, 3.1571, -77.2803, 50.0000, 0.0000, -82.7485, 2.8615],
        [50.0000, 2.8361, -74.0200, 50.0000, 0.0000, -82.7485, 3.4412],
        [50.0000, -1.3802, -84.2814, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -1.1848, -84.8006, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, -0.9009, -85.5211, 50.0000, 0.0000, -82.7485, 1.0000],
        [50.0000, 0.0000, 0.0000, 50.0000, -1.0000, 2.0000, 2.3669],
        [50.0000, -1.0000, 2.0000, 50.0000, 0.0000, 0.0000, 2.3669],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0009, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0010, 7.1792],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0011, 7.2195],
        [50.0000, 2.4900, -0.0010, 50.0000, -2.4900, 0.0012, 7.2195],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0009, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0010, -2.4900, 4.8045],
        [50.0000, -0.0010, 2.4900, 50.0000, 0.0011, -2.4900, 4.7461],
        [50.0000, 2.5000, 0.0000, 50.0000, 0.0000, -2.5000, 4.3065],
        [50.0000, 2.5000, 0.0000, 73.0000, 25.0000, -18.0000, 27.1492],
        [50.0000, 2.5000, 0.0000, 61.0000, -5.0000, 29.0000, 22.8977],
        [50.0000, 2.5000, 0.0000, 56.0000, -27.0000, -3.0000, 31.9030],
        [50.0000, 2.5000, 0.0000, 58.0000, 24.0000, 15.0000, 19.4535],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.1736, 0.5854, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2972, 0.0000, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 1.8634, 0.5757, 1.0000],
        [50.0000, 2.5000, 0.0000, 50.0000, 3.2592, 0.3350, 1.0000],
        [60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644],
        [63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630],
        [61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731],
        [35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645],
        [22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373],
        [36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146],
        [90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441],
        [90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381],
        [6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377],
        [2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082],
    ]
)


def test_the_34_published_pairs():
    found = ciede2000(SHARMA[:, :3], SHARMA[:, 3:6])
    assert len(SHARMA) == 34
    np.testing.assert_array_equal(np.round(found, 4), SHARMA[:, 6])


def test_the_published_pairs_the_other_way_round():
    back = ciede2000(SHARMA[:, 3:6], SHARMA[:, :3])
    np.testing.assert_array_equal(np.round(back, 4), SHARMA[:, 6])


@pytest.mark.parametrize("factors", [(1, 1, 1), (2, 1, 1), (1.3, 0.8, 1.7)])
def test_agrees_with_scikit_image(factors):
    rng = np.random.default_rng(5)
    one, two = rng.uniform([0, -110, -110], [100, 110, 110], (2, 5000, 3))
    ours = ciede2000(one, two, *factors)
    kl, kc, kh = factors
    np.testing.assert_allclose(
        ours, deltaE_ciede2000(one, two, kL=kl, kC=kc, kH=kh), rtol=1e-10, atol=1e-10
    )


def test_agrees_with_colour_science():
    colour = colour_science()

    rng = np.random.default_rng(6)
    one, two = rng.uniform([0, -110, -110], [100, 110, 110], (2, 5000, 3))
    np.testing.assert_allclose(ciede2000(one, two), colour.delta_E(one, two), rtol=1e-9)


labs = arrays(
    np.float64, 3, elements=st.floats(-100, 100, allow_subnormal=False), fill=st.nothing()
).map(lambda v: np.array([abs(v[0]), v[1], v[2]]))


@given(labs, labs)
def test_is_zero_for_equals_symmetric_and_never_less_than_its_lightness_part(one, two):
    d = ciede2000(one, two)
    assert ciede2000(one, one) == 0
    assert d == pytest.approx(ciede2000(two, one), abs=1e-9)
    middle = (one[0] + two[0]) / 2 - 50
    share = 1 + 0.015 * middle**2 / np.sqrt(20 + middle**2)
    assert d >= abs(one[0] - two[0]) / share - 1e-9


def test_broadcasts():
    rng = np.random.default_rng(7)
    one, two = rng.uniform(-50, 50, (7, 3)), rng.uniform(-50, 50, (4, 3))
    table = ciede2000(one[:, None], two)
    assert table.shape == (7, 4)
    assert table[3, 2] == ciede2000(one[3], two[2])


def test_nearest_is_the_least_of_every_pair_and_the_first_of_equals():
    rng = np.random.default_rng(8)
    wanted = rng.uniform([0, -60, -60], [100, 60, 60], (1000, 3))
    stocked = rng.uniform([0, -60, -60], [100, 60, 60], (30, 3))
    stocked[20] = stocked[4]
    index, delta_e = nearest(wanted, stocked)
    table = deltaE_ciede2000(wanted[:, None], stocked[None])
    np.testing.assert_allclose(delta_e, table.min(axis=1), rtol=1e-10)
    np.testing.assert_array_equal(index, table.argmin(axis=1))
    assert (index == 4).any() and not (index == 20).any()
    with pytest.raises(ValueError, match="at least one"):
        nearest(wanted, np.empty((0, 3)))
