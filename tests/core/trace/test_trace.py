"""Tracing: known areas are found, borders are shared, nothing is lost."""

import io

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image, ImageDraw

from core.commission import Commission
from core.errors import EmblemaError, Stopped
from core.fields import add_outline, areas, gaps_and_overlaps
from core.sketch import import_sketch
from core.trace import Wish, colour_name, trace
from core.trace.borders import outlines

W, H = 900, 450  # the picture, one pixel a mm


def png(image: Image.Image, grain: float = 0.0) -> bytes:
    a = np.asarray(image).astype(float)
    rng = np.random.default_rng(4)
    a = a + rng.normal(0, grain, (*a.shape[:2], 1)) + rng.normal(0, grain / 3, a.shape)
    out = io.BytesIO()
    Image.fromarray(a.clip(0, 255).astype(np.uint8)).save(out, "PNG")
    return out.getvalue()


def drawn() -> Image.Image:
    image = Image.new("RGB", (W, H), (190, 215, 230))
    d = ImageDraw.Draw(image)
    d.ellipse((100, 80, 360, 340), fill=(230, 200, 90), outline=(70, 70, 70), width=2)
    d.polygon([(450, 60), (820, 150), (600, 380)], fill=(60, 90, 120))
    d.ellipse((560, 140, 680, 260), fill=(200, 80, 60))
    d.rectangle((0, 400, W, H), fill=(90, 120, 70))
    d.line([(20, 20), (400, 60)], fill=(70, 70, 70), width=2)  # a stray pencil line
    d.ellipse((200, 200, 206, 206), fill=(20, 20, 20))  # a speck
    return image


def traced(grain: float) -> Commission:
    doc, images, _ = import_sketch(Commission("Wall", W, H), png(drawn(), grain), "a.png")
    return trace(doc, images).doc


@pytest.mark.parametrize("grain", [0.0, 10.0])
def test_known_areas_come_back_within_two_percent(grain: float) -> None:
    doc = traced(grain)
    found = {f.name: s for f, s in zip(doc.fields, areas(doc), strict=True)}
    red = np.pi * 60**2
    blue = shapely.Polygon([(450, 60), (820, 150), (600, 380)])
    truth = {
        "Pale yellow": np.pi * 129**2,  # to the middle of its pencil line
        "Red": red,
        "Blue": blue.area - blue.intersection(shapely.Point(620, 200).buffer(60)).area,
        "Green": W * 50,
    }
    assert set(truth) | {"Pale blue"} == set(found)
    for name, area in truth.items():
        assert found[name].area == pytest.approx(area, rel=0.02), name
    # the border lies where it was drawn, within a pencil line's width
    disc = shapely.Point(230, 210).buffer(130, quad_segs=64).boundary
    assert shapely.hausdorff_distance(found["Pale yellow"].boundary, disc) < 2.5


def test_fields_share_their_borders_and_cover_the_work() -> None:
    doc = traced(10.0)
    shapes = np.array(areas(doc), dtype=object)
    assert shapely.coverage_is_valid(shapes)
    assert shapely.area(shapes).sum() == pytest.approx(W * H, rel=1e-6)
    assert gaps_and_overlaps(doc) == ()


def test_what_was_drawn_by_hand_stays_on_top() -> None:
    doc, images, _ = import_sketch(Commission("Wall", W, H), png(drawn()), "a.png")
    mine = add_outline(doc, [(200, 200), (500, 200), (500, 300)], "Mine")
    out = trace(mine.doc, images).doc
    assert areas(out)[-1].area == pytest.approx(areas(mine.doc)[0].area)
    assert out.fields[-1].name == "Mine"
    assert gaps_and_overlaps(out) == ()


def test_bad_requests_are_told() -> None:
    doc = Commission("Wall", W, H)
    with pytest.raises(EmblemaError, match="no sketch"):
        trace(doc, {})
    doc, images, _ = import_sketch(doc, png(drawn()), "a.png")
    with pytest.raises(EmblemaError, match="2 to 64"):
        trace(doc, images, Wish(colours=1))
    with pytest.raises(Stopped):
        trace(doc, images, stop=lambda: True)


def test_a_plain_sheet_is_one_field() -> None:
    sheet = png(Image.new("RGB", (60, 40), (200, 190, 170)))
    doc, images, _ = import_sketch(Commission("Wall", 60, 40), sheet, "a.png")
    out = trace(doc, images).doc
    assert len(out.fields) == 1
    assert areas(out)[0].area == pytest.approx(2400)


@settings(max_examples=40, deadline=None)
@given(
    arrays(np.int64, (14, 18), elements=st.integers(0, 3)),
    st.sampled_from([0.0, 0.5, 1.0]),
)
def test_any_regions_at_all_become_a_map_without_gaps(cells, smooth: float) -> None:
    from skimage.measure import label

    regions = label(np.kron(cells, np.ones((6, 6), int)), background=-1, connectivity=1) - 1
    shapes, numbers = outlines(regions, smooth)
    shapes = np.array(shapes, dtype=object)
    assert shapely.coverage_is_valid(shapes)
    assert shapely.area(shapes).sum() == pytest.approx(regions.size, rel=1e-6)
    if smooth == 0.0:
        assert numbers == list(range(regions.max() + 1))
        assert shapely.area(shapes) == pytest.approx(np.bincount(regions.ravel()))


def test_colours_have_plain_names() -> None:
    # Munsell-like landmarks of CIELAB: sRGB red is 53.2, 80.1, 67.2 (IEC 61966-2-1)
    assert colour_name(np.array([53.23, 80.11, 67.22])) == "red"
    assert colour_name(np.array([97.1, -21.6, 94.5])) == "pale yellow"
    assert colour_name(np.array([32.3, 79.2, -107.9])) == "dark violet"
    assert colour_name(np.array([50.0, 0.0, 0.0])) == "grey"
    assert colour_name(np.array([98.0, 0.0, 2.0])) == "white"
