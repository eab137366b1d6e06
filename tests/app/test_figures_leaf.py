"""The Figures leaf's folds, and where the work goes on the Brief leaf."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from jobcard_rig import Rig, press, pump
from PySide6.QtWidgets import QFileDialog

from app.jobcard.quantities import MOST_PARTS, Lines
from core.figures import orders
from core.figures.counts import counts
from core.place import Place


@pytest.fixture
def t(table: Rig) -> Rig:
    """The small commission with nothing in hand, of two suppliers."""
    doc = table.session.doc
    materials = tuple(
        replace(m, pieces=0, supplier=("One", "Two")[k % 2]) for k, m in enumerate(doc.materials)
    )
    table.session.apply("bare shelf", replace(doc, materials=materials, currency="EUR"))
    assert pump(lambda: table.session.layout_is_current)
    table.card.turn_to("Figures")
    return table


def test_heads_say_what_is_asked_most_and_what_is_folded_is_made_when_opened(t: Rig) -> None:
    leaf = t.card.leaf
    short = sum(bool(c.short) for c in counts(t.session.doc, t.session.layout))
    assert leaf.order.warning.text() == f"{short} materials"
    assert leaf.suits.figure.text() == "which place?"
    assert leaf.weight.figure.text().endswith("kg/m²")
    assert leaf.price.figure.text().endswith("EUR")
    assert not any(fold.unfolded for fold in leaf.folds)
    assert leaf.order.content.lines == []
    leaf.order.unfold()
    found = orders(t.session.doc, counts(t.session.doc, t.session.layout))
    assert [x.words.text() for x in leaf.order.content.lines] == [
        f"{o.named}, {len(o.lines)}" for o in found
    ]
    for line, order in zip(leaf.order.content.lines, found, strict=True):
        costs = [Decimal(v.split()[0].replace(",", "")) for _, v in line.parts]
        assert sum(costs) == order.cost


def test_losses_by_material_and_field_add_up_to_the_same(t: Rig) -> None:
    leaf = t.card.leaf
    leaf.losses.unfold()
    lines = {x.words.text(): x.figure.text() for x in leaf.losses.content.lines}
    assert set(lines) == {"By material", "By field", "By motif"}
    assert len(set(lines.values())) == 1
    by_field = next(x for x in leaf.losses.content.lines if x.words.text() == "By field")
    assert [w.split(":")[0] for w, _ in by_field.parts] == ["Left", "Right"]


def test_place_is_one_step_lays_nothing_anew_and_its_findings_have_reasons(t: Rig) -> None:
    session, brief, layout = t.session, t.card.leaves["Brief"], t.session.layout
    t.card.turn_to("Brief")
    box = brief.place.choices["kind"].box
    box.setCurrentIndex(box.findData("pool"))
    assert session.doc.place == Place("pool")
    assert session.layout is layout and session.layout_is_current and not session.laying
    t.card.turn_to("Figures")
    leaf = t.card.leaf
    assert "with care" in leaf.suits.warning.text() + leaf.suits.figure.text()
    leaf.suits.unfold()
    assert leaf.suits.content.lines
    for line in leaf.suits.content.lines:
        words = " ".join(w for w, _ in line.parts)
        assert "Instead:" in words and "Source:" in words
    session.undo()
    assert session.doc.place == Place() and leaf.suits.figure.text() == "which place?"
    assert pump(lambda: leaf.suits.content.lines == [])  # what is open follows
    session.redo()
    assert session.doc.place.kind == "pool" and pump(lambda: bool(leaf.suits.content.lines))


def test_a_wall_that_does_not_carry_it_is_said_in_red(t: Rig) -> None:
    session, leaf = t.session, t.card.leaf
    heavy = tuple(replace(m, thickness_mm=30.0) for m in session.doc.materials)
    place = Place("dry wall", substrate="plaster")
    session.apply("heavy", replace(session.doc, materials=heavy, place=place))
    assert pump(lambda: session.layout_is_current)
    leaf.refresh()
    assert leaf.weight.warning.text().endswith("kg/m²")
    assert "more than plaster carries, 20 kg/m²" in leaf.walls.text()


def test_goods_are_changed_on_the_brief_and_open_to_what_they_are_made_of(t: Rig) -> None:
    session, brief = t.session, t.card.leaves["Brief"]
    t.card.turn_to("Brief")
    brief.takes.goods["notch_mm"].spin.setValue(8.0)
    brief.takes.goods["adhesive_surplus"].spin.setValue(10.0)
    brief.takes.goods["paper"].spin.setValue(1.25)
    goods = session.doc.rates.goods
    assert (goods.notch_mm, goods.adhesive_surplus, goods.paper) == (8.0, 0.1, Decimal("1.25"))
    assert pump(lambda: session.layout_is_current)
    t.card.turn_to("Figures")
    lines = {x.words.text(): x for x in t.card.leaf.goods.lines}
    assert set(lines) == {
        *("Grout to buy", "Adhesive to buy", "Facing paper", "Paste", "Film over the cartoon")
    }
    assert any("bed of 4 mm" in w for w, _ in lines["Adhesive to buy"].parts)
    assert any(v.endswith("EUR") for _, v in lines["Facing paper"].parts)


def test_all_figures_and_the_orders_are_written_aside(
    t: Rig, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(QFileDialog, "getExistingDirectory", lambda *a: str(tmp_path))
    press(t.card.leaf, "All figures into a folder ...")
    assert pump(lambda: (tmp_path / "figures.pdf").exists()), t.said
    t.card.leaf.order.unfold()
    press(t.card.leaf, "Write the orders ...")
    assert pump(lambda: (tmp_path / "order-two.pdf").exists()), t.said
    assert (tmp_path / "order-one.csv").exists() and (tmp_path / "quantities.csv").exists()


def test_a_line_of_very_many_parts_says_how_many_more_there_are(t: Rig) -> None:
    lines = Lines()
    lines.show_lines([("Many", "", [(f"part {k}", "") for k in range(MOST_PARTS + 30)])])
    lines.lines[0].unfold(True)
    assert lines.lines[0].parts[-1] == ("and 30 more in the lists", "")
    lines.show_lines([("Many", "1", [("one", "")]), ("Other", "2", [])])
    assert [x.unfolded for x in lines.lines] == [True, False]
    lines.show_lines([])
    assert lines.lines == []
