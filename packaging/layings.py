"""Draws one small wall in every way of laying, by the program's own solver, for the manual."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from PIL import Image, ImageDraw, ImageFont

from core.commission import Commission, FlowLine, field_of
from core.fields import add_outline
from core.plan import Planner

WIDE, HIGH = 240.0, 170.0  # mm of each wall
PX = 6  # a mm; brought down to half, so that edges are smooth
LABEL = 26  # mm below each wall
LEAF = ((64, 92), (100, 58), (150, 62), (184, 96), (146, 112), (100, 118))
WAVE = ((0.0, 60.0), (70.0, 40.0), (140.0, 66.0), (240.0, 44.0))
GROUT, INK, PAPER = (150, 143, 131), (52, 50, 46), (250, 248, 242)
COLOURS = {"figure": (74, 116, 96), "ground": (222, 212, 190)}

KINDS: tuple[tuple[str, str, dict[str, Any]], ...] = (
    ("tessellatum", "tessellatum: courses along the flow", {}),
    ("regulatum", "regulatum: a grid", {}),
    ("vermiculatum", "vermiculatum: small courses hug the figure", {"hug_courses": 2}),
    ("musivum", "musivum: they fill the ground", {}),
    ("classicum", "classicum: a few, then plain courses", {"hug_courses": 2}),
    ("palladianum", "palladianum: irregular pieces", {"tessera_mm": 14.0}),
    ("circumactum", "circumactum: fans", {"module_mm": 70.0}),
    ("sectile", "sectile: cut along your lines", {}),
    ("rounds", "pebbles, turned along the flow", {"tessera_mm": 12.0}),
    ("tapers", "tusk shells, side by side", {"tessera_mm": 5.0, "slenderness": 4.0}),
)


def wall(kind: str, choices: dict[str, Any]) -> Commission:
    """Return a leaf in a ground that is laid in one way."""
    ring = ((0.0, 0.0), (WIDE, 0.0), (WIDE, HIGH), (0.0, HIGH))
    ground = field_of("f1", "Ground", ((ring,),), "ground", follow_border=False, joint_mm=1.2)
    doc = Commission("Wall", WIDE, HIGH, fields=(ground,))
    edited = add_outline(doc, [(float(x), float(y)) for x, y in LEAF], smooth=True)
    doc = edited.doc
    natural = kind in ("rounds", "tapers")
    given: dict[str, Any] = {"pieces": kind} if natural else {"opus": kind}
    if kind in ("vermiculatum", "musivum", "classicum"):
        given["hug"] = ("figure",)
    fields = []
    for f in doc.fields:
        if f.id == edited.field_id:
            fields.append(f.with_choices(name="Leaf", motif="figure", tessera_mm=8.0, joint_mm=1.2))
        else:
            fields.append(f.with_choices(motif="ground", **{**given, **choices}))
    lines = [FlowLine("l1", WAVE, "f1")]
    if kind == "sectile":
        lines = [
            FlowLine("l1", ((0.0, 88.0), (64.0, 92.0)), "f1"),
            FlowLine("l2", ((184.0, 96.0), (240.0, 80.0)), "f1"),
            FlowLine("l3", ((118.0, 0.0), (124.0, 58.0)), "f1"),
            FlowLine("l4", ((120.0, 118.0), (110.0, 170.0)), "f1"),
        ]
    return replace(doc, fields=tuple(fields), flow_lines=tuple(lines))


def drawn(doc: Commission, words: str) -> Image.Image:
    """Return a wall's picture over its name."""
    planner = Planner()
    try:
        layout = planner.layout(doc, {})
    finally:
        planner.close()
    size = (int(WIDE * PX), int((HIGH + LABEL) * PX))
    image = Image.new("RGB", size, PAPER)
    d = ImageDraw.Draw(image)
    d.rectangle((0, 0, size[0], int(HIGH * PX)), fill=GROUT)
    rng = np.random.default_rng(4)
    for laid in layout.fields:
        colour = np.array(COLOURS[doc.field_by_id(laid.field_id).motif])
        for polygon in laid.pieces.polygons:
            tint = tuple(int(v) for v in np.clip(colour + rng.integers(-14, 10), 0, 255))
            d.polygon([(x * PX, y * PX) for x, y in polygon.exterior.coords], fill=tint)
    d.text((4, (HIGH + 4) * PX), words, fill=INK, font=ImageFont.load_default(11 * PX))
    return image.resize((size[0] // 2, size[1] // 2), Image.Resampling.LANCZOS)


def draw_layings(path: Path) -> None:
    """Write all of them side by side."""
    pictures = [drawn(wall(kind, choices), words) for kind, words, choices in KINDS]
    w, h = pictures[0].size
    gap = 36
    out = Image.new("RGB", (2 * w + 3 * gap, 5 * h + 6 * gap), PAPER)
    for k, picture in enumerate(pictures):
        out.paste(picture, (gap + (k % 2) * (w + gap), gap + (k // 2) * (h + gap)))
    out.save(path)


if __name__ == "__main__":
    draw_layings(Path(sys.argv[1]))
