"""The studio's own: an example put away or taken over, rates kept, figures shown in parts."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from jobcard_rig import Rig
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QMessageBox, QPushButton, QWidget

from app.jobcard.stockroom import Stockroom
from core.stock import StockStore

YES, NO = QMessageBox.StandardButton.Yes, QMessageBox.StandardButton.No


@pytest.fixture(autouse=True)
def its_own_data(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("EMBLEMA_DATA", str(tmp_path / "data"))


@pytest.fixture
def room(table: Rig, tmp_path: Path) -> Iterator[Stockroom]:
    one = Stockroom(table.session, path=tmp_path / "stock.sqlite")
    one.show()
    yield one
    one.done(0)


def press(where: QWidget, words: str) -> None:
    (found,) = [b for b in where.findChildren(QPushButton) if b.text() == words]
    found.click()


def answer(monkeypatch: pytest.MonkeyPatch, button: QMessageBox.StandardButton) -> list[str]:
    """Answer every question so, and return what was asked."""
    asked: list[str] = []
    monkeypatch.setattr(QMessageBox, "question", lambda *a, **k: (asked.append(a[2]), button)[1])
    return asked


def test_an_example_is_put_away_only_if_it_is_truly_meant(
    room: Stockroom, monkeypatch: pytest.MonkeyPatch
) -> None:
    n = len(room.store.materials())
    assert n > 100 and all(m.example for m in room.store.materials())
    own = room.store.materials()[0]
    room.store.change_material(own.code, own, seen=own)
    asked = answer(monkeypatch, NO)
    press(room, "Begin with an empty shelf")
    assert len(asked) == 1 and len(room.store.materials()) == n
    answer(monkeypatch, YES)
    press(room, "Begin with an empty shelf")
    assert all(not m.example for m in room.store.materials())
    assert len(room.store.materials()) < n
    assert room.store.movements() == [] or {v.kind for v in room.store.movements()} <= {"example"}


def test_a_list_taken_over_is_the_studios_own(
    room: Stockroom, monkeypatch: pytest.MonkeyPatch
) -> None:
    codes = [m.code for m in room.store.materials()]
    answer(monkeypatch, YES)
    press(room, "Take over this list")
    assert [m.code for m in room.store.materials()] == codes
    assert not any(m.example for m in room.store.materials())
    room.refresh()
    assert all(not b.isVisible() for b in room.findChildren(QPushButton) if "Take over" in b.text())


def test_rates_kept_for_the_studio_come_along_and_a_commission_keeps_its_own(table: Rig) -> None:
    s = table.session
    table.card.turn_to("Brief")
    brief = table.card.leaves["Brief"]
    (own,) = [w for w in brief.findChildren(QWidget) if type(w).__name__ == "OfStudio"]
    own.numbers["hour"].spin.setValue(41.5)
    own.numbers["tax"].spin.setValue(19.0)
    own.lines["studio"].setText("Our workshop")
    own.lines["studio"].editingFinished.emit()
    press(own, "Keep for the studio")
    own.numbers["hour"].spin.setValue(50.0)
    assert s.doc.rates.hour == Decimal("50.00")
    with StockStore() as store:  # what this commission changes later is its own
        assert store.studio().rates.hour == Decimal("41.50")
    quoted = s.doc
    s.new(300.0, 200.0, "Another")
    assert s.doc.rates.hour == Decimal("41.50") and s.doc.rates.tax == pytest.approx(0.19)
    assert s.doc.studio == "Our workshop" and quoted.rates.hour == Decimal("50.00")
    own.numbers["hour"].spin.setValue(33.0)
    press(own, "Take the studio's")
    assert s.doc.rates.hour == Decimal("41.50")
    s.undo()
    assert s.doc.rates.hour == Decimal("33.00")


def test_a_figure_shows_what_it_is_made_of(table: Rig) -> None:
    table.card.turn_to("Figures")
    leaf = table.card.leaves["Figures"]
    leaf.refresh()
    figure = leaf.hours
    assert not figure.unfolded and figure.figure.text().endswith(" h")
    QTest.mouseClick(figure, Qt.MouseButton.LeftButton)
    assert figure.unfolded
    hours = [float(v.split()[0]) for _, v in figure.parts if v]
    assert sum(hours) == pytest.approx(
        float(figure.figure.text().split()[0]), abs=0.06 * len(hours)
    )
    QTest.keyClick(figure, Qt.Key.Key_Space)
    assert not figure.unfolded
    together = leaf.quote.total
    parts = sum(Decimal(v.split()[0].replace(",", "")) for _, v in together.parts)
    assert parts == Decimal(together.figure.text().split()[0].replace(",", ""))
