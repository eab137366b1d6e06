import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.color import rgb2lab

from core.colour import ciede2000
from core.colour.convert import (
    LINEAR_OF_BYTE,
    bytes_from_lab,
    in_gamut,
    lab_from_srgb,
    lab_from_xyz,
    linear_from_srgb,
    linear_from_xyz,
    srgb_from_lab,
    srgb_from_linear,
    swatch_rgb,
    xyz_from_lab,
    xyz_from_linear,
)
from core.colour.science import colour_science


def test_srgb_red_has_the_published_lab():
    # IEC 61966-2-1 red primary through CIE 15: L* 53.23, a* 80.11, b* 67.22.
    np.testing.assert_allclose(lab_from_srgb([1, 0, 0]), [53.23, 80.11, 67.22], atol=0.005)


def test_greys_are_neutral_and_white_is_100():
    grey = lab_from_srgb(np.repeat(np.linspace(0, 1, 256)[:, None], 3, axis=1))
    np.testing.assert_allclose(grey[:, 1:], 0, atol=1e-12)
    np.testing.assert_allclose(grey[-1], [100, 0, 0], atol=1e-12)
    assert (np.diff(grey[:, 0]) > 0).all()


def test_transfer_curve_of_the_standard():
    # IEC 61966-2-1: linear below 0.04045, and the mid value 0.5 is 0.2140 in linear light.
    assert linear_from_srgb(0.04) == pytest.approx(0.04 / 12.92)
    assert linear_from_srgb(0.5) == pytest.approx(0.214041, abs=1e-6)
    assert linear_from_srgb(-0.5) == -linear_from_srgb(0.5)
    assert LINEAR_OF_BYTE[255] == 1 and LINEAR_OF_BYTE[0] == 0


def test_agrees_with_scikit_image():
    # scikit-image keeps six digits of the matrix where the standard prints four.
    rng = np.random.default_rng(1)
    rgb = rng.random((40, 50, 3))
    assert np.abs(lab_from_srgb(rgb) - rgb2lab(rgb)).max() < 0.05


def test_agrees_with_colour_science():
    colour = colour_science()

    rng = np.random.default_rng(2)
    rgb = rng.random((500, 3))
    xyz = colour.sRGB_to_XYZ(rgb)
    np.testing.assert_allclose(xyz_from_linear(linear_from_srgb(rgb)), xyz, atol=1e-6)
    white = xyz_from_linear([1, 1, 1])
    chromaticity = colour.XYZ_to_xy(white)
    np.testing.assert_allclose(lab_from_xyz(xyz), colour.XYZ_to_Lab(xyz, chromaticity), atol=1e-3)


def test_colour_chart_values():
    # X-Rite's 24 patches after November 2014 (D50), through colour-science's xyY of the chart.
    colour = colour_science()

    chart = colour.CCS_COLOURCHECKERS["ColorChecker24 - After November 2014"]
    xyz = {k.lower(): colour.xyY_to_XYZ(v) for k, v in chart.data.items()}
    white = colour.xy_to_XYZ(chart.illuminant)
    for name, lab in {
        "dark skin": (37.54, 14.37, 14.92),
        "red": (42.43, 51.05, 28.62),
        "white 9.5 (.05 d)": (95.19, -1.03, 2.93),
        "black 2 (1.5 d)": (20.64, 0.07, -0.46),
    }.items():
        match = next(v for k, v in xyz.items() if k.startswith(name.split(" (")[0]))
        np.testing.assert_allclose(lab_from_xyz(match, white), lab, atol=0.01)


@given(st.tuples(*[st.floats(0, 1)] * 3))
def test_screen_colours_come_back(rgb):
    lab = lab_from_srgb(rgb)
    # the standard rounds where its two branches meet, so that they differ there by 3e-8
    np.testing.assert_allclose(srgb_from_lab(lab), rgb, rtol=1e-7, atol=5e-8)
    assert in_gamut(lab)


@given(st.tuples(st.floats(0, 100), st.floats(-120, 120), st.floats(-120, 120)))
def test_lab_comes_back_from_xyz(lab):
    np.testing.assert_allclose(lab_from_xyz(xyz_from_lab(lab)), lab, atol=1e-9)


def test_every_8_bit_colour_comes_back_exactly():
    steps = np.arange(0, 256, 5, dtype=np.uint8)
    rgb = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(-1, 3)
    np.testing.assert_array_equal(bytes_from_lab(lab_from_srgb(rgb / 255)), rgb)


def test_munsell_renotation_comes_back():
    """Munsell renotation (Newhall, Nickerson & Judd 1943) as colour-science carries it."""
    colour = colour_science()

    white_c = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["C"]
    xyy = np.array([v for _, v in colour.MUNSELL_COLOURS["real"]])
    xyy[:, 2] /= 100
    xyz = colour.adaptation.chromatic_adaptation_VonKries(
        colour.xyY_to_XYZ(xyy), colour.xy_to_XYZ(white_c), xyz_from_linear([1, 1, 1])
    )
    lab = lab_from_xyz(xyz)
    shown = lab[in_gamut(lab)]
    assert len(shown) > 1000
    np.testing.assert_allclose(lab_from_srgb(srgb_from_lab(shown)), shown, atol=1e-8)
    np.testing.assert_allclose(linear_from_xyz(xyz_from_linear(xyz)), xyz, atol=1e-12)

    eight_bit = lab_from_srgb(bytes_from_lab(shown) / 255)
    assert ciede2000(shown, eight_bit).max() < 1.0


def test_swatch_says_when_a_screen_cannot_show_it():
    assert swatch_rgb((53.2329, 80.1053, 67.2228)) == ((255, 0, 0), True)
    rgb, shown = swatch_rgb((60, -120, 20))
    assert not shown and rgb[0] == 0
    assert srgb_from_linear(0.0031308) == pytest.approx(0.04045, abs=1e-4)


LOADING = """
import sys, numpy as np, core.colour.wanted, core.colour.chart, core.stock.cgats
print({"colour", "skimage", "PySide6"} & set(sys.modules))
before = np.get_printoptions()
from core.colour.science import colour_science
colour_science()
print(np.get_printoptions() == before)
"""


def test_nothing_heavy_is_loaded_before_it_is_needed_nor_numpys_printing_changed():
    told = subprocess.run(
        [sys.executable, "-W", "error", "-c", LOADING],
        cwd=Path(__file__).parents[2],
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout == "set()\nTrue\n"
