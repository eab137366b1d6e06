import gc
import io
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from core.colour import ciede2000, lab_from_linear, lab_from_srgb, linear_from_srgb
from core.colour.fieldmatch import match_field
from core.colour.wanted import SketchColours, stocked_lab
from core.commission import Commission, Field, Sketch, Swap, field_of
from core.errors import EmblemaError
from core.material import Material
from core.pieces import Pieces

RNG = np.random.default_rng(3)
PIXELS = RNG.integers(0, 256, (30, 40, 3), dtype=np.uint8)
SKETCH = Sketch("a.png", 40, 30, 2.5, (7.0, -4.0), 0.3)
SQUARE = (((0.0, 0.0), (50.0, 0.0), (50.0, 50.0), (0.0, 50.0)),)


def pieces_of(polygons):
    n = len(polygons)
    return Pieces(np.asarray(polygons, object), np.zeros(n, int), np.arange(n), np.zeros(n))


def png(pixels):
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "png")
    return out.getvalue()


def by_clipping(sketch, pixels, polygon):
    """The mean by intersecting the piece with every pixel, one at a time."""
    x, y = np.meshgrid(np.arange(sketch.width_px), np.arange(sketch.height_px))
    boxes = shapely.box(x.ravel(), y.ravel(), x.ravel() + 1, y.ravel() + 1)
    c, s = np.cos(sketch.turn_rad), np.sin(sketch.turn_rad)
    turn = np.array([[c, -s], [s, c]]) * sketch.mm_per_px
    boxes = shapely.transform(boxes, lambda p: p @ turn.T + sketch.origin_mm)
    area = shapely.area(shapely.intersection(boxes, polygon))
    light = linear_from_srgb(pixels.reshape(-1, 3) / 255)
    return lab_from_linear((area[:, None] * light).sum(axis=0) / area.sum())


def some_polygons():
    centres = RNG.uniform([20, 20], [70, 60], (40, 2))
    turn = RNG.uniform(0, 2 * np.pi, 40)
    corner = turn[:, None] + np.sort(RNG.uniform(0, 2 * np.pi, (40, 5)), axis=1)
    size = RNG.uniform(0.05, 12, (40, 1))
    ring = np.stack([np.cos(corner), np.sin(corner)], axis=-1) * size[..., None]
    return shapely.polygons(centres[:, None] + ring)


def test_mean_is_exact_for_pieces_large_and_smaller_than_a_pixel():
    polygons = some_polygons()
    found = SketchColours(PIXELS).mean_lab(SKETCH, polygons)
    expected = [by_clipping(SKETCH, PIXELS, p) for p in polygons]
    np.testing.assert_allclose(found, expected, atol=1e-5)


def test_piece_half_off_the_sketch_takes_the_part_on_it():
    flat = Sketch("a.png", 40, 30, 1.0)
    polygon = shapely.box(-5, 10.3, 3.4, 14.2)
    found = SketchColours(PIXELS).mean_lab(flat, np.array([polygon]))
    np.testing.assert_allclose(found[0], by_clipping(flat, PIXELS, polygon), atol=1e-7)
    over = shapely.box(38.5, 28.5, 60, 70)
    found = SketchColours(PIXELS).mean_lab(flat, np.array([over]))
    np.testing.assert_allclose(found[0], by_clipping(flat, PIXELS, over), atol=1e-7)


@pytest.mark.parametrize(
    ("at", "pixel"), [((-30, -30), (0, 0)), ((500, 12.5), (12, 39)), ((20.5, 90), (29, 20))]
)
def test_piece_off_the_sketch_takes_the_nearest_pixel(at, pixel):
    flat = Sketch("a.png", 40, 30, 1.0)
    found = SketchColours(PIXELS).mean_lab(flat, np.array([shapely.Point(at).buffer(2)]))
    np.testing.assert_allclose(found[0], lab_from_srgb(PIXELS[pixel] / 255))


def test_the_mean_is_taken_in_linear_light():
    halves = np.zeros((2, 2, 3), np.uint8)
    halves[:, 1] = 255
    found = SketchColours(halves).mean_lab(
        Sketch("a", 2, 2, 1.0), np.array([shapely.box(0, 0, 2, 2)])
    )
    # Half of white's light is L* 76.07 (CIE 15), not the 53 of the mean of the pixel values.
    np.testing.assert_allclose(found[0], [76.0693, 0, 0], atol=1e-3)


@settings(max_examples=30, deadline=None)
@given(st.floats(-3, 3), st.floats(-20, 20), st.floats(0.2, 4))
def test_colours_move_with_the_sketch(turn, shift, scale):
    polygon = shapely.Polygon([(12, 11), (19, 12), (17, 18)])
    c, s = np.cos(turn), np.sin(turn)
    moved = shapely.transform(
        polygon, lambda p: p @ np.array([[c, -s], [s, c]]).T * scale + [shift, -shift]
    )
    at_rest = SketchColours(PIXELS).mean_lab(Sketch("a", 40, 30, 1.0), np.array([polygon]))
    sketch = Sketch("a", 40, 30, scale, (shift, -shift), turn)
    np.testing.assert_allclose(
        SketchColours(PIXELS).mean_lab(sketch, np.array([moved])), at_rest, atol=1e-5
    )


def test_reads_a_picture_and_sees_transparency_as_paper():
    clear = np.zeros((4, 4, 4), np.uint8)
    clear[..., 3] = 0
    colours = SketchColours.read(png(clear), "clear.png")
    found = colours.mean_lab(Sketch("a", 4, 4, 1.0), np.array([shapely.box(0, 0, 2, 2)]))
    np.testing.assert_allclose(found, [[100, 0, 0]], atol=1e-9)
    lying = io.BytesIO()
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera was turned: show the picture turned a quarter clockwise
    Image.fromarray(np.array([[[255, 0, 0]], [[0, 0, 255]]], np.uint8)).save(
        lying, "png", exif=exif
    )
    upright = SketchColours.read(lying.getvalue(), "lying.png")
    left = upright.mean_lab(Sketch("a", 2, 1, 1.0), np.array([shapely.box(0, 0, 1, 1)]))
    np.testing.assert_allclose(left[0], lab_from_srgb([0, 0, 1]), atol=1e-9)
    with pytest.raises(EmblemaError, match="broken.png"):
        SketchColours.read(b"not a picture", "broken.png")


def test_the_same_pieces_are_not_read_twice_and_changed_sketch_is():
    colours, polygons = SketchColours(PIXELS), some_polygons()
    first = colours.mean_lab(SKETCH, polygons)
    assert colours.mean_lab(SKETCH, polygons) is first
    moved = colours.mean_lab(replace(SKETCH, origin_mm=(0.0, 0.0)), polygons)
    assert np.abs(moved - first).max() > 1
    assert colours.mean_lab(SKETCH, polygons[:0]).shape == (0, 3)
    del polygons
    gc.collect()
    assert colours._kept == {}  # what is no longer laid is not held on to


STOCK = (
    Material("dark", "dark", "smalti", (20.0, 0.0, 0.0), length_mm=200, width_mm=200),
    Material("mid", "mid", "smalti", (50.0, 0.0, 0.0), length_mm=200, width_mm=200),
    Material("light", "light", "smalti", (85.0, 0.0, 0.0), length_mm=200, width_mm=200),
    Material("red", "red", "smalti", (50.0, 60.0, 40.0), length_mm=200, width_mm=200),
)


def commission(field, **changes):
    doc = Commission("t", 100, 75, fields=(field,), materials=STOCK, sketch=SKETCH)
    return replace(doc, **changes)


def test_matches_the_nearest_of_all_materials_by_ciede2000():
    field = Field("f1", "ground", (SQUARE,))
    pieces = pieces_of(some_polygons())
    colours = SketchColours(PIXELS)
    laid = match_field(commission(field), field, pieces, colours)
    lab = np.array([m.lab for m in STOCK])
    table = ciede2000(laid.wanted_lab[:, None], lab)
    np.testing.assert_array_equal(laid.stock, table.argmin(axis=1))
    np.testing.assert_allclose(laid.delta_e, table.min(axis=1))
    assert len(set(laid.stock)) > 1


def test_keeps_to_the_palette_in_any_order_and_ignores_unknown_codes():
    field = field_of("f1", "ground", (SQUARE,), palette=("red", "gone", "dark"))
    laid = match_field(commission(field), field, pieces_of(some_polygons()), SketchColours(PIXELS))
    assert set(laid.stock) <= {0, 3}
    only_gone = field.with_choices(palette=("gone",))
    laid = match_field(commission(only_gone), only_gone, pieces_of(some_polygons()), None)
    assert (laid.stock == -1).all() and np.isnan(laid.delta_e).all()


def test_one_wanted_colour_and_its_shift():
    field = field_of("f1", "ground", (SQUARE,), wanted_lab=(40.0, 0.0, 0.0), shift_lab=(50.0, 0, 0))
    laid = match_field(commission(field), field, pieces_of(some_polygons()), None)
    assert (laid.stock == 2).all()
    np.testing.assert_allclose(laid.wanted_lab, [[90, 0, 0]] * len(laid.stock))
    far = field.with_choices(shift_lab=(90.0, 0, 0))
    laid = match_field(commission(far), far, pieces_of(some_polygons()), None)
    assert (laid.wanted_lab[:, 0] == 100).all()


def test_swaps_work_in_order_and_keep_to_their_scope():
    field = field_of("f1", "heron", (SQUARE,), motif="bird", wanted_lab=(50.0, 0.0, 0.0))
    pieces = pieces_of(some_polygons()[:3])

    def laid(*swaps):
        return match_field(commission(field, swaps=swaps), field, pieces, None)

    assert set(laid(Swap("mid", "red")).stock) == {3}
    assert set(laid(Swap("mid", "red"), Swap("red", "dark")).stock) == {0}
    assert set(laid(Swap("red", "dark"), Swap("mid", "red")).stock) == {3}
    assert set(laid(Swap("mid", "red"), Swap("red", "mid")).stock) == {1}
    assert set(laid(Swap("mid", "red", field_id="f2")).stock) == {1}
    assert set(laid(Swap("mid", "red", field_id="f1")).stock) == {3}
    assert set(laid(Swap("mid", "red", motif="reeds")).stock) == {1}
    assert set(laid(Swap("mid", "red", motif="bird")).stock) == {3}
    assert set(laid(Swap("mid", "gone")).stock) == {1}
    swapped = laid(Swap("mid", "red"))
    np.testing.assert_allclose(swapped.delta_e, ciede2000((50, 0, 0), (50, 60, 40)))


def test_without_sketch_or_wanted_colour_the_palette_decides():
    field = field_of("f1", "ground", (SQUARE,), palette=("light", "dark"))
    pieces = pieces_of(some_polygons())
    laid = match_field(commission(field, sketch=None), field, pieces, None)
    assert (laid.stock == 2).all() and np.isnan(laid.delta_e).all()
    bare = field.with_choices(palette=())
    laid = match_field(commission(bare, sketch=None), bare, pieces, None)
    assert (laid.stock == -1).all() and np.isnan(laid.wanted_lab).all()


def test_no_materials_and_no_pieces():
    field = Field("f1", "ground", (SQUARE,))
    laid = match_field(
        commission(field, materials=()), field, pieces_of(some_polygons()), SketchColours(PIXELS)
    )
    assert (laid.stock == -1).all() and np.isnan(laid.delta_e).all()
    laid = match_field(commission(field), field, Pieces.empty(), SketchColours(PIXELS))
    assert len(laid.stock) == 0 and laid.wanted_lab.shape == (0, 3)


def test_colours_measured_under_another_light_are_matched_as_seen_under_d65():
    field = field_of("f1", "ground", (SQUARE,), wanted_lab=(60.0, 5.0, 30.0))
    under_a = Material("a", "under lamp light", "smalti", (60.0, 5.0, 30.0), illuminant="A")
    under_a = replace(under_a, length_mm=200.0, width_mm=200.0)
    doc = commission(field, materials=(under_a,))
    laid = match_field(doc, field, pieces_of(some_polygons()), None)
    lab = stocked_lab(doc.materials)[0]
    assert np.abs(lab - under_a.lab).max() > 1
    np.testing.assert_allclose(laid.delta_e, ciede2000((60, 5, 30), lab))
    assert stocked_lab(()).shape == (0, 3)
    with pytest.raises(EmblemaError, match="'a'.*F2"):
        stocked_lab([replace(under_a, illuminant="F2")])


def test_a_swap_or_shift_after_a_match_is_the_same_as_from_nothing():
    field = Field("f1", "ground", (SQUARE,))
    pieces, colours = pieces_of(some_polygons()), SketchColours(PIXELS)
    first = match_field(commission(field), field, pieces, colours)
    before = first.stock.copy()
    for doc, changed in (
        (commission(field, swaps=(Swap("mid", "red"),)), field),
        (commission(field), field.with_choices(shift_lab=(20.0, 0.0, 0.0))),
        (commission(field, materials=STOCK[1:]), field),
        (commission(field), field.with_choices(palette=("red",))),
        (commission(field, sketch=replace(SKETCH, turn_rad=0.0)), field),
        (commission(field), field),
    ):
        kept = match_field(doc, changed, pieces, colours)
        new = match_field(doc, changed, pieces, SketchColours(PIXELS))
        np.testing.assert_array_equal(kept.stock, new.stock)
        np.testing.assert_array_equal(kept.delta_e, new.delta_e)
        np.testing.assert_array_equal(kept.wanted_lab, new.wanted_lab)
    np.testing.assert_array_equal(first.stock, before)
