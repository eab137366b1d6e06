"""A photograph looked at closely: zoomed, moved, marked and dragged by the mouse at any zoom."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from jobcard_rig import pump
from PIL import Image
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton
from skimage.color import deltaE_ciede2000

from app.jobcard.photo import CLOSEST
from app.jobcard.photograph import Photograph
from app.session import Session
from core.colour.chart import chart_colours
from core.colour.convert import bytes_from_lab
from core.stock import StockStore

WIDE, HIGH = 3000, 2000
CHART = (1900, 300)  # where the chart begins, small in a large photograph
PATCH, PITCH = 24, 30
CORNERS = [(0, 0), (5, 0), (5, 3), (0, 3)]  # of rows 1 and 4
ROSE, SEA = (55.0, 30.0, -20.0), (50.0, -25.0, 8.0)
ROSE_AT, SEA_AT = (2200, 400), (2300, 400)  # samples, 40 pixels wide and high


def middle(column: int, row: int) -> tuple[float, float]:
    return CHART[0] + PITCH * column + PATCH / 2, CHART[1] + PITCH * row + PATCH / 2


@pytest.fixture(scope="module")
def picture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A large photograph under a warm light, in which a patch is 24 pixels wide."""
    _, lab = chart_colours()
    rgb = bytes_from_lab(np.vstack([lab, ROSE, SEA])).astype(float)
    photo = np.full((HIGH, WIDE, 3), 90.0)
    for k in range(24):
        x, y = CHART[0] + PITCH * (k % 6), CHART[1] + PITCH * (k // 6)
        photo[y : y + PATCH, x : x + PATCH] = rgb[k]
    for (x, y), colour in ((ROSE_AT, rgb[24]), (SEA_AT, rgb[25])):
        photo[y : y + 40, x : x + 40] = colour
    path = tmp_path_factory.mktemp("photo") / "photo.png"
    Image.fromarray((photo * (0.95, 0.9, 0.8)).astype(np.uint8)).save(path, compress_level=1)
    return path


@pytest.fixture
def window(picture: Path, tmp_path: Path) -> Iterator[Photograph]:
    """The photograph open, and no chart found in it or the finding of one given up."""
    session = Session()
    window = Photograph(session, path=tmp_path / "stock.sqlite")
    window.show()
    window.open_photo(str(picture))
    assert pump(lambda: window.pixels is not None and window.settled(), 30)
    pump(lambda: False, 0.05)
    yield window
    window.done(0)
    session.close()


def press(window: Photograph, words: str) -> None:
    (found,) = [b for b in window.findChildren(QPushButton) if b.text() == words]
    QTest.mouseClick(found, Qt.MouseButton.LeftButton)


def turn(window: Photograph, at: QPoint, by: int) -> None:
    """Turn the wheel over a place of the photograph."""
    photo = window.photo
    there = QPointF(at)
    nothing, keys = QPoint(), Qt.KeyboardModifier.NoModifier
    event = QWheelEvent(
        there, photo.mapToGlobal(there), nothing, QPoint(0, by), Qt.MouseButton.NoButton, keys,
        Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(photo, event)


def px(window: Photograph, x: float, y: float) -> QPoint:
    return window.photo.to_widget(x, y).toPoint()


def drag(
    window: Photograph, a: QPoint, b: QPoint, which: Qt.MouseButton = Qt.MouseButton.LeftButton
) -> None:
    QTest.mousePress(window.photo, which, pos=a)
    QTest.mouseMove(window.photo, a + (b - a) / 2)
    QTest.mouseMove(window.photo, b)
    QTest.mouseRelease(window.photo, which, pos=b)


def scale(window: Photograph) -> float:
    """Screen pixels to one of the photograph, as it is shown."""
    a, b = window.photo.to_widget(0, 0), window.photo.to_widget(1000, 0)
    return (b.x() - a.x()) / 1000


def close_up(window: Photograph) -> None:
    """Zoom in on chart and samples."""
    for _ in range(20):
        if scale(window) > 1.4:
            return
        turn(window, px(window, 2100, 380), 240)


def seen(window: Photograph, x: float, y: float) -> tuple[int, int, int]:
    at = px(window, x, y)
    colour = window.photo.grab().toImage().pixelColor(at)
    return colour.red(), colour.green(), colour.blue()


def mark(window: Photograph) -> None:
    """Click the chart's corners, seen closely."""
    close_up(window)
    press(window, "Mark its four corners")
    for column, row in CORNERS:
        QTest.mouseClick(
            window.photo, Qt.MouseButton.LeftButton, pos=px(window, *middle(column, row))
        )
    assert pump(lambda: window.correction is not None and window.settled(), 30), window.told.text()


def off(window: Photograph, lab: tuple[float, float, float]) -> float:
    assert window.reading is not None, window.told.text()
    return float(deltaE_ciede2000(np.array(window.reading.lab), np.array(lab)))


def test_the_wheel_zooms_about_the_pointer(window: Photograph) -> None:
    whole = scale(window)
    at = px(window, 2100, 380)
    under = window.photo.to_photo(QPointF(at))
    for _ in range(6):
        turn(window, at, 120)
        assert window.photo.to_photo(QPointF(at)) == pytest.approx(under, abs=1e-6)
    assert scale(window) == pytest.approx(whole * 1.0015**720)
    for _ in range(60):
        turn(window, at, 120)
    assert scale(window) == pytest.approx(CLOSEST)
    for _ in range(80):
        turn(window, at, -120)
    assert scale(window) == pytest.approx(whole)
    assert px(window, 0, HIGH / 2).x() == pytest.approx(0, abs=1)


def test_closer_and_the_whole_picture(window: Photograph) -> None:
    whole = scale(window)
    press(window, "Closer")
    assert scale(window) == pytest.approx(1.5 * whole)
    rect = window.photo.rect()
    about = window.photo.to_photo(QPointF(rect.width() / 2, rect.height() / 2))
    assert about == pytest.approx((WIDE / 2, HIGH / 2))
    press(window, "Whole picture")
    assert scale(window) == pytest.approx(whole)
    # and it stays whole in a larger window, zoomed it stays where it was
    window.resize(window.width() + 300, window.height() + 200)
    QApplication.processEvents()
    assert scale(window) > 1.1 * whole
    press(window, "Closer")
    now, about = scale(window), window.photo.to_photo(QPointF(window.photo.rect().center()))
    window.resize(window.width() - 200, window.height() - 100)
    QApplication.processEvents()
    assert scale(window) == now
    assert window.photo.to_photo(QPointF(window.photo.rect().center())) == pytest.approx(
        about, abs=3
    )


@pytest.mark.parametrize("how", ["middle", "space"])
def test_the_picture_is_moved_by_hand(window: Photograph, how: str) -> None:
    close_up(window)
    window.told.setText("")
    a, b = QPoint(300, 300), QPoint(240, 330)
    under = window.photo.to_photo(QPointF(a))
    if how == "space":
        QTest.keyPress(window.photo, Qt.Key.Key_Space)
        drag(window, a, b)
        QTest.keyRelease(window.photo, Qt.Key.Key_Space)
    else:
        drag(window, a, b, Qt.MouseButton.MiddleButton)
    assert window.photo.to_photo(QPointF(b)) == pytest.approx(under, abs=1e-6)
    assert window.photo.boxes == [] and window.told.text() == ""
    # never out of sight
    for _ in range(16):
        drag(window, QPoint(50, 50), QPoint(600, 400), Qt.MouseButton.MiddleButton)
    edge = px(window, 0, 0)
    assert (edge - window.photo.rect().center()).manhattanLength() <= 2
    # the hand marks again once space is let go
    drag(window, edge + QPoint(20, 20), edge + QPoint(120, 100))
    assert px(window, 0, 0) == edge and "Put the light right first" in window.told.text()


def test_what_is_seen_closely_is_what_lies_there(window: Photograph) -> None:
    assert window.pixels is not None
    for _ in range(8):
        for x, y in (
            (ROSE_AT[0] + 20, ROSE_AT[1] + 20),
            (SEA_AT[0] + 20, SEA_AT[1] + 20),
            (2600, 700),
        ):
            at = window.photo.to_widget(x, y)
            if window.photo.rect().contains(at.toPoint()):
                assert seen(window, x, y) == pytest.approx(tuple(window.pixels[y, x]), abs=2)
        turn(window, px(window, 2250, 420), 400)
    assert scale(window) == CLOSEST
    # a pixel is as large as it should be: the sample's edge is where it is said to be
    x, y = ROSE_AT
    press(window, "Whole picture")
    turn(window, px(window, x, y), 4000)
    close = [seen(window, x + d, y + 20) for d in (-1.5, 1.5)]
    assert close[0] != close[1] == pytest.approx(tuple(window.pixels[y + 20, x + 1]), abs=2)


def test_a_small_chart_is_marked_and_samples_read_closely(
    window: Photograph, tmp_path: Path
) -> None:
    mark(window)
    wanted = np.array([middle(c, r) for c, r in CORNERS])
    np.testing.assert_allclose(window.photo.corners, wanted, atol=1.0)
    x, y = ROSE_AT
    drag(window, px(window, x + 5, y + 5), px(window, x + 35, y + 35))
    assert off(window, ROSE) < 3
    np.testing.assert_allclose(window.photo.boxes, [(x + 5, y + 5, x + 35, y + 35)], atol=1.0)
    # what is marked stays where it is, whatever the zoom
    before = list(window.photo.corners), list(window.photo.boxes)
    press(window, "Whole picture")
    assert (window.photo.corners, window.photo.boxes) == before and off(window, ROSE) < 3
    window.code.setText("ROSE")
    press(window, "Add to the stock")
    with StockStore(tmp_path / "stock.sqlite") as store:
        assert deltaE_ciede2000(np.array(store.material("ROSE").lab), np.array(ROSE)) < 3


def test_a_doubtful_sample_is_said_beside_it_and_stocked_as_an_estimate(
    window: Photograph, tmp_path: Path
) -> None:
    mark(window)
    x, y = ROSE_AT
    drag(window, px(window, x + 5, y + 5), px(window, x + 35, y + 35))
    assert window.reading is not None and window.reading.doubts == ()
    assert not window.doubtful.isVisible()
    # half of it beside the sample
    drag(window, px(window, x + 20, y + 20), px(window, x + 35, y + 20))
    assert (
        window.doubtful.isVisible() and "Doubtful: it holds two colours" in window.doubtful.text()
    )
    window.code.setText("ROSE")
    press(window, "Add to the stock")
    assert "as an estimate since it is doubtful" in window.read_words.text()
    with StockStore(tmp_path / "stock.sqlite") as store:
        assert store.material("ROSE").obtained == "estimated"


def test_a_broken_profile_is_said(window: Photograph, picture: Path, tmp_path: Path) -> None:
    assert not window.of_picture.isVisible()
    with Image.open(picture) as image:
        image.save(tmp_path / "odd.png", icc_profile=b"no profile" * 30, compress_level=1)
    window.open_photo(str(tmp_path / "odd.png"))
    assert pump(lambda: window.of_picture.isVisible() and window.settled(), 30)
    assert "odd.png" in window.of_picture.text() and "left out" in window.of_picture.text()


def test_what_is_still_on_its_way_when_the_window_closes_shows_nothing(window: Photograph) -> None:
    window.open_photo("gone.png")
    time.sleep(0.5)  # refused by now, but not yet told
    window.done(0)
    pump(lambda: False, 0.2)
    assert not window.told.text()


def test_a_sample_box_is_dragged_to_another_sample_and_made_larger(window: Photograph) -> None:
    mark(window)
    x, y = ROSE_AT
    drag(window, px(window, x + 8, y + 8), px(window, x + 32, y + 32))
    assert off(window, ROSE) < 3
    (old,) = window.photo.boxes
    way = SEA_AT[0] - x
    drag(window, px(window, x + 20, y + 20), px(window, x + 20 + way, y + 20))
    assert off(window, SEA) < 3
    (new,) = window.photo.boxes
    assert new == pytest.approx((old[0] + way, old[1], old[2] + way, old[3]), abs=1.0)
    assert new[2] - new[0] == pytest.approx(old[2] - old[0], abs=1e-6)
    # a corner of it is pulled, the one across stays
    drag(window, px(window, new[2], new[3]), px(window, SEA_AT[0] + 38, SEA_AT[1] + 38))
    (larger,) = window.photo.boxes
    assert larger[:2] == new[:2]
    assert larger[2:] == pytest.approx((SEA_AT[0] + 38, SEA_AT[1] + 38), abs=1.0)
    # a click in it, or beside it, moves nothing
    QTest.mouseClick(
        window.photo, Qt.MouseButton.LeftButton, pos=px(window, larger[0] + 12, y + 20)
    )
    assert window.photo.boxes == [larger]
    # nor does it leave the photograph
    drag(window, px(window, larger[0] + 15, y + 20), px(window, WIDE + 4000, y + 20))
    (last,) = window.photo.boxes
    assert last[2] == WIDE and last[2] - last[0] == pytest.approx(larger[2] - larger[0])


def test_a_corner_is_dragged_and_all_is_read_again(window: Photograph) -> None:
    mark(window)
    x, y = ROSE_AT
    drag(window, px(window, x + 5, y + 5), px(window, x + 35, y + 35))
    right, box = window.correction, list(window.photo.boxes)
    assert right is not None
    # off by a patch: the chart is refused or fits worse, and the corner stays where it was put
    away = middle(4, 0)
    drag(window, px(window, *middle(5, 0)), px(window, *away))
    assert window.correction is not right
    assert pump(window.settled, 30)
    pump(lambda: False, 0.05)
    assert window.photo.corners[1] == pytest.approx(away, abs=1.0)
    worse = window.correction
    assert worse is None or worse.mean_delta_e > 3 * right.mean_delta_e
    assert worse is not None or (window.told.text() and window.reading is None)
    # put right again, seen whole, where two corners are but 50 screen pixels apart
    press(window, "Whole picture")
    drag(window, px(window, *away), px(window, *middle(5, 0)))
    assert pump(lambda: window.correction not in (None, worse), 30), window.told.text()
    assert window.photo.corners[1] == pytest.approx(middle(5, 0), abs=4.0)
    assert window.correction.mean_delta_e < 3
    if worse is not None:  # the sample was read again with each light
        assert window.photo.boxes == box and off(window, ROSE) < 3


def test_a_press_on_a_corner_moves_nothing_and_marks_no_other(window: Photograph) -> None:
    close_up(window)
    press(window, "Mark its four corners")
    at = px(window, *middle(0, 0))
    for near in (QPoint(), QPoint(3, 2)):
        QTest.mouseClick(window.photo, Qt.MouseButton.LeftButton, pos=at + near)
    assert len(window.photo.corners) == 1 and "last of row 1" in window.by_chart.text()
    # it is dragged while the others are still to be marked
    drag(window, at, at + QPoint(40, 20))
    assert window.photo.to_widget(*window.photo.corners[0]).toPoint() == at + QPoint(40, 20)
    assert len(window.photo.corners) == 1 and "last of row 1" in window.by_chart.text()


def test_a_photograph_that_cannot_be_read_leaves_the_one_before(
    window: Photograph, tmp_path: Path
) -> None:
    mark(window)
    before = window.pixels, window.correction, list(window.photo.corners)
    (tmp_path / "bad.png").write_bytes(b"no picture")
    for name in ("bad.png", "gone.png"):
        window.told.setText("")
        window.open_photo(str(tmp_path / name))
        assert pump(lambda: bool(window.told.text()), 10)
        assert name in window.told.text()
        assert (window.pixels, window.correction, window.photo.corners) == before
        assert "Put right by the chart" in window.by_chart.text()
