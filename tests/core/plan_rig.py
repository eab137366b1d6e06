"""A small commission of three fields, and a planner that is closed."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from core.commission import Commission, field_of
from core.pieces import Layout
from core.plan import Planner
from core.stock.lists import starter_stock


def bands(**common: object) -> Commission:
    """Return three fields side by side."""
    fields = tuple(
        field_of(
            f"f{k}",
            name,
            ((((50.0 * k, 0.0), (50.0 * k + 50, 0.0), (50.0 * k + 50, 60.0), (50.0 * k, 60.0)),),),
            "water" if k else "",
            wanted_lab=(30.0 + 20 * k, 5.0 * k, -10.0),
            **common,
        )
        for k, name in enumerate(("Left", "Middle", "Right"))
    )
    # plates large enough that every piece fits
    stock = tuple(replace(m, length_mm=90.0, width_mm=90.0) for m in starter_stock()[:20])
    return Commission("Bands", 150.0, 60.0, fields=fields, materials=stock)


@contextmanager
def planning() -> Iterator[Planner]:
    """Lend a planner and close it."""
    planner = Planner()
    try:
        yield planner
    finally:
        planner.close()


def laid(doc: Commission) -> Layout:
    """Lay a document from nothing."""
    with planning() as planner:
        return planner.layout(doc, {})
