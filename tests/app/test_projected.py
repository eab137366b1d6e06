"""The projected cartoon: true to size by its corners, lit by turns, by pointer and keys."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from jobcard_rig import pump
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from app.projected import STEP_PX, Projected
from core.lit import lit_by_turns
from core.sheets.made import divided, sheets_of

LEFT = Qt.MouseButton.LeftButton


@pytest.fixture
def shown(table, tmp_path, monkeypatch):
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path))
    doc = table.session.doc
    made = Projected(table.session, (0.0, 0.0, doc.width_mm, doc.height_mm))
    made.resize(1280, 800)
    made.show()
    QTest.qWaitForWindowExposed(made)
    yield made
    made.close()


def drag(shown, k, to):
    at = shown.corners()[k].toPoint()
    QTest.mousePress(shown, LEFT, pos=at)
    for share in (0.3, 0.7, 1.0):  # QTest's own moves carry no button
        place = QPointF(at) + (QPointF(to) - QPointF(at)) * share
        QApplication.sendEvent(
            shown,
            QMouseEvent(
                QEvent.Type.MouseMove,
                place,
                shown.mapToGlobal(place),
                Qt.MouseButton.NoButton,
                LEFT,
                Qt.KeyboardModifier.NoModifier,
            ),
        )
    QTest.mouseRelease(shown, LEFT, pos=to)


def test_corners_of_the_work_fall_on_the_points_that_were_measured(shown):
    targets = [QPoint(200, 90), QPoint(1100, 160), QPoint(1010, 700), QPoint(130, 640)]
    for k, to in enumerate(targets):
        drag(shown, k, to)
    QTest.keyClick(shown, Qt.Key.Key_Return)
    way, doc = shown.onto_screen(), shown.session.doc
    corners = [(0, 0), (doc.width_mm, 0), (doc.width_mm, doc.height_mm), (0, doc.height_mm)]
    for (x, y), to in zip(corners, targets, strict=True):
        at = way.map(QPointF(x, y))
        assert (at - QPointF(to)).manhattanLength() < 0.01
    # straight stays straight: the middle of the work is where its diagonals cross on the wall
    cross = shapely.LineString([(200, 90), (1010, 700)]).intersection(
        shapely.LineString([(1100, 160), (130, 640)])
    )
    middle = way.map(QPointF(doc.width_mm / 2, doc.height_mm / 2))
    assert (middle - QPointF(cross.x, cross.y)).manhattanLength() < 0.01


def test_a_corner_is_moved_by_the_keys_and_never_folds_the_picture(shown):
    was = shown.corners()
    QTest.keyClick(shown, Qt.Key.Key_3)
    for _ in range(5):
        QTest.keyClick(shown, Qt.Key.Key_Left)
    now = shown.corners()
    assert now[2].x() == pytest.approx(was[2].x() - 5 * STEP_PX)
    assert now[2].y() == pytest.approx(was[2].y())
    shown.move_corner(2, was[0])
    assert shown.corners()[2] == now[2]


def test_corners_are_kept_for_the_next_time(shown):
    drag(shown, 0, QPoint(321, 123))
    shown.close()
    again = Projected(shown.session, shown.box)
    again.resize(1280, 800)
    assert (again.corners()[0] - QPointF(321, 123)).manhattanLength() < 0.01
    again.close()


@pytest.mark.parametrize("text", ["", "[]", '{"corners": [[0, 0], [1, 1], [1, 0], [0, 1]]}'])
def test_spoilt_corners_are_no_matter(table, tmp_path, monkeypatch, text):
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path))
    (tmp_path / "projector.json").write_text(text)
    made = Projected(table.session, (0.0, 0.0, 100.0, 100.0))
    assert made.shares is None
    made.close()


def test_materials_courses_and_sheets_are_lit_by_turns(shown):
    session = shown.session
    session.apply("Divide", divided(session.doc, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    for key, by in ((Qt.Key.Key_M, "material"), (Qt.Key.Key_C, "course"), (Qt.Key.Key_S, "sheet")):
        QTest.keyClick(shown, key)
        turns = lit_by_turns(session.doc, session.layout, by)
        every = np.concatenate([t.which for t in turns])
        assert sorted(every) == list(range(len(session.layout)))  # each piece in one turn
        assert shown.lit.words == turns[0].words
        QTest.keyClick(shown, Qt.Key.Key_Space)
        assert shown.lit.words == turns[1 % len(turns)].words
        QTest.keyClick(shown, Qt.Key.Key_Left)
        QTest.keyClick(shown, Qt.Key.Key_Left)
        assert shown.lit.words == turns[-1].words
        QTest.mouseClick(shown, LEFT, pos=QPoint(5, 400))
        assert shown.lit.words == turns[0].words
    sheets = sorted(sheets_of(session.doc, session.layout).each, key=lambda s: s.order)
    assert shown.lit.words.startswith(f"sheet {sheets[0].number},")


def test_what_is_lit_is_bright_where_it_lies(shown):
    QTest.keyClick(shown, Qt.Key.Key_H)
    QTest.keyClick(shown, Qt.Key.Key_M)
    picture, way = shown.grab().toImage(), shown.onto_screen()
    on = set(shown.lit.which.tolist())
    pieces = np.concatenate([f.pieces.polygons for f in shown.session.layout.fields])
    inner = shapely.get_coordinates(shapely.point_on_surface(pieces))
    for k in range(0, len(pieces), 7):
        at = way.map(QPointF(*inner[k])).toPoint()
        dark = picture.pixelColor(at).lightness() == 0
        assert dark != (k in on)


def test_the_leaf_opens_it_for_the_work_or_a_sheet(table, tmp_path, monkeypatch):
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path))
    session = table.session
    session.apply("Divide", divided(session.doc, session.layout))
    assert pump(lambda: session.laid_doc is session.doc)
    table.card.turn_to("Sheets")
    leaf = table.card.leaf.projecting
    leaf.refresh()
    leaf.project()
    assert leaf.shown.box == (0.0, 0.0, session.doc.width_mm, session.doc.height_mm)
    one = sheets_of(session.doc, session.layout).each[-1]
    leaf.what.show_value(str(one.number))
    leaf.project()
    assert leaf.shown.box == pytest.approx(one.box_mm)
    leaf.shown.close()
    assert leaf.shown is None
