"""Small pictures of every kind and mode as files, and what damage does to such files."""

from __future__ import annotations

import io
import random
import struct
import zlib
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

W, H = 37, 23


def coded(image: Image.Image, kind: str = "PNG", **more: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def photo() -> Image.Image:
    y, x = np.mgrid[0:H, 0:W]
    a = np.stack([255 * x / W, 255 * y / H, 128 + 90 * np.sin(x / 5) * np.cos(y / 4)], axis=-1)
    return Image.fromarray(a.astype(np.uint8))


def tiff(
    a: NDArray[np.generic],
    photometric: int,
    *,
    planar: bool = False,
    order: str = "<",
    packed: bool = False,
    more: tuple[tuple[int, int, int], ...] = (),
) -> bytes:
    """Write an array (height, width[, samples]) as a plain TIFF 6.0 of one strip a plane.

    `more` is further tags as (tag, type, value).
    """
    samples = a.shape[2] if a.ndim == 3 else 1
    bits = a.dtype.itemsize * 8
    kind = {"u": 1, "i": 2, "f": 3}[a.dtype.kind]
    a = a.reshape(a.shape[0], a.shape[1], samples).astype(a.dtype.newbyteorder(order))
    planes = [a[..., k] for k in range(samples)] if planar else [a]
    strips = [p.tobytes() for p in planes]
    if packed:
        strips = [zlib.compress(s) for s in strips]
    n = len(strips)
    body = b"".join(strips)
    at = [8 + sum(len(s) for s in strips[:k]) for k in range(n)]
    tags: dict[int, tuple[int, tuple[int, ...]]] = {
        256: (4, (a.shape[1],)),
        257: (4, (a.shape[0],)),
        258: (3, (bits,) * samples),
        259: (3, (8 if packed else 1,)),
        262: (3, (photometric,)),
        273: (4, tuple(at)),
        277: (3, (samples,)),
        278: (4, (a.shape[0],)),
        279: (4, tuple(len(s) for s in strips)),
        284: (3, (2 if planar else 1,)),
        339: (3, (kind,) * samples),
    }
    tags.update({tag: (what, (value,)) for tag, what, value in more})
    spare_at = 8 + len(body) + 2 + 12 * len(tags) + 4
    entries, spare = b"", b""
    for tag, (what, values) in sorted(tags.items()):
        data = struct.pack(f"{order}{len(values)}{'H' if what == 3 else 'I'}", *values)
        if len(data) > 4:
            where = struct.pack(f"{order}I", spare_at + len(spare))
            spare += data
        else:
            where = data.ljust(4, b"\0")
        entries += struct.pack(f"{order}HHI", tag, what, len(values)) + where
    head = (b"II*\0" if order == "<" else b"MM\0*") + struct.pack(f"{order}I", 8 + len(body))
    return head + body + struct.pack(f"{order}H", len(tags)) + entries + b"\0" * 4 + spare


def every_kind() -> dict[str, bytes]:
    """Return a valid file of every kind and mode, by name."""
    rgb = photo()
    rgba = rgb.copy()
    rgba.putalpha(Image.linear_gradient("L").resize(rgb.size))
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    exif = Image.Exif()
    exif[0x0112] = 6
    deep = np.asarray(rgb).astype(np.uint16) * 257
    grey16 = Image.fromarray(deep[..., 0])

    def several(kind: str) -> bytes:
        first, *rest = (photo().rotate(turn) for turn in (0, 90, 180))
        return coded(first, kind, save_all=True, append_images=rest)

    found = {
        "PNG": coded(rgb),
        "PNG bilevel": coded(rgb.convert("1")),
        "PNG grey": coded(rgb.convert("L")),
        "PNG grey alpha": coded(rgba.convert("LA")),
        "PNG alpha": coded(rgba),
        "PNG palette": coded(rgb.convert("P"), icc_profile=srgb),
        "PNG palette clear": coded(rgb.quantize(16), transparency=3),
        "PNG key colour": coded(rgb, transparency=(0, 0, 128)),
        "PNG deep grey": coded(grey16),
        "PNG profile": coded(rgb, icc_profile=srgb, exif=exif.tobytes(), dpi=(300, 300)),
        "PNG animated": several("PNG"),
        "JPEG": coded(rgb, "JPEG"),
        "JPEG grey": coded(rgb.convert("L"), "JPEG"),
        "JPEG CMYK": coded(rgb.convert("CMYK"), "JPEG"),
        "JPEG progressive": coded(rgb, "JPEG", progressive=True, subsampling=0),
        "JPEG profile": coded(rgb, "JPEG", icc_profile=srgb, exif=exif.tobytes(), dpi=(300, 300)),
        "JPEG of several": several("MPO"),
        "WEBP": coded(rgb, "WEBP"),
        "WEBP lossless alpha": coded(rgba, "WEBP", lossless=True),
        "WEBP profile": coded(rgb, "WEBP", icc_profile=srgb, exif=exif.tobytes()),
        "WEBP animated": several("WEBP"),
        "BMP": coded(rgb, "BMP"),
        "BMP grey": coded(rgb.convert("L"), "BMP"),
        "BMP bilevel": coded(rgb.convert("1"), "BMP"),
        "BMP palette": coded(rgb.convert("P"), "BMP"),
        "BMP alpha": coded(rgba, "BMP"),
        "BMP run lengths": run_length_bmp(),
        "TIFF": coded(rgb, "TIFF", dpi=(300, 300), icc_profile=srgb),
        "TIFF of several": several("TIFF"),
        "TIFF LAB": coded(Image.fromarray(np.asarray(rgb), "LAB"), "TIFF"),
        "TIFF YCbCr": coded(rgb.convert("YCbCr"), "TIFF"),
        "TIFF float": coded(rgb.convert("F"), "TIFF"),
        "TIFF 32 bits": coded(rgb.convert("I"), "TIFF"),
    }
    for mode in ("1", "L", "P", "LA", "RGBA", "CMYK"):
        image = (rgba if mode in ("LA", "RGBA") else rgb).convert(mode)
        found[f"TIFF {mode}"] = coded(image, "TIFF")
        found[f"TIFF {mode} LZW"] = coded(image, "TIFF", compression="tiff_lzw")
    found["TIFF JPEG"] = coded(rgb, "TIFF", compression="jpeg")
    found["TIFF fax"] = coded(rgb.convert("1"), "TIFF", compression="group4")
    for order, end in (("<", "II"), (">", "MM")):
        for depth, a in ((8, np.asarray(rgb)), (16, deep)):
            for packed in (False, True):
                what = f"{end} {depth} bits{' deflate' if packed else ''}"
                same = {"order": order, "packed": packed}
                found[f"TIFF {what}"] = tiff(a, 2, **same)
                found[f"TIFF {what} planar"] = tiff(a, 2, planar=True, **same)
                found[f"TIFF {what} grey"] = tiff(a[..., 0], 1, **same)
                found[f"TIFF {what} white is zero"] = tiff(a[..., 0], 0, **same)
                cmyk = np.concatenate([a, a[..., :1]], axis=2)
                found[f"TIFF {what} CMYK"] = tiff(cmyk, 5, **same)
    return found


def run_length_bmp() -> bytes:
    """Return an 8-bit BMP of run lengths: each row one run."""
    rows = b"".join(bytes((W, k * 10)) + b"\0\0" for k in range(H)) + b"\0\1"
    palette = b"".join(bytes((k, k, 255 - k, 0)) for k in range(256))
    at = 54 + len(palette)
    head = struct.pack("<2sIHHI", b"BM", at + len(rows), 0, 0, at)
    info = struct.pack("<IiiHHIIiiII", 40, W, H, 1, 8, 1, len(rows), 2835, 2835, 256, 0)
    return head + info + palette + rows


def damaged(files: dict[str, bytes], seed: int) -> Iterator[tuple[str, bytes]]:
    """Yield file after file with some damage done to it, without end."""
    rng = random.Random(seed)
    names = sorted(files)
    kinds = sorted({name.split()[0] for name in names})
    while True:
        kind = rng.choice(kinds)
        name = rng.choice([n for n in names if n.split()[0] == kind])
        data = bytearray(files[name])
        for _ in range(rng.choice((1, 1, 1, 2, 3))):
            rng.choice(DAMAGES)(data, rng, files[rng.choice(names)])
        if kind == "PNG" and rng.random() < 0.8:
            data = bytearray(_sums_mended(bytes(data)))  # else most would be refused at once
        yield name, bytes(data)


def _flip(data: bytearray, rng: random.Random, other: bytes) -> None:
    for _ in range(rng.randint(1, 12)):
        if data:
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)


def _flip_head(data: bytearray, rng: random.Random, other: bytes) -> None:
    for _ in range(rng.randint(1, 4)):
        if data:
            data[rng.randrange(min(len(data), 120))] = rng.randrange(256)


def _odd_number(data: bytearray, rng: random.Random, other: bytes) -> None:
    """Write a number that is likely to trip a reader somewhere, often into a TIFF's directory."""
    size = rng.choice((2, 4))
    if len(data) < 16:
        return
    number = rng.choice((0, 1, 2, 3, 5, 8, 16, 255, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF))
    low = struct.unpack("<I", data[4:8])[0] if data[:2] == b"II" else 0
    if data[:2] == b"MM":
        low = struct.unpack(">I", data[4:8])[0]
    if low and low + 16 < len(data) and rng.random() < 0.8:
        at = low + 2 + 12 * rng.randrange(14) + rng.choice((0, 2, 4, 8))
    else:
        at = rng.randrange(min(len(data) - 4, 200))
    number &= (1 << 8 * size) - 1
    data[at : at + size] = number.to_bytes(size, rng.choice(("little", "big")))


def _cut(data: bytearray, rng: random.Random, other: bytes) -> None:
    del data[rng.randrange(len(data) + 1) :]


def _take_out(data: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(data) + 1)
    del data[at : at + rng.randint(1, 60)]


def _repeat(data: bytearray, rng: random.Random, other: bytes) -> None:
    at = rng.randrange(len(data) + 1)
    data[at:at] = data[at : at + rng.randint(1, 200)]


def _blank(data: bytearray, rng: random.Random, other: bytes) -> None:
    at, n = rng.randrange(len(data) + 1), rng.randint(1, 64)
    data[at : at + n] = bytes([rng.choice((0, 255))]) * min(n, max(0, len(data) - at))


def _graft(data: bytearray, rng: random.Random, other: bytes) -> None:
    at, n = rng.randrange(len(data) + 1), rng.randint(4, 400)
    start = rng.randrange(len(other))
    data[at : at + n] = other[start : start + n]


DAMAGES = (_flip, _flip_head, _odd_number, _odd_number, _cut, _take_out, _repeat, _blank, _graft)


def _sums_mended(data: bytes) -> bytes:
    """Return a PNG with the checksum of each chunk put right."""
    out, at = data[:8], 8
    while at + 12 <= len(data):
        n = struct.unpack(">I", data[at : at + 4])[0]
        chunk = data[at + 4 : at + 8 + n]
        if len(chunk) < 4 + n:
            break
        out += struct.pack(">I", n) + chunk + struct.pack(">I", zlib.crc32(chunk))
        at += 12 + n
    return out + data[at:]
