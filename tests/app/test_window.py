"""The whole window: the demo commission, what is shown, files that are bad, trays dropped."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jobcard_rig import pump, small
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QApplication,
    QDoubleSpinBox,
    QFileDialog,
    QInputDialog,
    QLineEdit,
    QMessageBox,
    QPushButton,
)
from window_rig import (
    LEFT,
    NONE,
    answer,
    choose,
    drop_file,
    hit,
    laid,
    make,
    panel,
    quiet,
    reopened,
    seen,
)

from app.canvas.sight import LEAST, MOST
from app.fileasking import ANOTHER, COPY, GO_ON, LOOK, REPLACE, SAVE_HERE, KeptDialog
from app.session import Session
from app.shell.begin import NewDialog
from app.tools import TOOLS
from app.window import Window
from core import archive, keptaside
from core.archive import Work
from core.commission import change_field
from core.resources import asset


@pytest.fixture(scope="module")
def one():
    w = make()
    yield w
    w.end()
    w.hide()


@pytest.fixture
def window(one, tmp_path):
    """Two fields over a sketch, opened from a file and laid."""
    return reopened(one, tmp_path, "Brief")


def colour(w: Window, x: float, y: float) -> tuple[int, int, int]:
    """Return the colour shown at a place on the work."""
    image = seen(w)
    ratio = image.devicePixelRatio()
    c = image.pixelColor((w.bench.to_px(x, y) * ratio).toPoint())
    return c.red(), c.green(), c.blue()


def press(button: QMessageBox.StandardButton):
    return lambda box: QTest.mouseClick(box.button(button), LEFT)


# --- the demo ---------------------------------------------------------------------------------


def test_the_demo_opens_is_laid_and_every_leaf_shows_it(one):
    w = one
    demo = asset("demo/heron.emblema")
    before = demo.read_bytes()
    assert w.open(demo)
    assert w.session.path is None and not w.session.dirty  # a save cannot fall upon the demo
    assert w.session.layout is None
    laid(w)
    assert not w.status.progress.isVisible() and not w.status.stop.isVisible()
    layout = w.session.layout
    assert len(layout.fields) == len(w.session.doc.fields) > 3 and len(layout) > 2000
    assert not layout.dropped
    assert w.status.count.text() == f"{len(layout):,} tesserae" and not w.status.text()
    assert w.trays.trays and sum(t.count.pieces for t in w.trays.trays) == len(layout)

    titles = set()
    for name, button in w.card.buttons.items():
        QTest.mouseClick(button, LEFT)
        assert w.card.leaf.name == name and w.card.leaf.isVisible()
        assert sum(leaf.isVisible() for leaf in w.card.leaves.values()) == 1
        titles.add(name)
        QApplication.processEvents()
        picture = w.card.grab().toImage()
        assert len({picture.pixel(x, 300) for x in range(0, picture.width(), 3)}) > 1, name
    assert len(titles) == 9

    # whatever is chosen, every leaf can show it
    w.session.select((w.session.doc.fields[0].id,))
    for name in w.card.buttons:
        w.card.turn_to(name)
    w.session.select_piece(w.session.doc.fields[0].id, 0)
    for name in w.card.buttons:
        w.card.turn_to(name)
    for view in ("difference", "plain"):
        w.bench.set_colours(view)
        seen(w)
    assert w.session.undo_label is None and not w.session.dirty  # to look is no edit
    assert demo.read_bytes() == before


# --- what is shown ----------------------------------------------------------------------------


def test_every_switch_shows_and_hides_what_it_names(window):
    w = window
    piece = w.session.layout.by_id("f1").pieces
    x, y = piece.centre_mm[len(piece) // 2]
    assert not w.switches["look"].isChecked()
    for name, button in w.switches.items():
        if name == "look":  # see test_bench_look.py
            continue
        shown = seen(w)
        QTest.mouseClick(button, LEFT)
        assert not button.isChecked() and w.bench.layers[name] is False
        hidden = seen(w)
        if name in ("tesserae", "outlines"):  # the sketch lies beneath; no flow line is drawn
            assert hidden != shown, name
        QTest.mouseClick(button, LEFT)
        assert w.bench.layers[name] is True
        assert seen(w) == shown, name
    tessera = colour(w, x, y)
    stock = w.session.layout.by_id("f1")
    k = w.bench.table.at(x, y)
    assert tessera == tuple(w.bench.table.rgb("plain")[k]) and stock.stock[0] >= 0
    QTest.mouseClick(w.switches["tesserae"], LEFT)
    red, _, blue = colour(w, 8, 40)
    assert red > blue  # the sketch runs from red ...
    red, _, blue = colour(w, 112, 40)
    assert blue > red  # ... to blue
    QTest.mouseClick(w.switches["sketch"], LEFT)
    assert colour(w, 30, 30) == (255, 255, 255)
    QTest.mouseClick(w.switches["sketch"], LEFT)
    QTest.mouseClick(w.switches["tesserae"], LEFT)
    assert colour(w, x, y) == tessera


def test_the_wheel_zooms_about_the_hand(window):
    bench = window.bench
    at = QPointF(300, 260)
    under, scale = bench.to_mm(at), bench.px_per_mm
    wheel(bench, at, 120)
    assert bench.px_per_mm == pytest.approx(scale * 1.0015**120)
    assert bench.to_mm(at) == pytest.approx(under)
    for _ in range(60):
        wheel(bench, at, 960)
    assert bench.px_per_mm == MOST
    seen(window)
    for _ in range(60):
        wheel(bench, at, -960)
    assert bench.px_per_mm == LEAST
    seen(window)
    QTest.keyClick(bench, Qt.Key.Key_0)
    assert bench.px_per_mm == pytest.approx(scale)


def wheel(bench, at: QPointF, by: int, pixels: QPoint | None = None, keys=NONE) -> None:
    QApplication.sendEvent(
        bench,
        QWheelEvent(
            at,
            QPointF(bench.mapToGlobal(at.toPoint())),
            pixels or QPoint(),
            QPoint(0, by),
            Qt.MouseButton.NoButton,
            keys,
            Qt.ScrollPhase.NoScrollPhase,
            False,
        ),
    )


def test_keys_zoom_and_the_whole_work_comes_back(window):
    bench = window.bench
    scale = bench.px_per_mm
    window.actions_by_name["Nearer"].trigger()
    assert bench.px_per_mm == pytest.approx(1.3 * scale)
    window.actions_by_name["Farther"].trigger()
    window.actions_by_name["Farther"].trigger()
    assert bench.px_per_mm == pytest.approx(scale / 1.3)
    window.actions_by_name["Whole"].trigger()
    assert bench.px_per_mm == pytest.approx(scale)
    doc = window.session.doc
    for x, y in ((0, 0), (doc.width_mm, doc.height_mm)):
        assert bench.rect().contains(bench.to_px(x, y).toPoint())


@pytest.mark.parametrize("how", ["hand", "middle button", "space", "two fingers"])
def test_the_view_is_moved_in_every_way(window, how):
    bench = window.bench
    window.bench.take("Hand" if how == "hand" else "Lift")
    before, origin = window.session.doc, bench.to_px(0, 0)
    button = Qt.MouseButton.MiddleButton if how == "middle button" else LEFT
    if how == "two fingers":
        wheel(bench, QPointF(300, 300), 0, QPoint(-60, 40))
    else:
        if how == "space":
            QTest.keyPress(bench, Qt.Key.Key_Space)
        QTest.mousePress(bench, button, NONE, QPoint(300, 300))
        for k in range(1, 5):
            QTest.mouseMove(bench, QPoint(300 - 15 * k, 300 + 10 * k))
        QTest.mouseRelease(bench, button, NONE, QPoint(240, 340))
        if how == "space":
            QTest.keyRelease(bench, Qt.Key.Key_Space)
    moved = bench.to_px(0, 0) - origin
    assert (moved.x(), moved.y()) == pytest.approx((-60, 40), abs=0.01)
    assert window.session.doc is before
    bench.fit()


def test_what_lies_under_the_hand_is_told(window):
    bench = window.bench
    laid_field = window.session.layout.by_id("f2")
    x, y = laid_field.pieces.centre_mm[3]
    code = window.session.doc.materials[laid_field.stock[3]].code

    at = bench.to_px(x, y)
    # sent to the bench itself: a pointer moves over whatever window lies on top, of other tests too
    there = QPointF(bench.mapToGlobal(at.toPoint()))
    none = Qt.MouseButton.NoButton
    QApplication.sendEvent(bench, QMouseEvent(QEvent.Type.MouseMove, at, there, none, none, NONE))
    words = window.status.under_hand.text()
    assert "Right" in words and code in words and "mm²" in words


def test_every_tool_is_taken_by_its_button_and_its_letter(window):
    for kind in TOOLS:
        window.bench.take("Hand" if kind.name != "Hand" else "Lift")
        QTest.mouseClick(window.strip.buttons[kind.name], LEFT)
        assert window.bench.tool.name == kind.name
        assert [n for n, b in window.strip.buttons.items() if b.isChecked()] == [kind.name]
        assert window.status._line.text() == " ".join(kind.hint.split())
        window.bench.take("Hand" if kind.name != "Hand" else "Lift")
        window.bench.setFocus()
        QTest.keyClick(window.bench, kind.key_letter)
        assert window.bench.tool.name == kind.name
    assert len({k.key_letter for k in TOOLS}) == len(TOOLS)


def test_undo_and_redo_say_what_they_would_do(window):
    undo, redo = window.actions_by_name["Undo"], window.actions_by_name["Redo"]
    assert not undo.isEnabled() and not redo.isEnabled()
    doc = window.session.doc
    window.session.apply("Larger pieces", change_field(doc, "f1", tessera_mm=14.0))
    assert undo.isEnabled() and undo.toolTip() == "Take back: Larger pieces"
    assert window.windowTitle() == "Threshold * (threshold.emblema) - Emblema"
    window.bench.setFocus()
    QTest.keyClick(window.bench, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert window.session.doc is doc
    assert redo.isEnabled() and redo.toolTip() == "Do again: Larger pieces"
    assert window.windowTitle() == "Threshold (threshold.emblema) - Emblema"
    redo.trigger()
    assert window.session.doc.fields[0].laying.tessera_mm == 14.0
    window.session.undo()


def test_the_stop_button_stops_the_laying(window):
    w = window
    stood = w.session.layout
    fine = change_field(w.session.doc, "f1", tessera_mm=1.5, joint_mm=0.2)
    w.session.apply("Fine", fine)
    assert pump(w.status.stop.isVisible)
    QTest.mouseClick(w.status.stop, LEFT)
    assert pump(lambda: not w.status.stop.isVisible())
    assert w.status.text() == "Stopped; the layout before stands."
    assert w.session.layout is stood and w.bench.table is not None
    w.session.undo()


# --- files ------------------------------------------------------------------------------------


def test_a_bad_file_shows_a_message_and_keeps_the_old_commission(window, tmp_path):
    bad = tmp_path / "letter.emblema"
    bad.write_text("Dear client, the wall is ready.")
    doc, layout, picture = window.session.doc, window.session.layout, seen(window)
    assert not window.open(bad)
    assert window.status.isVisible() and window.status.text().startswith("'letter.emblema'")
    assert window.session.doc is doc and window.session.layout is layout
    quiet(window)
    assert seen(window).size() == picture.size() and seen(window) == picture
    drop_file(window, bad)
    assert "letter.emblema" in window.status.text() and window.session.doc is doc


def test_a_commission_or_a_picture_is_dropped_on_the_window(window, tmp_path):
    other = tmp_path / "panel.emblema"
    archive.save(other, panel(), {})
    drop_file(window, other)
    assert window.session.doc.title == "Panel" and window.session.path == other
    laid(window)
    _, images = small()
    picture = tmp_path / "sketch.png"
    picture.write_bytes(next(iter(images.values())))
    drop_file(window, picture)
    assert pump(lambda: window.session.doc.sketch is not None)
    assert window.card.leaf.name == "Sketch" and window.session.dirty
    doc = window.session.doc
    letter = tmp_path / "letter.txt"
    letter.write_text("no picture")
    drop_file(window, letter)
    assert window.session.doc is doc and "Drop an Emblema commission" in window.status.text()
    window.session._saved = window.session._stood


def test_open_and_save_through_their_dialogs(window, tmp_path):
    other = tmp_path / "panel.emblema"
    archive.save(other, panel(), {})
    said = answer(QFileDialog, choose(other))
    window.actions_by_name["Open"].trigger()
    assert said == ["Open a commission"] and window.session.doc.title == "Panel"
    answer(QFileDialog, choose(tmp_path / "copy"))
    window.actions_by_name["Save as"].trigger()
    assert window.session.path == tmp_path / "copy.emblema"
    assert archive.load(tmp_path / "copy.emblema")[0] == window.session.doc
    laid(window)
    assert window.bench.table is not None and len(window.bench.table)


def test_a_save_that_cannot_be_made_is_said(window, tmp_path):
    doc = replace(window.session.doc, title="Hall")
    window.session.apply("Title", doc)
    answer(QFileDialog, lambda d: d.reject())
    assert not window.ask_save_as()
    window.session._path = tmp_path / "no folder" / "hall.emblema"
    answer(QMessageBox, hit(SAVE_HERE))
    assert not window.save()
    assert "could not be written" in window.status.text() and window.session.dirty
    window.session._path = tmp_path / "hall.emblema"
    answer(QMessageBox, hit(SAVE_HERE))
    window.actions_by_name["Save"].trigger()
    assert not window.session.dirty and window.status.text() == "Saved hall.emblema"


def test_a_new_commission_asks_its_size(window):
    def fill(dialog: NewDialog) -> None:
        dialog.findChild(QLineEdit).setText("Hearth")
        spins = dialog.findChildren(QDoubleSpinBox)
        spins[0].setValue(500)
        spins[1].setValue(250)
        begin = next(b for b in dialog.findChildren(QPushButton) if b.text() == "Begin")
        QTest.mouseClick(begin, LEFT)

    answer(NewDialog, fill)
    window.actions_by_name["New"].trigger()
    doc = window.session.doc
    assert (doc.title, doc.width_mm, doc.height_mm) == ("Hearth", 500, 250)
    assert window.card.leaf.name == "Sketch" and not doc.fields
    assert window.windowTitle().startswith("Hearth *")
    laid(window)
    window.session._saved = window.session._stood


def left(w: Window, title: str) -> None:
    """Change the title, keep it aside, and have the process that did it killed."""
    w.session.apply("Title", replace(w.session.doc, title=title))
    w.session.keep_aside()
    assert pump(lambda: w.session._aside.idle)
    w.session._place._lock.release()
    w.session._place, w.session._place_used = keptaside.Place(), False
    w.session._may_be_kept = False
    w.session.begin(Work(panel(), {}))


def test_work_kept_aside_is_offered_and_opened_as_a_change(window):
    file = window.session.path
    left(window, "Hall")
    said = answer(KeptDialog, hit("Not now"))
    assert window.open(file)
    assert said == ["Unsaved work"] and window.session.doc.title == "Threshold"
    answer(KeptDialog, hit("Open with that work"))
    assert window.open(file)
    assert window.session.doc.title == "Hall"
    assert window.windowTitle() == "Hall * (threshold.emblema) - Emblema"
    left(window, "Hall")

    def throw(dialog: KeptDialog) -> None:
        assert dialog.list.count() == 1 and "threshold.emblema" in dialog.list.item(0).text()
        answer(QMessageBox, press(QMessageBox.StandardButton.No))
        hit("Throw it away")(dialog)
        assert dialog.list.count() == 1
        answer(QMessageBox, press(QMessageBox.StandardButton.Yes))
        hit("Throw it away")(dialog)

    answer(KeptDialog, throw)
    assert window.open(file)
    assert window.session.doc.title == "Threshold" and keptaside.left_behind() == []


def test_all_that_was_left_is_offered_at_once_and_one_of_it_opened(window):
    left(window, "Hall")
    window.session.new(300, 200, "Porch")
    left(window, "Porch")

    def second(dialog: KeptDialog) -> None:
        words = [dialog.list.item(k).text() for k in range(dialog.list.count())]
        assert sorted(w.split("  ")[0] for w in words) == ["Hall", "Porch"]
        dialog.list.setCurrentRow([w.startswith("Porch") for w in words].index(True))
        hit("Open with that work")(dialog)

    answer(KeptDialog, second)
    assert window.offer(keptaside.left_behind())
    assert window.session.doc.title == "Porch" and window.session.path is None
    (rest,) = keptaside.left_behind()
    assert rest.title == "Hall"
    rest.throw_away()
    window.session.forget_kept()


@pytest.mark.parametrize("how", [COPY, LOOK, GO_ON, "Cancel"])
def test_a_file_open_in_another_window_may_be_opened_all_the_same(window, tmp_path, how):
    file = tmp_path / "panel.emblema"
    archive.save(file, panel(), {})
    other = Session()
    other.open(file)
    said = answer(QMessageBox, hit(how))
    assert window.open(file) is (how != "Cancel")
    assert said == ["'panel.emblema' is open in another window."]
    s = window.session
    assert s.doc.title == ("Threshold" if how == "Cancel" else "Panel")
    if how == COPY:
        assert s.path is None and s.doc.id != other.doc.id
    elif how == LOOK:
        assert s.path == file and "only looked at" in window.windowTitle()
        s.apply("Title", replace(s.doc, title="Hall"))
        answer(QFileDialog, choose(tmp_path / "mine"))
        assert window.save() and s.path == tmp_path / "mine.emblema" and not s.looking
        assert archive.load(file)[0].title == "Panel"
    elif how == GO_ON:
        assert s.path == file and not s.looking
    other.close()


@pytest.mark.parametrize("how", [ANOTHER, REPLACE, "Leave it"])
def test_a_file_changed_by_another_is_asked_about_before_it_is_replaced(window, tmp_path, how):
    file = window.session.path
    archive.save(file, replace(panel(), title="By another"), {})
    window.session.apply("Title", replace(window.session.doc, title="Hall"))
    if how == ANOTHER:

        def another(box: QMessageBox) -> None:
            answer(QFileDialog, choose(tmp_path / "mine"))
            hit(how)(box)

        said = answer(QMessageBox, another)
    else:
        said = answer(QMessageBox, hit(how))
    window.actions_by_name["Save"].trigger()
    assert said == ["'threshold.emblema' was changed by another since it was opened here."]
    assert archive.load(file)[0].title == ("Hall" if how == REPLACE else "By another")
    assert window.session.dirty is (how == "Leave it")
    if how == ANOTHER:
        assert archive.load(tmp_path / "mine.emblema")[0].title == "Hall"
    window.session._saved = window.session._stood


@pytest.mark.parametrize("button", ["Save", "Discard", "Cancel"])
def test_unsaved_work_is_asked_for_before_it_is_left(window, tmp_path, button):
    file = window.session.path
    other = tmp_path / "panel.emblema"
    archive.save(other, panel(), {})
    window.session.apply("Title", replace(window.session.doc, title="Hall"))
    said = answer(QMessageBox, press(QMessageBox.StandardButton[button]))
    drop_file(window, other)
    assert said == ["The commission has changes that are not saved."]
    assert window.session.doc.title == ("Hall" if button == "Cancel" else "Panel")
    assert archive.load(file)[0].title == ("Hall" if button == "Save" else "Threshold")
    window.session._saved = window.session._stood


def test_closing_asks_for_unsaved_work():
    w = make()
    w.session.new(200, 100, "Hearth")
    answer(QMessageBox, press(QMessageBox.StandardButton.Cancel))
    assert not w.close() and w.isVisible()
    answer(QMessageBox, press(QMessageBox.StandardButton.Discard))
    assert w.close() and not w.isVisible()
    assert not w.session._worker._thread.is_alive()
    assert keptaside.left_behind() == []


# --- the sketch, measured and straightened on the bench ----------------------------------------


def number(value: float):
    """Return how a number is given in a dialog."""

    def do(dialog: QInputDialog) -> None:
        dialog.setDoubleValue(value)
        dialog.accept()

    return do


def click(w: Window, *places: tuple[float, float]) -> None:
    for x, y in places:
        QTest.mouseClick(w.bench, LEFT, NONE, w.bench.to_px(x, y).toPoint())


def test_a_known_length_scales_the_sketch_in_one_step(window):
    w = window
    before = w.session.doc
    w.bench.take("Measure")
    a, b = (w.bench.to_px(x, 40).toPoint() for x in (20, 80))
    QTest.mousePress(w.bench, LEFT, NONE, a)
    QTest.mouseMove(w.bench, b)
    QTest.mouseRelease(w.bench, LEFT, NONE, b)
    long = (b.x() - a.x()) / w.bench.px_per_mm
    answer(QInputDialog, lambda d: d.reject())
    QTest.keyClick(w.bench, Qt.Key.Key_Return)
    assert w.session.doc is before
    answer(QInputDialog, number(30.0))
    QTest.keyClick(w.bench, Qt.Key.Key_Return)
    scale = w.session.doc.sketch.mm_per_px / before.sketch.mm_per_px
    assert scale == pytest.approx(30.0 / long, rel=1e-6)
    assert w.session.undo_label == "Scale the sketch"
    w.session.undo()
    assert w.session.doc is before and w.session.undo_label is None
    QTest.keyClick(w.bench, Qt.Key.Key_Escape)
    QTest.keyClick(w.bench, Qt.Key.Key_Return)  # no dialog: nothing is measured any more
    assert w.session.doc is before


def test_four_corners_straighten_the_sketch_in_one_step(window):
    w = window
    before = w.session.doc
    corners = [(10, 10), (110, 14), (108, 70), (12, 68)]
    w.bench.take("Corners")
    click(w, *corners[:3])
    QTest.keyClick(w.bench, Qt.Key.Key_Escape)  # begin again
    click(w, *corners[:3])
    assert w.session.doc is before

    def wide(dialog: QInputDialog) -> None:
        answer(QInputDialog, number(60.0))  # the next one asks for the height
        number(100.0)(dialog)

    answer(QInputDialog, wide)
    click(w, corners[3])
    sketch = w.session.doc.sketch
    assert sketch.image != before.sketch.image and sketch.image in w.session.images
    assert sketch.width_px * sketch.mm_per_px == pytest.approx(100, rel=0.02)
    assert sketch.height_px * sketch.mm_per_px == pytest.approx(60, rel=0.02)
    assert w.session.undo_label == "Straighten the sketch" and w.bench.tool.name == "Hand"
    w.session.undo()
    assert w.session.doc is before and w.session.undo_label is None
