"""Materials keep their colours under the standard light, whatever their kind, finish and scale.

The mean is measured by colour-science: sRGB to light by IEC 61966-2-1, CIELAB under D65, CIEDE2000.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from look_rig import mean_lab, off_by, on_pieces, panel

from core.colour.convert import in_gamut
from core.look.light import STANDARD
from core.look.render import picture
from core.material import FINISHES, KINDS, Material
from core.stock.lists import starter_stock

MOST = 2.0
COLOURS = ((13.0, 0.3, -0.8), (33.0, 40.0, 24.0), (55.0, -4.0, -20.0), (93.0, -0.8, 3.0))
ACROSS, DOWN = 10, 6


def measured(material: Material, px_per_mm: float, in_by_mm: float = 0.0) -> tuple[float, ...]:
    doc, layout = panel(material, across=ACROSS, down=DOWN)
    pixels = picture(doc, layout, px_per_mm)
    return mean_lab(pixels[on_pieces(px_per_mm, ACROSS, DOWN, in_by_mm)])


@pytest.mark.parametrize("finish", FINISHES)
@pytest.mark.parametrize("kind", KINDS)
def test_the_mean_of_a_materials_pieces_is_its_colour(kind: str, finish: str) -> None:
    off = {
        lab: off_by(measured(Material("M", "", kind, lab, finish=finish), 4.0, 0.25), lab)
        for lab in COLOURS
    }
    assert max(off.values()) <= MOST, off


@pytest.mark.parametrize("px_per_mm", [2.0, 10.0])
@pytest.mark.parametrize(
    ("kind", "finish"),
    [("smalti", "polished"), ("gold glass", "metallic"), ("marble", "matt"), ("shell", "polished")],
)
def test_it_is_so_near_and_far(kind: str, finish: str, px_per_mm: float) -> None:
    for lab in ((33.0, 40.0, 24.0), (80.0, 2.0, 40.0)):
        m = Material("M", "", kind, lab, finish=finish)
        assert off_by(measured(m, px_per_mm, 0.3), lab) <= MOST


def test_what_the_trade_sells_keeps_its_colour() -> None:
    stock = [m for m in starter_stock() if in_gamut(m.lab)]
    doc, layout = panel(*stock, across=6, down=6)
    pixels, on = picture(doc, layout, 3.0), on_pieces(3.0, 6, 6, 0.2)
    wide = on.shape[1]
    off = {
        m.code: off_by(mean_lab(pixels[:, k * wide : (k + 1) * wide][on]), m.lab)
        for k, m in enumerate(stock)
    }
    assert max(off.values()) <= MOST, max(off, key=off.get)


@settings(max_examples=15, deadline=None)
@given(
    st.tuples(st.floats(8, 95), st.floats(-60, 60), st.floats(-60, 60)).filter(in_gamut),
    st.sampled_from(KINDS),
    st.sampled_from(FINISHES),
)
def test_any_colour_that_a_screen_shows(lab, kind, finish) -> None:  # type: ignore[no-untyped-def]
    material = Material("M", "", kind, lab, finish=finish)
    assert off_by(measured(material, 3.0, 0.2), lab) <= MOST


def test_the_light_itself_is_not_evened_out() -> None:
    doc, layout = panel(Material("M", "", "smalti", (55.0, 0.0, 0.0), finish="polished"))
    plain = picture(doc, layout, 3.0)
    dim = picture(doc, layout, 3.0, light=replace(STANDARD, strength=0.4))
    assert dim.mean() < 0.85 * plain.mean()


def test_joints_are_grout_in_the_shade() -> None:
    doc, layout = panel(Material("M", "", "marble", (80.0, 0.0, 10.0)))
    doc = replace(doc, grout_lab=(60.0, 20.0, 20.0))
    pixels = picture(doc, layout, 6.0)
    beyond = pixels[~on_pieces(6.0, 10, 6, -0.2)]
    lightness, a, b = mean_lab(beyond)
    assert 35 < lightness < 60
    assert np.degrees(np.arctan2(b, a)) == pytest.approx(45, abs=6)
