"""Sizes of paper are those that are published."""

from __future__ import annotations

import pytest

from core.errors import EmblemaError
from core.paper.printer import Correction
from core.paper.sizes import FOOT_MM, LYING, MARGIN_MM, PAPERS, UPRIGHT, WHOLE, Paper, paper_of

# ISO 216:2007, trimmed sizes of the A series, mm
ISO_216 = {
    "A0": (841, 1189),
    "A1": (594, 841),
    "A2": (420, 594),
    "A3": (297, 420),
    "A4": (210, 297),
}
# ANSI/ASME Y14.1, sizes A (Letter) and B (Tabloid) to E, in, and the mm that it gives
ANSI_Y14_1 = {
    "Letter": ((8.5, 11.0), (216, 279)),
    "Tabloid": ((11.0, 17.0), (279, 432)),
    "C": ((17.0, 22.0), (432, 559)),
    "D": ((22.0, 34.0), (559, 864)),
    "E": ((34.0, 44.0), (864, 1118)),
}


def upright(name: str) -> tuple[float, float]:
    return Paper(name, UPRIGHT).page_mm((3000.0, 2000.0))


@pytest.mark.parametrize("name", ISO_216)
def test_iso_sheets_are_of_the_published_size(name: str) -> None:
    assert upright(name) == ISO_216[name]
    assert Paper(name, LYING).page_mm((1.0, 1.0)) == ISO_216[name][::-1]


@pytest.mark.parametrize("name", ANSI_Y14_1)
def test_ansi_sheets_are_of_the_published_size(name: str) -> None:
    inches, mm = ANSI_Y14_1[name]
    assert upright(name) == pytest.approx([v * 25.4 for v in inches], abs=1e-9)
    assert [round(v) for v in upright(name)] == list(mm)


def test_every_sheet_can_be_asked_for_however_it_is_written() -> None:
    assert set(PAPERS) == {*ISO_216, *ANSI_Y14_1}
    for name in PAPERS:
        assert paper_of(name.upper()) == paper_of(name.lower()) == Paper(name)
        assert paper_of(f"{name} upright").way == UPRIGHT
    assert paper_of("Whole") == Paper(WHOLE)


@pytest.mark.parametrize("words", ["A4", "E lying", "roll:914 upright 99.6x100.2", "whole 101x99"])
def test_a_paper_is_found_again_by_its_word(words: str) -> None:
    assert paper_of(words).word == words
    assert paper_of(paper_of(words).word) == paper_of(words)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("B5", "no paper 'B5'"),
        ("", "no paper ''"),
        ("A4 sideways", "A4 sideways"),
        ("roll:", "no paper 'roll:'"),
        ("roll:-914", "no paper"),
        ("roll:nan", "no paper"),
        ("roll:50", "from 200 to 3000 mm wide, not 50 mm"),
        ("roll:99999", "not 99999 mm"),
        ("A4 upright 90x100", "90 mm across"),
    ],
)
def test_what_is_no_paper_is_refused_in_a_sentence(words: str, told: str) -> None:
    with pytest.raises(EmblemaError, match=told):
        paper_of(words)


def test_a_roll_is_cut_as_long_as_the_work() -> None:
    work = 1800.0, 900.0
    down, along = (Paper("roll:914", way).page_mm(work) for way in (UPRIGHT, LYING))
    assert down == (914.0, 900.0 + 2 * MARGIN_MM + FOOT_MM)
    assert along == (1800.0 + 2 * MARGIN_MM, 914.0)


@pytest.mark.parametrize("way", [UPRIGHT, LYING])
@pytest.mark.parametrize("name", ["A4", "E", "roll:914", WHOLE])
def test_what_is_drawn_for_a_printer_has_room_on_its_paper(name: str, way: str) -> None:
    """What a page shows, drawn larger or smaller, lies within its box and its margins."""
    work = 700.0, 500.0
    for read in (95.0, 99.5, 100.0, 105.0):
        paper = Paper(name, way, Correction(read, 200 - read))
        page, room = paper.page_mm(work), paper.room_mm(work)
        for box, shown, by, more in zip(
            page, room, paper.correction.scale, (0, FOOT_MM), strict=True
        ):
            assert (shown + 2 * MARGIN_MM + more) * by <= box * (1 + 1e-9)
