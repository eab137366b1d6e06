"""The key plan and the setter's notes: distances that add up, and what published figures say."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import stocked, wall

from core.commission import WAYS_LAID
from core.drawing import Page, Paths, Text
from core.errors import EmblemaError
from core.figures import CAUTIONS, figures
from core.sheets.keyplan import SPACINGS, keyplan_pages, movement_joints
from core.sheets.made import divided, sheets_of
from core.sheets.notes import notes_page

BLUE, RED = (20, 90, 170), (176, 28, 28)


def texts(page: Page) -> list[Text]:
    return [i for i in page.items if isinstance(i, Text)]


def told(page: Page) -> str:
    return " ".join(t.words for t in texts(page))


def rows(page: Page) -> list[list[str]]:
    """Return the table's rows, eight cells each: what ends at its place, height by height."""
    by_height: dict[float, list[Text]] = {}
    for t in texts(page):
        if t.anchor == "end":
            by_height.setdefault(t.y_mm, []).append(t)
    found = [[t.words for t in sorted(r, key=lambda t: t.x_mm)] for r in by_height.values()]
    tables = len(found[0]) // 8  # side by side
    each = [r[8 * k : 8 * k + 8] for k in range(tables) for r in found]
    return [r for r in each if r and r[0].isdigit()]


@given(st.floats(300, 2600), st.floats(300, 2600), st.sampled_from(["A4", "A3"]), st.floats(0, 200))
@settings(max_examples=8)
def test_distances_to_the_edges_add_up_to_the_work(
    width: float, height: float, paper: str, level: float
) -> None:
    doc, layout = wall(width, height, 60.0, level_mm=level, width_mm=400, height_mm=400)
    doc = divided(replace(doc, title="Wall of the yard"), layout)
    sheets = sheets_of(doc, layout)
    pages = keyplan_pages(doc, layout, sheets, paper)
    found = [r for page in pages for r in rows(page)]
    assert [int(r[0]) for r in found] == list(range(1, len(sheets.each) + 1))
    assert sorted(int(r[1]) for r in found) == sorted(s.number for s in sheets.each)
    by_number = {s.number: s for s in sheets.each}
    for _, number, left, right, above, below, size, kg in found:
        w, h = map(int, size.split(" × "))
        assert abs(int(left) + w + int(right) - width) <= 1.5
        assert abs(int(above) + h + int(below) - height) <= 1.5
        assert float(kg) == pytest.approx(by_number[int(number)].kg, abs=0.005)
    for page in pages:
        for t in texts(page):
            assert 0 < t.x_mm < page.width_mm and 0 < t.y_mm < page.height_mm, t
    named = {t.words for t in texts(pages[0]) if t.bold}
    assert {str(s.number) for s in sheets.each} <= named


@pytest.mark.parametrize("level", [0.0, 150.0])
def test_the_level_line_stands_at_its_height(level: float) -> None:
    doc, layout = wall(900, 600, 20.0, level_mm=level)
    doc = divided(doc, layout)
    page = keyplan_pages(doc, layout, sheets_of(doc, layout))[0]
    line = next(i for i in page.items if isinstance(i, Paths) and i.pen == BLUE)
    frame = next(i for i in page.items if isinstance(i, Paths) and i.pen_mm == 0.7)
    low, high = frame.points[:, 1].max(), frame.points[:, 1].min()
    assert (low - line.points[:, 1].mean()) / (low - high) == pytest.approx(level / 600)


def test_a_drawn_seam_is_shown() -> None:
    doc, layout = wall(900, 600, 20.0, seams=(((450.0, 0.0), (450.0, 600.0)),))
    doc = divided(doc, layout)
    page = keyplan_pages(doc, layout, sheets_of(doc, layout))[0]
    seam = next(i for i in page.items if isinstance(i, Paths) and i.pen == RED)
    frame = next(i for i in page.items if isinstance(i, Paths) and i.pen_mm == 0.7)
    assert seam.points[:, 0].mean() == pytest.approx(frame.points[:, 0].mean())


@given(st.floats(10, 60_000), st.sampled_from(SPACINGS))
def test_movement_joints_part_a_side_into_no_more_than_their_spacing(side, spacing) -> None:  # type: ignore[no-untyped-def]
    few, many = spacing.needed(side)
    for joints, apart in ((few, spacing.most_mm), (many, spacing.least_mm)):
        assert side / (joints + 1) <= apart * (1 + 1e-9)
        assert joints == 0 or side / joints > apart * (1 - 1e-9)


def test_published_spacings_of_movement_joints() -> None:
    """25 ft indoors, 8 to 12 ft outdoors (TCNA EJ171), 3 to 4.5 m on walls."""
    indoors, outdoors, walls = movement_joints(7_620, 7_630)
    assert "none across, 1 up" in indoors
    # 7.62 m: at 12 ft (3.658 m) 2 joints, at 8 ft (2.438 m) 3
    assert "2 to 3 across, 2 to 3 up" in outdoors
    assert "1 to 2 across" in walls
    assert all(w.split(": ")[1].startswith("none (") for w in movement_joints(1200, 600))


def test_nothing_to_plan_is_said() -> None:
    doc, layout = wall(300, 200)
    with pytest.raises(EmblemaError, match="divide"):
        keyplan_pages(doc, layout, sheets_of(doc, layout))
    doc = divided(doc, layout)
    with pytest.raises(EmblemaError, match="paper"):
        keyplan_pages(doc, layout, sheets_of(doc, layout), "A9")


@pytest.mark.parametrize("laid", WAYS_LAID)
@pytest.mark.parametrize("title", ["Sill", "A wall of many words " * 12])
def test_notes_are_one_page_with_this_works_figures(laid: str, title: str) -> None:
    doc, layout = stocked(*wall(1000, 500, 20.0, laid=laid, level_mm=120.0), ("SM-1", "SM-2"))
    doc = divided(replace(doc, title=title), layout)
    sheets, f = sheets_of(doc, layout), figures(doc, layout)
    page = notes_page(doc, layout, sheets)
    said = told(page)
    foot = page.height_mm - 14.0
    assert max(t.y_mm for t in texts(page)) <= foot
    assert sorted({t.y_mm for t in texts(page)})[-2] <= foot - 5.0  # words keep clear of the foot
    assert min(t.size_mm for t in texts(page)) * 0.73 >= 1.6 - 1e-9
    for told_of in (
        *(f"{f.kg_m2:.1f} kg/m2", f"{f.area_m2:.2f} m2", f"{f.grout_bought_kg:.1f} kg"),
        *(f"about {math.ceil(f.adhesive_kg)} kg", f"{len(sheets.each)} sheets", "120 mm above"),
        *("80 %", "95 %", "A108.5", "5 to 30 minutes", "BS 5385-1", *CAUTIONS),
    ):
        assert told_of in said, told_of


@pytest.mark.parametrize(("thick", "within", "beyond"), [(4.0, 5, 0), (8.0, 4, 1), (40.0, 0, 5)])
def test_walls_that_are_too_weak_are_named(thick: float, within: int, beyond: int) -> None:
    """4 mm of glass with 3 mm of bed is some 15 kg/m2, 8 mm 25, and 40 mm 100."""
    doc, layout = stocked(*wall(1000, 500, 20.0), ("SM-1",))
    heavy = tuple(replace(m, thickness_mm=thick) for m in doc.materials)
    doc = divided(replace(doc, materials=heavy), layout)
    said = told(notes_page(doc, layout, sheets_of(doc, layout)))
    carried = re.search(r"carry, kg/m2: (.*?)\.", said)
    too_weak = re.search(r"Too heavy for: (.*?)\.", said)
    assert (carried[1].count("(to") if carried else 0) == within
    assert (too_weak[1].count("(to") if too_weak else 0) == beyond
