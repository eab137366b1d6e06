"""The window as a desktop program: size, look, keys, names for screen readers, the wheel."""

from __future__ import annotations

import ast
from itertools import pairwise
from pathlib import Path

import pytest
from jobcard_rig import pump, small
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QAccessible, QColor, QPalette, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import (
    QAbstractSlider,
    QAbstractSpinBox,
    QApplication,
    QComboBox,
    QScrollBar,
    QWidget,
)
from window_rig import LEFT, NONE, laid, make, quiet

import app
from app import settings, theme
from app.jobcard.fold import Fold
from app.window import Window
from core import archive
from core.commission import change_field

SMALLEST = (1280, 700)  # what a screen of 1280 x 720 leaves below a title bar
LOOKS = [*(("light", letters) for letters in theme.LETTERS if letters != "largest"),
         ("dark", "largest")]  # fmt: skip


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory):
    monkeypatch = pytest.MonkeyPatch()
    folder = tmp_path_factory.mktemp("shell")
    monkeypatch.setenv("EMBLEMA_DATA", str(folder))
    application = QApplication.instance()
    theme.dress(application)
    w = make()
    file = folder / "threshold.emblema"
    archive.save(file, *small())
    w.open(file)
    laid(w)
    yield w
    w.end()
    w.hide()
    theme.dress(application)
    application.setStyleSheet("")
    monkeypatch.undo()


@pytest.fixture
def window(one: Window):
    one.choose_look(look="light", letters="usual")
    one.resize(*SMALLEST)
    one.bench.take("Hand")
    quiet(one)
    one.activateWindow()
    assert pump(one.isActiveWindow)
    yield one
    while one.session.undo_label:
        one.session.undo()


def leaves(w: Window):
    """Turn to every leaf, the first field chosen."""
    w.session.select((w.session.doc.fields[0].id,))
    for name in w.card.leaves:
        w.card.turn_to(name)
        for fold in w.card.leaf.findChildren(Fold):
            fold.unfold()
        QApplication.processEvents()
        yield w.card.leaf


# --- its size and look


@pytest.mark.parametrize(("look", "letters"), LOOKS)
def test_every_leaf_fits_the_smallest_screen(window, look, letters) -> None:
    window.choose_look(look=look, letters=letters)
    QApplication.processEvents()
    least = window.minimumSizeHint()
    assert least.width() <= SMALLEST[0] and least.height() <= SMALLEST[1], (look, letters, least)
    assert (window.width(), window.height()) == SMALLEST
    for leaf in leaves(window):
        room = leaf.parentWidget().width()
        assert leaf.width() <= room, leaf.name
        for w in leaf.findChildren(QWidget):
            if w.isVisible() and not w.isWindow() and _scrolls_not(w, leaf):
                right = w.mapTo(leaf, QPoint(w.width(), 0)).x()
                assert right <= room, (leaf.name, type(w).__name__, w.accessibleName(), right)


def _scrolls_not(w: QWidget, leaf: QWidget) -> bool:
    """Return whether nothing between a widget and its leaf scrolls."""
    while w is not leaf:
        w = w.parentWidget()
        if w.objectName() == "qt_scrollarea_viewport":
            return False
    return True


def test_tools_stand_in_one_column_where_there_is_room(window) -> None:
    assert len({b.x() for b in window.strip.buttons.values()}) == 2
    window.resize(1600, 1200)
    QApplication.processEvents()
    buttons = list(window.strip.buttons.values())
    assert len({b.x() for b in buttons}) == 1
    assert all(a.geometry().bottom() < b.y() for a, b in pairwise(buttons))
    assert buttons[-1].geometry().bottom() <= window.strip.height()


def luminance(colour: str) -> float:
    """Return the relative luminance of WCAG 2.2, from IEC 61966-2-1's sRGB."""
    c = QColor(colour)
    linear = [
        v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4
        for v in (c.redF(), c.greenF(), c.blueF())
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("colours", [theme.DAY, theme.NIGHT], ids=["day", "night"])
def test_words_and_focus_are_seen(colours) -> None:
    # WCAG 2.2 (W3C 2023), 1.4.3: 4.5 for words; 1.4.11: 3 for what shows the focus
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    for ground in ("LIME", "CHALK", "PAPER"):
        for words in ("INK", "SLATE", "RUST"):
            assert contrast(colours[words], colours[ground]) >= 4.5, (words, ground)
        assert contrast(colours["VERDIGRIS"], colours[ground]) >= 3, ground
    assert contrast(colours["INK"], colours["VERDIGRIS_PALE"]) >= 4.5
    assert contrast(colours["ON_VERDIGRIS"], colours["VERDIGRIS"]) >= 4.5


def test_dark_and_light_and_letters_change_at_once_and_are_remembered(window) -> None:
    app_, button = QApplication.instance(), window.strip.buttons["Hand"]
    base = QPalette.ColorRole.Base
    light, drawn = app_.palette().color(base), button.icon().pixmap(28, 28).toImage()
    wide, high = window.card.width(), window.card.buttons["Brief"].height()
    window.choose_look(look="dark")
    QApplication.processEvents()
    assert app_.palette().color(base).lightness() < 60 < light.lightness()
    assert button.icon().pixmap(28, 28).toImage() != drawn
    window.choose_look(letters="largest")
    QApplication.processEvents()
    assert window.card.width() > 1.2 * wide and window.card.buttons["Brief"].height() > 1.2 * high
    assert app_.font().pixelSize() == theme.px(13) == 17
    assert (settings.read().look, settings.read().letters) == ("dark", "largest")


def test_no_module_keeps_a_colour_of_the_look() -> None:
    for file in Path(app.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module == "app.theme":
                assert not {a.name for a in node.names} & set(theme.DAY), file


def test_the_window_stands_where_it_stood_at_its_leaf(window) -> None:
    window.card.turn_to("Flow")
    window.resize(1300, 750)
    QApplication.processEvents()
    window._remember()
    window.card.turn_to("Brief")
    window.resize(900, 710)
    screen = window.screen().availableGeometry()
    window.recall()
    assert window.card.leaf.name == "Flow"
    assert window.width() == min(1300, screen.width())
    assert window.height() == min(750, screen.height())
    # a screen that is gone, or a leaf of another version
    settings.change(window=(90_000, 90_000, 9_000, 9_000), leaf="Kiln")
    window.recall()
    assert window.width() <= screen.width() and window.height() <= screen.height()
    assert screen.intersects(window.geometry()) and window.card.leaf.name == "Flow"


# --- names, keys, wheel

NAMED = {
    QAccessible.Role[name]
    for name in (
        "Button",
        "CheckBox",
        "RadioButton",
        "List",
        "Table",
        "Tree",
        "Slider",
        "SpinBox",
        "EditableText",
        "ComboBox",
        "ButtonMenu",
        "MenuItem",
        "ProgressBar",
    )
}


def unnamed(one, seen: list[str]) -> int:
    """Gather what a screen reader would have no name for; return how many have to have one."""
    count = 0
    if one.role() in NAMED:
        count = 1
        if not one.text(QAccessible.Text.Name).strip() and not _is_separator(one):
            seen.append(f"{one.role().name} {type(one.object()).__name__}")
    within = {QAccessible.Role.List, QAccessible.Role.Table}
    for k in range(one.childCount() if one.role() not in within else 0):
        child = one.child(k)
        if child is not None:
            count += unnamed(child, seen)
    return count


def _is_separator(one) -> bool:
    return bool(getattr(one.object(), "isSeparator", bool)())


def test_a_screen_reader_has_a_name_for_everything(window) -> None:
    for leaf in leaves(window):
        seen: list[str] = []
        assert unnamed(QAccessible.queryAccessibleInterface(window), seen) > 150
        assert not seen, (leaf.name, seen)


def taken(w: QWidget) -> bool:
    """Turn the wheel over a widget; return whether it kept the turn from what lies around it."""
    at = QPointF(w.rect().center())
    turn = QWheelEvent(
        at,
        QPointF(w.mapToGlobal(at.toPoint())),
        QPoint(),
        QPoint(0, -120),
        Qt.MouseButton.NoButton,
        NONE,
        Qt.ScrollPhase.NoScrollPhase,
        False,
    )
    QApplication.sendEvent(w, turn)
    return turn.isAccepted()


def test_the_wheel_changes_nothing_that_it_passes_over(window) -> None:
    doc, passed = window.session.doc, 0
    for leaf in leaves(window):
        for kind in (QAbstractSlider, QAbstractSpinBox, QComboBox):
            for w in leaf.findChildren(kind):
                if isinstance(w, QScrollBar) or not (w.isVisible() and w.isEnabled()):
                    continue
                w.setFocus()
                before = _value(w)
                assert not taken(w), (leaf.name, w.accessibleName())
                assert _value(w) == before, (leaf.name, w.accessibleName())
                passed += 1
    assert passed > 25 and window.session.doc is doc


def _value(w) -> object:
    return w.currentIndex() if isinstance(w, QComboBox) else w.value()


def test_tab_goes_on_from_the_notes_and_comes_round(window) -> None:
    window.card.turn_to("Brief")
    notes = window.card.leaves["Brief"].notes
    notes.setFocus()
    QTest.keyClick(notes, Qt.Key.Key_Tab)
    assert QApplication.focusWidget() not in (notes, None) and notes.toPlainText() == ""
    seen = []
    for _ in range(400):
        here = QApplication.focusWidget()
        if here in seen:
            break
        seen.append(here)
        QTest.keyClick(here, Qt.Key.Key_Tab)
    assert here is seen[0] and len(seen) > 30
    for part in (window.bench, window.card, window.trays, window.strip, window.bar):
        assert any(w is part or part.isAncestorOf(w) for w in seen), part


def test_a_key_goes_from_part_to_part(window) -> None:
    window.bench.setFocus()
    visited = []
    for _ in range(5):
        QTest.keyClick(QApplication.focusWidget(), Qt.Key.Key_F6)
        has = QApplication.focusWidget()
        parts = ("bench", "card", "trays", "strip", "bar")
        visited += [
            p for p in parts if getattr(window, p) is has or getattr(window, p).isAncestorOf(has)
        ]
    assert visited == ["card", "trays", "strip", "bar", "bench"]


def test_the_focus_is_well_seen(window) -> None:
    window.card.turn_to("Brief")
    brief = window.card.leaves["Brief"]
    for w in (
        window.strip.buttons["Pin"],
        window.card.buttons["Flow"],
        brief.title,
        brief.width_mm.spin,
        brief.width_mm.more,
    ):
        window.bench.setFocus()
        without = w.grab().toImage()
        w.setFocus(Qt.FocusReason.TabFocusReason)
        assert w.hasFocus()
        image = w.grab().toImage()
        changed = sum(
            image.pixel(x, y) != without.pixel(x, y)
            for x in range(image.width())
            for y in range(image.height())
        )
        assert changed >= 2 * (w.width() + w.height() - 20), w.accessibleName()


def test_every_leaf_has_a_key_and_the_menu_shows_the_layers(window) -> None:
    window.bench.setFocus()
    for k, name in enumerate(window.card.leaves, 1):
        QTest.keyClick(window.bench, str(k), Qt.KeyboardModifier.ControlModifier)
        assert window.card.leaf.name == name
    (view,) = [a.menu() for a in window.menuBar().actions() if a.text() == "&View"]
    for switch in window.switches.values():
        (shown,) = [a for a in view.actions() if a.text() == switch.text()]
        shown.trigger()
        assert not switch.isChecked() and not shown.isChecked()
        QTest.mouseClick(switch, LEFT)
        assert shown.isChecked()


# --- status, steps


def test_the_status_covers_nothing_and_says_a_thing_once(window) -> None:
    bench, status = window.bench, window.status
    window.say("The sketch is read.")
    QApplication.processEvents()
    below = status.mapTo(window, QPoint(0, 0)).y()
    for part in (bench, window.card, window.trays):
        assert part.mapTo(window, QPoint(0, part.height())).y() <= below
    size = bench.size()
    window.say("")
    assert bench.size() == size and status._line.text() == " ".join(bench.tool.hint.split())
    window.say("A sentence that goes on " * 30)
    assert not status._all.isHidden() and bench.size() == size
    QTest.mouseClick(status._all, LEFT)
    slip = QApplication.activePopupWidget()
    assert slip is not None and "goes on A sentence" in slip.text()
    slip.close()
    window.say("Short.")
    assert status._all.isHidden()


def test_what_could_not_be_done_stands_out_and_stays(window, tmp_path) -> None:
    (tmp_path / "letter.emblema").write_text("Dear client")
    status = window.status
    ink = status._line.palette().color(status._line.foregroundRole())
    assert not window.open(tmp_path / "letter.emblema")
    assert "letter.emblema" in status.text() and not status._quiet.isActive()
    assert status._line.palette().color(status._line.foregroundRole()) == QColor(theme.RUST) != ink
    window.say("Something else.")
    assert status._quiet.isActive()
    assert status._line.palette().color(status._line.foregroundRole()) == ink


def test_arrows_move_the_view_and_keys_show_where_they_are(window) -> None:
    bench = window.bench
    origin = bench.to_px(0, 0)
    window.say("")
    window.strip.buttons["Pin"].setFocus()
    bench.setFocus(Qt.FocusReason.MouseFocusReason)
    plain = bench.grab().toImage()
    for key in ("Left", "Up", "Right", "Down"):
        before = bench.to_px(0, 0)
        QTest.keyClick(bench, Qt.Key[f"Key_{key}"])
        assert bench.to_px(0, 0) != before
    assert (bench.to_px(0, 0) - origin).manhattanLength() < 1e-6
    QTest.keyClick(bench, Qt.Key.Key_0)
    window.strip.buttons["Pin"].setFocus()
    bench.setFocus(Qt.FocusReason.TabFocusReason)
    assert bench.hasFocus() and bench._keyed
    framed = bench.grab().toImage()
    at = (bench.width() - 1, bench.height() // 2)
    assert framed.pixelColor(*at) == QColor(theme.VERDIGRIS) != plain.pixelColor(*at)


def test_laying_is_not_told_by_a_sentence(window) -> None:
    said: list[str] = []
    window.session.message.connect(said.append)
    window.session.apply("Larger", change_field(window.session.doc, "f1", tessera_mm=14.0))
    laid(window)
    assert said == [] and window.status.text() == ""
    assert window.status.count.text() == f"{len(window.session.layout):,} tesserae"
    window.session.message.disconnect(said.append)


def test_steps_are_gone_back_to_by_name(window) -> None:
    s, docs = window.session, [window.session.doc]
    for size in (9.0, 11.0, 13.0):
        s.apply(f"Tessera {size:g}", change_field(s.doc, "f1", tessera_mm=size))
        docs.append(s.doc)
    (edit,) = [a.menu() for a in window.menuBar().actions() if a.text() == "&Edit"]
    (steps,) = [a.menu() for a in edit.actions() if a.text() == "Steps"]

    def shown() -> list[str]:
        steps.aboutToShow.emit()
        return [a.text() for a in steps.actions()]

    assert shown() == ["Tessera 13", "Tessera 11", "Tessera 9", "Opened"]
    steps.actions()[2].trigger()
    assert s.doc is docs[1]
    again = ["Tessera 13  (taken back)", "Tessera 11  (taken back)", "Tessera 9", "Opened"]
    assert shown() == again and steps.actions()[2].isChecked()
    steps.actions()[0].trigger()
    assert s.doc is docs[3] and s.redo_label is None
    shown()
    steps.actions()[3].trigger()
    assert s.doc is docs[0] and s.undo_label is None
    assert s.redo_labels == ["Tessera 9", "Tessera 11", "Tessera 13"]
