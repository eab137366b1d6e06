"""The printer's correction: read, kept for this computer, and refused where it cannot be right."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_rig import bands

from core.cartoon import cartoon_pages
from core.drawing import Page, Paths, Text
from core.errors import EmblemaError
from core.paper.printer import TRUE, Correction, correction_of, keep_correction, kept_correction
from core.pieces import Layout

READ = st.floats(95.0, 105.0)


@pytest.fixture
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path))
    return tmp_path


def test_a_correction_is_kept_for_this_computer_and_taken_back(data: Path) -> None:
    assert kept_correction() == TRUE and not TRUE.in_use
    keep_correction(Correction(99.6, 100.2))
    assert kept_correction() == Correction(99.6, 100.2)
    keep_correction(TRUE)
    assert kept_correction() == TRUE and not list(data.iterdir())
    keep_correction(TRUE)


@pytest.mark.parametrize(
    "kept", ["", "{}", "[]", "nonsense", '{"check_bars_mm": 3}', '{"check_bars_mm": "80x100"}']
)
def test_what_is_kept_and_spoilt_is_said(data: Path, kept: str) -> None:
    (data / "printer.json").write_text(kept, encoding="utf-8")
    with pytest.raises(EmblemaError, match="printer.json' cannot be understood"):
        kept_correction()


@pytest.mark.parametrize(
    "words",
    ["94.9x100", "100x105.1", "0x0", "100", "x", "axb", "nanx100", "-99x100", "99.6x100.2x1"],
)
def test_what_cannot_be_right_is_refused_in_a_sentence(words: str) -> None:
    with pytest.raises(EmblemaError, match=r"\.$|99\.6x100\.2"):
        correction_of(words)
    with pytest.raises(EmblemaError, match="95 to 105 mm"):
        Correction(float("nan"), 100.0)


def test_it_is_read_as_people_write_it() -> None:
    for words in ("99.6x100.2", " 99,6 X 100,2 ", "99.60×100.20"):
        assert correction_of(words) == Correction(99.6, 100.2)
    assert correction_of("95x105").words == "95x105"


def places(page: Page) -> np.ndarray:
    """Return every place of a page, (n, 2) mm."""
    out = [np.empty((0, 2))]
    for item in (*page.items, *page.over):
        out.append(item.points if isinstance(item, Paths) else np.array([[item.x_mm, item.y_mm]]))
    return np.concatenate(out)


@given(READ, READ)
def test_it_scales_every_place_by_100_over_what_was_read(across: float, up: float) -> None:
    doc = bands()
    plain = cartoon_pages(doc, Layout(()), "whole")[1]
    (_, page) = cartoon_pages(doc, Layout(()), "whole", correction=Correction(across, up))
    by = np.array([100 / across, 100 / up])
    np.testing.assert_allclose(places(page), places(plain) * by, rtol=1e-12)
    assert (page.width_mm, page.height_mm) == pytest.approx(
        (plain.width_mm * by[0], plain.height_mm * by[1]), rel=1e-12
    )


def test_the_pages_say_that_it_is_in_use_and_keep_the_size_of_their_paper() -> None:
    doc = replace(bands(), width_mm=400.0)
    said = Correction(99.6, 100.2)
    for page in cartoon_pages(doc, Layout(()), "A4", correction=said):
        assert sorted((page.width_mm, page.height_mm)) == [210.0, 297.0]
        words = " ".join(i.words for i in (*page.items, *page.over) if isinstance(i, Text))
        assert "99.6x100.2" in words or "99.6 x 100.2" in words
    for page in cartoon_pages(doc, Layout(()), "A4"):
        words = " ".join(i.words for i in (*page.items, *page.over) if isinstance(i, Text))
        assert "orrected" not in words
