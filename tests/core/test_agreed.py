"""Agreed work is known to change before it does, and a printed page by its mark."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_rig import bands, field_of, laid

from core.agreed import (
    LETTERS,
    MARK_LETTERS,
    agree,
    agreed_that_change,
    mark_of,
    no_longer_agreed,
    pages_that_hold,
    piece_marks,
    question,
    record_print,
)
from core.cartoon import cartoon_pages, division_noted, division_of, page_marks
from core.changes import changes, told
from core.commission import (
    Commission,
    FlowLine,
    HandEdit,
    Printed,
    Swap,
    change_field,
    remove_field,
)
from core.drawing import Text
from core.keypage import KEY
from core.pieces import LaidField, Layout, Pieces

TODAY = "2031-05-02"


def agreed(*ids: str) -> Commission:
    return agree(bands(), ids, TODAY)


@pytest.mark.parametrize(
    "change",
    {
        "its tessera": lambda d: change_field(d, "f1", tessera_mm=8.0),
        "another throw": lambda d: change_field(d, "f1", throw=1),
        "its palette": lambda d: change_field(d, "f1", palette=("SM-01",)),
        "its shift": lambda d: change_field(d, "f1", shift_lab=(3.0, 0.0, 0.0)),
        "a line of its own": lambda d: replace(
            d, flow_lines=(FlowLine("l1", ((60.0, 5.0), (90.0, 50.0)), "f1"),)
        ),
        "a line for all": lambda d: replace(
            d, flow_lines=(FlowLine("l1", ((60.0, 5.0), (90.0, 50.0))),)
        ),
        "work by hand": lambda d: replace(d, edits=(HandEdit("lift", "f1", (75.0, 30.0)),)),
        "a swap everywhere": lambda d: replace(d, swaps=(Swap("SM-01", "SM-04"),)),
        "a swap in its motif": lambda d: replace(d, swaps=(Swap("SM-01", "SM-04", motif="water"),)),
        "its motif's palette": lambda d: replace(d, motif_palettes=(("water", ("SM-01",)),)),
        "a material's colour": lambda d: replace(
            d, materials=(replace(d.materials[0], lab=(9.0, 9.0, 9.0)), *d.materials[1:])
        ),
        "the throw of all": lambda d: replace(d, seed=9),
        "the grout": lambda d: replace(d, grout_lab=(20.0, 0.0, 0.0)),
        "it is taken out": lambda d: remove_field(d, "f1"),
    }.items(),
    ids=lambda one: one[0],
)
def test_what_would_change_an_agreed_field_is_known(change) -> None:
    doc = agreed("f1")
    assert agreed_that_change(doc, change[1](doc)) == ("f1",)


@pytest.mark.parametrize(
    "change",
    {
        "another field's tessera": lambda d: change_field(d, "f0", tessera_mm=8.0),
        "another field's swap": lambda d: replace(d, swaps=(Swap("SM-01", "SM-04", "f0"),)),
        "another field's line": lambda d: replace(
            d, flow_lines=(FlowLine("l1", ((5.0, 5.0), (40.0, 50.0)), "f0"),)
        ),
        "a name": lambda d: change_field(d, "f1", name="Otherwise"),
        "a title": lambda d: replace(d, title="Otherwise", notes="and so on"),
        "a price": lambda d: replace(
            d, materials=tuple(replace(m, price=m.price + 1, pieces=3) for m in d.materials)
        ),
        "a limit": lambda d: replace(d, limits=replace(d.limits, sharp_deg=50.0)),
    }.items(),
    ids=lambda one: one[0],
)
def test_what_leaves_it_as_it_is_asks_nothing(change) -> None:
    doc = agreed("f1")
    assert agreed_that_change(doc, change[1](doc)) == ()


def test_the_question_names_the_fields_and_what_was_printed() -> None:
    doc = record_print(agreed("f1"), Printed("2031-05-03", "Cartoon, A4, 4 pages", "A4", False, ()))
    assert {a.field_id: a.on for a in doc.agreed} == {
        "f1": TODAY,
        "f0": "2031-05-03",
        "f2": "2031-05-03",
    }
    words = question(doc, ("f0", "f1"), "Pull a border")
    for part in ("Pull a border", "Left (2031-05-03)", "Middle (2031-05-02)", "A4, 4 pages"):
        assert part in words
    free = no_longer_agreed(doc, ("f1",))
    assert {a.field_id for a in free.agreed} == {"f0", "f2"} and free.printed == doc.printed


# --- marks ----------------------------------------------------------------------------------


def grid(turned: bool = False) -> Layout:
    """Return a row of squares of one material, each beginning at one corner or another."""
    squares = [shapely.box(12.0 * k, 0, 12.0 * k + 10, 10) for k in range(6)]
    if turned:
        rings = [np.roll(np.array(p.exterior.coords)[:-1], 2, axis=0) for p in squares]
        squares = [shapely.Polygon(r) for r in rings][::-1]
    n = len(squares)
    pieces = Pieces(np.array(squares, dtype=object), np.zeros(n, int), np.arange(n), np.zeros(n))
    return Layout((LaidField("f0", pieces, np.zeros((n, 3)), np.zeros(n, int), np.zeros(n)),))


def mark(layout: Layout) -> str:
    return mark_of(piece_marks(bands(), layout))


def test_a_mark_hangs_on_pieces_and_materials_and_on_nothing_else() -> None:
    assert mark(grid()) == mark(grid(turned=True))
    laid_field = grid().fields[0]
    other = replace(laid_field, stock=np.array([0, 0, 0, 0, 0, 1]))
    assert mark(Layout((other,))) != mark(grid())
    nudged = laid_field.pieces.polygons.copy()
    nudged[2] = shapely.transform(nudged[2], lambda xy: xy + np.array([0.001, 0.0]))
    moved = replace(laid_field, pieces=replace(laid_field.pieces, polygons=nudged))
    assert mark(Layout((moved,))) != mark(grid())
    fewer = replace(
        laid_field,
        pieces=Pieces(*(v[:5] for v in vars(laid_field.pieces).values())),
        stock=laid_field.stock[:5],
    )
    assert mark(Layout((fewer,))) != mark(grid())


def test_a_field_without_pieces_has_no_marks_and_changes_none_of_the_others() -> None:
    one = grid().fields[0]
    nothing = replace(
        one,
        pieces=Pieces.empty(),
        wanted_lab=np.empty((0, 3)),
        stock=np.empty(0, np.int64),
        delta_e=np.empty(0),
    )
    assert len(piece_marks(bands(), Layout((nothing,)))) == 0
    both = piece_marks(bands(), Layout((nothing, one, nothing)))
    assert both.tolist() == piece_marks(bands(), Layout((one,))).tolist()


@given(st.lists(st.integers(0, 2**64 - 1), max_size=30))
@settings(deadline=None)
def test_a_mark_is_short_and_read_without_doubt(numbers: list[int]) -> None:
    said = mark_of(np.array(numbers, np.uint64))
    assert len(said) == MARK_LETTERS and set(said) <= set(LETTERS)
    assert said == mark_of(np.array(numbers[::-1], np.uint64))


def test_marks_of_many_pages_hardly_ever_agree_by_chance() -> None:
    rng = np.random.default_rng(3)
    marks = {mark_of(rng.integers(0, 2**63, 5).astype(np.uint64)) for _ in range(4000)}
    # 29^6 marks: of 4,000 the chance that any two agree is about one in 75
    assert len(marks) >= 3999


def spread() -> Commission:
    """Return the bands in the upper left of a larger work, and a slab in its lower right."""
    doc = bands()
    slab = ((((180.0, 120.0), (400.0, 120.0), (400.0, 300.0), (180.0, 300.0)),),)
    far = field_of("f3", "Slab", slab, tessera_mm=30.0)
    return replace(doc, width_mm=400.0, height_mm=300.0, fields=(*doc.fields, far))


@pytest.mark.parametrize("mirrored", [False, True])
def test_each_page_carries_the_mark_that_is_worked_out_for_it(mirrored: bool) -> None:
    doc = spread()
    layout = laid(doc)
    marks = page_marks(doc, layout, division_of(doc, layout, "A4", mirrored))
    pages = cartoon_pages(doc, layout, "A4", mirrored)
    assert {p.name for p in pages} <= set(marks) and len(pages) > 3
    for page in pages:
        words = " ".join(i.words for i in (*page.items, *page.over) if isinstance(i, Text))
        assert f"mark {marks[page.name]}" in words


def test_only_the_pages_of_what_changed_no_longer_hold() -> None:
    doc = spread()
    layout = laid(doc)
    division = division_of(doc, layout, "A4")
    before = page_marks(doc, layout, division)
    printed = Printed(TODAY, "Cartoon", division.word, False, tuple(before.items()))
    assert pages_that_hold(printed, before) == (list(before), [])
    assert len(before) > 4
    # the bands lie on the first page
    changed = change_field(doc, "f2", tessera_mm=8.0)
    after = laid(changed)
    now = page_marks(changed, after, division_noted(changed, after, division.word, False))
    holds, gone = pages_that_hold(printed, now)
    assert set(gone) == {KEY, "A1"} and len(holds) == len(before) - 2 > 1


def test_a_page_left_out_since_others_show_all_of_it_still_holds() -> None:
    doc = replace(bands(), width_mm=500.0, height_mm=150.0, fields=())

    def with_squares(*left: float) -> Layout:
        squares = np.array([shapely.box(x, 20, x + 4, 24) for x in left], dtype=object)
        n = len(squares)
        pieces = Pieces(squares, np.zeros(n, int), np.arange(n), np.zeros(n))
        field = LaidField("f0", pieces, np.zeros((n, 3)), np.zeros(n, int), np.zeros(n))
        return Layout((field,))

    # one square in the lap is printed on one page; then another stands on the second page alone
    first = division_of(doc, with_squares(247.0), "A4 lying")
    assert [t.name for t in first.tiles] == ["A1"]
    marks = page_marks(doc, with_squares(247.0), first)
    printed = Printed(TODAY, "Cartoon", first.word, False, (("A1", marks["A1"]),))
    after = with_squares(247.0, 400.0)
    now = division_noted(doc, after, first.word, False)
    assert [t.name for t in now.tiles] == ["A2"]
    assert pages_that_hold(printed, page_marks(doc, after, now)) == (["A1"], [])


# of 40 x 30 squares of 10 mm, 12 mm apart, on A4, as they stand on prints made before pages
# lapped evenly
FIRST = {
    False: "A1 XE44PH A2 EYDHMV B1 WETQCK B2 G4AEPR C1 M9G42D C2 JF4WNQ Key 375PAP",
    True: "A1 SQSSGJ A2 3UHRTG B1 E3HMQ2 B2 VZFWZZ C1 VQQJQ9 C2 224QMP Key 375PAP",
}


@pytest.mark.parametrize("mirrored", [False, True])
def test_prints_noted_before_pages_lapped_evenly_still_hold(mirrored: bool) -> None:
    floor = [
        shapely.box(12.0 * k, 12.0 * r, 12.0 * k + 10, 12.0 * r + 10)
        for r in range(30)
        for k in range(40)
    ]
    n = len(floor)
    pieces = Pieces(np.array(floor, dtype=object), np.zeros(n, int), np.arange(n), np.zeros(n))
    field = LaidField("f0", pieces, np.zeros((n, 3)), np.zeros(n, int), np.zeros(n))
    doc, layout = replace(bands(), width_mm=480.0, height_mm=360.0), Layout((field,))
    marks = page_marks(doc, layout, division_noted(doc, layout, "A4", mirrored))
    words = FIRST[mirrored].split()
    pairs = zip(words[::2], words[1::2], strict=True)
    noted = Printed(TODAY, "Cartoon", "A4", mirrored, tuple(pairs))
    assert pages_that_hold(noted, marks) == (words[::2], [])
    # and what is printed today is told apart from it
    assert division_of(doc, layout, "A4", mirrored).word not in ("A4", "")


def test_what_would_change_is_told_by_field_and_material() -> None:
    doc = bands()
    before = laid(doc)
    assert told(doc, changes(doc, before, before)) == "Every piece would lie just where it lies."
    after = laid(change_field(doc, "f1", tessera_mm=9.0))
    found = changes(doc, before, after)
    assert [i for i, _, _ in found.fields] == ["f1"]
    (_, new, of) = found.fields[0]
    assert 0 < new <= of == len(after.by_id("f1").pieces)
    assert sum(n for _, n in found.counts) == len(after) - len(before)
    assert f"Middle: {new:,} of {of:,} pieces" in told(doc, found)
