"""Measures how much memory large pictures take to open, each in a process of its own.

python tests/bench/large_pictures.py [WORD ...]: those whose names hold one of the words.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LIMIT_MB = 1500

# name, mode, width, height, kind, what is given to the writer
KINDS: tuple[tuple[str, str, int, int, str, dict[str, object]], ...] = (
    ("telephone, 200 MP", "RGB", 16384, 12288, "JPEG", {"quality": 85}),
    ("progressive, 200 MP", "RGB", 16384, 12288, "JPEG", {"quality": 85, "progressive": True}),
    ("progressive 4:4:4, 200 MP", "RGB", 16384, 12288, "JPEG",
     {"quality": 85, "progressive": True, "subsampling": 0}),
    ("grey JPEG, 900 MP", "L", 30000, 30000, "JPEG", {}),
    ("CMYK JPEG, 200 MP", "CMYK", 16384, 12288, "JPEG", {}),
    ("PNG, 50 MP", "RGB", 8192, 6144, "PNG", {"compress_level": 1}),
    ("PNG, 200 MP", "RGB", 16384, 12288, "PNG", {"compress_level": 1}),
    ("PNG with alpha, 240 MP", "RGBA", 16000, 15000, "PNG", {"compress_level": 1}),
    ("palette PNG, 400 MP", "P", 20000, 20000, "PNG", {"compress_level": 1}),
    ("deep grey PNG, 400 MP", "I;16", 20000, 20000, "PNG", {"compress_level": 1}),
    ("PNG, 400 MP", "RGB", 20000, 20000, "PNG", {"compress_level": 1}),
    ("TIFF, 200 MP", "RGB", 16384, 12288, "TIFF", {}),
    ("TIFF LZW, 200 MP", "RGB", 16384, 12288, "TIFF", {"compression": "tiff_lzw"}),
    ("TIFF LZW of one strip, 100 MP", "RGB", 10000, 10000, "TIFF",
     {"compression": "tiff_lzw", "strip_size": 1 << 30}),
    ("TIFF LZW of one strip, 150 MP", "RGB", 15000, 10000, "TIFF",
     {"compression": "tiff_lzw", "strip_size": 1 << 30}),
    ("CMYK TIFF, 200 MP", "CMYK", 16384, 12288, "TIFF", {}),
    ("bilevel TIFF, 800 MP", "1", 40000, 20000, "TIFF", {"compression": "group4"}),
    ("WebP, 50 MP", "RGB", 8192, 6144, "WEBP", {"quality": 50, "method": 0}),
    ("WebP, 65 MP", "RGB", 8100, 8000, "WEBP", {"quality": 50, "method": 0}),
    ("WebP with alpha, 60 MP", "RGBA", 8100, 7400, "WEBP", {"quality": 50, "method": 0}),
    ("WebP, 200 MP", "RGB", 16300, 12288, "WEBP", {"quality": 50, "method": 0}),
    ("BMP, 200 MP", "RGB", 16384, 12288, "BMP", {}),
)  # fmt: skip

WRITE = """
import sys
import numpy as np
from PIL import Image
Image.MAX_IMAGE_PIXELS = None
mode, w, h, kind, more, path = eval(sys.argv[1])
grain = np.random.default_rng(1).integers(0, 256, (256, 256), np.uint8)
tile = Image.fromarray(grain).resize((2048, 2048), Image.Resampling.BICUBIC)
if mode == "I;16":
    tile = Image.fromarray(np.asarray(tile).astype(np.uint16) * 257)
else:
    tile = tile.convert("RGB").convert(mode)
if kind == "TIFF" and "strip_size" in more:
    from PIL import TiffImagePlugin
    TiffImagePlugin.STRIP_SIZE = more.pop("strip_size")
out = Image.new(mode, (w, h))
for y in range(0, h, 2048):
    for x in range(0, w, 2048):
        out.paste(tile, (x, y))
out.save(path, kind, **more)
"""

READ = """
import resource, sys, time
from pathlib import Path
from core.errors import EmblemaError
from core.sketch import import_sketch
from core.commission import Commission
began = time.monotonic()
try:
    doc, _, _ = import_sketch(Commission("Wall", 3000.0, 2000.0), Path(sys.argv[1]), "large")
    said = f"{doc.sketch.width_px} x {doc.sketch.height_px}"
except EmblemaError as e:
    said = str(e)
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
print(f"{peak}\\t{time.monotonic() - began:.1f}\\t{said}")
"""


def main() -> None:
    wanted = sys.argv[1:]
    worst = 0
    for name, mode, w, h, kind, more in KINDS:
        if wanted and not any(word in name for word in wanted):
            continue
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "large"
            given = repr((mode, w, h, kind, more, str(path)))
            subprocess.run([sys.executable, "-c", WRITE, given], check=True)
            told = subprocess.run(
                [sys.executable, "-c", READ, str(path)],
                cwd=ROOT, check=True, capture_output=True, text=True,
            )  # fmt: skip
            size = path.stat().st_size // 1_000_000
        peak, seconds, said = told.stdout.strip().split("\t")
        worst = max(worst, int(peak))
        print(
            f"{name:<34} file {size:>5} MB  peak {peak:>5} MB  {seconds:>5} s  {said}", flush=True
        )
    print(f"the most: {worst} MB, {'within' if worst < LIMIT_MB else 'BEYOND'} {LIMIT_MB} MB")


if __name__ == "__main__":
    main()
