"""The material look on the bench: painted when still, beside the flat picture, with its light."""

import numpy as np
import pytest
from jobcard_rig import pump
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QColor, QImage
from PySide6.QtTest import QTest
from window_rig import LEFT, NONE, Table, panel

from app.canvas.look import looked
from app.canvas.sun import Sun
from app.window import Window
from core.commission import Sketch
from core.look.light import STANDARD, Light
from core.look.render import picture


@pytest.fixture(scope="module")
def table():
    table = Table()
    table.begin(panel())
    for layer in ("outlines", "flow"):
        table.bench.set_layer(layer, False)
    yield table
    table.bench.close_work()
    table.session.close()


def pixels(table: Table) -> np.ndarray:
    """Return what the bench shows once it is settled, (h, w, 3)."""
    assert pump(table.bench.settled), table.said
    image = table.bench.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
    raw = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), -1)
    return raw[:, : 3 * image.width()].reshape(image.height(), image.width(), 3).astype(int)


def inside(table: Table, shown: np.ndarray) -> np.ndarray:
    a, b = table.px((5.0, 5.0)), table.px((95.0, 75.0))
    return shown[a.y() : b.y(), a.x() : b.x()]


def test_the_look_is_there_once_nothing_moves(table):
    bench = table.bench
    flat = inside(table, pixels(table))
    bench.set_layer("look", True)
    real = inside(table, pixels(table))
    assert looked(bench._want(bench.view))
    assert len(np.unique(real.reshape(-1, 3), axis=0)) > 5 * len(
        np.unique(flat.reshape(-1, 3), axis=0)
    )
    assert real.mean((0, 1)) == pytest.approx(flat.mean((0, 1)), abs=12)
    bench.set_layer("look", False)
    assert (inside(table, pixels(table)) == flat).all()


def test_it_is_what_the_one_renderer_paints(table):
    bench, session = table.bench, table.session
    bench.set_layer("look", True)
    pixels(table)
    kept = bench.table.looked
    wide, high = kept.image.width() / kept.px_per_mm, kept.image.height() / kept.px_per_mm
    box = (kept.left, kept.top, kept.left + wide, kept.top + high)
    wanted = picture(session.laid_doc, session.layout, kept.px_per_mm, box_mm=box)
    some = [(10, 10), (200, 150), (333, 99)]
    for x, y in some:
        assert QColor(kept.image.pixel(x, y)).getRgb()[:3] == tuple(wanted[y, x].tolist())


def test_choosing_a_field_paints_nothing_anew(table):
    bench = table.bench
    bench.set_layer("look", True)
    pixels(table)
    before = bench.table.looked
    table.session.select(["f1"])
    pixels(table)
    table.session.select([])
    pixels(table)
    assert bench.table.looked is before


def test_while_it_moves_nothing_is_painted_and_then_it_is(table):
    bench = table.bench
    bench.set_layer("look", True)
    pixels(table)
    before = bench.table.looked
    bench.zoom(1.7)
    assert not looked(bench._want(bench.view)) and not bench.settled()
    assert bench.table.looked is before
    pixels(table)
    assert looked(bench._want(bench.view)) and bench.table.looked is not before
    bench.fit()


def test_the_light_moves_and_is_painted(table):
    bench = table.bench
    bench.set_layer("look", True)
    a = pixels(table)
    bench.set_light(Light(120.0, 30.0))
    b = pixels(table)
    assert np.abs(inside(table, a) - inside(table, b)).mean() > 1
    assert bench.table.looked.light == Light(120.0, 30.0) and not bench.table.looked.draft
    bench.set_light(STANDARD)
    assert (pixels(table) == a).all()


@pytest.mark.parametrize("look", [False, True])
def test_joints_are_grout_and_not_the_sketch(look):
    table = Table()
    green = QImage(50, 40, QImage.Format.Format_RGB888)
    green.fill(QColor(0, 255, 0))
    from PySide6.QtCore import QBuffer

    store = QBuffer()
    store.open(QBuffer.OpenModeFlag.WriteOnly)
    green.save(store, "PNG")
    from dataclasses import replace

    doc = replace(panel(), sketch=Sketch("a.png", 50, 40, 2.0))
    table.begin(doc, {"a.png": bytes(store.data().data())})
    bench = table.bench
    for layer in ("outlines", "flow"):
        bench.set_layer(layer, False)
    bench.set_layer("look", look)
    shown = inside(table, pixels(table))
    assert not ((shown[..., 1] > shown[..., 0] + 60) & (shown[..., 1] > shown[..., 2] + 60)).any()
    bench.set_layer("tesserae", False)
    bare = inside(table, pixels(table))
    assert (bare[..., 1] > 200).mean() > 0.99
    bench.close_work()
    table.session.close()


def test_the_sun_is_dragged_turned_and_put_back(table):
    sun = Sun(table.bench)
    told: list[Light] = []
    sun.moved.connect(told.append)
    sun.show()
    middle = sun._middle.toPoint()
    QTest.mousePress(sun, LEFT, NONE, middle + QPoint(30, 0))
    assert told[-1].azimuth_deg == 90 and told[-1].height_deg < 20  # from the right, low
    QTest.mouseMove(sun, middle + QPoint(0, 16))
    assert told[-1].azimuth_deg == 180 and 40 < told[-1].height_deg < 60
    QTest.mouseRelease(sun, LEFT, NONE, middle)
    QTest.keyClick(sun, Qt.Key.Key_Right)
    assert told[-1].azimuth_deg == 195
    for _ in range(20):
        QTest.keyClick(sun, Qt.Key.Key_Up)
    assert told[-1].height_deg == 84
    QTest.mouseDClick(sun, LEFT, NONE, middle)
    assert told[-1] == STANDARD
    sun.close()


def test_whether_it_is_on_is_remembered(monkeypatch, tmp_path):
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))
    for on in (True, False, True):  # at first it is
        window = Window()
        assert window.switches["look"].isChecked() is window.bench.layers["look"] is on
        assert window.bench.sun.isVisibleTo(window.bench) is on
        QTest.mouseClick(window.switches["look"], LEFT)
        assert window.bench.layers["look"] is not on
        window.end()
