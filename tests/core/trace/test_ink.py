"""Ink, grain and wash do not make fields; what a person points at is found."""

from __future__ import annotations

import io
from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter

from core.commission import Commission
from core.errors import EmblemaError
from core.fields import areas, gaps_and_overlaps
from core.sketch import import_sketch
from core.trace import Flat, Wish, colour_name, picked_at, picked_within, trace
from core.trace.flat import ink_of, lab_of, without
from core.trace.names import names_of

W, H = 800, 520
FISH = [(400 + 170 * np.cos(a), 240 + 80 * np.sin(a)) for a in np.linspace(0, 2 * np.pi, 90)]
SKY, SEA, GOLD, INK = (205, 222, 228), (58, 116, 150), (228, 150, 70), (40, 36, 40)


def drawn(ink_px: int = 4, grain: float = 8.0, wash: float = 0.05) -> Image.Image:
    """A fish over water, outlined in ink, on grained paper with an uneven wash."""
    image = Image.new("RGB", (2 * W, 2 * H), SKY)
    d = ImageDraw.Draw(image)
    water = [(x, 400 + 20 * np.sin(x / 90)) for x in range(0, W + 1, 10)]

    def at(points):
        return [(2 * x, 2 * y) for x, y in points]

    d.polygon(at([*water, (W, H), (0, H)]), fill=SEA)
    d.polygon(at(FISH), fill=GOLD)
    if ink_px:
        for line in (water, [*FISH, FISH[0]], [(400, 160), (400, 320)]):
            d.line(at(line), fill=INK, width=2 * ink_px, joint="curve")
    a = np.asarray(image.resize((W, H), Image.Resampling.LANCZOS)).astype(float)
    rng = np.random.default_rng(7)
    cloud = gaussian_filter(rng.normal(0, 1, (H, W)), 40)
    a *= (1 + wash * cloud / cloud.std())[..., None]
    a += rng.normal(0, grain, (H, W, 1)) + rng.normal(0, grain / 3, a.shape)
    return Image.fromarray(a.clip(0, 255).astype(np.uint8))


def commission(image: Image.Image) -> tuple[Commission, dict[str, bytes]]:
    out = io.BytesIO()
    image.save(out, "PNG")
    return import_sketch(Commission("Wall", W, H), out.getvalue(), "a.png")[:2]


@pytest.fixture(scope="module")
def sketched():
    return commission(drawn())


def overlap(shape, truth) -> float:
    """Area in common over area together."""
    return shape.intersection(truth).area / shape.union(truth).area


def test_ink_lines_go_to_the_areas_beside_them(sketched):
    doc = trace(*sketched).doc
    assert len(doc.fields) == 3
    assert not any("black" in f.name.lower() or "dark" in f.name.lower() for f in doc.fields)
    best = max(overlap(s, shapely.Polygon(FISH)) for s in areas(doc))
    assert best > 0.96  # its border runs in the middle of its ink
    assert gaps_and_overlaps(doc) == ()


def test_ink_lines_part_areas_of_one_colour_where_that_is_asked(sketched):
    doc = trace(*sketched, Wish(ink="borders")).doc
    left = shapely.Polygon(FISH).intersection(shapely.box(0, 0, 400, H))
    right = shapely.Polygon(FISH).intersection(shapely.box(400, 0, W, H))
    for half in (left, right):
        assert max(overlap(s, half) for s in areas(doc)) > 0.9


def test_ink_that_is_a_colour_stays_one():
    doc = trace(*commission(drawn(ink_px=14, grain=3, wash=0)), Wish(ink="drawn", calm=1)).doc
    assert any("dark" in f.name.lower() or "black" in f.name.lower() for f in doc.fields)


def test_calm_makes_fewer_fields_of_a_wash():
    counts = [len(trace(*commission(drawn(wash=0.07)), Wish(calm=c)).field_ids) for c in (0, 3)]
    assert counts[1] <= 4
    assert counts[0] > counts[1]


def test_no_field_is_a_sliver(sketched):
    for wish in (Wish(), Wish(calm=1), Wish(ink="borders", calm=2)):
        for shape in areas(trace(*sketched, wish).doc):
            for part in shape.geoms:
                inner = shapely.buffer(part, -1.9)
                assert not inner.is_empty  # somewhere at least four mm wide


def test_a_dark_area_is_no_ink_and_keeps_its_tip():
    image = Image.new("RGB", (600, 400), SKY)
    d = ImageDraw.Draw(image)
    wedge = [(100, 120), (500, 200), (100, 280)]
    d.polygon(wedge, fill=(40, 50, 70))
    lab = lab_of(np.asarray(image))
    on = np.zeros((400, 600), bool)
    on[185:215, 100:440] = True
    assert not (ink_of(lab) & on).any()


def test_what_has_no_ink_is_left_as_it_is():
    lab = np.full((40, 50, 3), 60.0)
    assert not ink_of(lab).any()
    assert without(lab, np.zeros((40, 50), bool)) is lab


@settings(deadline=None, max_examples=8)
@given(st.floats(20, 340), st.floats(-60, 60))
def test_a_click_takes_the_area_it_is_in(sketched, turn, radius):
    flat = _flat(sketched)
    a = np.radians(turn)
    place = (400 + radius * np.cos(a) + 25, 240 + 0.4 * radius * np.sin(a) + 10)
    found = picked_at(flat, place)
    assert overlap(found.shape, shapely.Polygon(FISH)) > 0.93
    assert "orange" in found.name.lower() or "sand" in found.name.lower()


_kept: dict[int, Flat] = {}


def _flat(sketched) -> Flat:
    if id(sketched) not in _kept:
        _kept[id(sketched)] = Flat.of(*sketched)
    return _kept[id(sketched)]


def test_what_lies_inside_a_line_drawn_round_it_is_taken(sketched):
    loose = [(400 + 215 * np.cos(a), 240 + 115 * np.sin(a)) for a in np.linspace(0, 6.1, 24)]
    found = picked_within(_flat(sketched), loose)
    assert overlap(found.shape, shapely.Polygon(FISH)) > 0.93


def test_pointing_at_nothing_is_told(sketched):
    flat = _flat(sketched)
    with pytest.raises(EmblemaError, match="Nothing of the sketch"):
        picked_at(flat, (-20.0, 5.0))
    with pytest.raises(EmblemaError, match="colours that the line runs through"):
        picked_within(flat, [(60, 60), (140, 60), (140, 120), (60, 120)])
    with pytest.raises(EmblemaError, match="round something"):
        picked_within(flat, [(-60, -60), (-40, -60), (-40, -20)])
    with pytest.raises(EmblemaError, match="no sketch"):
        Flat.of(Commission("x", 10, 10), {})


def test_bad_wishes_are_told(sketched):
    for wish, fault in ((Wish(ink="all"), "ink lines"), (Wish(calm=9), "calm"),
                        (Wish(smooth=-1), "smooth")):  # fmt: skip
        with pytest.raises(EmblemaError, match=fault):
            trace(*sketched, wish)


@given(st.lists(st.tuples(st.floats(0, 100), st.floats(-60, 60), st.floats(0, 1), st.floats(0, 1)),
                max_size=30))  # fmt: skip
def test_no_two_fields_have_one_name(rows):
    labs = [np.array([light, a, 0.0]) for light, a, _, _ in rows]
    names = names_of(labs, [(x, y) for _, _, x, y in rows], 1.0, 1.0)
    assert max(Counter(names).values(), default=1) == 1
    for lab, name in zip(labs, names, strict=True):
        assert name.lower().startswith(colour_name(lab))
