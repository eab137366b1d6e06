"""Pictures of every kind, depth and size are read rightly, or refused in a sentence."""

import io
import itertools
import struct
import zlib

import numpy as np
import pytest
import tifffile
from picture_files import H, W, coded, damaged, every_kind, photo, tiff
from PIL import Image, ImageCms

from core.commission import Commission
from core.errors import EmblemaError
from core.pictures import LONGEST_PX, read_image, read_picture
from core.sketch import import_sketch, to_mm

RGB = np.asarray(photo())
DEEP = RGB.astype(np.uint16) * 257


def srgb() -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def red_for_blue() -> bytes:
    """Return a profile whose red is sRGB's blue (ICC.1:2022, 7.3: the table of tags)."""
    profile = bytearray(srgb())
    for k in range(struct.unpack(">I", profile[128:132])[0]):
        at = 132 + 12 * k
        for tag, other in ((b"rXYZ", b"bXYZ"), (b"bXYZ", b"rXYZ")):
            if profile[at : at + 4] == tag:
                profile[at : at + 4] = other
                break
    return bytes(profile)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("packed", [False, True])
def test_tiffs_of_8_and_16_bits_are_read_as_they_are_or_refused(order: str, packed: bool) -> None:
    same = {"order": order, "packed": packed}
    for a in (RGB, DEEP):
        for planar in (False, True):
            data = tiff(a, 2, planar=planar, **same)
            # the file is what it says: tifffile reads the same out of it
            there = tifffile.imread(io.BytesIO(data))
            assert (np.moveaxis(there, 0, -1) if planar else there).tolist() == a.tolist()
            if planar and a is DEEP:
                with pytest.raises(EmblemaError, match="wall.tif.*separate planes of 16 bits"):
                    read_image(data, "wall.tif")
            else:
                assert (read_image(data, "wall.tif") == RGB).all()
        grey = a[..., 0]
        assert (read_image(tiff(grey, 1, **same), "a") == RGB[..., :1]).all()
        white_is_zero = tiff(grey, 0, **same)
        if order == ">" and a is DEEP:
            with pytest.raises(EmblemaError, match="TIFF 'a'.*save it as plain RGB"):
                read_image(white_is_zero, "a")
        else:
            assert (read_image(white_is_zero, "a") == 255 - RGB[..., :1]).all()


@pytest.mark.parametrize("kind", [np.int16, np.int32, np.uint32, np.float32])
def test_tiffs_of_other_numbers_are_refused(kind: type) -> None:
    with pytest.raises(EmblemaError, match=r"wall\.tif.*8 or 16 bits"):
        read_image(tiff(RGB[..., 0].astype(kind), 1), "wall.tif")


def test_a_tiff_in_cielab_is_read_against_d50() -> None:
    """TIFF 6.0, section 23; the white of the 24-patch chart after November 2014 under D50."""
    lab = np.full((4, 4, 3), (round(95.19 * 2.55), -1 & 255, 3), np.uint8)
    pixels = read_image(tiff(lab, 8), "a")
    assert np.abs(pixels.astype(int) - (242, 242, 236)).max() <= 3


def test_a_palette_is_turned_to_rgb_before_its_profile_is_used() -> None:
    swapped = red_for_blue()
    colours = photo().quantize(64)
    plain, by_profile = (
        read_picture(coded(colours, "PNG", **more), "a") for more in ({}, {"icc_profile": swapped})
    )
    assert by_profile.notes == ()
    assert np.abs(by_profile.pixels.astype(int) - plain.pixels[..., ::-1]).max() <= 2
    grey = read_picture(coded(photo().convert("LA"), "PNG", icc_profile=swapped), "a")
    assert len(grey.notes) == 1  # a profile of three colours is not for a grey picture


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "TIFF", "WEBP"])
@pytest.mark.parametrize("spoil", [lambda p: p[:200], lambda p: b"\0" * 300, lambda p: p[::-1]])
def test_a_broken_profile_is_left_out_and_said(kind: str, spoil) -> None:
    plain = read_picture(coded(photo(), kind), "heron.pic")
    broken = read_picture(coded(photo(), kind, icc_profile=spoil(srgb())), "heron.pic")
    assert (broken.pixels == plain.pixels).all() and plain.notes == ()
    (note,) = broken.notes
    assert "heron.pic" in note and "profile" in note


def test_a_profile_that_cannot_even_be_unpacked_is_left_out_and_said() -> None:
    png = bytearray(coded(photo(), "PNG", icc_profile=srgb()))
    at = png.index(b"iCCP")
    (length,) = struct.unpack(">I", png[at - 4 : at])
    png[at + 20 : at + 40] = b"\xff" * 20
    png[at + 4 + length : at + 8 + length] = struct.pack(
        ">I", zlib.crc32(png[at : at + 4 + length])
    )
    jpeg = bytearray(coded(photo(), "JPEG", icc_profile=srgb()))
    jpeg[jpeg.index(b"ICC_PROFILE\0") + 13] = 3  # the first of three parts, the others missing
    for data in (png, jpeg, coded(photo(), "PNG", icc_profile=b"\0" * 3_000_000)):
        (note,) = read_picture(bytes(data), "heron.pic").notes
        assert "heron.pic" in note and "profile" in note


def test_a_picture_whose_head_says_too_much_is_refused_before_it_is_decoded() -> None:
    png = bytearray(coded(Image.new("RGB", (8, 8))))
    webp = coded(Image.new("RGB", (8, 8)), "WEBP", lossless=True)
    head = bytearray(webp)
    bits = 16000 - 1 | (16000 - 1) << 14  # VP8L: width and height less one, 14 bits each
    at = webp.index(b"VP8L") + 9
    head[at : at + 4] = (bits | struct.unpack("<I", webp[at : at + 4])[0] & 3 << 28).to_bytes(
        4, "little"
    )
    for size in ((20_000, 20_000), (300_000, 2)):
        png[16:24] = struct.pack(">II", *size)
        png[29:33] = struct.pack(">I", zlib.crc32(bytes(png[12:29])))
        with pytest.raises(EmblemaError, match=rf"wall\.png.*{size[0]:,}.*coarser"):
            read_image(bytes(png), "wall.png")
    with pytest.raises(EmblemaError, match=r"wall\.webp.*16,000 x 16,000.*coarser"):
        read_image(bytes(head), "wall.webp")


def test_a_photograph_of_200_megapixels_opens_and_stays_true_to_size() -> None:
    data = coded(Image.new("L", (16384, 12288), 90), "JPEG", dpi=(400, 400))
    size = np.array((16384, 12288)) * 25.4 / 400
    doc, images, _ = import_sketch(Commission("Wall", *size), data, "a")
    assert doc.sketch is not None and (doc.sketch.width_px, doc.sketch.height_px) == (4000, 3000)
    assert doc.sketch.mm_per_px * 4000 == pytest.approx(size[0], rel=1e-9)
    (kept,) = images.values()
    with Image.open(io.BytesIO(kept)) as picture:
        assert picture.size == (4000, 3000) and picture.getpixel((3999, 2999)) == (90, 90, 90)


@pytest.mark.parametrize(("kind", "size"), [("PNG", (9001, 411)), ("JPEG", (501, 17003))])
def test_a_place_on_a_picture_made_smaller_stays_where_it_was_in_mm(kind: str, size) -> None:
    w, h = size
    scan = Image.new("L", size, 250)
    x, y = w * 9 // 10, h * 3 // 4
    scan.paste(0, (x - 20, y - 20, x + 20, y + 20))
    mm = 25.4 / 600
    doc, images, _ = import_sketch(
        Commission("Wall", w * mm, h * mm), coded(scan, kind, dpi=(600, 600)), "scan"
    )
    assert doc.sketch is not None
    (data,) = images.values()
    dark = 255.0 - read_image(data, "a")[..., 0]
    dark[dark < 60] = 0
    rows, columns = np.indices(dark.shape)
    at = np.array([[(v * dark).sum() / dark.sum() + 0.5 for v in (columns, rows)]])
    assert to_mm(doc.sketch, at)[0] == pytest.approx((x * mm, y * mm), abs=1.5 * mm)


def test_what_is_clear_lies_on_white_paper_however_much_smaller_it_is_made() -> None:
    clear = Image.new("RGBA", (2 * LONGEST_PX, 6), (255, 0, 0, 0))
    clear.paste((0, 0, 200, 255), (0, 0, LONGEST_PX, 6))
    pixels = read_image(coded(clear), "a")
    assert pixels.shape == (3, LONGEST_PX, 3)
    assert (pixels[:, LONGEST_PX // 2 :] == 255).all()
    assert (pixels[:, : LONGEST_PX // 2] == (0, 0, 200)).all()


def test_every_kind_of_picture_opens_or_says_why_not() -> None:
    refused = set()
    for name, data in every_kind().items():
        try:
            assert sorted(read_image(data, name).shape) == [3, H, W], name
        except EmblemaError:
            refused.add(name)
    assert refused == {"TIFF float", "TIFF 32 bits"} | {
        f"TIFF {end} 16 bits{packed} {what}"
        for packed in ("", " deflate")
        for end, what in (("II", "planar"), ("MM", "planar"), ("MM", "white is zero"))
    }


def test_damaged_pictures_open_or_end_in_one_sentence() -> None:
    """A sample of what tests/bench/hostile_pictures.py does by the thousand."""
    came = {"opened": 0, "refused": 0}
    for name, data in itertools.islice(damaged(every_kind(), 20), 300):
        try:
            assert read_image(data, "heron.pic").shape[2] == 3, name
            came["opened"] += 1
        except EmblemaError as e:
            assert "heron.pic" in str(e) and "\n" not in str(e) and str(e).endswith("."), name
            came["refused"] += 1
    assert min(came.values()) > 50


def test_a_picture_that_is_not_there_is_named(tmp_path) -> None:
    with pytest.raises(EmblemaError, match=r"gone\.png"):
        read_image(tmp_path / "gone.png", "gone.png")
    (tmp_path / "a.png").write_bytes(coded(photo()))
    assert (read_image(tmp_path / "a.png", "a.png") == RGB).all()
