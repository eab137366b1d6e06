"""Ornaments tile their place without gap, in whole repeats, with corners alike, and say the fit."""

import re

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from ornaments import BANDS, differ
from shapely.affinity import rotate

from core.errors import EmblemaError
from core.geometry import SNAP_MM
from core.ornament import Module, frame, ring, strip
from core.ornament.fit import SEEN_MM, run_along

MODULE = Module(10.0, 1.5)
HAIR_MM = 0.03  # half the width of what no piece could lie in
kinds = st.sampled_from(list(BANDS))
modules = st.builds(Module, st.floats(4, 12), st.floats(0.5, 1.5))


def exact(band, module, across=2, down=1):
    """Return the outer size at which a frame of so many repeats just fits, mm."""
    p = module.pitch_mm
    return tuple((2 * band.width + band.length(n, True)) * p for n in (across, down))


def is_tiled(ornament, area):
    shapes = np.array([p.outline for p in ornament.parts], dtype=object)
    assert shapely.coverage_is_valid(shapes)
    rounded = SNAP_MM * sum(shapely.length(shapes))
    assert sum(shapely.area(shapes)) == pytest.approx(area, abs=rounded)


@settings(max_examples=25, deadline=None)
@given(kinds, modules, st.floats(0.9, 1.2), st.floats(0.9, 1.2))
def test_a_frame_is_tiled_whatever_its_size(name, module, x, y):
    band = BANDS[name]
    p, wide = module.pitch_mm, 2 * band.width * module.pitch_mm
    w, h = (wide + s * band.length(n, True) * p for s, n in ((x, 2), (y, 1)))
    made = frame(band, (5, 7, 5 + w, 7 + h), module)
    is_tiled(made, w * h - (w - wide) * (h - wide))


@settings(max_examples=25, deadline=None)
@given(kinds, modules, st.floats(-0.02, 0.02))
def test_a_strip_is_tiled_whatever_its_bend(name, module, bend):
    band = BANDS[name]
    p = module.pitch_mm
    length, radius = band.length(3, True) * p, band.width * p / max(abs(bend) * 50, 1e-3) * 2
    t = np.linspace(-0.5, 0.5, 40) * length / radius
    line = [(radius * np.sin(a), np.sign(bend) * radius * np.cos(a)) for a in t]
    made = strip(band, line, module)
    is_tiled(made, made.outline.area)
    # square to its middle line, an even strip has the area of its length times its width
    assert made.outline.area == pytest.approx(length * band.width * p, rel=0.01)


@settings(max_examples=25, deadline=None)
@given(kinds, st.floats(0.95, 1.05))
def test_a_ring_is_tiled_and_closes(name, share):
    band = BANDS[name]
    p = MODULE.pitch_mm
    outer = share * p * (10 * band.repeat / (2 * np.pi) + band.width)
    outer = max(outer, 2.2 * band.width * p)
    made = ring(band, (300, 200), outer, MODULE)
    inner = outer - band.width * p
    is_tiled(made, made.outline.area)
    assert made.outline.area == pytest.approx(np.pi * (outer**2 - inner**2), rel=3e-3)
    (whole,) = made.outline.geoms
    assert len(whole.interiors) == 1


@pytest.mark.parametrize("name", BANDS)
def test_no_hair_is_left_between_what_is_bent(name):
    """Both sides of a border have the same points, so that nothing of it is another's."""
    band = BANDS[name]
    made = ring(band, (300, 200), 4 * band.width * MODULE.pitch_mm, MODULE)
    for part in made.parts:
        thin = shapely.buffer(part.outline, -HAIR_MM, join_style="mitre")
        whole = shapely.buffer(thin, HAIR_MM, join_style="mitre", mitre_limit=20)
        lost = part.outline.difference(whole)
        assert lost.area < 0.1 * HAIR_MM * MODULE.pitch_mm


@pytest.mark.parametrize("name", BANDS)
def test_the_corners_of_a_frame_are_all_alike(name):
    """A quarter turn carries each corner's parts onto the next one's."""
    band = BANDS[name]
    p = MODULE.pitch_mm
    w, h = (s * (1.01, 1.02)[k] for k, s in enumerate(exact(band, MODULE)))
    made = frame(band, (0, 0, w, h), MODULE)
    b = band.width * p
    corners = [(0, 0), (w - b, 0), (w - b, h - b), (0, h - b)]
    for part in made.parts:
        blocks = []
        for turn, (x, y) in enumerate(corners):
            block = shapely.intersection(part.outline, shapely.box(x, y, x + b, y + b))
            block = shapely.transform(block, lambda xy, x=x, y=y: xy - (x, y))
            blocks.append(rotate(block, -90 * turn, origin=(b / 2, b / 2)))
        for block in blocks[1:]:
            assert differ(block, blocks[0]) < 1e-3 * b


@settings(max_examples=60, deadline=None)
@given(kinds, st.floats(1, 40))
def test_a_length_takes_the_whole_number_that_strays_least(name, share):
    band = BANDS[name]
    length = share * band.repeat * MODULE.pitch_mm + band.length(0, True) * MODULE.pitch_mm
    try:
        run = run_along(band, length, MODULE, True)
    except EmblemaError:
        assert abs(share - round(share)) > 0.2  # only where it is a bad fit for few
        return
    assert run.repeats == int(run.repeats) and abs(run.repeats - share) <= 0.5 + 1e-9
    laid = band.length(run.repeats, True) * run.stretch * MODULE.pitch_mm
    assert laid == pytest.approx(length)


def test_the_misfit_is_said_and_the_size_that_would_fit():
    band = BANDS["dentils"]
    w, h = exact(band, MODULE, 6, 4)
    assert frame(band, (0, 0, w, h), MODULE).notes == (
        "Level sides: 6 repeats of 46.0 mm: just the module.",
        "Upright sides: 4 repeats of 46.0 mm: just the module.",
    )
    level, upright, exactly = frame(band, (0, 0, w + 6, h - 3), MODULE).notes
    more, less = (float(re.search(r": ([\d.]+) mm (more|less)", s)[1]) for s in (level, upright))
    # six repeats and the half that a side has beyond them share six millimetres
    assert more == pytest.approx(6 / 6.5, abs=SEEN_MM)
    assert less == pytest.approx(3 / 4.5, abs=SEEN_MM)
    assert "more than the module each" in level and "less than the module each" in upright
    assert exactly == f"It would fit exactly at {w:.1f} x {h:.1f} mm."


def test_what_has_no_room_or_bends_too_sharply_is_refused_in_words():
    band = BANDS["guilloche of two"]
    with pytest.raises(EmblemaError, match="must be .* mm or more each way"):
        frame(band, (0, 0, 200, 200), MODULE)
    with pytest.raises(EmblemaError, match="no length for"):
        frame(band, (0, 0, 480, 1200), MODULE)
    with pytest.raises(EmblemaError, match="bends too sharply"):
        strip(band, [(0, 0), (150, 0), (300, 20), (300, 320)], MODULE)
    with pytest.raises(EmblemaError, match="bends too sharply"):
        ring(band, (0, 0), 200, MODULE)
