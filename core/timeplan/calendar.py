"""The calendar: from today's first free hour to the day on which the work is ready.

Laying fills the hours of each working day, part by part. Setting and grouting take whole days;
adhesive and grout cure on days off as well. The maker's sheet decides on every time here.

References
----------
EN 12004-1 (adhesives; F, fast setting: adhesion within 6 hours); MMSA Bulletin 3, 2005 (paper
wetted 5 to 30 minutes); grout after 24 hours, use after 24 more, water after 7 days: common
practice unless the bag says otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

from core.commission import Commission
from core.errors import EmblemaError
from core.geometry import polygon_of
from core.pieces import Layout
from core.terms import Days, day_of
from core.timeplan.units import Unit, units

DAY: Final = timedelta(days=1)
# Whole days between the one on which it is set and the one on which it may be grouted.
CURES_DAYS: Final = {"normal": 1, "fast": 0}
GROUT_CURES_DAYS: Final = 1
WATER_DAYS: Final = 7
WET: Final = ("shower wall", "shower floor", "pool")
GROUTED_TIMES: Final = 4.0  # as much is grouted in a day as set
FARTHEST: Final = 4000  # working days looked ahead
MAKER: Final = "The maker's sheet decides."


@dataclass(frozen=True, slots=True)
class Step:
    """What is done on some days, the last included. `hours` is 0 where it takes whole days;
    `works` is whether anybody works then.
    """

    key: str
    words: str
    days: tuple[date, ...]
    hours: float = 0.0
    note: str = ""
    works: bool = True

    @property
    def runs(self) -> tuple[tuple[date, date], ...]:
        """The days as stretches without a break: first and last."""
        return runs_of(self.days)


def runs_of(days: Iterable[date]) -> tuple[tuple[date, date], ...]:
    """Return days, in their order, as stretches without a break: first and last."""
    out: list[tuple[date, date]] = []
    for day in days:
        if out and day - out[-1][1] == DAY:
            out[-1] = out[-1][0], day
        else:
            out.append((day, day))
    return tuple(out)


@dataclass(frozen=True, slots=True)
class Plan:
    """All steps in order.

    `hours_left` are those of laying. Where a day is promised, `spare_days` are the working days
    between ready and promised, below 0 where it comes too late; `hours_needed` a day would keep
    the promise then, None where no hours of a day would.
    """

    steps: tuple[Step, ...]
    hours_left: float
    ready: date
    promised: date | None = None
    spare_days: int = 0
    hours_needed: float | None = None

    @property
    def in_time(self) -> bool:
        """Whether nothing is promised earlier than it is ready."""
        return self.promised is None or self.ready <= self.promised


def is_off(days: Days, day: date) -> bool:
    """Return whether nobody works on a day."""
    return day.weekday() in days.free_weekdays or day.isoformat() in days.free_days


def working_days(days: Days, start: date) -> Iterator[date]:
    """Yield the days that are worked on, from a day on.

    Raises
    ------
    EmblemaError
        There is none for years.
    """
    off, day = set(days.free_days), start
    for _ in range(FARTHEST * 7):
        if day.weekday() not in days.free_weekdays and day.isoformat() not in off:
            yield day
        day += DAY
    raise EmblemaError("The work would take longer than the calendar reaches; give it more hours.")


def plan_of(
    days: Days, parts: Sequence[Unit], area_m2: float, start: date, place: str = ""
) -> Plan:
    """Return the calendar of a work.

    Parameters
    ----------
    days : Days
    parts : sequence of Unit
        In the order of laying.
    area_m2 : float
        To be set and grouted.
    start : date
        The first day that may be worked on.
    place : str
        What kind of place it goes to (`core.place.PLACES`).
    """
    steps, last = _laying(days, parts, start)
    steps += _after(days, area_m2, last, place)
    ready = steps[-1].days[0]
    hours = sum(u.left for u in parts)
    if not days.promised:
        return Plan(tuple(steps), hours, ready)
    promised = day_of("The day promised", days.promised)
    spare = _between(days, ready, promised)
    plan = Plan(tuple(steps), hours, ready, promised, spare)
    if plan.in_time:
        return plan
    return replace(plan, hours_needed=_needed(days, area_m2, start, place, hours))


def plan_for(doc: Commission, layout: Layout, start: date) -> Plan:
    """Return the calendar of a commission's layout, from a day on."""
    area = sum(polygon_of(f.outline).area for f in doc.fields) / 1e6
    return plan_of(doc.days, units(doc, layout), area, start, doc.place.kind)


def _laying(days: Days, parts: Sequence[Unit], start: date) -> tuple[list[Step], date]:
    """Return the laying of what is left, and the first day after it."""
    each = working_days(days, start)
    steps: list[Step] = []
    today, room = next(each), days.hours_a_day
    touched = False
    for u in parts:
        left, on = u.left, list[date]()
        while left > 1e-9:
            if room <= 1e-9:
                today, room = next(each), days.hours_a_day
            spent = min(left, room)
            left, room = left - spent, room - spent
            on.append(today)
            touched = True
        if on:
            words = f"{u.pieces:,} pieces, {u.left:.1f} h"
            steps.append(Step(f"lay-{u.what}-{u.of}", f"Lay {_low(u.words)}", tuple(on), u.left,
                              words))  # fmt: skip
    return steps, today + DAY if touched else start


def _low(words: str) -> str:
    """Return words as part of a sentence: "sheet 3"; names of fields as they are."""
    return words[0].lower() + words[1:] if words.startswith(("Sheet ", "On no ")) else words


def _after(days: Days, area_m2: float, start: date, place: str) -> list[Step]:
    """Return setting, curing, grouting, curing, and the day on which it is handed over."""
    set_on = _whole_days(days, start, area_m2 / days.setting_m2_a_day)
    cured = set_on[-1] + DAY * (1 + CURES_DAYS[days.curing])
    fast = days.curing == "fast"
    grout_on = _whole_days(days, cured, area_m2 / (GROUTED_TIMES * days.setting_m2_a_day))
    firm = grout_on[-1] + DAY * (1 + GROUT_CURES_DAYS)
    over = next(working_days(days, firm))
    sets = "fast setting, 6 h (EN 12004, class F)" if fast else "a day at least"
    steps = [
        Step("set", "Set on the wall", set_on,
             note="Paper off when it holds: wetted 5 to 30 minutes, then peeled slowly. " + MAKER),
        Step("adhesive", "Adhesive cures", _span(set_on[-1] + DAY, cured),
             note=f"Before grout: {sets}. {MAKER}", works=False),
        Step("grout", "Grout", grout_on, note=f"No grout before the adhesive is firm. {MAKER}"),
        Step("grout-cures", "Grout cures", _span(grout_on[-1] + DAY, firm),
             note=f"Before it is used: a day at least. {MAKER}", works=False),
    ]  # fmt: skip
    if place in WET:
        steps.append(
            Step("water", "No water on it yet", _span(grout_on[-1] + DAY,
                 grout_on[-1] + DAY * (1 + WATER_DAYS)),
                 note=f"{WATER_DAYS} days after grouting as a rule. {MAKER}", works=False)
        )  # fmt: skip
        over = next(working_days(days, grout_on[-1] + DAY * (1 + WATER_DAYS)))
    steps = [s for s in steps if s.days]
    return [*steps, Step("ready", "Ready: hand over", (over,))]


def _whole_days(days: Days, start: date, needed: float) -> tuple[date, ...]:
    each = working_days(days, start)
    return tuple(next(each) for _ in range(max(1, math.ceil(needed - 1e-9))))


def _span(first: date, end: date) -> tuple[date, ...]:
    """Return the days from one to before another."""
    return tuple(first + DAY * k for k in range((end - first).days))


def _between(days: Days, ready: date, promised: date) -> int:
    """Return the working days after the one to the other, below 0 the other way round."""
    a, b = sorted((ready, promised))
    count = sum(not is_off(days, a + DAY * k) for k in range(1, (b - a).days + 1))
    return count if ready <= promised else -count


def _needed(days: Days, area_m2: float, start: date, place: str, hours: float) -> float | None:
    """Return the hours of laying a day, of a working day's 24, that keep the promise."""
    left, promised = 0, day_of("The day promised", days.promised)
    for day in working_days(days, start):
        if _after(days, area_m2, day + DAY, place)[-1].days[0] > promised:
            break
        left += 1
    return hours / left if left and hours / left <= 24 else None
