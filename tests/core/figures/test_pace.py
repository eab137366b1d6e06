"""The studio's own pace takes over from the default as work is ticked off, and not by a slip."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from figures_rig import wall
from hypothesis import given
from hypothesis import strategies as st

from core.figures import figures
from core.figures.pace import PRIOR_HOURS, Paces, by_group, counted, groups_of, measured_with, paces
from core.terms import Laid, Measured, WorkDone

DOC, LAYOUT = wall()
GROUP = ("musivum", "medium", "smalti")
HOUR = 90  # pieces, at 40 s each


def done(pieces: int, hours: float, group: tuple[str, str, str] = GROUP) -> WorkDone:
    return WorkDone("sheet", "1", hours, "2026-11-27", (Laid(*group, pieces),))


def test_pieces_are_told_apart_by_laying_size_and_kind() -> None:
    (one,) = by_group(DOC, LAYOUT)
    assert one == Laid("regulatum", "medium", "vitreous", 50)
    groups, of = groups_of(DOC, LAYOUT)
    assert counted(groups, of[7:19]) == (replace(one, pieces=12),)
    (laid,) = LAYOUT.fields
    mixed = replace(LAYOUT, fields=(replace(laid, stock=np.arange(50) % 3 - 1),))
    assert {(x.kind, x.pieces) for x in by_group(DOC, mixed)} == {
        ("no material", 17), ("vitreous", 17), ("gold glass", 16)
    }  # fmt: skip


def test_nothing_measured_is_the_default() -> None:
    pace = paces(DOC).of(GROUP)
    assert pace.an_hour == pytest.approx(90) and pace.words == "90 pieces an hour, by default"


def test_the_mean_is_weighted_by_the_work_done() -> None:
    """10 h at twice the time, 5 h of work by default: (4 + 10) / (4 + 5), and that once more."""
    pace = paces(replace(DOC, done=(done(5 * HOUR, 10.0),))).of(GROUP)
    everywhere = (PRIOR_HOURS + 10) / (PRIOR_HOURS + 5)
    share = (PRIOR_HOURS * everywhere + 10) / (PRIOR_HOURS + 5)
    assert pace.an_hour == pytest.approx(90 / share)
    assert pace.words == f"your own {90 / share:.0f} pieces an hour, from 10 hours"


def test_much_work_takes_over() -> None:
    pace = paces(replace(DOC, done=tuple(done(12 * HOUR, 10.0) for _ in range(40)))).of(GROUP)
    assert pace.an_hour == pytest.approx(108, rel=0.01)  # 12 hours' pieces in 10


def test_other_work_tells_a_little_of_what_was_never_laid() -> None:
    found = paces(replace(DOC, done=(done(5 * HOUR, 10.0),)))
    other = found.of(("opus", "fine", "marble"))
    assert found.of(GROUP).an_hour < other.an_hour < 90
    assert other.words.endswith("by your pace in all work") and other.all_hours == 10


def test_a_slip_of_the_pen_is_bounded() -> None:
    """90 hours written for 9.0 among ten good days moves the pace by less than a quarter."""
    good = [done(9 * HOUR, 9.0)] * 10
    slipped = paces(replace(DOC, done=(*good, done(9 * HOUR, 90.0)))).of(GROUP)
    assert 90 / 1.25 < slipped.an_hour < 90


@given(st.lists(st.tuples(st.integers(1, 5000), st.floats(0.1, 60)), max_size=8))
def test_the_pace_lies_between_the_default_and_what_was_seen(rows) -> None:
    found = Paces(40.0, [((Laid(*GROUP, n),), h) for n, h in rows])
    seen = [90.0, *(n / h for n, h in rows)]
    assert min(seen) * 0.999 <= found.of(GROUP).an_hour <= max(seen) * 1.001


def test_the_price_goes_by_earlier_work_and_not_by_what_is_ticked_off_here() -> None:
    plain = figures(DOC, LAYOUT)
    here = replace(DOC, done=(done(500, 20.0, ("regulatum", "medium", "vitreous")),))
    assert figures(here, LAYOUT).quote == plain.quote
    laid = Laid("regulatum", "medium", "vitreous", 500)
    rates = replace(DOC.rates, measured=(Measured("another", laid, 20.0),))
    slow = figures(replace(DOC, rates=rates), LAYOUT)
    assert slow.hours > plain.hours and slow.pieces == sum(w.pieces for w in slow.work)
    assert slow.hours == pytest.approx(
        paces(replace(DOC, rates=rates)).hours_of((replace(laid, pieces=50),))
    )


def test_what_is_measured_is_gathered_once_a_commission() -> None:
    doc = replace(DOC, id="this", done=(done(90, 2.0), done(90, 1.0)))
    other = Measured("other", Laid(*GROUP, 10), 1.0)
    once = measured_with((other,), doc)
    assert once == (other, Measured("this", Laid(*GROUP, 180), 3.0))
    assert measured_with(once, doc) == once
    # and here it is not counted twice
    again = replace(doc, rates=replace(doc.rates, measured=once))
    assert paces(again).hours == pytest.approx(4.0)


def test_hours_of_a_mixed_sheet_are_shared_as_the_defaults_have_them() -> None:
    """100 pieces in courses and 100 in palladianum, 1.5 times as long: 5 h are 2 and 3."""
    laid = (Laid("musivum", "medium", "smalti", 100), Laid("palladianum", "medium", "smalti", 100))
    doc = replace(DOC, id="x", done=(WorkDone("field", "f1", 5.0, "2026-11-27", laid),))
    assert [m.hours for m in measured_with((), doc)] == pytest.approx([2.0, 3.0])
