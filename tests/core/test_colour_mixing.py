import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.spatial import cKDTree

from core.colour import ciede2000, lab_from_linear, linear_from_lab
from core.colour.mixing import blended, dealt_out, optical_mix
from core.colour.scatter import even_order
from core.errors import EmblemaError
from core.stock import starter_stock

PALETTE = np.array([m.lab for m in starter_stock()])
GROUT = np.array([62.0, 0.5, 4.0])


def seen(shares, parts, palette, joint):
    """What a mixture and its grout blend to, one wanted colour at a time."""
    out = []
    for some, share in zip(parts, shares, strict=True):
        light = joint * linear_from_lab(GROUT)
        for k, s in zip(some, share, strict=True):
            if k >= 0:
                light = light + (1 - joint) * s * linear_from_lab(palette[k])
        out.append(lab_from_linear(light))
    return np.array(out)


def soft_colours(n, seed=1):
    rng = np.random.default_rng(seed)
    return rng.uniform([35, -15, -15], [75, 15, 25], (n, 3))


@pytest.mark.parametrize("parts", [1, 2, 3])
@pytest.mark.parametrize("joint", [0.0, 0.2])
def test_mixtures_blend_to_what_they_say(parts, joint):
    wanted = soft_colours(200)
    mix = optical_mix(wanted, PALETTE, GROUT, joint, parts)
    np.testing.assert_allclose(mix.shares.sum(axis=1), 1)
    assert (mix.shares >= 0).all() and ((mix.parts >= 0) == (mix.shares > 0)).all()
    found = seen(mix.shares, mix.parts, PALETTE, joint)
    np.testing.assert_allclose(ciede2000(wanted, found), mix.delta_e, atol=1e-6)
    assert (mix.delta_e <= mix.delta_e_single + 1e-9).all()
    one = np.tile((1 - joint) * linear_from_lab(PALETTE) + joint * linear_from_lab(GROUT), 1)
    best = ciede2000(wanted[:, None], lab_from_linear(one)).min(axis=1)
    np.testing.assert_allclose(mix.delta_e_single, best, atol=1e-9)


def test_mixing_brings_the_colour_nearer():
    wanted = soft_colours(300)
    means = [optical_mix(wanted, PALETTE, GROUT, 0.2, k).delta_e.mean() for k in (1, 2, 3)]
    assert means[1] < 0.6 * means[0] and means[2] < 0.75 * means[1]


def test_a_colour_made_of_two_materials_is_taken_apart_again():
    palette = np.array([[40.0, 20.0, 10.0], [70.0, -10.0, 20.0], [20.0, 5.0, -40.0]])
    wanted = lab_from_linear(
        0.85 * (0.3 * linear_from_lab(palette[0]) + 0.7 * linear_from_lab(palette[1]))
        + 0.15 * linear_from_lab(GROUT)
    )
    mix = optical_mix(wanted, palette, GROUT, 0.15, 2)
    assert mix.parts[0].tolist() == [0, 1]
    np.testing.assert_allclose(mix.shares[0], [0.3, 0.7], atol=1e-6)
    assert mix.delta_e[0] < 1e-4


def test_half_black_half_white_is_lighter_than_the_mean_of_their_lightness():
    # CIE 15: half of white's light is L* 76.07.
    np.testing.assert_allclose(
        blended([[0.0, 0, 0], [100.0, 0, 0]], [0.5, 0.5]), [76.0693, 0, 0], atol=1e-3
    )


def test_dealt_out_pieces_keep_the_shares_and_blend_locally():
    rng = np.random.default_rng(5)
    k = 45
    grid = np.stack(np.meshgrid(np.arange(k), np.arange(k)), axis=-1).reshape(-1, 2)
    centre = (grid + rng.uniform(-0.2, 0.2, grid.shape)) * 11.5
    order = even_order(centre, 1)
    pairs = cKDTree(centre).query_pairs(50, output_type="ndarray")
    gap = np.linalg.norm(centre[pairs[:, 0]] - centre[pairs[:, 1]], axis=1)
    near = sparse.coo_array((np.exp(-((gap / 16) ** 2) / 2), pairs.T), shape=(k * k, k * k)).tocsr()
    near = near + near.T + sparse.eye_array(k * k)

    def error(laid, wanted):
        light = 0.8 * linear_from_lab(PALETTE[laid]) + 0.2 * linear_from_lab(GROUT)
        local = (near @ light) / near.sum(axis=1)[:, None]
        return ciede2000(wanted, lab_from_linear(local)).mean()

    errors = []
    for colour in soft_colours(8, 8):
        wanted = np.tile(colour, (k * k, 1))
        mix = optical_mix(wanted, PALETTE, GROUT, 0.2, 3)
        index = dealt_out(mix, order)
        used = mix.parts[0] >= 0
        counts = np.array([(index == p).sum() for p in mix.parts[0][used]])
        np.testing.assert_allclose(counts / k**2, mix.shares[0][used], atol=0.002)
        single = np.full(k * k, optical_mix(colour, PALETTE, GROUT, 0.2, 1).parts[0, 0])
        chance = dealt_out(mix, rng.permutation(order))
        errors.append([error(laid, wanted) for laid in (index, single, chance)])
    even, alone, by_chance = np.mean(errors, axis=0)
    assert even < 0.5 * alone
    assert even < 0.6 * by_chance


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.floats(0, 100), st.floats(-90, 90), st.floats(-90, 90)), min_size=1, max_size=4
    ),
    st.integers(1, 3),
    st.floats(0, 0.9),
    st.integers(1, 5),
)
def test_any_colours_and_palettes(wanted, parts, joint, size):
    mix = optical_mix(wanted, PALETTE[:size], GROUT, joint, parts)
    assert np.isfinite(mix.delta_e).all() and (mix.parts[:, 0] >= 0).all()
    assert (mix.parts < size).all() and (mix.delta_e <= mix.delta_e_single + 1e-9).all()


def test_what_cannot_be_mixed_is_said():
    assert len(optical_mix(np.empty((0, 3)), PALETTE, GROUT, 0.2).parts) == 0
    for bad in (
        lambda: optical_mix([[50, 0, 0]], np.empty((0, 3)), GROUT, 0.2),
        lambda: optical_mix([[50, 0, 0]], PALETTE, GROUT, 1.0),
        lambda: optical_mix([[50, 0, 0]], PALETTE, GROUT, 0.2, 4),
    ):
        with pytest.raises(EmblemaError):
            bad()
