"""A wall of even squares, the case that handbooks reckon."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import numpy as np
import shapely

from core.commission import Commission, Rates, field_of
from core.material import Material
from core.pieces import LaidField, Layout, Pieces


def wall(columns: int = 10, rows: int = 5, stock: int = 0) -> tuple[Commission, Layout]:
    """Squares of 10 mm with joints of 2 mm: the case of the handbook's formula."""
    x, y = np.meshgrid(np.arange(columns) * 12 + 1.0, np.arange(rows) * 12 + 1.0)
    polygons = shapely.box(x.ravel(), y.ravel(), x.ravel() + 10, y.ravel() + 10)
    n = len(polygons)
    w, h = columns * 12.0, rows * 12.0
    outline = ((((0.0, 0.0), (w, 0.0), (w, h), (0.0, h)),),)
    materials = (
        Material("G", "glass", "vitreous", (50.0, 0.0, 0.0), thickness_mm=4.0,
                 density_kg_m3=2500.0, price=Decimal("20"), price_unit="kg", pieces=40, waste=0.2),
        Material("S", "sheet", "gold glass", (70.0, 0.0, 60.0), price=Decimal("9"),
                 price_unit="sheet"),
        Material("P", "piece", "marble", (90.0, 0.0, 0.0), length_mm=40.0, width_mm=21.0,
                 price=Decimal("0.50"), price_unit="piece", waste=0.0),
        Material("M", "by area", "marble", (90.0, 0.0, 0.0), price=Decimal("100"),
                 price_unit="m2", waste=0.0),
    )  # fmt: skip
    pieces = Pieces(polygons, np.repeat(np.arange(rows), columns), np.arange(n), np.zeros(n))
    laid = LaidField("f1", pieces, np.zeros((n, 3)), np.full(n, stock, dtype=np.int64), np.zeros(n))
    field = field_of("f1", "Wall", outline, opus="regulatum", tessera_mm=10.0, joint_mm=2.0)
    rates = Rates(hour=Decimal(30), grout_kg=Decimal(4), adhesive_kg=Decimal(2))
    doc = Commission("Wall", w, h, fields=(field,), materials=materials, rates=rates)
    return replace(doc, currency="EUR"), Layout((laid,))
