"""The wall and its openings on the Brief leaf, typed by numbers alone."""

import pytest
from jobcard_rig import press, rig

from core.openings import box_of, lies_on_fields, measured


@pytest.fixture(scope="module")
def shared():
    with rig() as r:
        yield r


@pytest.fixture
def r(shared):
    while shared.session.undo_label is not None:
        shared.session.undo()
    shared.card.turn_to("Brief")
    shared.lay()
    return shared


def site(r):
    return r.card.leaves["Brief"].site


def test_an_opening_is_put_in_and_set_by_its_measures(r):
    leaf = site(r)
    leaf.kind.box.setCurrentIndex(leaf.kind.box.findData("tap"))
    press(leaf, "By its measures")
    (o,) = r.session.doc.openings
    assert measured(r.session.doc, o.outline)[:2] == pytest.approx((35, 35))
    for number, value in zip(leaf.measures, (20, 30, 10, 12), strict=True):
        number.spin.setValue(value)
    (o,) = r.session.doc.openings
    assert measured(r.session.doc, o.outline) == pytest.approx((20, 30, 10, 12))
    assert not lies_on_fields(r.session.doc, o)
    leaf.name.setText("By the basin")
    leaf.name.editingFinished.emit()
    leaf.of_kind.box.setCurrentIndex(leaf.of_kind.box.findData("switch"))
    assert (r.session.doc.openings[0].name, r.session.doc.openings[0].kind) == (
        "By the basin",
        "switch",
    )
    press(leaf, "Take away")
    assert r.session.doc.openings == () and leaf.edit.isHidden()


def test_a_mark_is_left_open_later(r):
    leaf = site(r)
    leaf.leave.setChecked(False)
    leaf.kind.box.setCurrentIndex(leaf.kind.box.findData("tap"))
    press(leaf, "By its measures")
    assert lies_on_fields(r.session.doc, r.session.doc.openings[0])
    press(leaf, "Leave open")
    assert not lies_on_fields(r.session.doc, r.session.doc.openings[0])
    assert not leaf.open.isEnabled() and r.session.undo_label == "Leave an opening open"
    leaf.leave.setChecked(True)


def test_the_wall_is_measured_and_what_is_odd_is_told(r):
    leaf, doc = site(r), r.session.doc
    leaf.known.setChecked(True)
    assert r.session.doc.site and not leaf.about.isHidden()
    for number, value in zip(leaf.wall, (200, 300, 40, 60), strict=True):
        number.spin.setValue(value)
    assert set(r.session.doc.site) == set(box_of(doc, 200, 300, -40, -60))
    leaf.leave.setChecked(False)
    press(leaf, "By its measures")
    leaf.measures[2].spin.setValue(500)
    assert "does not lie within the wall" in leaf.told.text()
    leaf.leave.setChecked(True)
    leaf.known.setChecked(False)
    assert r.session.doc.site == () and leaf.about.isHidden()


def test_the_list_and_the_bench_choose_one_another(r):
    leaf = site(r)
    press(leaf, "By its measures")
    press(leaf, "By its measures")
    assert leaf.list.rowCount() == 2 and r.bench.openings.chosen == 1
    leaf.list.selectRow(0)
    assert r.bench.openings.chosen == 0 and leaf.name.text() == r.session.doc.openings[0].name
    r.bench.openings.choose(1)
    assert leaf.list.chosen() == 1
    r.session.undo()
    assert r.bench.openings.chosen is None and leaf.list.rowCount() == 1
