"""Quick changes at the table: asked, told before and after, and seen as it was."""

from __future__ import annotations

from dataclasses import replace

import pytest
from jobcard_rig import Rig, press, pump, rig, square
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from core.archive import Work
from core.commission import Commission, Field
from core.estimate import about
from core.figures import figures
from core.kept_rounds import summary
from core.stock.lists import starter_stock


def pond() -> Commission:
    """Return a sky with two stars and a moon on it."""
    sky = (((0.0, 0.0), (240.0, 0.0), (240.0, 160.0), (0.0, 160.0)),)
    holes = tuple(
        ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
        for x, y, w, h in (
            (30.0, 30.0, 40.0, 40.0),
            (72.0, 40.0, 10.0, 10.0),
            (160.0, 60.0, 30.0, 30.0),
        )
    )
    fields = (
        Field("f1", "Sky", ((*sky, *holes),), motif="sky"),
        Field("f2", "Star", square(72, 40, 82, 50), motif="stars"),
        Field("f3", "Moon", square(30, 30, 70, 70), motif="moon"),
        Field("f4", "Boat", square(160, 60, 190, 90), motif="boat"),
    )
    fields = tuple(f.with_choices(wanted_lab=(60.0, 0.0, 10.0), tessera_mm=8.0) for f in fields)
    boat = fields[3].with_choices(tessera_mm=5.0)
    fields = (*fields[:3], boat)
    return Commission("Pond", 240.0, 160.0, fields=fields, materials=starter_stock())


@pytest.fixture
def fields(table: Rig):
    table.session.begin(Work(pond(), {}))
    table.lay()
    table.card.turn_to("Fields")
    return table.card.leaves["Fields"]


def name_of(table: Rig) -> set[str]:
    return {f.name for f in table.session.doc.fields}


def test_with_nothing_chosen_the_buttons_are_grey_and_say_why(table: Rig, fields) -> None:
    for b in (fields.more, fields.fewer, fields.bigger, fields.smaller, fields.many):
        assert not b.isEnabled()
    assert "Nothing is chosen yet" in fields.asked.text()
    table.session.select(["f3"])
    assert fields.more.isEnabled() and "Moon" in fields.asked.text()


def test_figures_stand_about_at_once_and_truly_when_it_is_laid(table: Rig, fields) -> None:
    s = table.session
    before, was = s.doc, s.layout
    s.select(["f4"])
    press(fields, "Bigger")
    assert not s.layout_is_current
    assert fields.quick.isVisibleTo(fields)
    guess = summary(figures(s.doc, about(before, was, s.doc)), "")
    assert fields.quick.line.text().startswith("About, while it is laid: ")
    assert f"Pieces {len(was)} → {guess[0].shown}" in fields.quick.line.text()
    table.lay()
    now = summary(figures(s.doc, s.layout), s.doc.currency)
    line = fields.quick.line.text()
    assert f"Pieces {len(was)} → {len(s.layout)}" in line and "About" not in line
    assert f"→ {now[-1].shown}" in line or "Quote as it was" in line
    s.apply("Other", replace(s.doc, notes="x"))
    assert not fields.quick.isVisibleTo(fields)  # another edit: it is no longer about this one


def test_the_work_as_it_was_is_seen_while_the_button_is_held(table: Rig, fields) -> None:
    s, bench = table.session, table.bench
    bench.resize(400, 300)
    bench.show()
    bench.fit()
    for layer in ("sketch", "outlines", "flow"):
        bench.set_layer(layer, False)

    def seen():
        assert pump(bench.settled)
        return bench.grab().toImage()

    s.select(["f4"])
    before = seen()
    press(fields, "Bigger")
    table.lay()
    s.select(["f4"])
    after = seen()
    assert after != before
    QTest.mousePress(fields.quick.hold, Qt.MouseButton.LeftButton)
    shown = bench._want(bench.view)
    assert shown.doc.field_by_id("f4").outline == pond().field_by_id("f4").outline
    assert len(shown.table) != len(bench.table)
    assert seen() != after
    QTest.mouseRelease(fields.quick.hold, Qt.MouseButton.LeftButton)
    assert bench._want(bench.view).table is bench.table


def test_what_would_vanish_is_asked_about_all_at_once(table: Rig, fields) -> None:
    s = table.session
    asked: list[str] = []
    s.ask = lambda words: bool(asked.append(words))
    s.select(["f3"])
    for _ in range(6):
        press(fields, "Bigger")
        if asked:
            break
    assert asked == ["'Bigger' would cover, wholly or for the most part: Star."]
    assert "Star" in name_of(table) and "Left as it is." in table.said
    before, s.ask = s.doc, lambda words: True
    press(fields, "Bigger")
    assert s.doc is not before
    table.lay()


def test_a_ground_that_has_no_room_says_so_and_stays(table: Rig, fields) -> None:
    s = table.session
    s.select(["f1"])
    before = s.doc
    press(fields, "Bigger")
    assert s.doc is before and "nothing beneath Sky to grow over" in table.said[-1]
    assert not fields.quick.isVisibleTo(fields)


def test_as_many_more_as_were_asked_for_and_fewer(table: Rig, fields) -> None:
    s = table.session
    s.select(["f4"])
    fields.many.spin.setValue(2)
    press(fields, "More")
    assert {"Boat", "Boat 2", "Boat 3"} <= name_of(table)
    table.lay()
    fields.many.spin.setValue(1)
    s.select([f.id for f in s.doc.fields if f.motif == "boat"])
    press(fields, "Fewer")
    assert len([n for n in name_of(table) if n.startswith("Boat")]) == 2
    table.lay()
    s.undo()
    s.undo()
    table.lay()
    assert name_of(table) == {"Sky", "Star", "Moon", "Boat"}


def test_lighter_is_told_before_and_after(table: Rig, fields) -> None:
    s = table.session
    s.select(["f4"])
    table.card.turn_to("Colour")
    leaf = table.card.leaves["Colour"]
    press(leaf, "Darker")
    table.lay()
    assert "Pieces as it was" in leaf.quick.line.text()
    assert leaf.quick.isVisibleTo(leaf)


def test_an_estimate_is_near_what_is_laid() -> None:
    with rig() as table:
        table.session.begin(Work(pond(), {}))
        table.lay()
        s = table.session
        for choices in ({"tessera_mm": 6.0}, {"joint_mm": 2.5}):
            before, was = s.doc, s.layout
            changed = tuple(f.with_choices(**choices) for f in before.fields)
            s.apply("change", replace(before, fields=changed))
            guess = len(about(before, was, s.doc))
            table.lay()
            assert guess == pytest.approx(len(s.layout), rel=0.15)
            assert about(s.doc, s.layout, s.doc).fields == s.layout.fields
