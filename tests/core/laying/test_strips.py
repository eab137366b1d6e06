"""Pieces thinner than a hand would cut: given up, or never made."""

from dataclasses import replace

import pytest
import shapely
from awkward import CATALOGUE, disc, ribbon_outline, setting, wave
from measures import least_width, measure
from shapely import MultiPolygon

from core.laying import lay_field
from core.laying.opus import coursed

THIN = 0.4  # tesserae across; common practice: nippers crush a narrower strip


def test_a_strip_is_given_up_and_those_beside_take_its_room(monkeypatch):
    """Between two lines that cross a strip is left now and then: none is kept."""
    crossed = CATALOGUE["lines_that_cross"]()
    crossed = crossed.with_choices(tessera_mm=0.93 * crossed.laying.tessera_mm)
    several = [replace(crossed, seed=seed) for seed in range(1, 7)]

    def found() -> tuple[list[float], list[dict[str, float]]]:
        laid = [(s, lay_field(s)) for s in several]
        least = [float(least_width(p.polygons).min()) / s.laying.tessera_mm for s, p in laid]
        sizes = (crossed.laying.tessera_mm, crossed.laying.joint_mm)
        return least, [measure(s.outline, *sizes, p, s.flow) for s, p in laid]

    least, after = found()
    assert min(least) > THIN and all(m["narrow"] == 0 for m in after)
    monkeypatch.setattr(coursed, "without_strips", lambda rooms_of, s, *_: rooms_of(s))
    least, before = found()
    assert min(least) < THIN
    for one, two in zip(after, before, strict=True):
        assert one["coverage"] > two["coverage"] - 0.002
        assert one["pools"] < two["pools"] + 0.0005


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
