"""Pieces thinner than a hand would cut: given up, or never made."""

import pytest
import shapely
from awkward import CATALOGUE, disc, ribbon_outline, setting, wave
from measures import least_width, measure
from shapely import MultiPolygon

from core.laying import coursed, cuts, lay_field

THIN = 0.4  # tesserae across; common practice: nippers crush a narrower strip
STRIPS = ["letter_x", "lines_that_cross"]


@pytest.mark.parametrize("name", STRIPS)
def test_a_strip_is_given_up_and_those_beside_take_its_room(name, monkeypatch):
    s = CATALOGUE[name]()
    s = s.with_choices(tessera_mm=0.93 * s.laying.tessera_mm)

    def found() -> tuple[float, dict[str, float]]:
        pieces = lay_field(s)
        least = float(least_width(pieces.polygons).min()) / s.laying.tessera_mm
        return least, measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces, s.flow)

    least, after = found()
    assert least > THIN and after["narrow"] == 0
    monkeypatch.setattr(coursed, "without_strips", lambda parts_of, s, *_: (*parts_of(s), s))
    least, before = found()
    assert least < THIN
    assert after["coverage"] > before["coverage"] - 0.002
    assert after["pools"] < before["pools"] + 0.0005


@pytest.mark.parametrize("wide", [4.0, 5.0])
def test_a_stem_half_a_tessera_wide_is_laid_in_a_row(wide):
    """Straight or bent, and where a body is elsewhere: nothing could take its room."""
    bent = ribbon_outline(wave(200, 20), wide)
    shapes = [shapely.box(0, 0, 200, wide), bent]
    if wide > 4.5:
        shapes.append(MultiPolygon([bent, disc(40, 300)]))
    for shape in shapes:
        s = setting(shape, 9.0, 1.0)
        pieces = lay_field(s)
        stem = pieces.polygons[pieces.centre_mm[:, 0] < 205]
        box = shapely.oriented_envelope(stem)
        assert len(stem) >= 10
        assert (shapely.length(box) / 2 < 3.6 * s.pitch_mm).all()  # none much over three long
        assert shapely.area(stem).sum() > 0.66 * (wide - 1) / wide / 0.8 * 200 * wide


def test_short_courses_do_not_end_in_slivers(monkeypatch):
    """Beside a socket nine pieces end between two borders: joints part, none is crushed for it."""
    wall = [(0, 0), (0, 230.45), (119.4, 230.45), (119.4, 141.42), (212.25, 141.42), (212.25, 0)]
    socket = shapely.box(62.5777, 67.122, 124.4187, 118.955)
    s = setting(shapely.Polygon(wall) - socket, 6.0376, 0.8556, False)
    monkeypatch.setattr(coursed, "without_strips", lambda parts_of, s, *_: (*parts_of(s), s))

    def least() -> float:
        return float(least_width(lay_field(s).polygons).min()) / s.laying.tessera_mm

    kept = least()
    monkeypatch.setattr(cuts, "LEAST", 0.0)
    assert kept > THIN > least()
