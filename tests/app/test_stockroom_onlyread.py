"""The stockroom, the photograph and the command line on a stock that can only be read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from jobcard_rig import Rig, pump
from only_read import only_read, open_folder
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QDialog, QLabel, QPushButton, QTabWidget, QWidget

from app.cli import main
from app.jobcard.photograph import Photograph
from app.jobcard.stockroom import Stockroom
from core.material import Material
from core.stock import StockStore, read_stock_csv, starter_stock

SEA = Material("SEA", "sea green", "smalti", (52.25, -24.5, 8.75), pieces=120, waste=0.0)
OPEN = ("Write the list ...", "Use in this commission", "Close")
CHANGING = (
    "Add a material ...",
    "Change ...",
    "Remove",
    "Add a lot ...",
    "Change the lot ...",
    "Count a lot ...",
    "Write off ...",
    "Take a list (CSV) ...",
    "Take measurements (CGATS) ...",
    "Set aside what it needs",
    "Give back",
    "Give back ...",
    "Take out, it is laid",
    "Put back ...",
)


@pytest.fixture
def path() -> Iterator[Path]:
    """A stock of more than the starter's, that can only be read."""
    with open_folder() as folder:
        path = folder / "stock.sqlite"
        with StockStore(path) as store:
            store.add_material(SEA)
            store.set_aside("wall", {"SEA": 20}, title="Kitchen wall")
        with only_read(path, folder):
            yield path


@pytest.fixture
def room(table: Rig, path: Path) -> Iterator[Stockroom]:
    room = Stockroom(table.session, path=path)
    room.show()
    yield room
    room.done(0)


def the(where: QWidget, words: str) -> QPushButton:
    (found,) = [b for b in where.findChildren(QPushButton) if b.text() == words]
    return found


def warned(where: QWidget) -> list[str]:
    return [
        w.text()
        for w in where.findChildren(QLabel)
        if w.property("role") == "warn" and w.isVisible() and w.text()
    ]


def test_all_is_shown_and_only_reading_is_offered(room: Stockroom, path: Path) -> None:
    assert [m.code for m in room.materials][-1] == "SEA"
    room.shelf.selectRow(len(room.materials) - 1)
    assert room.lots.rowCount() == 1
    assert room.ledger.rowCount() == len(starter_stock()) + 2
    (words,) = warned(room)
    assert "can only be read" in words and str(path) in words
    for name in CHANGING:
        b = the(room, name)
        assert not b.isEnabled() and b.toolTip() == words
    for name in OPEN:
        assert the(room, name).isEnabled()


def test_a_double_click_says_why_nothing_opens(room: Stockroom) -> None:
    room.shelf.selectRow(0)
    for found in (room.shelf, room.lots):
        room.say("")
        at = found.visualItemRect(found.item(0, 1)).center()
        QTest.mouseClick(found.viewport(), Qt.MouseButton.LeftButton, pos=at)
        QTest.mouseDClick(found.viewport(), Qt.MouseButton.LeftButton, pos=at)
        assert "can only be read" in room.told.text()
        assert not [d for d in room.findChildren(QDialog) if d.isVisible()]


def test_the_commission_takes_from_it(room: Stockroom, table: Rig) -> None:
    QTest.mouseClick(
        the(room, "Use in this commission"), Qt.MouseButton.LeftButton, pos=QPoint(9, 9)
    )
    assert "now matches from this stock" in room.told.text()
    doc = table.session.doc
    assert doc.material("SEA").pieces == 100
    table.lay()
    tabs = room.findChild(QTabWidget)
    assert tabs is not None
    tabs.setCurrentIndex(1)
    room.refresh()
    assert room.share.table.rowCount() > 0


def test_a_photograph_is_read_but_nothing_stocked(table: Rig, path: Path) -> None:
    window = Photograph(table.session, path=path)
    window.show()
    (words,) = warned(window)
    assert "can only be read" in words
    assert not window.code.isEnabled() and not window.add_button.isEnabled()
    assert the(window, "Open a photograph ...").isEnabled()
    window.done(0)


def test_changes_of_another_are_shown(table: Rig) -> None:
    with open_folder() as folder, StockStore(folder / "stock.sqlite") as other:
        other.add_material(SEA)
        with only_read(other.path, folder):
            room = Stockroom(table.session, path=other.path)
        room.show()
        other.lose(other.lots("SEA")[0].id, 20)
        assert pump(lambda: room.materials[-1].pieces == 100, 5)
        room.done(0)


def test_the_command_line_reads_it_and_refuses_to_import(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("EMBLEMA_DATA", str(path.parent))
    before = {p.name: p.read_bytes() for p in path.parent.iterdir()}
    assert main(["stock", "list"]) == 0
    assert capsys.readouterr().out.splitlines()[-1].split()[:2] == ["SEA", "120"]
    assert main(["match", "52.25", "-24.5", "8.75", "--count", "1"]) == 0
    assert capsys.readouterr().out.startswith("SEA ")
    with open_folder() as elsewhere:
        assert main(["stock", "export", str(elsewhere / "list.csv")]) == 0
        materials, refused = read_stock_csv(elsewhere / "list.csv")
        assert refused == () and materials[-1] == SEA
        (elsewhere / "new.csv").write_text("code,L,a,b\nNEW,50,0,0\n")
        capsys.readouterr()
        assert main(["stock", "import", str(elsewhere / "new.csv")]) == 2
    out, err = capsys.readouterr()
    assert out == "" and err.count("\n") == 1
    assert "can only be read" in err and str(path) in err
    assert {p.name: p.read_bytes() for p in path.parent.iterdir()} == before
