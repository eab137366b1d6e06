"""The time that a work takes, in plain words."""

from __future__ import annotations

import re
from datetime import date, timedelta

from core.errors import EmblemaError
from core.terms import LONGEST_DAYS, day_of
from core.timeplan.calendar import Plan, Step, runs_of

_STRETCH = re.compile(r"(\S+)\s+(?:to|-|–)\s+(\S+)")


def day_said(day: date) -> str:
    """Return a day as it is spoken of: "Fri 27 Nov 2026"."""
    return f"{day:%a} {day.day} {day:%b %Y}"


def step_said(step: Step) -> str:
    """Return the days of a step: the first and last of each stretch."""
    return ", ".join(
        day_said(a) if a == b else f"{a:%a} {a.day} {a:%b} to {day_said(b)}" for a, b in step.runs
    )


def promise_said(plan: Plan) -> str:
    """Return when it is ready, and how that stands to the day promised."""
    words = f"{plan.hours_left:.1f} h of laying left; ready on {day_said(plan.ready)}"
    if plan.promised is None:
        return words
    n, promised = abs(plan.spare_days), day_said(plan.promised)
    spare = f"{n} working day{'s' * (n != 1)}"
    if plan.in_time:
        return f"{words}, {spare} before {promised}, as promised"
    late = f"{words}, {spare} after {promised}, when it is promised"
    if plan.hours_needed is None:
        return f"{late}; no hours a day would keep that"
    return f"{late}; {plan.hours_needed:.1f} h a day would keep that"


def free_days_of(words: str) -> tuple[str, ...]:
    """Return days off from lines such as "2027-05-14" or "2026-12-24 to 2027-01-02", in order.

    Raises
    ------
    EmblemaError
        A line is no day or stretch of days.
    """
    out: set[date] = set()
    for line in filter(None, map(str.strip, words.splitlines())):
        found = _STRETCH.fullmatch(line)
        ends = found.groups() if found else (line, line)
        first, last = (day_of("The day off", end) for end in ends)
        long = (last - first).days + 1
        if not 1 <= long <= LONGEST_DAYS:
            raise EmblemaError(f"'{line}' is no stretch of days; write the first day first.")
        out |= {first + timedelta(k) for k in range(long)}
    return tuple(day.isoformat() for day in sorted(out))


def free_days_said(days: tuple[str, ...]) -> str:
    """Return days off in lines, each a day or a stretch."""
    runs = runs_of(sorted(map(date.fromisoformat, days)))
    return "\n".join(f"{a}" if a == b else f"{a} to {b}" for a, b in runs)
