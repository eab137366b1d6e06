"""The cartoon's choices on the Sheets leaf: paper, the page map, the printer's correction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from jobcard_rig import Rig, pump, rig, square
from pypdf import PdfReader

from app.jobcard.cartoonpaper import CartoonPaper, PrinterCorrection
from core.agreed import record_print
from core.commission import Field, Printed
from core.paper.printer import TRUE, Correction, keep_correction, kept_correction


@pytest.fixture(autouse=True)
def data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give each test a computer of its own, without a correction."""
    folder = tmp_path / "data"
    monkeypatch.setenv("EMBLEMA_DATA", str(folder))
    return folder


@pytest.fixture
def wide() -> Iterator[Rig]:
    """Lend two fields at the ends of a long work, on the Sheets leaf."""
    with rig() as r:
        doc = r.session.doc
        fields = (
            doc.fields[0].with_choices(tessera_mm=20.0),
            Field("f2", "Far", square(900, 0, 960, 80)).with_choices(tessera_mm=20.0),
        )
        r.session.apply("Wide", replace(doc, width_mm=960.0, height_mm=80.0, fields=fields))
        r.lay()
        r.card.turn_to("Sheets")
        r.card.leaf.refresh()
        yield r


def cartoon(r: Rig) -> CartoonPaper:
    found = r.card.leaf.cartoon
    assert isinstance(found, CartoonPaper)
    return found


def choose(r: Rig, paper: str) -> None:
    box = cartoon(r).paper.box
    box.setCurrentIndex(box.findData(paper))


def test_the_map_and_its_words_follow_the_paper(wide: Rig) -> None:
    c = cartoon(wide)
    assert "2 pages lying" in c.pages.text() and "2 places are left out" in c.pages.text()
    assert not c.roll.isVisibleTo(c)
    choose(wide, "roll")
    assert c.roll.isVisibleTo(c) and c.wanted().paper == "roll:914"
    assert c.map.division is not None and c.map.division.paper.roll_mm == 914.0
    c.roll.spin.setValue(300)
    assert c.wanted().paper == "roll:300"
    choose(wide, "whole")
    assert c.pages.text().startswith("1 page and the key page")
    choose(wide, "Tabloid")
    assert c.map.division.paper.name == "Tabloid"
    c.mirrored.setChecked(True)
    assert c.map.division.mirrored


def test_the_map_names_what_is_under_the_pointer(wide: Rig) -> None:
    m = cartoon(wide).map
    m.resize(300, m.height())
    by, left = m._placed()
    at = {x: m.named(left + x * by, 4 + 40 * by) for x in (50.0, 480.0, 930.0)}
    assert at == {50.0: "page A1", 480.0: "no page: nothing is drawn here", 930.0: "page A4"}
    assert m.named(left - 3, 10) == ""
    assert not m.grab().isNull()


def test_what_the_bars_read_is_kept_and_used(wide: Rig, tmp_path: Path) -> None:
    c, s = cartoon(wide), wide.session
    c.printer.across.spin.setValue(99.6)
    c.printer.up.spin.setValue(100.2)
    assert kept_correction() == Correction(99.6, 100.2) == c.wanted().correction
    assert "0.40 % larger across, 0.20 % smaller up" in c.printer.words.text()
    before = s.doc
    path = tmp_path / "c.pdf"
    wide.card.leaf.write(str(path))
    assert pump(lambda: bool(s.doc.printed))
    assert s.doc.printed[-1].paper == "A4 lying 99.6x100.2"
    assert replace(s.doc, printed=(), agreed=()) == before  # never in the commission itself
    for page in PdfReader(path).pages:
        words = " ".join(page.extract_text().split())
        assert "99.6x100.2" in words or "99.6 x 100.2" in words
    assert PrinterCorrection(s, lambda: None).correction == Correction(99.6, 100.2)
    c.printer.across.spin.setValue(100)
    c.printer.up.spin.setValue(100)
    assert kept_correction() == TRUE and not c.printer.words.text()


def test_a_bar_too_far_off_is_refused_in_a_sentence(wide: Rig) -> None:
    c = cartoon(wide)
    wide.said.clear()
    c.printer.up.spin.setValue(94.5)
    (said,) = wide.said
    assert "94.5 mm up" in said and "95 to 105 mm" in said and said.endswith(".")
    assert c.printer.up.value == 100.0 and c.wanted().correction == TRUE == kept_correction()


def test_a_spoilt_correction_is_said_and_not_used(wide: Rig, data: Path) -> None:
    keep_correction(Correction(99.0, 99.0))
    (data / "printer.json").write_text("{", encoding="utf-8")
    found = PrinterCorrection(wide.session, lambda: None)
    assert found.correction == TRUE and "cannot be understood" in found.words.text()


def test_a_correction_that_cannot_be_kept_serves_meanwhile(
    wide: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "file"))
    wide.said.clear()
    cartoon(wide).printer.across.spin.setValue(99.0)
    assert len(wide.said) == 1 and "cannot be made" in wide.said[0]
    assert cartoon(wide).wanted().correction == Correction(99.0, 100.0)


def test_a_page_that_was_left_out_and_is_drawn_on_now_is_told(wide: Rig, tmp_path: Path) -> None:
    s, leaf = wide.session, wide.card.leaf
    leaf.write(str(tmp_path / "c.pdf"))
    assert pump(lambda: bool(s.doc.printed))
    assert [name for name, _ in s.doc.printed[-1].marks] == ["A1", "A4", "Key"]
    leaf.draw()
    assert pump(lambda: "every page holds" in leaf.prints.words.text())
    middle = Field("f3", "Middle", square(350, 0, 410, 80)).with_choices(tessera_mm=20.0)
    s.apply("More", replace(s.doc, fields=(*s.doc.fields, middle)))
    wide.lay()
    leaf.draw()
    assert pump(lambda: "1 page is new: A2." in leaf.prints.words.text())
    assert "no longer" not in leaf.prints.words.text()


def test_a_print_on_a_paper_of_a_later_version_is_not_said_to_be_void(wide: Rig) -> None:
    s, leaf = wide.session, wide.card.leaf
    note = Printed("2031-05-02", "Cartoon, vellum", "vellum", False, (("A1", "222222"),))
    s.apply("Printed", record_print(s.doc, note))
    wide.lay()
    leaf.draw()
    assert pump(lambda: "does not know" in leaf.prints.words.text())
    leaf.prints.line.setText("222222")
    assert leaf.prints.found.text().startswith("It is page A1 of Cartoon, vellum")
    assert "no longer" not in leaf.prints.found.text()
