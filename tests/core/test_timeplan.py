"""Time: parts ticked off, days that are worked on, curing, the promise, and the calendar's file,
which is read back by the library icalendar.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import icalendar
import numpy as np
import pytest
from figures_rig import wall
from hypothesis import given
from hypothesis import strategies as st

from core.commission import Commission, Sheet
from core.errors import EmblemaError
from core.figures.pace import paces
from core.terms import Days, Laid
from core.timeplan.calendar import DAY, Plan, Step, is_off, plan_for, plan_of, working_days
from core.timeplan.ical import escaped, folded, ical_text, write_ical
from core.timeplan.said import promise_said, step_said
from core.timeplan.units import Unit, take_back, tick_off, units

DOC, LAYOUT = wall()
FRIDAY = date(2026, 11, 27)
NOW = datetime(2026, 11, 27, 9, 30, tzinfo=UTC)


def part(hours: float, name: str = "1") -> Unit:
    return Unit("sheet", name, f"Sheet {name}", np.arange(3), (), hours, hours, None)


def box(x0: float, x1: float) -> tuple:
    return ((((x0, 0.0), (x1, 0.0), (x1, 60.0), (x0, 60.0)),),)


SHEETS = replace(DOC, sheets=(Sheet(1, box(0, 60)), Sheet(2, box(60, 120))))


def test_fields_are_the_parts_where_there_are_no_sheets() -> None:
    (one,) = units(DOC, LAYOUT)
    assert (one.what, one.of, one.words, one.pieces) == ("field", "f1", "Wall", 50)
    assert one.hours == one.left == pytest.approx(50 * 40 * 0.7 / 3600) and one.done is None


def test_every_piece_is_in_one_sheet_or_on_none() -> None:
    both = units(SHEETS, LAYOUT)
    assert [(u.words, u.pieces) for u in both] == [("Sheet 1", 25), ("Sheet 2", 25)]
    some = units(replace(SHEETS, sheets=(Sheet(1, box(0, 36)),)), LAYOUT)
    assert [(u.words, u.what) for u in some] == [("Sheet 1", "sheet"), ("On no sheet", "")]
    assert sorted(np.concatenate([u.which for u in some]).tolist()) == list(range(50))


def test_what_is_ticked_off_is_not_left_and_tells_the_pace() -> None:
    first = units(SHEETS, LAYOUT)[0]
    doc = tick_off(SHEETS, [first], 2.0, "2026-11-27")
    (done,) = doc.done
    assert (done.what, done.of, done.hours) == ("sheet", "1", 2.0)
    assert done.laid == (Laid("regulatum", "medium", "vitreous", 25),)
    one, two = units(doc, LAYOUT)
    assert one.left == 0 and one.done == done and one.changed == 0
    assert two.left > units(SHEETS, LAYOUT)[1].left  # it went slower than by default
    assert two.left == pytest.approx(paces(doc).hours_of(two.laid))
    again = tick_off(doc, [one], 3.0, "2026-11-28")
    assert [d.hours for d in again.done] == [3.0]
    assert take_back(again, [one]).done == ()


def test_hours_of_parts_ticked_off_together_are_shared_out() -> None:
    doc = tick_off(SHEETS, units(SHEETS, LAYOUT), 5.0, "2026-11-27")
    assert sum(d.hours for d in doc.done) == pytest.approx(5.0)
    assert doc.done[0].hours == pytest.approx(2.5)


def test_a_field_ticked_off_counts_on_its_sheets_too() -> None:
    doc = tick_off(DOC, units(DOC, LAYOUT), 1.0, "2026-11-27")
    assert [u.left for u in units(replace(doc, sheets=SHEETS.sheets), LAYOUT)] == [0, 0]


def test_what_was_laid_anew_since_is_told() -> None:
    doc = tick_off(SHEETS, units(SHEETS, LAYOUT)[:1], 2.0, "2026-11-27")
    wider = replace(doc, sheets=(Sheet(1, box(0, 72)), Sheet(2, box(72, 120))))
    assert units(wider, LAYOUT)[0].changed == 5


def test_a_week_by_hand() -> None:
    """Ten hours at four a day from a Friday; Christmas Friday free; 3 m2 set, adhesive, grout.

    Laid on Fri 18, Mon 21, Tue 22 December; set on Wed 23; cures on 24; the 25th is off, so
    grouted on Mon 28; cures on 29; handed over on Wed 30.
    """
    days = Days(hours_a_day=4.0, free_days=("2026-12-25",))
    plan = plan_of(days, [part(6.0), part(4.0, "2")], 3.0, date(2026, 12, 18))
    said = {s.key: step_said(s) for s in plan.steps}
    assert said == {
        "lay-sheet-1": "Fri 18 Dec 2026, Mon 21 Dec 2026",
        "lay-sheet-2": "Mon 21 Dec to Tue 22 Dec 2026",
        "set": "Wed 23 Dec 2026",
        "adhesive": "Thu 24 Dec 2026",
        "grout": "Mon 28 Dec 2026",
        "grout-cures": "Tue 29 Dec 2026",
        "ready": "Wed 30 Dec 2026",
    }
    fast = plan_of(replace(days, curing="fast"), [part(10.0)], 3.0, date(2026, 12, 18))
    assert {s.key: step_said(s) for s in fast.steps}["grout"] == "Thu 24 Dec 2026"


def test_water_waits_a_week_in_wet_places() -> None:
    plan = plan_of(Days(), [part(1.0)], 1.0, FRIDAY, "shower wall")
    steps = {s.key: s for s in plan.steps}
    assert len(steps["water"].days) == 7 and plan.ready == steps["water"].days[-1] + DAY


def test_the_promise() -> None:
    days = Days(hours_a_day=4.0, promised="2026-12-18")
    plan = plan_of(days, [part(20.0)], 3.0, FRIDAY)
    # laid to Thu 3 December, set Fri 4, grouted Mon 7, ready on Wed 9
    assert plan.ready == date(2026, 12, 9) and plan.in_time and plan.spare_days == 7
    assert "7 working days before Fri 18 Dec 2026" in promise_said(plan)
    late = plan_of(replace(days, promised="2026-12-04"), [part(20.0)], 3.0, FRIDAY)
    assert not late.in_time and late.spare_days == -3
    assert late.hours_needed == pytest.approx(20.0) and "20.0 h a day" in promise_said(late)
    again = replace(days, promised="2026-12-04", hours_a_day=late.hours_needed)
    assert plan_of(again, [part(20.0)], 3.0, FRIDAY).in_time
    wet = plan_of(replace(days, promised="2026-12-14"), [part(20.0)], 3.0, FRIDAY, "pool")
    assert not wet.in_time and wet.hours_needed == pytest.approx(20 / 3)
    never = plan_of(replace(days, promised="2026-11-28"), [part(20.0)], 3.0, FRIDAY)
    assert never.hours_needed is None and "no hours a day" in promise_said(never)


DAYS = st.builds(
    Days,
    promised=st.sampled_from(["", "2026-12-01", "2027-03-31", "2020-01-01"]),
    hours_a_day=st.floats(0.25, 24),
    free_weekdays=st.sets(st.integers(0, 6), max_size=6).map(tuple),
    free_days=st.sets(
        st.dates(FRIDAY, FRIDAY + timedelta(60)).map(date.isoformat), max_size=20
    ).map(tuple),
    curing=st.sampled_from(["normal", "fast"]),
    setting_m2_a_day=st.floats(0.5, 50),
)


@given(DAYS, st.lists(st.floats(0, 80), max_size=6), st.floats(0, 30))
def test_nobody_works_on_a_day_off_and_all_is_done_in_order(days, hours, m2) -> None:
    parts = [part(h, str(k)) for k, h in enumerate(hours)]
    plan = plan_of(days, parts, m2, FRIDAY)
    before = FRIDAY
    for s in plan.steps:
        assert list(s.days) == sorted(set(s.days)) and s.days[0] >= before
        assert not s.works or not any(is_off(days, d) for d in s.days)
        before = s.days[0]
    laid = [s for s in plan.steps if s.key.startswith("lay")]
    assert sum(s.hours for s in laid) == pytest.approx(plan.hours_left) == pytest.approx(sum(hours))
    worked = {d for s in laid for d in s.days}
    assert len(worked) * days.hours_a_day >= plan.hours_left - 1e-6
    assert (len(worked) - 1) * days.hours_a_day <= plan.hours_left + 1e-6
    by = {s.key: s for s in plan.steps}
    assert not laid or by["set"].days[0] > laid[-1].days[-1]
    assert by["grout"].days[0] > by["set"].days[-1] + DAY * (days.curing == "normal")
    assert plan.ready == by["ready"].days[0] > by["grout"].days[-1] + DAY
    assert plan.in_time == (not days.promised or plan.ready <= date.fromisoformat(days.promised))


def test_no_day_to_work_on_is_told() -> None:
    days = Days(free_weekdays=(0, 1, 2, 3, 4, 5, 6))
    with pytest.raises(EmblemaError, match="give it more hours"):
        next(working_days(days, FRIDAY))


# --- the file -------------------------------------------------------------------------------


def read(text: str) -> list[icalendar.Event]:
    return icalendar.Calendar.from_ical(text).walk("VEVENT")


def test_the_file_holds_every_step() -> None:
    doc = replace(SHEETS, title="Heron; reeds, and\\water", days=Days(promised="2027-01-15"))
    plan = plan_for(doc, LAYOUT, FRIDAY)
    text = ical_text(doc, plan, NOW)
    whole = icalendar.Calendar.from_ical(text)
    assert (str(whole["VERSION"]), str(whole["PRODID"])) == ("2.0", "-//Emblema//Time//EN")
    events = read(text)
    spans = [(s, a, b) for s in plan.steps for a, b in s.runs]
    for (s, first, last), e in zip(spans, events[:-1], strict=True):
        assert str(e["SUMMARY"]) == f"{s.words}: Heron; reeds, and\\water"
        assert e.decoded("DTSTART") == first and e.decoded("DTEND") == last + DAY
        assert str(e.get("DESCRIPTION", "")) == s.note
        assert e.decoded("DTSTAMP") == NOW
    assert events[-1].decoded("DTSTART") == date(2027, 1, 15)
    assert len({str(e["UID"]) for e in events}) == len(events)


def test_an_event_keeps_its_uid_and_two_works_share_none() -> None:
    plan = plan_for(SHEETS, LAYOUT, FRIDAY)
    later = plan_for(SHEETS, LAYOUT, FRIDAY + 3 * DAY)
    mine = [str(e["UID"]) for e in read(ical_text(SHEETS, plan, NOW))]
    assert mine == [str(e["UID"]) for e in read(ical_text(SHEETS, later, NOW + DAY))]
    other = ical_text(replace(SHEETS, id="other"), plan, NOW)
    assert not set(mine) & {str(e["UID"]) for e in read(other)}


TEXTS = st.text(st.characters(exclude_categories=("Cc", "Cs")), max_size=300)


@given(TEXTS, TEXTS, TEXTS)
def test_any_words_come_back_as_they_were(title: str, words: str, note: str) -> None:
    step = Step("k", words, (FRIDAY,), note=note)
    text = ical_text(Commission(title, 10.0, 10.0), Plan((step,), 0.0, FRIDAY), NOW)
    assert text.endswith("END:VCALENDAR\r\n") and "\n" not in text.replace("\r\n", "")
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    (event,) = read(text)
    assert str(event["SUMMARY"]) == (f"{words}: {title}" if title else words)
    assert str(event.get("DESCRIPTION", "")) == note


def test_the_standards_own_examples() -> None:
    """RFC 5545, 3.3.11: a text with commas and lines; 3.1: what is folded unfolds."""
    assert (
        escaped("Project XYZ Final Review\nConference Room - 3B\nCome Prepared.")
        == "Project XYZ Final Review\\nConference Room - 3B\\nCome Prepared."
    )
    long = "DESCRIPTION:This is a lo" + "n" * 80 + "g description that exists on a long line."
    assert folded(long).replace("\r\n ", "") == long and "\r\n " in folded(long)


def test_it_is_written_whole(tmp_path: Path) -> None:
    plan = plan_for(SHEETS, LAYOUT, FRIDAY)
    write_ical(tmp_path / "w.ics", SHEETS, plan)
    assert len(read((tmp_path / "w.ics").read_bytes().decode())) == sum(
        len(s.runs) for s in plan.steps
    )
