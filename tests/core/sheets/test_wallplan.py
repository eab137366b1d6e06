"""The wall's page: distances add up, openings are dashed and named, the electrician is asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import wall

from core.cartoon import cartoon_pages
from core.commission import Commission
from core.drawing import Page, Paths, Text
from core.openings import box_of, shape_of
from core.openmarks import PURPLE, dashed
from core.pieces import Layout
from core.sheets.keyplan import keyplan_pages
from core.sheets.made import Sheets, divided, sheets_of
from core.site import OPENINGS, Opening

WIDE, HIGH = 900.0, 600.0


def planned(*openings: Opening, site: bool = True) -> tuple[Commission, Layout, Sheets]:
    doc, layout = wall(WIDE, HIGH, 30.0)
    ring = box_of(doc, 3000, 2400, -1200, -900) if site else ()
    doc = divided(replace(doc, openings=openings, site=ring), layout)
    return doc, layout, sheets_of(doc, layout)


def opening(kind: str, name: str, left: float, low: float, wide: float = 80.0) -> Opening:
    doc, _ = wall(WIDE, HIGH, 300.0)
    return Opening(kind, name, box_of(doc, wide, wide, left, low))


def texts(page: Page) -> list[Text]:
    return [i for i in page.items if isinstance(i, Text)]


def rows(page: Page, first: str, cells: int) -> list[list[str]]:
    """Return the rows of the table whose heading begins so: what ends in columns beneath it."""
    top = next(t for t in texts(page) if t.words.startswith(first))
    heads = [t.y_mm for t in texts(page) if t.words.startswith(("Openings, from", "From each"))]
    low = min((y for y in heads if y > top.y_mm), default=page.height_mm)
    at: dict[float, list[Text]] = {}
    for t in texts(page):
        if t.anchor == "end" and top.y_mm < t.y_mm < low and t.x_mm > top.x_mm:
            at.setdefault(t.y_mm, []).append(t)
    found = [[t.words for t in sorted(r, key=lambda t: t.x_mm)] for r in at.values()]
    return [r for r in found[1:] if len(r) == cells]


def test_distances_to_the_wall_add_up() -> None:
    doc, layout, sheets = planned(opening("socket", "Socket", 200, 260))
    page = keyplan_pages(doc, layout, sheets)[-1]
    found = rows(page, "From each side of the wall", 6)
    assert len(found) == len(sheets.each)
    by = {s.number: s for s in sheets.each}
    for _, number, left, right, above, below in found:
        w, h = by[int(number)].size_mm
        assert int(left) + w + int(right) == pytest.approx(3000, abs=2)
        assert int(above) + h + int(below) == pytest.approx(2400, abs=2)
    said = " ".join(t.words for t in texts(page))
    assert "Wall 3000 × 2400 mm" in said and "1200 from its left, 900 above" in said


def test_openings_are_measured_from_the_wall_and_to_the_sheets_beside_them() -> None:
    doc, layout, sheets = planned(
        opening("socket", "Socket", 200, 260), opening("window", "Window", -900, 300, 500)
    )
    page = keyplan_pages(doc, layout, sheets)[-1]
    socket, window = rows(page, "Openings, from", 5)
    assert socket[:4] == ["Socket", "80 × 80", "1400", "1160"]
    assert window == ["Window", "500 × 500", "300", "1200", "none near"]
    hole = shape_of(doc.openings[0])
    told = dict(tuple(map(int, one.split(": "))) for one in socket[4].split(", "))
    assert len(told) >= 2  # a seam runs into it
    for number, far in told.items():
        which = next(s.which for s in sheets.each if s.number == number)
        assert far == round(float(shapely.distance(sheets.polygons[which], hole).min()))


@pytest.mark.parametrize("kind", OPENINGS)
def test_whoever_is_to_be_asked_is_named(kind: str) -> None:
    doc, layout, sheets = planned(opening(kind, "It", 200, 260), site=False)
    said = " ".join(t.words for t in texts(keyplan_pages(doc, layout, sheets)[-1]))
    assert ("licensed electrician decide" in said) == (kind in ("socket", "switch", "hood", "hob"))
    assert ("seal the edge" in said) == (kind in ("tap", "window"))
    assert "From each side of the wall" not in said and "edge of the work" in said


def test_a_work_without_wall_and_openings_has_no_such_page() -> None:
    doc, layout, sheets = planned(site=False)
    assert "Key plan, wall" not in [p.name for p in keyplan_pages(doc, layout, sheets)]


@given(st.integers(0, 60), st.booleans(), st.sampled_from(["A4", "A3"]))
@settings(max_examples=6, deadline=None)
def test_every_opening_is_told_however_many_and_all_stands_on_the_page(
    many: int, site: bool, paper: str
) -> None:
    doc, layout, sheets = planned()
    names = [f"Socket number {k}" for k in range(many)]
    marks = tuple(opening("socket", n, 14.0 * k, 100, 12.0) for k, n in enumerate(names))
    doc = replace(doc, openings=marks, site=doc.site if site else ())
    pages = [p for p in keyplan_pages(doc, layout, sheets, paper) if p.name == "Key plan, wall"]
    told = [t.words for p in pages for t in texts(p) if t.anchor == "end"]
    assert set(names) <= set(told)
    for page in pages:
        for t in texts(page):
            assert 0 < t.x_mm < page.width_mm and 0 < t.y_mm < page.height_mm, t
            assert t.size_mm * 0.73 >= 1.6 - 1e-9


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_cartoon_shows_them_dashed_and_named_where_they_are(mirrored: bool) -> None:
    doc, layout, _ = planned(opening("socket", "Socket", 100, 460), site=False)
    pages = cartoon_pages(doc, layout, "whole", mirrored)
    (page,) = [p for p in pages if p.name != "Key"]
    lines = [i for i in page.items if isinstance(i, Paths) and i.pen == PURPLE]
    assert len(lines) == 1 and len(lines[0].starts) > 10  # dashes
    x0, y0 = page.clip_mm[:2] if page.clip_mm else (0, 0)
    left = WIDE - 180.0 if mirrored else 100.0
    low, high = lines[0].points.min(axis=0), lines[0].points.max(axis=0)
    assert low == pytest.approx((x0 + left, y0 + 60.0)) and high - low == pytest.approx((80, 80))
    (name,) = [t for t in texts(page) if t.words == "Socket"]
    assert name.colour == PURPLE and low[0] < name.x_mm < high[0]


@given(st.floats(1, 300), st.floats(1, 300))
def test_dashes_lie_on_the_line_and_leave_about_a_third_bare(w: float, h: float) -> None:
    ring = np.array([[0, 0], [w, 0], [w, h], [0, h], [0, 0]], float)
    whole = shapely.LineString(ring)
    made = [shapely.LineString(d) for d in dashed(ring)]
    assert all(whole.buffer(1e-6).covers(d) for d in made)
    inked = sum(d.length for d in made)
    assert 0.6 * whole.length <= inked <= 0.66 * whole.length + 2.6
