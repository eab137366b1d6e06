"""What is looked at is what is printed, page by page."""

from __future__ import annotations

import numpy as np
from jobcard_rig import press, pump
from PySide6.QtGui import QColor, QImage, QPainter

from app.painting import paint_page
from app.preview import MOST, Preview
from core.drawing import BLACK, Page, Text


def pixels(image: QImage) -> np.ndarray:
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    flat = np.frombuffer(bytes(image.constBits()), np.uint8)
    return flat.reshape(image.height(), image.bytesPerLine())[:, : 3 * image.width()]


def test_the_pages_of_the_cartoon_are_shown_as_they_are_painted_for_print(table):
    table.card.turn_to("Sheets")
    leaf = table.card.leaf
    press(leaf, "Look at the pages ...")
    shown = leaf.shown
    assert pump(lambda: shown.pages)
    assert shown.list.count() == len(shown.pages) > 1
    assert f"{len(shown.pages)} pages" in shown.said.text()
    shown.list.setCurrentRow(1)
    page, by = shown.sheet.page, shown.sheet.px_per_mm
    assert page is shown.pages[1]
    whole = shown.sheet.grab().toImage()
    expected = QImage(whole.size(), QImage.Format.Format_RGB32)
    expected.fill(whole.pixelColor(1, 1))
    p = QPainter(expected)
    p.translate(16, 16)
    w, h = int(page.width_mm * by), int(page.height_mm * by)
    p.fillRect(0, 0, w, h, QColor("white"))
    p.setClipRect(0, 0, w, h)
    paint_page(p, page, by)
    p.end()
    assert (pixels(expected) == pixels(whole)).all()
    press(shown, "Closer")
    assert shown.sheet.px_per_mm > by
    press(shown, "Whole page")
    assert shown.sheet.px_per_mm == by
    shown.close()


def test_of_very_many_pages_the_first_are_shown(table):
    page = Page(100.0, 80.0, "A1", (Text(10.0, 10.0, "one", colour=BLACK),))
    shown = Preview(None, table.session, "Many", lambda: (page for _ in range(10_000)))
    assert pump(lambda: shown.pages)
    assert len(shown.pages) == MOST and f"the first {MOST}" in shown.said.text()
    shown.close()


def test_pages_that_come_after_it_was_closed_are_dropped(table):
    page = Page(100.0, 80.0, "A1")
    shown = Preview(None, table.session, "Late", lambda: [page])
    shown.close()
    done = []
    table.session.errands.run(lambda: 1, done.append)
    assert pump(lambda: done)
