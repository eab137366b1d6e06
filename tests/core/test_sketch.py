"""The sketch comes in upright, in sRGB and true to size, from every kind of picture file."""

import io

import numpy as np
import pytest
from PIL import Image, ImageCms

from core.commission import Commission
from core.errors import EmblemaError
from core.sketch import (
    KEPT_PX,
    import_sketch,
    place_sketch,
    read_image,
    scale_by_points,
    scale_by_width,
    straighten,
    to_mm,
    to_px,
)

DOC = Commission("Wall", 300, 200)


def coded(image: Image.Image, kind: str = "PNG", **more) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def corner_marked(w: int = 30, h: int = 20) -> Image.Image:
    a = np.full((h, w, 3), 240, np.uint8)
    a[: h // 2, : w // 2] = (200, 40, 30)
    return Image.fromarray(a)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP", "BMP"])
def test_every_kind_of_picture_opens(kind: str) -> None:
    pixels = read_image(coded(corner_marked(), kind), "a")
    assert pixels.shape == (20, 30, 3) and pixels.dtype == np.uint8
    assert np.abs(pixels[2, 2].astype(int) - (200, 40, 30)).max() < 30
    assert np.abs(pixels[17, 27].astype(int) - 240).max() < 12


@pytest.mark.parametrize("turn", range(1, 9))
def test_pictures_come_in_as_the_camera_held_them(turn: int) -> None:
    """EXIF 2.32, tag 0x0112: where row 0 and column 0 are seen."""
    seen = corner_marked()
    undo = {
        1: None,
        2: Image.Transpose.FLIP_LEFT_RIGHT,
        3: Image.Transpose.ROTATE_180,
        4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE,
        6: Image.Transpose.ROTATE_90,
        7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[turn]
    stored = seen if undo is None else seen.transpose(undo)
    exif = Image.Exif()
    exif[0x0112] = turn
    pixels = read_image(coded(stored, "PNG", exif=exif.tobytes()), "a")
    assert (pixels == np.asarray(seen)).all()


def test_a_colour_profile_is_taken_to_srgb() -> None:
    # a grey profile of CIELAB: L* in, so that byte 136 (L* 53.3) is sRGB grey 127 or so
    lab = ImageCms.createProfile("sRGB")
    plain = coded(corner_marked(), "PNG", icc_profile=ImageCms.ImageCmsProfile(lab).tobytes())
    assert np.abs(read_image(plain, "a").astype(int) - np.asarray(corner_marked())).max() <= 1


def test_deep_grey_and_see_through_pictures() -> None:
    deep = Image.fromarray((np.linspace(0, 65535, 100).reshape(10, 10)).astype(np.uint16))
    pixels = read_image(coded(deep, "TIFF"), "a")
    assert pixels[0, 0, 0] == 0 and pixels[-1, -1, 0] == 255
    clear = Image.new("RGBA", (4, 4), (255, 0, 0, 0))
    assert (read_image(coded(clear), "a") == 255).all()
    palette = corner_marked().convert("P")
    assert read_image(coded(palette), "a").shape == (20, 30, 3)


def test_bad_pictures_are_named() -> None:
    whole = coded(Image.effect_noise((200, 200), 80).convert("RGB"), "JPEG")
    for data, words in (
        (b"not a picture", "not a picture"),
        (whole[: len(whole) // 3], "damaged"),
        (b"", "not a picture"),
    ):
        with pytest.raises(EmblemaError, match="heron.jpg") as e:
            read_image(data, "heron.jpg")
        assert words in str(e.value)
    huge = bytearray(coded(Image.new("1", (8, 8)), "BMP"))
    huge[18:26] = (60_000).to_bytes(4, "little") * 2
    with pytest.raises(EmblemaError, match="coarser"):
        read_image(bytes(huge), "wall.bmp")


def test_large_scans_are_brought_down_and_keep_their_size_in_mm() -> None:
    scan = Image.new("RGB", (5000, 2500), (200, 190, 180))
    data = coded(scan, "PNG", dpi=(423.33, 423.33))  # 5000 px are 300 mm
    doc, images, _ = import_sketch(DOC, data, "scan.png")
    assert doc.sketch is not None and list(images) == [doc.sketch.image]
    assert doc.sketch.width_px == KEPT_PX
    assert doc.sketch.width_px * doc.sketch.mm_per_px == pytest.approx(300, rel=1e-3)
    assert read_image(images[doc.sketch.image], "a").shape == (2000, 4000, 3)


def test_scale_and_place() -> None:
    doc, _, _ = import_sketch(DOC, coded(corner_marked()), "a.png")
    assert doc.sketch is not None and doc.sketch.mm_per_px == 10.0
    wide = scale_by_width(doc, 150)
    assert wide.sketch is not None and wide.sketch.mm_per_px == 5.0
    known = scale_by_points(doc, (100, 50), (200, 50), 40)
    assert known.sketch is not None
    assert known.sketch.mm_per_px == pytest.approx(4.0)
    # the same two places of the picture are now 40 mm apart, the first where it was
    px = to_px(doc.sketch, np.array([[100.0, 50], [200, 50]]))
    assert to_mm(known.sketch, px) == pytest.approx(np.array([[100.0, 50], [140, 50]]))
    turned = place_sketch(doc, (5, 6), 0.3)
    assert turned.sketch is not None
    xy = np.array([[10.0, 20.0], [33.0, 4.0]])
    assert to_mm(turned.sketch, to_px(turned.sketch, xy)) == pytest.approx(xy)
    # clockwise on screen: a step along the picture's rows goes down
    step = to_mm(turned.sketch, np.array([[0.0, 0], [1, 0]]))
    assert step[1, 1] > step[0, 1]
    for bad in (lambda: scale_by_width(DOC, 10), lambda: scale_by_width(doc, -1)):
        with pytest.raises(EmblemaError):
            bad()


def test_a_sheet_photographed_at_an_angle_is_made_straight() -> None:
    a = np.full((400, 600, 3), 90, np.uint8)
    image = Image.fromarray(a)
    from PIL import ImageDraw

    corners = [(80, 60), (520, 30), (560, 370), (40, 340)]
    ImageDraw.Draw(image).polygon(corners, fill=(250, 250, 250))
    doc, images, _ = import_sketch(Commission("Wall", 600, 400), coded(image), "photo.png")
    assert doc.sketch is not None
    flat, kept = straighten(doc, images, corners, 300, 200)
    assert flat.sketch is not None
    pixels = read_image(kept[flat.sketch.image], "a")
    assert (pixels[5:-5, 5:-5] > 240).all()
    assert flat.sketch.width_px * flat.sketch.mm_per_px == pytest.approx(300)
    # however slender the sheet is said to be, what is kept stays within bounds
    for size_mm in ((10, 3000), (3000, 10)):
        slender, _ = straighten(doc, images, corners, *size_mm)
        assert slender.sketch is not None
        assert max(slender.sketch.width_px, slender.sketch.height_px) <= KEPT_PX
        assert slender.sketch.width_px * slender.sketch.mm_per_px == pytest.approx(size_mm[0])
    with pytest.raises(EmblemaError, match="corners"):
        straighten(doc, images, [corners[k] for k in (0, 2, 1, 3)], 300, 200)
