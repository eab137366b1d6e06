"""The proof from the window: what is chosen is seen, kept, undone and written."""

from __future__ import annotations

import numpy as np
import pytest
from jobcard_rig import press, pump
from PIL import Image
from pypdf import PdfReader
from PySide6.QtCore import QPointF, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QFileDialog

from app.jobcard import proofwindow
from app.jobcard.proofwindow import PLACE, WORK
from core.proof import inplace


@pytest.fixture
def window(table, monkeypatch):
    monkeypatch.setattr(proofwindow, "SEEN_PX", 400.0)  # enough to tell by, and soon drawn
    monkeypatch.setattr(inplace, "PLAIN_PX", 500)
    table.card.turn_to("Figures")
    press(table.card.leaf, "Proof for the client ...")
    window = table.card.leaf.proof
    assert pump(lambda: window.settled() and window.photo.copies), window.told.text()
    yield window
    window.done(0)


@pytest.fixture
def wall(tmp_path):
    path = tmp_path / "wall.jpg"
    Image.new("RGB", (900, 600), (205, 195, 180)).save(path, quality=95)
    return path


def shown(window) -> np.ndarray:
    image = window.photo.copies[0]
    data = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1, 4)
    return data[:, : image.width(), :3][..., ::-1].astype(int)


def test_the_light_moves_over_the_work_and_is_one_step_to_undo(table, window):
    before = shown(window)
    window.light.slider.setValue(120)
    assert pump(lambda: table.session.doc.proof.light_deg == 120 and window.settled())
    assert pump(lambda: (shown(window) != before).any())
    assert table.session.layout_is_current  # nothing is laid for it
    table.session.undo()
    assert pump(lambda: window.settled() and (shown(window) == before).all())
    assert window.light.slider.value() == -45


def test_a_click_chooses_what_is_shown_closely(table, window):
    wide, high = window.photo.size_px
    at = window.photo.to_widget(0.25 * wide, 0.5 * high)
    QTest.mouseClick(window.photo, Qt.MouseButton.LeftButton, pos=at.toPoint())
    x, y = table.session.doc.proof.close_mm
    assert x == pytest.approx(0.25 * table.session.doc.width_mm, abs=1.0)
    assert y == pytest.approx(0.5 * table.session.doc.height_mm, abs=1.0)


def test_in_its_place_the_corners_are_dragged_onto_the_photograph(table, window, wall):
    assert window.wall.isHidden()
    window.look_at(PLACE)
    assert pump(lambda: window.settled())
    assert "plain wall" in window.told.text()
    window.open_photograph(str(wall))
    session = table.session
    assert pump(lambda: session.doc.in_place is not None and window.settled())
    assert not window.wall.isHidden()
    assert len(window.photo.corners) == 4
    assert window.photo.size_px == (900, 600)
    corner = session.doc.in_place.corners_px[2]
    start = window.photo.to_widget(*corner)
    end = start + QPointF(40, 25)
    QTest.mousePress(window.photo, Qt.MouseButton.LeftButton, pos=start.toPoint())
    QTest.mouseMove(window.photo, end.toPoint())
    QTest.mouseRelease(window.photo, Qt.MouseButton.LeftButton, pos=end.toPoint())
    by = window.photo.to_widget(1, 0).x() - window.photo.to_widget(0, 0).x()
    moved = session.doc.in_place.corners_px[2]
    assert moved[0] - corner[0] == pytest.approx(40 / by, abs=2 / by)
    assert moved[1] - corner[1] == pytest.approx(25 / by, abs=2 / by)
    assert pump(lambda: window.settled())
    assert session.images[session.doc.in_place.image]
    # a corner that turns the work inside out is refused, and stands where it was
    window.photo.corners[2] = (1.0, 1.0)
    window._corners_moved()
    assert "four corners" in window.told.text()
    assert session.doc.in_place.corners_px[2] == moved
    assert pump(lambda: window.settled() and tuple(window.photo.corners[2]) == moved)
    press(window, "Take it away")
    assert session.doc.in_place is None


def test_a_file_that_is_no_picture_is_told_and_changes_nothing(table, window, tmp_path):
    bad = tmp_path / "bad.jpg"
    bad.write_bytes(b"nothing")
    window.open_photograph(str(bad))
    assert pump(lambda: any("bad.jpg" in said for said in table.said)), table.said
    assert table.session.doc.in_place is None


def test_proof_and_picture_are_written(table, window, tmp_path, monkeypatch):
    window.words.setPlainText("As we spoke of it.")
    window._words_typed()
    assert table.session.doc.proof.words == "As we spoke of it."
    path = tmp_path / "proof.pdf"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *a: (str(path), ""))
    press(window, "Write the proof ...")
    assert pump(path.exists), table.said
    said = " ".join(" ".join(p.extract_text() for p in PdfReader(path).pages).split())
    assert "As we spoke of it." in said
    assert table.session.doc.title in said
    picture = tmp_path / "work.png"
    monkeypatch.setattr(QFileDialog, "getSaveFileName", lambda *a: (str(picture), ""))
    window.fineness.show_value(3.0)
    assert window._view == WORK
    press(window, "Picture alone ...")
    assert pump(picture.exists), table.said
    with Image.open(picture) as image:
        doc = table.session.doc
        assert image.size == (round(3 * doc.width_mm), round(3 * doc.height_mm))


def test_the_pages_are_looked_at_before_they_are_written(table, window):
    press(window, "Look at the pages ...")
    assert pump(lambda: window.shown is not None and len(window.shown.pages) >= 5)
    window.shown.close()
