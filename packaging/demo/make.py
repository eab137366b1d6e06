"""Makes the demo commission again: python packaging/demo/make.py

Draws the sketch, then does what a user's clicks do, one after the other.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE)]

from draw_sketch import MARGIN, draw
from shapes import HEIGHT, WIDTH, scene

from core import archive
from core.commission import Commission, Rates, add_flow_line
from core.fields import add_outline
from core.plan import Planner, with_colours
from core.resources import asset
from core.sketch import import_sketch, place_sketch, scale_by_width
from core.stock.lists import starter_stock


def commission(sketch: bytes) -> tuple[Commission, dict[str, bytes]]:
    doc = Commission(
        "Heron among reeds",
        WIDTH,
        HEIGHT,
        seed=3,
        materials=starter_stock(),
        grout_lab=(66.0, 0.5, 5.0),
        notes="Tea-room wall, over the long bench. Set in three sheets a metre.",
        rates=Rates(hour=Decimal("28.00"), grout_kg=Decimal("3.20"), adhesive_kg=Decimal("2.60")),
    )
    doc, images, _ = import_sketch(doc, sketch, "heron.png")
    doc = place_sketch(scale_by_width(doc, WIDTH + 2 * MARGIN), (-MARGIN, -MARGIN))
    for s in scene():
        edited = add_outline(
            doc,
            s.outline,
            s.name,
            s.motif,
            tessera_mm=s.tessera,
            joint_mm=s.joint,
            palette=s.palette,
            **s.choices,
        )
        doc = edited.doc
        for line in s.flow:
            doc, _ = add_flow_line(doc, line, edited.field_id)
    used = {code for f in doc.fields for code in (*f.colour.palette, f.colour.accent)}
    return replace(doc, materials=tuple(m for m in doc.materials if m.code in used)), images


def main() -> None:
    sketch = draw(scene())
    asset("demo/heron.png").write_bytes(sketch)
    doc, images = commission(sketch)
    planner = Planner()
    try:
        layout = planner.layout(doc, images)
    finally:
        planner.close()
    archive.save(asset("demo/heron.emblema"), doc, images, with_colours(doc, layout))
    print(f"{len(doc.fields)} fields, {len(doc.materials)} materials, {len(layout):,} tesserae")


if __name__ == "__main__":
    main()
