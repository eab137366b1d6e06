"""Reads picture files into sRGB pixels, whatever their kind, depth and size.

What a picture would take in memory is reckoned from its head before anything is decoded, and one
that would take too much is refused. It is then taken in bands of rows, each turned to sRGB and
made smaller as it comes, so that little more is ever held than the decoded picture itself.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import (
    Image,
    ImageCms,
    JpegImagePlugin,
    PngImagePlugin,
    TiffImagePlugin,
    UnidentifiedImageError,
)

from core.errors import EmblemaError

FORMATS: Final = ("PNG", "JPEG", "TIFF", "WEBP", "BMP")
LARGE_BYTES: Final = 8_000_000  # of a file that is kept: a photograph is then better a JPEG
LONGEST_PX: Final = 8192  # longest side that is read; a larger picture is made smaller
MOST_PX: Final = 1_000_000_000  # what can be decoded within half a minute or so
WIDEST_PX: Final = 200_000
MOST_BYTES: Final = 1_150_000_000  # held by one picture, so that the whole stays below 1.5 GB
_BAND_PX: Final = 4_000_000

# Pillow's own limit (179 million pixels) would refuse a telephone's photograph; `_check_size` asks
# for memory instead, before anything is decoded.
Image.MAX_IMAGE_PIXELS = None
# A PNG whose profile is larger than this is refused by Pillow; some printers' are beyond its 1 MB.
PngImagePlugin.MAX_TEXT_CHUNK = 8_000_000

_UPRIGHT: Final[dict[int, Callable[[NDArray[np.uint8]], NDArray[np.uint8]]]] = {
    # EXIF 2.32, tag 0x0112: where row 0 and column 0 are seen
    2: lambda a: a[:, ::-1],
    3: lambda a: a[::-1, ::-1],
    4: lambda a: a[::-1],
    5: lambda a: a.transpose(1, 0, 2),
    6: lambda a: a.transpose(1, 0, 2)[:, ::-1],
    7: lambda a: a.transpose(1, 0, 2)[::-1, ::-1],
    8: lambda a: a.transpose(1, 0, 2)[::-1],
}


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as it is read.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        sRGB, upright.
    reduced : int
        Pixels of the file, across and down, that one of these stands for.
    dots_per_mm : float or None
        Of the file's own pixels, where it says so believably.
    notes : tuple of str
        What the user should know of how it was read.
    """

    pixels: NDArray[np.uint8]
    reduced: int
    dots_per_mm: float | None
    notes: tuple[str, ...]


def read_image(source: bytes | Path, name: str) -> NDArray[np.uint8]:
    """Return a picture's pixels as sRGB, shape (height, width, 3); see `read_picture`."""
    return read_picture(source, name).pixels


def read_picture(source: bytes | Path, name: str) -> Picture:
    """Read a picture file, or the bytes of one.

    Turned upright as its EXIF says, its colour profile taken to sRGB, what is transparent laid on
    white paper; of several pictures in a file the first.

    Raises
    ------
    EmblemaError
        Not a picture of a known kind, damaged, too large, or of a kind that would be read wrongly.
    """
    try:
        with _as_file(source) as file:
            tiff = file.read(4) in (b"II*\0", b"MM\0*")
            file.seek(0)
            return _read(file, name)
    except EmblemaError:
        raise
    except UnidentifiedImageError as e:
        if tiff:
            raise EmblemaError(
                f"The TIFF '{name}' is damaged or of a kind that cannot be read; save it as plain "
                "RGB with 8 bits, or as PNG."
            ) from e
        raise EmblemaError(
            f"'{name}' is not a picture that can be read (PNG, JPEG, TIFF, WebP or BMP)."
        ) from e
    except MemoryError as e:
        raise EmblemaError(f"There is not enough memory to open the picture '{name}'.") from e
    except Exception as e:  # a decoder may stumble in any way over bytes that are not as they say
        raise EmblemaError(f"The picture '{name}' is damaged and cannot be read.") from e


def as_kept(picture: Image.Image) -> tuple[str, bytes]:
    """Return a picture as it is kept beside a document: its key, and its file."""
    out = io.BytesIO()
    picture.save(out, "PNG", compress_level=6)
    data, kind = out.getvalue(), "png"
    if len(data) > LARGE_BYTES:
        out = io.BytesIO()
        picture.save(out, "JPEG", quality=95, subsampling=0)
        if out.tell() < len(data) / 2:
            data, kind = out.getvalue(), "jpg"
    return f"{hashlib.sha256(data).hexdigest()}.{kind}", data


@contextmanager
def _as_file(source: bytes | Path) -> Iterator[io.BufferedIOBase]:
    if isinstance(source, bytes):
        yield io.BytesIO(source)
        return
    try:
        file = source.open("rb")
    except OSError as e:
        raise EmblemaError(f"'{source}' could not be read: {e.strerror}.") from e
    with file:
        yield file


def _read(file: io.BufferedIOBase, name: str) -> Picture:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what is odd in a file and does no harm
        picture = Image.open(file, formats=FORMATS)  # type: ignore[arg-type]
        _check_kind(picture, name)
        reduced = 1
        longest = max(picture.size)
        if isinstance(picture, JpegImagePlugin.JpegImageFile):  # made smaller while it is decoded
            while reduced < 8 and _parts(longest, reduced) > LONGEST_PX:
                reduced *= 2
            _check_size(picture, reduced, name)
            w, h = picture.size
            size = (max(1, w // reduced), max(1, h // reduced))
            picture.draft(None, size)
            reduced = _parts(longest, max(picture.size))
        else:
            _check_size(picture, 1, name)
        dots = _dots_per_mm(picture)
        turn = _orientation(picture)
        picture.load()
        by = _parts(max(picture.size), LONGEST_PX)
        pixels, notes = _in_bands(picture, by, name)
    if turn in _UPRIGHT:
        pixels = np.ascontiguousarray(_UPRIGHT[turn](pixels))
    return Picture(pixels, reduced * by, dots, notes)


def _check_kind(picture: Image.Image, name: str) -> None:
    """Refuse what would be read wrongly."""
    if not isinstance(picture, TiffImagePlugin.TiffImageFile):
        return
    tags = picture.tag_v2
    bits = tags.get(258, (1,))
    deepest = max(bits) if isinstance(bits, tuple) else bits
    kinds = tags.get(339, (1,))  # SampleFormat
    plain = set(kinds if isinstance(kinds, tuple) else (kinds,)) <= {1, 4}
    if not plain or deepest > 16 or picture.mode in ("I", "F"):
        raise EmblemaError(
            f"The TIFF '{name}' does not hold brightness as whole numbers of 8 or 16 bits; save it "
            "so."
        )
    if deepest > 8 and tags.get(284, 1) == 2:
        raise EmblemaError(
            f"The TIFF '{name}' keeps its colours in separate planes of {deepest} bits; save it "
            "with the colours interleaved (pixel by pixel), or with 8 bits."
        )


def _check_size(picture: Image.Image, reduced: int, name: str) -> None:
    """Refuse what would take too much memory, reckoned from the picture's head."""
    w, h = picture.size
    if max(w, h) > WIDEST_PX or w * h > MOST_PX or _needed_bytes(picture, reduced) > MOST_BYTES:
        raise EmblemaError(
            f"The picture '{name}' is {w:,} x {h:,} pixels, which is more than can be opened; "
            "scan it coarser (300 dots an inch is plenty) or save it smaller."
        )


def _needed_bytes(picture: Image.Image, reduced: int) -> int:
    """Return about how much memory a picture takes while it is read."""
    w, h = picture.size
    px = _parts(w, reduced) * _parts(h, reduced)
    # as Pillow holds it: colours in four bytes, one of them idle
    each = {"1": 1, "L": 1, "P": 1, "I;16": 2, "I;16B": 2, "I;16L": 2}.get(picture.mode, 4)
    by = _parts(_parts(max(w, h), reduced), LONGEST_PX)
    need = px * each + 3 * px // by**2
    if isinstance(picture, JpegImagePlugin.JpegImageFile):
        if picture.info.get("progressive"):  # all coefficients are held, at full size
            across = max(layer[1] for layer in picture.layer) or 1
            down = max(layer[2] for layer in picture.layer) or 1
            need += sum(2 * w * h * c[1] * c[2] // (across * down) for c in picture.layer)
    elif picture.format == "WEBP":  # canvas, the frame before, and a copy of the frame
        need += 12 * px
    elif picture.format == "TIFF" and picture.info.get("compression") != "raw":
        tags = getattr(picture, "tag_v2", {})
        bits = tags.get(258, (8,))
        row = w * sum(bits) if isinstance(bits, tuple) else w * bits
        # a packed strip is unpacked whole
        need += min(int(tags.get(278, h)), h) * max(row // 8, 4 * w)
    elif picture.format == "BMP" and picture.info.get("compression") in (1, 2):  # run lengths
        need += 2 * px
    return need


def _parts(length: int, by: int) -> int:
    return -(-length // by)


def _in_bands(
    picture: Image.Image, by: int, name: str
) -> tuple[NDArray[np.uint8], tuple[str, ...]]:
    """Return sRGB pixels, made smaller by a whole number, and what is to be said of them."""
    w, h = picture.size
    out = np.empty((_parts(h, by), _parts(w, by), 3), np.uint8)
    rows = max(1, _BAND_PX // w // by) * by
    plain = _plain_maker(picture)
    turn: Callable[[Image.Image], Image.Image] | None = None
    notes: tuple[str, ...] = ()
    for top in range(0, h, rows):
        band = plain(picture.crop((0, top, w, min(top + rows, h))))
        if by > 1:
            band = band.reduce(by)
        if turn is None:
            turn, notes = _to_srgb(picture, band, name)
        rgb = _on_paper(band, turn)
        out[top // by : top // by + rgb.height] = np.asarray(rgb)
    return out, notes


def _plain_maker(picture: Image.Image) -> Callable[[Image.Image], Image.Image]:
    """Return what turns a band to L, LA, RGB, RGBA, CMYK or LAB with 8 bits."""
    mode = picture.mode
    clear = "transparency" in picture.info
    if mode.startswith("I"):
        top, white_is_zero = 65535, False
        if isinstance(picture, TiffImagePlugin.TiffImageFile):
            bits = picture.tag_v2.get(258, (16,))
            top = 2 ** (bits[0] if isinstance(bits, tuple) else bits) - 1
            white_is_zero = picture.tag_v2.get(262) == 0  # Pillow does not heed it at 16 bits

        share = np.clip(np.arange(65536) / top, 0, 1)
        of_deep = np.rint(255 * (1 - share if white_is_zero else share)).astype(np.uint8)

        def eight_bit(band: Image.Image) -> Image.Image:
            deep = np.asarray(band)
            deep = deep if deep.dtype.itemsize == 2 else np.clip(deep, 0, 65535)
            return Image.fromarray(of_deep[deep])

        return eight_bit
    if mode in ("L", "1") and not clear:
        return lambda band: band.convert("L")
    if mode in ("LA", "La"):
        return lambda band: band.convert("LA")
    if mode in ("CMYK", "LAB"):
        return lambda band: band
    if clear or mode in ("RGBA", "RGBa", "PA") or (mode == "P" and _palette_is_clear(picture)):
        return lambda band: band.convert("RGBA")
    return lambda band: band.convert("RGB")


def _palette_is_clear(picture: Image.Image) -> bool:
    return picture.palette is not None and picture.palette.mode == "RGBA"


def _to_srgb(
    picture: Image.Image, band: Image.Image, name: str
) -> tuple[Callable[[Image.Image], Image.Image], tuple[str, ...]]:
    """Return what turns a band without transparency to sRGB, and what is to be said of it."""
    mode = {"LA": "L", "RGBA": "RGB"}.get(band.mode, band.mode)
    profile = picture.info.get("icc_profile")
    # Pillow says None where there is a profile that it could not unpack or put together
    if mode == "LAB" or "icc_profile" in picture.info:
        try:
            there = (
                ImageCms.createProfile("LAB")  # D50, as TIFF 6.0 has it
                if mode == "LAB"
                else ImageCms.ImageCmsProfile(io.BytesIO(profile or b""))
            )
            made = ImageCms.buildTransform(there, ImageCms.createProfile("sRGB"), mode, "RGB")
            # one pixel is tried: some profiles are found broken only now
            ImageCms.applyTransform(Image.new(mode, (1, 1)), made)
        except (ImageCms.PyCMSError, OSError, ValueError, TypeError):
            return lambda part: part.convert("RGB"), (
                f"The colour profile in '{name}' is broken or is not for such a picture; it was "
                "left out, so colours may be a little off.",
            )
        return lambda part: _applied(part, made), ()
    return lambda part: part.convert("RGB"), ()


def _applied(part: Image.Image, made: ImageCms.ImageCmsTransform) -> Image.Image:
    turned = ImageCms.applyTransform(part, made)
    assert turned is not None
    return turned


def _on_paper(band: Image.Image, turn: Callable[[Image.Image], Image.Image]) -> Image.Image:
    """Return a band as sRGB, what is transparent on white paper."""
    if band.mode not in ("LA", "RGBA"):
        return turn(band)
    paper = Image.new("RGB", band.size, "white")
    paper.paste(turn(band.convert(band.mode[:-1])), mask=band.getchannel("A"))
    return paper


def _orientation(picture: Image.Image) -> int:
    try:
        turn = picture.getexif().get(0x0112, 1)
    except Exception:  # EXIF that cannot be read says nothing
        return 1
    return turn if isinstance(turn, int) else 1


def _dots_per_mm(picture: Image.Image) -> float | None:
    dpi = picture.info.get("dpi")
    try:
        dots = float(dpi[0]) if dpi else 0.0
    except (TypeError, ValueError, ZeroDivisionError, IndexError, OverflowError):
        return None
    # 72 and 96 are what programs write when they do not know
    return dots / 25.4 if 100 <= dots <= 4800 else None
