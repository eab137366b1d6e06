"""The time that a work takes, in plain words."""

from __future__ import annotations

from datetime import date

from core.timeplan.calendar import Plan, Step


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
