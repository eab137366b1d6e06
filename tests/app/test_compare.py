"""Rounds looked at and compared: one view for both, a slider between them, and what changed."""

from __future__ import annotations

import unicodedata
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from jobcard_rig import Rig, pump
from pypdf import PdfReader
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QColor
from PySide6.QtTest import QTest

from app.cli import main
from app.compare import CompareWindow
from core.kept_rounds.compare import compare
from core.kept_rounds.pages import compare_pages


@pytest.fixture
def rounds(table: Rig):
    """A work with a dark round and a light one, its leaf open."""
    table.change(wanted_lab=(20.0, 0.0, 0.0))
    leaf = table.card.leaves["Brief"].rounds
    leaf.book.keep("dark", "As dark as it gets.", "2026-05-14")
    table.change(wanted_lab=(90.0, 0.0, 0.0))
    leaf.book.keep("light", "Lighter, please.", "2026-05-21")
    table.card.turn_to("Brief")
    leaf.choose(1)
    return leaf


def shown(window: CompareWindow | None) -> CompareWindow:
    assert window is not None
    window.resize(1000, 600)
    assert pump(lambda: bool(window.states) and window.views.settled(), 20)
    return window


def light_at(window: CompareWindow, x: float, y: float) -> int:
    """Return how light the pieces are, one and another, about a place of the views."""
    image = window.views.grab().toImage()
    spots = [(x + i, y + j) for i in range(-6, 7, 3) for j in range(-6, 7, 3)]
    return int(np.median([QColor(image.pixel(int(a), int(b))).lightness() for a, b in spots]))


def test_two_rounds_stand_side_by_side_under_one_view(rounds) -> None:
    window = shown(rounds._open(*rounds.session.rounds))
    views = window.views
    a, b = views.panes
    assert light_at(window, a.center().x(), a.center().y()) + 60 < light_at(
        window, b.center().x(), b.center().y()
    )
    before = views.view
    at = QPointF(b.width() / 2 + 20, b.height() / 2)
    place = views.view.to_mm(at.x(), at.y())
    views.zoom(2.0, at)
    assert views.view.px_per_mm == pytest.approx(2 * before.px_per_mm)
    assert views.view.to_mm(at.x(), at.y()) == pytest.approx(place)
    QTest.mousePress(views, Qt.MouseButton.LeftButton, pos=QPoint(60, 60))
    QTest.mouseMove(views, QPoint(90, 50))
    QTest.mouseRelease(views, Qt.MouseButton.LeftButton, pos=QPoint(90, 50))
    assert views.view.to_mm(at.x() + 30, at.y() - 10) == pytest.approx(place)
    assert pump(views.settled)
    window.close()


def test_the_slider_wipes_from_one_to_the_other(rounds) -> None:
    window = shown(rounds._open(*rounds.session.rounds))
    window.under.click()
    assert window.slider.isVisible() and pump(window.views.settled)
    x, y = window.views.width() / 2, window.views.height() / 2
    window.slider.setValue(900)
    assert light_at(window, x, y) < 120  # the first reaches beyond the middle
    window.slider.setValue(100)
    assert light_at(window, x, y) > 180
    window.beside.click()
    assert not window.slider.isVisible()
    window.close()


def test_what_changed_stands_in_tables(rounds) -> None:
    window = shown(rounds._open(*rounds.session.rounds))
    found = compare(*window.states)
    assert [window.tabs.tabText(k) for k in range(3)] == [
        "Figures",
        "What changed by field",
        "Pieces by material",
    ]
    figures, fields, materials = (window.tabs.widget(k) for k in range(3))
    assert figures.rowCount() == len(found.sums) and figures.item(0, 0).text() == "Pieces"
    assert fields.rowCount() == 2 and "wanted colour" in fields.item(0, 1).text()
    assert materials.rowCount() == len(found.materials) > 1
    assert "As dark as it gets." in window.words.text()
    window.close()


def test_a_round_is_looked_at_alone_and_compared_with_now(rounds) -> None:
    rounds.look.click()
    rounds.with_now.click()
    first, second = s_windows(rounds)
    shown(first), shown(second)
    assert [x.name for x in first.states] == ["Round 1, dark, 2026-05-14"]
    assert not first.pdf.isVisible() and first.tabs.count() == 1
    assert [x.name for x in second.states] == ["Round 1, dark, 2026-05-14", "Now"]
    first.close(), second.close()


def s_windows(rounds) -> list[CompareWindow]:
    return rounds.window().findChildren(CompareWindow)


def test_a_window_that_is_closed_at_once_shows_nothing_later(rounds) -> None:
    window = rounds._open(*rounds.session.rounds)
    assert window is not None
    window.close()
    assert pump(lambda: rounds.session.errands.idle, 20)


def test_a_comparison_is_written_as_words_and_pictures(rounds, tmp_path: Path) -> None:
    window = shown(rounds._open(*rounds.session.rounds))
    path = tmp_path / "rounds.pdf"
    window.write(str(path))
    assert pump(lambda: rounds.session.errands.idle, 30)
    check_pdf(path, rounds.session)
    window.close()


def check_pdf(path: Path, session) -> None:
    found = " ".join(page.extract_text() for page in PdfReader(path).pages)
    words = " ".join(unicodedata.normalize("NFKC", found).split())
    for said in ("Threshold", "Lighter, please.", "As dark as it gets.", "wanted colour"):
        assert said in words
    for s in session.rounds[1].sums:
        assert s.name in words and unicodedata.normalize("NFKC", s.shown) in words


def test_the_command_compares_by_number_and_now(rounds, tmp_path: Path, capsys) -> None:
    s = rounds.session
    file, out = tmp_path / "threshold.emblema", tmp_path / "rounds.pdf"
    s.save(file)
    assert main(["compare", str(file), "1", "2", "--out", str(out)]) == 0
    assert capsys.readouterr().out.startswith("2 fields and ")
    check_pdf(out, s)
    assert main(["compare", str(file), "2", "now", "--out", str(out)]) == 0
    assert "0 fields and 0 materials differ" in capsys.readouterr().out
    for asked, fault in (("7", "There is no round 7"), ("last", "neither a round's number")):
        assert main(["compare", str(file), "1", asked, "--out", str(out)]) == 2
        told = capsys.readouterr().err
        assert fault in told and told.count("\n") == 1


def test_long_lists_go_on_on_further_pages(rounds) -> None:
    a, b = rounds.book.states((1, 2))()
    many = tuple(a.sums) * 20
    named = tuple(replace(s, name=f"{s.name} {k}") for k, s in enumerate(many))
    pages = compare_pages(replace(a, sums=named), replace(b, sums=named))
    assert len(pages) > 3
    for page in pages:
        for item in page.items:
            assert getattr(item, "y_mm", 0.0) <= page.height_mm - 5
