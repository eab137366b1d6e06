"""The cartoon as PDF is true to 0.1 mm, read back by the operators of the PDF standard."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from jobcard_rig import small, square
from pdf_paths import boxes, lines
from pypdf import PdfReader
from PySide6.QtGui import QImage, QPainter

from app.painting import paint_page, write_cartoon_pdf, write_pdf
from core.cartoon import division_of
from core.commission import Commission, Field
from core.drawing import Page, Paths, Picture, Text
from core.errors import EmblemaError
from core.paper.marks import ARM_MM
from core.paper.printer import Correction
from core.paper.sizes import FOOT_MM, MARGIN_MM, PAPERS
from core.pieces import Layout
from core.plan import Planner

TRUE_MM = 0.1


@pytest.fixture(scope="module")
def work() -> tuple[Commission, Layout]:
    doc, images = small()
    wide = tuple(
        f.with_choices(outline=square(x0, 0, x0 + 310, 400), tessera_mm=20.0, hug_tessera_mm=None)
        for f, x0 in zip(doc.fields, (0, 310), strict=True)
    )
    doc = replace(doc, title="Threshold & step", width_mm=620.0, height_mm=400.0, fields=wide)
    planner = Planner()
    try:
        return doc, planner.layout(doc, images)
    finally:
        planner.close()


def corners(layout: Layout) -> np.ndarray:
    return np.concatenate([shapely.get_coordinates(f.pieces.polygons) for f in layout.fields])


def nearest(of: np.ndarray, among: np.ndarray) -> np.ndarray:
    """Return the distance of each point to the nearest of others."""
    return shapely.distance(shapely.multipoints(among), shapely.points(of))


def check_bars(found: list[np.ndarray]) -> tuple[list[float], list[float]]:
    """Return the lengths of all level and all upright single lines."""
    two = [p for p in found if len(p) == 2]
    level = [abs(p[1, 0] - p[0, 0]) for p in two if abs(p[1, 1] - p[0, 1]) < 1e-3]
    upright = [abs(p[1, 1] - p[0, 1]) for p in two if abs(p[1, 0] - p[0, 0]) < 1e-3]
    return level, upright


@pytest.mark.parametrize("mirrored", [False, True])
def test_whole_cartoon_is_true(
    work: tuple[Commission, Layout], tmp_path: Path, mirrored: bool
) -> None:
    doc, layout = work
    path = tmp_path / "whole.pdf"
    write_cartoon_pdf(path, doc, layout, "whole", mirrored)
    size = boxes(path)
    assert len(size) == 2
    assert size[1] == pytest.approx(
        (doc.width_mm + 2 * MARGIN_MM, doc.height_mm + 2 * MARGIN_MM + FOOT_MM), abs=1e-3
    )
    drawn = lines(path, 1)
    rings = [p for p in drawn if len(p) >= 4]
    wanted = corners(layout)
    if mirrored:
        wanted = np.column_stack([doc.width_mm - wanted[:, 0], wanted[:, 1]])
    off = nearest(wanted + MARGIN_MM, np.concatenate(rings))
    assert off.max() < TRUE_MM
    # and nothing but pieces and borders is drawn inside the work
    areas = sorted(shapely.area([shapely.Polygon(p) for p in rings]))
    laid = np.sort(np.concatenate([f.pieces.area_mm2 for f in layout.fields]))
    assert np.allclose(areas[: len(laid)], laid, rtol=2e-3)


def test_check_bars_are_100_mm_on_every_page(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    path = tmp_path / "a4.pdf"
    write_cartoon_pdf(path, *work, "A4")
    pages = len(boxes(path))
    assert pages > 4
    for k in range(1, pages):
        level, upright = check_bars(lines(path, k))
        assert min(abs(v - 100) for v in level) < TRUE_MM
        assert min(abs(v - 100) for v in upright) < TRUE_MM


@pytest.mark.parametrize("paper", ["A4", "A3", "Letter", "roll:300"])
def test_pages_put_together_are_the_work(
    work: tuple[Commission, Layout], tmp_path: Path, paper: str
) -> None:
    doc, layout = work
    path = tmp_path / "pages.pdf"
    write_cartoon_pdf(path, doc, layout, paper)
    size = boxes(path)
    for box in size[1:]:  # lying or upright
        if paper in PAPERS:
            assert sorted(box) == pytest.approx(sorted(PAPERS[paper]), abs=1e-3)
        else:
            assert min(abs(v - 300.0) for v in box) < 1e-3
    parts = division_of(doc, layout, paper).tiles
    assert len(size) == len(parts) + 1
    wanted = corners(layout)
    shown = np.zeros(len(wanted), int)
    for k, tile in enumerate(parts, 1):
        drawn = np.concatenate([p for p in lines(path, k) if len(p) >= 4])
        back = drawn - MARGIN_MM + (tile.x0, tile.y0)
        on = (
            (wanted[:, 0] >= tile.x0)
            & (wanted[:, 0] <= tile.x1)
            & (wanted[:, 1] >= tile.y0)
            & (wanted[:, 1] <= tile.y1)
        )
        assert nearest(wanted[on], back).max() < TRUE_MM
        shown += on
    assert shown.min() >= 1


def level_marks(drawn: list[np.ndarray], long: float, turned: bool) -> np.ndarray:
    """Return where the level lines of join marks begin, (n, 2); turned where pages lap down."""
    k = int(turned)
    two = [p for p in drawn if len(p) == 2 and abs(p[1, 1 - k] - p[0, 1 - k]) < 1e-3]
    found = [p.min(axis=0) for p in two if abs(abs(p[1, k] - p[0, k]) - long) < 0.05]
    return np.array(found).reshape(-1, 2)


@pytest.mark.parametrize("paper", ["A4", "Letter", "roll:300"])
def test_pages_put_together_by_their_join_marks_are_the_work(
    work: tuple[Commission, Layout], tmp_path: Path, paper: str
) -> None:
    """Each page is laid to the one before by the marks that both carry, and by nothing else."""
    doc, layout = work
    path = tmp_path / "pages.pdf"
    write_cartoon_pdf(path, doc, layout, paper)
    division = division_of(doc, layout, paper)
    drawn = {(t.row, t.column): lines(path, k) for k, t in enumerate(division.tiles, 1)}
    placed = {(0, 0): np.array([-MARGIN_MM, -MARGIN_MM])}
    for row, column in sorted(drawn):
        if (row, column) == (0, 0):
            continue
        down = column == 0
        before = (row - 1, column) if down else (row, column - 1)
        long = division.laps_mm[int(down)] + 4 * ARM_MM
        a, b = (level_marks(drawn[at], long, down) for at in (before, (row, column)))
        # a page in the middle has marks at both of its edges: the last of one, the first of other
        k = int(down)
        a, b = a[a[:, k] > a[:, k].max() - 1], b[b[:, k] < b[:, k].min() + 1]
        a, b = (m[np.argsort(m[:, 1 - k])] for m in (a, b))
        assert len(a) == len(b) >= 2
        assert np.ptp(a - b, axis=0).max() < 0.02  # all marks of a lap agree
        placed[row, column] = placed[before] + (a - b).mean(axis=0)
    assert len(placed) == len(division.tiles) > 1
    back = np.concatenate([p + placed[at] for at, of in drawn.items() for p in of if len(p) >= 4])
    assert nearest(corners(layout), back).max() < TRUE_MM


def test_a_corrected_print_is_true_once_printed(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    """A printer that makes 99.6 mm of 100 across and 100.2 up prints the work as it is."""
    doc, layout = work
    path, read = tmp_path / "c.pdf", Correction(99.6, 100.2)
    write_cartoon_pdf(path, doc, layout, "A4", correction=read)
    printer = np.array([0.996, 1.002])
    division = division_of(doc, layout, "A4", correction=read)
    wanted = corners(layout)
    for k, tile in enumerate(division.tiles, 1):
        printed = [p * printer for p in lines(path, k)]
        level, upright = check_bars(printed)
        assert min(abs(v - 100) for v in level) < 0.02
        assert min(abs(v - 100) for v in upright) < 0.02
        back = np.concatenate([p for p in printed if len(p) >= 4]) - MARGIN_MM
        on = shapely.covered_by(shapely.points(wanted), tile.box)
        assert nearest(wanted[on], back + np.array([tile.x0, tile.y0])).max() < TRUE_MM
    for box in boxes(path):
        assert sorted(box) == pytest.approx([210.0, 297.0], abs=1e-3)


def test_a_page_beyond_the_pdf_limit_keeps_its_size(tmp_path: Path) -> None:
    """PDF 1.6: a page is at most 14,400 units; beyond, UserUnit makes a unit larger."""
    bar = Paths.of([np.array([[10.0, 20.0], [6010.0, 20.0]])], closed=False)
    path = tmp_path / "long.pdf"
    write_pdf(path, [Page(6200.3, 300.7, "Long", (bar,))], "Long")
    page = PdfReader(str(path)).pages[0]
    assert float(page.mediabox.width) <= 14_400
    assert float(page["/UserUnit"]) == 2
    assert boxes(path)[0] == pytest.approx((6200.3, 300.7), abs=1e-3)
    (line,) = lines(path, 0)
    assert line == pytest.approx(np.array([[10.0, 20.0], [6010.0, 20.0]]), abs=TRUE_MM)


def test_words_can_be_read_and_numbers_stand_in_their_pieces(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    doc, layout = work
    path = tmp_path / "whole.pdf"
    write_cartoon_pdf(path, doc, layout, "whole", True)
    reader = PdfReader(str(path))
    key, sheet = (" ".join(p.extract_text().split()) for p in reader.pages)
    assert "Threshold & step" in key and "mirrored" in sheet
    used = {int(k) for f in layout.fields for k in f.stock}
    for k in used:
        assert doc.materials[k].code in key
    assert reader.metadata is not None and reader.metadata.title == doc.title


def test_nothing_is_written_where_it_cannot_be(
    work: tuple[Commission, Layout], tmp_path: Path
) -> None:
    with pytest.raises(EmblemaError, match="no-such-folder"):
        write_cartoon_pdf(tmp_path / "no-such-folder" / "c.pdf", *work)
    old = tmp_path / "c.pdf"
    old.write_bytes(b"the last one")
    with pytest.raises(EmblemaError, match="B5"):
        write_cartoon_pdf(old, *work, paper="B5")
    assert old.read_bytes() == b"the last one"


def test_a_commission_with_nothing_laid_still_prints(tmp_path: Path) -> None:
    doc = Commission("Empty", 200.0, 100.0, fields=(Field("f1", "A", square(0, 0, 200, 100)),))
    write_cartoon_pdf(tmp_path / "e.pdf", doc, Layout(()))
    assert len(boxes(tmp_path / "e.pdf")) == 2


def test_clipped_items_are_cut_and_the_rest_is_not(tmp_path: Path) -> None:
    inside = Paths.of([np.array([[0.0, 10.0], [50.0, 10.0]])], closed=False)
    over = Text(25, 40, "Over", 3.0)
    page = Page(50, 50, "P", (inside,), (over,), (10.0, 0.0, 20.0, 50.0))
    write_pdf(tmp_path / "p.pdf", [page], "P")
    assert "Over" in PdfReader(str(tmp_path / "p.pdf")).pages[0].extract_text()


def test_a_picture_fills_its_box_on_screen_and_in_pdf(tmp_path: Path) -> None:
    pixels = np.zeros((40, 80, 3), np.uint8)
    pixels[:, :40] = (200, 30, 30)
    pixels[:, 40:] = (20, 40, 180)
    page = Page(100.0, 60.0, "p", (Picture(10.0, 20.0, 40.0, 20.0, pixels),))
    path = tmp_path / "p.pdf"
    write_pdf(path, [page], "A picture")
    (only,) = PdfReader(str(path)).pages[0].images
    assert only.image is not None
    read = np.asarray(only.image.convert("RGB"), float)
    left, right = read[:, : read.shape[1] // 2 - 2], read[:, read.shape[1] // 2 + 2 :]
    assert np.abs(left.mean((0, 1)) - (200, 30, 30)).max() < 4
    assert np.abs(right.mean((0, 1)) - (20, 40, 180)).max() < 4
    shown = QImage(1000, 600, QImage.Format.Format_RGB888)
    shown.fill(0xFFFFFFFF)
    painter = QPainter(shown)
    paint_page(painter, page, 10.0)
    painter.end()
    seen = np.frombuffer(shown.constBits(), np.uint8).reshape(600, shown.bytesPerLine())
    inked = seen[:, :3000].reshape(600, 1000, 3).min(2) < 250
    rows, columns = np.flatnonzero(inked.any(1)), np.flatnonzero(inked.any(0))
    box = np.array([columns[0], columns[-1] + 1, rows[0], rows[-1] + 1]) / 10
    assert np.abs(box - (10, 50, 20, 40)).max() <= TRUE_MM
