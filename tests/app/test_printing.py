"""Printing: aside, true to size, with progress and a stop, and plain words where it fails."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from jobcard_rig import pump, rig, square
from pdf_paths import boxes, lines
from pypdf import PdfReader
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QPainter
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtTest import QTest

from app.painting import print_pages
from core.archive import Work
from core.cartoon import cartoon_pages, division_of
from core.drawing import Page, Paths, Text
from core.errors import EmblemaError, Stopped
from core.paper.sizes import MARGIN_MM

TRUE_MM = 0.1
BOX_MM = 0.18  # a printer rounds its pages to half a point


def to_file(path: Path) -> QPrinter:
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFileName(str(path))
    assert printer.outputFormat() == QPrinter.OutputFormat.PdfFormat
    return printer


def sheets(n: int, wide: float = 210.0, high: float = 297.0) -> list[Page]:
    """Return pages that each say which they are and hold a line of 100 mm."""
    line = Paths.of([np.array([[20.0, 30.0], [120.0, 30.0]])], closed=False)
    return [
        Page(wide, high, f"P{k}", (line, Text(30, 60, f"This is page {k}", 6.0)))
        for k in range(1, n + 1)
    ]


def words(path: Path) -> list[str]:
    return [" ".join(p.extract_text().split()) for p in PdfReader(path).pages]


@pytest.mark.parametrize("size", [(210.0, 297.0), (297.0, 210.0), (1189.0, 841.0), (640.0, 433.0)])
def test_pages_are_printed_in_order_and_true_to_size(tmp_path: Path, size) -> None:
    path, told = tmp_path / "p.pdf", []
    n = print_pages(to_file(path), sheets(3, *size), lambda *how_far: told.append(how_far))
    assert n == 3 and words(path) == [f"This is page {k}" for k in (1, 2, 3)]
    assert told == [(k / 3, f"Printing page {k + 1} of 3") for k in range(3)]
    for k, box in enumerate(boxes(path)):
        assert box == pytest.approx(size, abs=BOX_MM)
        (line,) = [p for p in lines(path, k) if len(p) == 2]
        assert line == pytest.approx(np.array([[20.0, 30.0], [120.0, 30.0]]), abs=TRUE_MM)


def test_pages_of_several_sizes_lie_and_stand(tmp_path: Path) -> None:
    path = tmp_path / "p.pdf"
    pages = [*sheets(1), *sheets(1, 297.0, 210.0), *sheets(1, 420.0, 297.0), *sheets(1)]
    print_pages(to_file(path), pages)
    for box, page in zip(boxes(path), pages, strict=True):
        assert box == pytest.approx((page.width_mm, page.height_mm), abs=BOX_MM)


def test_only_the_range_that_was_chosen_is_printed(tmp_path: Path) -> None:
    path = tmp_path / "p.pdf"
    printer = to_file(path)
    printer.setFromTo(2, 3)
    assert print_pages(printer, sheets(4)) == 2
    assert words(path) == ["This is page 2", "This is page 3"]
    printer.setFromTo(7, 9)
    with pytest.raises(EmblemaError, match="no such pages: the cartoon has 4"):
        print_pages(printer, sheets(4))


@pytest.mark.parametrize("after", [0, 2])
def test_a_print_that_is_stopped_leaves_the_file_that_stood(tmp_path: Path, after: int) -> None:
    path, told = tmp_path / "p.pdf", []
    path.write_bytes(b"the last one")
    printer = to_file(path)
    with pytest.raises(Stopped, match="nothing was printed"):
        print_pages(
            printer, sheets(5), lambda *how_far: told.append(how_far), lambda: len(told) == after
        )
    assert path.read_bytes() == b"the last one" and len(told) == after
    assert printer.outputFileName() == str(path)
    print_pages(printer, sheets(1))  # and it prints again
    assert words(path) == ["This is page 1"]


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    with pytest.raises(EmblemaError, match="no-such-folder"):
        print_pages(to_file(tmp_path / "no-such-folder" / "p.pdf"), sheets(2))


def test_a_printer_that_takes_nothing_is_said_in_plain_words() -> None:
    printer = QPrinter(QPrinter.PrinterMode.HighResolution)
    printer.setOutputFormat(QPrinter.OutputFormat.PdfFormat)  # and no file: there is no way out
    with pytest.raises(EmblemaError, match="did not take the cartoon"):
        print_pages(printer, sheets(2))


def test_a_printer_that_is_busy_is_said_in_plain_words(tmp_path: Path) -> None:
    printer = to_file(tmp_path / "other.pdf")
    other = QPainter(printer)
    try:
        with pytest.raises(EmblemaError, match="did not take the cartoon"):
            print_pages(printer, sheets(2))
    finally:
        other.end()


# --- from the leaf ----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def shared():
    """Two large fields: more than twenty pages."""
    with rig() as r:
        doc = r.session.doc
        fields = tuple(
            f.with_choices(outline=square(x, 0, x + 600, 700), tessera_mm=22.0)
            for f, x in zip(doc.fields, (0, 600), strict=True)
        )
        sketch = replace(doc.sketch, mm_per_px=10.0)
        r.session.begin(
            Work(
                replace(doc, width_mm=1200.0, height_mm=700.0, fields=fields, sketch=sketch),
                r.session.images,
            ),
        )
        r.lay()
        r.card.turn_to("Sheets")
        yield r


@pytest.fixture
def leaf(shared):
    shared.said.clear()
    shared.card.turn_to("Sheets")
    return shared.card.leaf.printing


def test_the_cartoon_is_printed_aside_and_the_window_lives_on(shared, leaf, tmp_path) -> None:
    path = tmp_path / "cartoon.pdf"
    doc, layout = shared.session.doc, shared.session.layout
    parts = division_of(doc, layout, "A4").tiles
    assert len(parts) > 20
    beats, formats, threads = [], [], []
    beat = QTimer(interval=2)
    beat.timeout.connect(lambda: beats.append(leaf.progress.value()))
    beat.start()
    told = leaf._show_progress
    leaf._show_progress = lambda share, what: (
        formats.append(what),
        threads.append(threading.current_thread()),
        told(share, what),
    )
    try:
        leaf.print_on(to_file(path))
        assert shared.said == [] and not path.exists()  # it has only begun
        assert leaf.stop.isVisible() and not leaf.print.isVisible()
        assert pump(lambda: not leaf.stop.isVisible(), 60)
    finally:
        del leaf._show_progress
        beat.stop()
    n = len(parts) + 1
    assert shared.said == [f"{n} pages sent to the printer, at 100 %."]
    assert formats == [
        "Drawing the pages ...",
        *(f"Printing page {k} of {n}" for k in range(1, n + 1)),
    ]
    assert set(threads) == {threading.main_thread()}  # widgets are touched there alone
    assert len({b for b in beats if 0 < b < 100}) > 3  # the window was alive all along
    # every page is what the page as data holds, and the check bars are 100 mm
    assert len(PdfReader(path).pages) == n
    tile = parts[5]
    drawn = [p for p in lines(path, 6) if len(p) >= 4]
    back = shapely.multipoints(np.concatenate(drawn) - MARGIN_MM + (tile.x0, tile.y0))
    seen = shapely.box(tile.x0, tile.y0, tile.x1, tile.y1)
    corners = np.concatenate([shapely.get_coordinates(f.pieces.polygons) for f in layout.fields])
    mine = shapely.points(corners)
    mine = mine[shapely.covered_by(mine, seen)]
    assert len(mine) > 100 and shapely.distance(back, mine).max() < TRUE_MM
    bars = [p for p in lines(path, 6) if len(p) == 2]
    lengths = [float(np.hypot(*(p[1] - p[0]))) for p in bars]
    assert sum(abs(v - 100) < TRUE_MM for v in lengths) >= 2


def test_stop_ends_the_print_and_nothing_is_written(shared, leaf, tmp_path) -> None:
    path = tmp_path / "cartoon.pdf"
    leaf.print_on(to_file(path))
    assert pump(lambda: leaf.progress.value() > 0, 30)
    QTest.mouseClick(leaf.stop, Qt.MouseButton.LeftButton)
    assert pump(lambda: leaf.print.isVisible(), 30)
    assert shared.said == ["Stopped; nothing was printed."]
    assert not path.exists()
    leaf.print_on(to_file(path))  # and the next one is not stopped
    assert pump(path.exists, 60) and pump(lambda: leaf.print.isVisible())


def test_the_pages_are_those_of_the_layout_when_it_was_asked_for(shared, leaf, tmp_path) -> None:
    path = tmp_path / "cartoon.pdf"
    doc, layout = shared.session.doc, shared.session.layout
    leaf.print_on(to_file(path))
    shared.session.apply("Other", replace(doc, title="Another title", fields=doc.fields[:1]))
    assert pump(path.exists, 60)
    pages = cartoon_pages(doc, layout, "A4")
    assert len(PdfReader(path).pages) == len(pages)
    assert "Another title" not in PdfReader(path).pages[0].extract_text()
    shared.session.undo()
    shared.lay()


def test_a_failed_print_is_said_and_can_be_asked_for_again(shared, leaf, tmp_path) -> None:
    leaf.print_on(to_file(tmp_path / "no-such-folder" / "c.pdf"))
    assert pump(lambda: leaf.print.isVisible(), 60)
    (said,) = shared.said
    assert "no-such-folder" in said and said.endswith(".")
