"""A tray dropped on the bench: what it swaps, how soon, and a menu that stays open meanwhile."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jobcard_rig import pump
from PySide6.QtCore import QMimeData, Qt
from PySide6.QtGui import QDragEnterEvent, QDragMoveEvent, QDropEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMenu
from window_rig import LEFT, NONE, laid, make, quiet, reopened, seen

from app.canvas.dropped import MATERIAL
from app.window import Window
from core import handwork
from core.commission import change_field
from core.rounds import remove_fields


@pytest.fixture(scope="module")
def one():
    w = make()
    yield w
    w.end()
    w.hide()


@pytest.fixture
def window(one, tmp_path):
    """Two fields over a sketch, laid."""
    return reopened(one, tmp_path, "Figures")


def drop_tray(w: Window, code: str, at: tuple[float, float]) -> QMenu | None:
    data = QMimeData()
    data.setData(MATERIAL, code.encode())
    copy, pixel = Qt.DropAction.CopyAction, w.bench.to_px(*at)
    for event in (
        QDragEnterEvent(pixel.toPoint(), copy, data, LEFT, NONE),
        QDragMoveEvent(pixel.toPoint(), copy, data, LEFT, NONE),
        QDropEvent(pixel, copy, data, LEFT, NONE),
    ):
        QApplication.sendEvent(w.bench, event)
        assert event.isAccepted()
    top = QApplication.activePopupWidget()
    return top if isinstance(top, QMenu) else None


def pick(menu: QMenu, begins: str) -> None:
    action = next(a for a in menu.actions() if a.text().startswith(begins))
    QTest.mouseClick(menu, LEFT, NONE, menu.actionGeometry(action).center())


@pytest.mark.parametrize("where", ["This piece", "This field", "This motif", "Everywhere"])
def test_a_tray_dropped_on_a_field_swaps(window, where):
    w = window
    s, before = w.session, w.session.doc
    codes = [m.code for m in before.materials]
    left, right = (s.layout.by_id(i) for i in ("f1", "f2"))
    both = sorted(set(left.stock.tolist()) & set(right.stock.tolist()))
    old = both[0] if both else int(left.stock[0])
    k = int((left.stock == old).argmax())
    laid_before = set(left.stock.tolist()) | set(right.stock.tolist())
    new = next(j for j in range(len(codes)) if j not in laid_before)
    many = {i: int((s.layout.by_id(i).stock == old).sum()) for i in ("f1", "f2")}

    menu = drop_tray(w, codes[new], tuple(left.pieces.centre_mm[k]))
    assert menu is not None and menu.actions()[0].text() == f"Lay {codes[new]} for {codes[old]}"
    assert s.doc is before  # nothing is done until it is chosen where
    pick(menu, where)
    assert s.undo_label is not None
    laid(w)
    now = {i: int((s.layout.by_id(i).stock == new).sum()) for i in ("f1", "f2")}
    assert (
        now
        == {
            "This piece": {"f1": 1, "f2": 0},
            "This field": {"f1": many["f1"], "f2": 0},
            "This motif": many,
            "Everywhere": many,
        }[where]
    )
    tray = next(t for t in w.trays.trays if t.material.code == codes[new])
    assert tray.count.pieces == sum(now.values())
    s.undo()
    assert s.doc is before and s.undo_label is None


def test_a_tray_dropped_beside_the_work_says_where_to(window):
    before = window.session.doc
    code = before.materials[0].code
    assert drop_tray(window, code, (-5, -5)) is None
    assert window.session.doc is before
    assert window.status.text() == "Drop the tray on a laid piece."


def two_codes(w: Window, at: tuple[float, float]) -> tuple[str, str]:
    """Return the material laid at a place of the left field, and one laid nowhere."""
    s = w.session
    field, k = w.bench.piece_at(*at)
    used = {int(j) for f in s.layout.fields for j in f.stock}
    codes = [m.code for m in s.doc.materials]
    new = next(c for j, c in enumerate(codes) if j not in used)
    return codes[s.layout.by_id(field).stock[k]], new


AT = (21.0, 33.0)


@pytest.mark.parametrize(
    ("where", "meanwhile", "told"),
    [
        (
            "This piece",
            lambda doc, old, new: remove_fields(doc, ["f1"]),
            "That piece is no longer there; drop the tray again.",
        ),
        (
            "This field",
            lambda doc, old, new: remove_fields(doc, ["f1"]),
            "That field is no longer there.",
        ),
        (
            "This motif",
            lambda doc, old, new: change_field(change_field(doc, "f1", motif=""), "f2", motif=""),
            "There is no motif 'sea' any more.",
        ),
        (
            "Everywhere",
            lambda doc, old, new: replace(
                doc, materials=tuple(m for m in doc.materials if m.code != new)
            ),
            "{new} is no longer among the commission's materials.",
        ),
    ],
)
def test_a_menu_left_open_does_nothing_to_what_is_gone(window, where, meanwhile, told):
    w, s = window, window.session
    old, new = two_codes(w, AT)
    menu = drop_tray(w, new, AT)
    s.apply("Meanwhile", meanwhile(s.doc, old, new))
    laid(w)
    stood = s.doc
    pick(menu, where)
    assert s.doc is stood and s.undo_label == "Meanwhile"
    assert w.status.text() == told.format(new=new)


def test_a_menu_left_open_does_nothing_to_another_piece_at_its_place(window):
    w, s = window, window.session
    finer = change_field(s.doc, "f1", tessera_mm=7.0)
    before = s.layout.by_id("f1").pieces.polygons[20]
    s.apply("Finer", finer)
    laid(w)
    piece = w.bench.table.polygons[w.bench.table.tree.nearest(before.centroid)]
    both = before.intersection(piece)
    assert both.area > 0 and piece != before
    (at,) = both.representative_point().coords
    s.undo()
    laid(w)
    menu = drop_tray(w, two_codes(w, at)[1], at)
    s.redo()
    laid(w)
    assert w.bench.piece_at(*at) is not None  # there is one, but not the one that was meant
    pick(menu, "This piece")
    assert s.doc is finer
    assert w.status.text() == "That piece is no longer there; drop the tray again."


def test_a_menu_left_open_waits_for_the_laying(window):
    w, s = window, window.session
    _, new = two_codes(w, AT)
    menu = drop_tray(w, new, AT)
    s.apply("Meanwhile", change_field(s.doc, "f2", tessera_mm=7.0))
    stood = s.doc
    pick(menu, "This piece")
    assert s.doc is stood
    assert w.status.text() == "The work is being laid; drop the tray again in a moment."
    laid(w)


def test_a_menu_left_open_still_means_its_own_piece(window):
    """Other pieces are taken out and laid anew: the numbers of all change, this piece stays."""
    w, s = window, window.session
    _, new = two_codes(w, AT)
    menu = drop_tray(w, new, AT)
    field, k = w.bench.piece_at(*AT)
    outline = s.layout.by_id(field).pieces.polygons[k]
    s.apply("Lift a piece", handwork.lift(s.doc, s.layout, field, 0))
    laid(w)
    assert w.bench.piece_at(*AT) == (field, k - 1)
    pick(menu, "This piece")
    laid(w)
    now = s.layout.by_id(field)
    mine = [m.code for m in s.doc.materials].index(new)
    assert [p for p, j in zip(now.pieces.polygons, now.stock, strict=True) if j == mine] == [
        outline
    ]


def test_a_piece_laid_in_another_material_is_shown_at_once(window):
    """It is a matter of colour: no piece is laid anew and the bench keeps its table of pieces."""
    w, s = window, window.session
    _, new = two_codes(w, AT)
    tree, shares = w.bench.table.tree, []
    s.progress.connect(lambda share, what: shares.append(what))
    menu = drop_tray(w, new, AT)
    pick(menu, "This piece")
    assert s.recolours and not s._settle.isActive()  # matched now, not after the hand has settled
    laid(w)
    assert w.bench.table.tree is tree
    assert shares == ["Laid"]


def test_after_swaps_close_together_the_bench_is_as_drawn_anew(window):
    """Each swap comes while the picture of the one before is still being drawn."""
    w, s = window, window.session
    old, new = two_codes(w, AT)
    begun = s.doc
    first = seen(w)
    for a, b in ((old, new), (new, old), (old, new)):
        s.swap(a, b)
        assert pump(lambda: s.layout_is_current)
        QApplication.processEvents()
    swapped = seen(w)
    w.bench.redraw()
    assert seen(w) == swapped != first
    while s.doc is not begun:
        s.undo()
    laid(w)
    quiet(w)
    assert seen(w) == first


def test_a_swap_does_not_flash_the_progress(window):
    w = window
    shown = []
    w.session.busy.connect(lambda on: shown.append(w.status.stop.isVisible()))
    old, new = two_codes(w, AT)
    w.session.swap(old, new)
    laid(w)
    assert shown == [False, False]
    w.session.apply("Size", change_field(w.session.doc, "f1", tessera_mm=7.0))
    laid(w)
    assert shown == [False, False, True, False]
