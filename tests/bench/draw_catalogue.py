"""Draws shapes of the catalogue as they are laid, with the bounds they miss, to be looked at.

python tests/bench/draw_catalogue.py OUT.png [NAME ...]. Blue pieces are small, red ones large,
green ones have other than four corners. Where courses turn too much, dots are the joints at which
exact parallels of the border turn more than 10 degrees, and the words say how far the sizes of
their pieces would have to spread (0.14 is allowed) for them to keep the limit, inf where none
would.
"""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests/core/laying")]

import shapely
from awkward import CATALOGUE
from forbidden import joints_on_offsets
from measures import kept, measure
from PIL import Image, ImageDraw, ImageFont

from core.laying import Setting, lay_field
from core.pieces import Pieces

WIDE, COLUMNS, GAP, HEAD = 420, 4, 12, 40
GROUT, PAPER, INK, DOT = (122, 114, 102), (250, 248, 242), (60, 50, 46), (170, 30, 30)


def colour(area: float, corners: int) -> tuple[int, int, int]:
    if area > 1.34:
        return (232, 150, 122)
    if area < 0.6:
        return (152, 190, 228)
    return (216, 206, 182) if corners == 4 else (200, 214, 172)


def drawn(name: str, s: Setting, pieces: Pieces) -> Image.Image:
    """Return one field's picture with its name and what it misses."""
    x0, y0, x1, y1 = s.outline.bounds
    by = 2 * WIDE / max(x1 - x0, (y1 - y0) * 0.8)
    size = (2 * WIDE, int((y1 - y0) * by) + 2 * HEAD)
    image = Image.new("RGB", size, PAPER)
    d = ImageDraw.Draw(image)

    def at(ring: shapely.LinearRing) -> list[tuple[float, float]]:
        return [((x - x0) * by, (y - y0) * by + 2 * HEAD) for x, y in ring.coords]

    for part in s.outline.geoms:
        d.polygon(at(part.exterior), fill=GROUT)
        for hole in part.interiors:
            d.polygon(at(hole), fill=PAPER)
    for p in pieces.polygons:
        corners = len(p.exterior.coords) - 1
        d.polygon(at(p.exterior), fill=colour(p.area / s.laying.tessera_mm**2, corners))
    found = measure(s.outline, s.laying.tessera_mm, s.laying.joint_mm, pieces, s.flow)
    missed = {k: f"{k} {v:.3g}" for k, v in found.items() if not kept(k, v)}
    if "course_turn_deg" in missed:
        xy, turn = joints_on_offsets(s)
        for x, y in xy[turn > 10]:
            u, v = (x - x0) * by, (y - y0) * by + 2 * HEAD
            d.ellipse((u - 4, v - 4, u + 4, v + 4), fill=DOT)
    words = f"{name.replace('_', ' ')}\n{', '.join(missed.values()) or 'all bounds hold'}"
    d.text((4, 2), words, fill=INK, font=ImageFont.load_default(26))
    return image.resize((WIDE, size[1] // 2), Image.Resampling.LANCZOS)


def main() -> None:
    names = sys.argv[2:] or list(CATALOGUE)
    some = [(n, CATALOGUE[n]()) for n in names]
    pictures = [drawn(n, s, lay_field(s)) for n, s in some]
    rows = [pictures[k : k + COLUMNS] for k in range(0, len(pictures), COLUMNS)]
    high = [max(p.height for p in row) + GAP for row in rows]
    out = Image.new("RGB", (COLUMNS * (WIDE + GAP) + GAP, sum(high) + GAP), PAPER)
    y = GAP
    for row, h in zip(rows, high, strict=True):
        for k, picture in enumerate(row):
            out.paste(picture, (GAP + k * (WIDE + GAP), y))
        y += h
    out.save(sys.argv[1])


if __name__ == "__main__":
    main()
