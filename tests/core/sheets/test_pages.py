"""A page for each sheet, read back as data: true counts, marks that meet, words that are read."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from sheet_rig import stocked, wall

from core.commission import WAYS_LAID, Commission
from core.drawing import Page, Paths, Text
from core.errors import EmblemaError
from core.paper.printer import Correction
from core.paper.sizes import PAPERS as SIZES
from core.patches import patches
from core.pieces import Layout
from core.sheets.made import Sheets, divided, sheets_of
from core.sheets.pages import FILLS, PAPERS, sheet_pages
from core.sheets.panel import ordinal
from core.sheets.patchmarks import INK, LINE
from core.sheets.sides import WAYS

RED = (176, 28, 28)
CODES = ("SM-01", "SM-02", "GG-7", "MB-114")
LONG = ("SMALTI-0041", "SMALTI-0042", "SMALTI-0043", "MARBLE-0114")  # wider than a piece
CAPITAL_MM = 1.6


@cache
def work(by: str = "piece", laid: str = "direct") -> tuple[Commission, Layout, Sheets]:
    codes = CODES if by == "piece" else LONG
    doc, layout = stocked(*wall(700, 420, 12.0, 2, width_mm=300, height_mm=300), codes, by)
    doc = replace(doc, title="Step & sill", sheeting=replace(doc.sheeting, laid=laid))
    doc = divided(doc, layout)
    return doc, layout, sheets_of(doc, layout)


def texts(page: Page) -> list[Text]:
    return [i for i in page.items if isinstance(i, Text)]


def words(page: Page) -> list[str]:
    return [t.words for t in texts(page)]


def to_wall(page: Page, polygons: np.ndarray) -> np.ndarray:
    """Return the affine map (3, 2) from a page to the work, by its pieces' corners alone."""
    rings = next(i for i in page.items if isinstance(i, Paths) and len(i.starts) == len(polygons))
    on_wall = np.concatenate([np.array(p.exterior.coords)[:-1] for p in polygons])
    on_page = np.column_stack([rings.points, np.ones(len(rings.points))])
    found, _, _, _ = np.linalg.lstsq(on_page, on_wall, rcond=None)
    assert np.abs(on_page @ found - on_wall).max() < 0.01
    return found


def red_marks(page: Page) -> np.ndarray:
    """Return the ends of all match marks, shape (n, 2, 2)."""
    red = [i for i in page.items if isinstance(i, Paths) and i.pen == RED and i.pen_mm > 0.5]
    return np.concatenate([i.points for i in red]).reshape(-1, 2, 2)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("mirrored", [False, True])
def test_marks_of_neighbours_stand_at_one_place_of_the_wall(paper: str, mirrored: bool) -> None:
    doc, layout, sheets = work()
    pages = list(sheet_pages(doc, layout, sheets, paper, mirrored=mirrored))
    wanted, found = np.array([m.at_mm for m in sheets.matches]), Counter[int]()
    for sheet, page in zip(sorted(sheets.each, key=lambda s: s.order), pages, strict=True):
        back = to_wall(page, sheets.polygons[sheet.which])
        assert (np.linalg.det(back[:2]) < 0) == mirrored
        if paper == "true":
            assert abs(abs(np.linalg.det(back[:2])) - 1) < 1e-9
        middle = red_marks(page).mean(axis=1)
        on_wall = np.column_stack([middle, np.ones(len(middle))]) @ back
        off = np.hypot(*(on_wall[:, None] - wanted[None]).transpose(2, 0, 1))
        assert off.min(axis=1).max() < 0.01
        found.update(off.argmin(axis=1).tolist())
        room = shapely.union_all(shapely.buffer(sheets.polygons[sheet.which], 2.0))
        assert shapely.distance(shapely.points(on_wall), room).max() < 0.1
    # a tick is one line and a cross two, each on the pages of both its sheets
    assert len(wanted) > 3
    assert found == {k: 2 if m.mark == "tick" else 4 for k, m in enumerate(sheets.matches)}


@pytest.mark.parametrize("fill", FILLS)
def test_counts_on_the_pages_add_up_to_the_whole(fill: str) -> None:
    doc, layout, sheets = work()
    total: Counter[str] = Counter()
    for page in sheet_pages(doc, layout, sheets, "A4", fill):
        table = {t.y_mm: int(t.words) for t in texts(page) if t.anchor == "end" and t.bold}
        for t in texts(page):
            if t.words in CODES and t.anchor == "start" and not t.bold:
                total[t.words] += table[t.y_mm]
    stock = np.concatenate([f.stock for f in layout.fields])
    assert total == {CODES[k]: n for k, n in enumerate(np.bincount(stock).tolist())}


def test_a_page_says_where_its_sheet_goes() -> None:
    doc, layout, sheets = work()
    pages = list(sheet_pages(doc, layout, sheets))
    by_name = {p.name: p for p in pages}
    assert len(by_name) == len(sheets.each)
    for sheet in sheets.each:
        said = words(by_name[f"Sheet {sheet.number}"])
        assert str(sheet.number) in said and "UP" in said and "seen from the front" in said
        assert f"set {ordinal(sheet.order)} of {len(sheets.each)}" in said
        named = {int(w.split()[1]) for w in said if re.fullmatch(r"sheet \d+", w)}
        assert named == {b.number for b in sheet.beside}
        assert any("not true size" in w for w in said)
        assert any(w.startswith("mark ") and doc.title in w for w in said)
    true = words(next(sheet_pages(doc, layout, sheets, "true")))
    assert "drawn true size" in true and not any("not true size" in w for w in true)


def test_neighbours_stand_on_their_side_and_mirrored_on_the_other() -> None:
    doc, layout, sheets = work()
    plain, turned = (
        {p.name: p for p in sheet_pages(doc, layout, sheets, mirrored=m)} for m in (False, True)
    )
    for sheet in sheets.each:
        for pages, sign in ((plain, 1), (turned, -1)):
            page = pages[f"Sheet {sheet.number}"]
            rings = next(
                i for i in page.items if isinstance(i, Paths) and len(i.starts) == len(sheet.which)
            )
            x0, y0 = rings.points.min(axis=0)
            x1, y1 = rings.points.max(axis=0)
            at = {t.words: t for t in texts(page)}
            for b in sheet.beside:
                t = at[f"sheet {b.number}"]
                off = {"left": (x0 + x1) / 2 - t.x_mm, "right": t.x_mm - (x0 + x1) / 2}
                off |= {"above": (y0 + y1) / 2 - t.y_mm, "below": t.y_mm - (y0 + y1) / 2}
                assert off[b.side] * (sign if b.side in ("left", "right") else 1) > 0
        assert "MIRRORED: seen from the back" in words(turned[f"Sheet {sheet.number}"])


def test_work_that_is_laid_mirrored_is_drawn_so_unasked() -> None:
    for laid in WAYS_LAID:
        doc, layout, sheets = work("piece", laid)
        said = words(next(sheet_pages(doc, layout, sheets)))
        assert ("MIRRORED: seen from the back" in said) == (laid == "mirrored")


def test_a_course_of_one_material_is_named_along_it_with_its_pieces() -> None:
    doc, layout, sheets = work("course")
    course = np.concatenate([f.pieces.course for f in layout.fields])
    field = np.repeat(np.arange(len(layout.fields)), [len(f.pieces) for f in layout.fields])
    pages = {p.name: p for p in sheet_pages(doc, layout, sheets)}
    for sheet in sheets.each:
        wanted: Counter[str] = Counter()
        for f in np.unique(field[sheet.which]):
            mine = sheet.which[field[sheet.which] == f]
            for c in np.unique(course[mine]):
                on = mine[course[mine] == c]
                for run in np.split(on, np.flatnonzero(np.diff(on) > 1) + 1):
                    wanted[f"{len(run)} × {LONG[sheets.stock[run[0]]]}"] += 1
        said = Counter(w for w in words(pages[f"Sheet {sheet.number}"]) if " × " in w)
        runs = {w: n for w, n in said.items() if w in wanted}
        # a long course has room for its name; only short ends of one may lack it
        long = {w: n for w, n in wanted.items() if int(w.split()[0]) > 6}
        assert all(runs.get(w, 0) >= n for w, n in long.items()), (long, runs)


@given(
    st.integers(2, 40),
    st.floats(5, 25),
    st.sampled_from(PAPERS),
    st.sampled_from(FILLS),
    st.sampled_from(WAYS_LAID),
    st.booleans(),
)
@settings(max_examples=25)
def test_all_words_are_read_at_the_bench_and_stand_on_the_page(
    kinds: int, side: float, paper: str, fill: str, laid: str, long_codes: bool
) -> None:
    codes = tuple(f"SMALTI-{k:02d} lot 1234" if long_codes else f"S{k}" for k in range(kinds))
    doc, layout = stocked(*wall(260, 200, side, laid=laid), codes)
    doc = divided(replace(doc, title="A wall " * 20), layout)
    sheets = sheets_of(doc, layout)
    listed = 0
    for page in sheet_pages(doc, layout, sheets, paper, fill):
        for t in texts(page):
            assert t.size_mm * 0.73 >= CAPITAL_MM - 1e-9, t
            assert 0 < t.x_mm < page.width_mm and 0 < t.y_mm < page.height_mm
        listed += sum(int(t.words) for t in texts(page) if t.anchor == "end" and t.bold)
        points = np.concatenate([i.points for i in page.items if isinstance(i, Paths)])
        assert (points >= 0).all() and (points <= (page.width_mm, page.height_mm)).all()
    assert listed == len(layout)


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("mirrored", [False, True])
def test_patches_are_numbered_once_and_bounded_along_joints(paper: str, mirrored: bool) -> None:
    doc, layout = stocked(*wall(260, 200), ("SM-1",))
    doc = divided(replace(doc, rates=replace(doc.rates, seconds_a_piece=20.0)), layout)
    sheets = sheets_of(doc, layout)
    (page,) = sheet_pages(doc, layout, sheets, paper, "lines", mirrored)
    mixes = patches(doc, sheets.graph)
    assert len(mixes) > 3
    numbered = [t.words for t in texts(page) if t.colour == INK]
    assert numbered == [str(k) for k in range(1, len(mixes) + 1)]
    (light,) = [i for i in page.items if isinstance(i, Paths) and i.pen == LINE and i.fill is None]
    pieces = next(i for i in page.items if isinstance(i, Paths) and i.pen_mm == 0.1)
    drawn = shapely.polygons([c for c in np.split(pieces.points, pieces.starts[1:])])
    for ring in np.split(light.points, light.starts[1:]):
        line = shapely.LinearRing(ring)
        assert shapely.length(shapely.intersection(line, shapely.buffer(drawn, -0.05))).sum() < 0.1
    # whole patches lie within them: no piece is cut, and each is within one
    rings = [shapely.Polygon(r).buffer(0.3) for r in np.split(light.points, light.starts[1:])]
    assert sum(int(shapely.covers(r, drawn).sum()) for r in rings) >= len(drawn)
    said = next(t.words for t in texts(page) if "putty" in t.words)
    grams = [round(1000 * m.kg) for m in mixes]
    assert f"{len(mixes)} patches" in said and f"{min(grams)} to {max(grams)} g" in said


def test_a_sheet_of_one_patch_is_not_numbered() -> None:
    doc, layout = stocked(*wall(50, 50), ("SM-1",))
    doc = divided(doc, layout)
    (page,) = sheet_pages(doc, layout, sheets_of(doc, layout))
    assert not [t for t in texts(page) if t.colour == INK]
    assert any(t.words.startswith("1 patch of putty, ") for t in texts(page))


@given(st.floats(95, 105), st.floats(95, 105), st.sampled_from(PAPERS))
@settings(max_examples=6, deadline=None)
def test_a_corrected_page_measures_true_once_printed(across: float, up: float, paper: str) -> None:
    """A printer shrinks by what the bars read; what is drawn 100 / read larger comes out true."""
    doc, layout, sheets = work()
    c = Correction(round(across, 1), round(up, 1))
    plain = next(sheet_pages(doc, layout, sheets, paper))
    page = next(sheet_pages(doc, layout, sheets, paper, correction=c))
    if paper != "true":
        assert sorted((page.width_mm, page.height_mm)) == pytest.approx(SIZES[paper][::-1])

    def outline(p: Page) -> np.ndarray:
        edge = next(i for i in p.items if isinstance(i, Paths) and i.pen_mm == 0.5)
        return np.ptp(edge.points, axis=0)

    printed = outline(page) * (c.across_mm / 100, c.up_mm / 100)
    if paper == "true":
        assert printed == pytest.approx(outline(plain), abs=1e-6)
    else:  # both ways alike
        assert printed[0] / printed[1] == pytest.approx(outline(plain)[0] / outline(plain)[1])
    foot = next(t.words for t in texts(page) if t.words.startswith("mark "))
    assert (f"printer corrected {c.words}" in foot) == c.in_use
    for t in texts(page):
        assert 0 < t.x_mm < page.width_mm and 0 < t.y_mm < page.height_mm


@pytest.mark.parametrize("laid", WAYS_LAID)
def test_layers_fit_together_in_every_picture(laid: str) -> None:
    written = set()
    for stack in WAYS[laid].stacks:
        paper, glass = stack.layers.index("paper"), stack.layers.index("tesserae")
        assert abs(paper - glass) == 1  # the paper is pasted on the tesserae ...
        assert stack.faces_up == (paper > glass)  # ... on their faces
        written.add(stack.written_up == (paper > glass))
    assert len(written) == 1  # the side that is written on does not change by carrying it
    # only work laid face down is written on where the tesserae lie
    assert written == {laid != "mirrored"}


def test_what_cannot_be_drawn_is_said() -> None:
    doc, layout, sheets = work()
    with pytest.raises(EmblemaError, match="paper"):
        next(sheet_pages(doc, layout, sheets, "A7"))
    with pytest.raises(EmblemaError, match="fill"):
        next(sheet_pages(doc, layout, sheets, "A4", "plaid"))
    with pytest.raises(EmblemaError, match="divide"):
        next(sheet_pages(doc, layout, sheets_of(replace(doc, sheets=()), layout)))


@pytest.mark.parametrize("kinds", [12, 44])
def test_a_table_that_has_room_beside_the_drawing_goes_to_no_page_of_its_own(kinds: int) -> None:
    codes = tuple(f"SP-{k}" for k in range(kinds))
    doc, layout = stocked(*wall(295, 440, 10.0, width_mm=300, height_mm=450), codes)
    doc = divided(doc, layout)
    pages = list(sheet_pages(doc, layout, sheets_of(doc, layout)))
    assert len(pages) == len(doc.sheets)


def test_pieces_without_room_for_a_name_have_one_on_a_page_drawn_larger() -> None:
    """A tall sheet of small pieces, each in another material than its neighbours: no runs."""
    codes = tuple(f"SMALTI-{k:03d} lot 7" for k in range(60))
    doc, layout = stocked(*wall(280, 590, 6.0, width_mm=300, height_mm=600), codes)
    doc = divided(doc, layout)
    sheets = sheets_of(doc, layout)
    pages = list(sheet_pages(doc, layout, sheets, "A4"))
    closer = [p for p in pages if "closer" in p.name]
    assert closer and any("named on the closer pages" in w for w in words(pages[0]))
    seen = []
    for page in closer:
        rings = next(i for i in page.items if isinstance(i, Paths) and i.pen_mm == 0.1)
        shapes = [shapely.Polygon(c) for c in np.split(rings.points, rings.starts[1:])]
        seen.append(len(shapes))
        named = [t for t in texts(page) if t.size_mm <= 3.2 and t.colour != INK]
        assert len(named) >= len(shapes)  # each has its own number or a line to one
        for s in shapes:
            x0, y0, x1, y1 = s.bounds
            assert x0 > 0 and y0 > 0 and x1 < page.width_mm and y1 < page.height_mm
        first = next(i for i in pages[0].items if isinstance(i, Paths) and i.pen_mm == 0.1)
        before = shapely.Polygon(np.split(first.points, first.starts[1:])[0]).area
        assert np.median([s.area for s in shapes]) > 1.4**2 * 0.9 * before
    assert sum(seen) <= len(layout)
    assert not [p for p in sheet_pages(doc, layout, sheets, "true") if "closer" in p.name]
