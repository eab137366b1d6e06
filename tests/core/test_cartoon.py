"""What stands on the cartoon's pages: names, counts, codes that fit, and a map that can be read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_rig import bands

from core.cartoon import CODES, NUMBERS, cartoon_pages, division_of
from core.commission import Commission, field_of
from core.drawing import Page, Paths, Text, scaled
from core.keypage import READ_MM
from core.pieces import LaidField, Layout, Pieces

Ring = list[tuple[float, float]]


def work(ring: Ring, size: float = 40.0) -> tuple[Commission, Layout]:
    """Return one field, laid in squares within it of the first two materials by turns."""
    wide, high = np.max(ring, axis=0).tolist()
    doc = bands()
    field = field_of("f0", "One", ((tuple(ring),),))
    doc = replace(doc, width_mm=wide, height_mm=high, fields=(field,), title="Work")
    squares = [
        shapely.box(x + 0.5, y + 0.5, x + size - 0.5, y + size - 0.5)
        for y in np.arange(0, high - size + 1e-6, size)
        for x in np.arange(0, wide - size + 1e-6, size)
    ]
    inside = shapely.contains(shapely.Polygon(ring), squares)
    return doc, laid([p for p, of in zip(squares, inside, strict=True) if of])


def laid(squares: list[shapely.Polygon]) -> Layout:
    n = len(squares)
    pieces = Pieces(np.array(squares, dtype=object), np.zeros(n, int), np.arange(n), np.zeros(n))
    return Layout((LaidField("f0", pieces, np.zeros((n, 3)), np.arange(n) % 2, np.zeros(n)),))


def box(wide: float, high: float) -> Ring:
    return [(0.0, 0.0), (wide, 0.0), (wide, high), (0.0, high)]


ELL: Ring = [(0, 0), (1200, 0), (1200, 240), (240, 240), (240, 1000), (0, 1000)]


def texts(page: Page) -> list[Text]:
    return [i for i in (*page.items, *page.over) if isinstance(i, Text)]


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter"])
def test_pages_are_counted_and_named_without_those_left_out(paper: str) -> None:
    doc, layout = work(ELL)
    division = division_of(doc, layout, paper)
    key, *pages = cartoon_pages(doc, layout, paper)
    assert division.bare and [p.name for p in pages] == [t.name for t in division.tiles]
    for page in pages:
        foot = next(t.words for t in texts(page) if t.words.startswith("mark "))
        assert f"page {page.name} of {len(pages)}   " in foot
    # each page's name stands in its place of the map, none in a place that is left out
    names = {t.words: t for t in texts(key) if t.bold}
    (boxes,) = (i for i in key.items if isinstance(i, Paths) and len(i.starts) == len(pages))
    corners = np.split(boxes.points, boxes.starts[1:])
    for page, of in zip(pages, corners, strict=True):
        label = names[page.name]
        assert label.size_mm >= READ_MM
        # a capital is about as wide as 0.7 of its size: the whole name lies in its place
        half = 0.35 * label.size_mm * len(label.words)
        x0, y0, x1, y1 = *of.min(axis=0), *of.max(axis=0)
        assert x0 < label.x_mm - half and label.x_mm + half < x1
        assert y0 < label.y_mm - label.size_mm / 2 and label.y_mm + label.size_mm / 2 < y1
    assert not {t.name for t in division.bare} & set(names)
    assert any("Hatched" in t.words for t in texts(key))


def test_a_map_of_too_many_pages_is_read_along_its_edges() -> None:
    doc, layout = work(box(12000.0, 3000.0), 300.0)
    division = division_of(doc, layout, "A4")
    key = cartoon_pages(replace(doc, title=""), layout, "A4")[0]
    bold = {t.words: t for t in texts(key) if t.bold}
    assert {str(t.column + 1) for t in division.tiles} <= set(bold)
    assert {t.letters for t in division.tiles} <= set(bold)
    assert all(t.size_mm >= READ_MM for t in bold.values()) and "B3" not in bold


def test_nothing_drawn_leaves_the_key_page_alone() -> None:
    doc = replace(bands(), fields=())
    (key,) = cartoon_pages(doc, Layout(()), "A4")
    assert any("Hatched" in t.words for t in texts(key))


# --- codes on the pieces ----------------------------------------------------------------------


def on_pieces(doc: Commission, layout: Layout, codes: str) -> list[Text]:
    page = cartoon_pages(doc, layout, "whole", codes=codes)[1]
    return [i for i in page.items if isinstance(i, Text)]


@given(st.floats(0.5, 30.0), st.sampled_from(["S", "SM-01", "Murano blue 27", "x" * 40]))
@settings(max_examples=60)
def test_the_studios_code_stands_where_it_fits_and_else_the_number(size: float, code: str) -> None:
    doc = bands()
    doc = replace(doc, materials=(replace(doc.materials[0], code=code), *doc.materials[1:2]))
    layout = laid([shapely.box(0, 0, size, size)])
    plain, said = (on_pieces(doc, layout, codes) for codes in (NUMBERS, CODES))
    assert [t.words for t in plain] in ([], ["1"])
    assert [t.words for t in said] in ([], ["1"], [code])
    assert len(said) >= len(plain)
    for t in said:
        assert 1.0 <= t.size_mm <= 3.0
        # half a letter wide at the least: the line of them lies within the piece
        assert 0.5 * t.size_mm * len(t.words) <= size + 1e-9
    # letters 1 mm high are at most 0.75 mm wide; the largest circle is found to 0.3 mm
    if size >= 0.75 * len(code) + 1.5:
        assert [t.words for t in said] == [code]
    elif size < 0.5 * len(code):
        assert [t.words for t in said] != [code] or code == "S"


def test_the_key_says_what_stands_on_the_pieces() -> None:
    doc, layout = work(box(200.0, 120.0))
    with_codes = [t.words for t in texts(cartoon_pages(doc, layout, codes=CODES)[0])]
    assert any("studio's code" in w for w in with_codes)
    assert not any("studio's code" in t.words for t in texts(cartoon_pages(doc, layout)[0]))


# --- pages as data ----------------------------------------------------------------------------


def test_a_scaled_page_moves_all_and_keeps_its_letters_shape() -> None:
    line = Paths.of([np.array([[1.0, 2.0], [3.0, 5.0]])], closed=False)
    page = Page(10.0, 20.0, "P", (line,), (Text(4.0, 6.0, "W", 2.0),), (1.0, 1.0, 9.0, 9.0))
    now = scaled(page, 2.0, 3.0)
    assert (now.width_mm, now.height_mm, now.clip_mm) == (20.0, 60.0, (2.0, 3.0, 18.0, 27.0))
    (path,), (word,) = now.items, now.over
    assert isinstance(path, Paths) and path.points.tolist() == [[2.0, 6.0], [6.0, 15.0]]
    assert isinstance(word, Text) and (word.x_mm, word.y_mm, word.size_mm) == (8.0, 18.0, 4.0)
    assert scaled(replace(page, clip_mm=None), 2.0, 3.0).clip_mm is None
