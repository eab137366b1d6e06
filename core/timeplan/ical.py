"""The calendar as iCalendar text (RFC 5545), for any calendar program.

Events are of whole days. Each keeps its UID from one export to the next, so that what is taken in
again changes what was there instead of standing beside it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Final

from core.commission import Commission
from core.files import write_text
from core.timeplan.calendar import Plan

OCTETS: Final = 75  # of a line, its end left out (RFC 5545, 3.1)
PRODUCT: Final = "-//Emblema//Time//EN"


def ical_text(doc: Commission, plan: Plan, now: datetime) -> str:
    """Return a plan as the text of an .ics file.

    Parameters
    ----------
    now : datetime
        When it is written, with its time zone.
    """
    stamp = now.astimezone(UTC).strftime("%Y%m%dT%H%M%SZ")
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN"]
    for key, words, note, first, last, busy in _events(doc, plan):
        lines += [
            "BEGIN:VEVENT",
            f"UID:{hashlib.sha256(f'{doc.key}/{key}'.encode()).hexdigest()[:32]}@emblema",
            f"DTSTAMP:{stamp}",
            f"DTSTART;VALUE=DATE:{first:%Y%m%d}",
            f"DTEND;VALUE=DATE:{last + timedelta(days=1):%Y%m%d}",  # the day after the last
            f"SUMMARY:{escaped(words)}",
            *([f"DESCRIPTION:{escaped(note)}"] if note else []),
            f"TRANSP:{'OPAQUE' if busy else 'TRANSPARENT'}",
            "END:VEVENT",
        ]
    lines.append("END:VCALENDAR")
    return "".join(f"{folded(line)}\r\n" for line in lines)


def write_ical(path: str | Path, doc: Commission, plan: Plan) -> None:
    """Write a plan as iCalendar.

    Raises
    ------
    EmblemaError
        The file cannot be written.
    """
    write_text(path, ical_text(doc, plan, datetime.now(UTC)))


def _events(doc: Commission, plan: Plan) -> Iterator[tuple[str, str, str, date, date, bool]]:
    """Yield key, words, note, first and last day, and whether the day is taken."""
    title = f": {doc.title}" if doc.title else ""
    for step in plan.steps:
        for k, (first, last) in enumerate(step.runs):
            yield f"{step.key}/{k}", f"{step.words}{title}", step.note, first, last, step.works
    if plan.promised is not None:
        yield "promised", f"Promised{title}", "", plan.promised, plan.promised, False


def escaped(words: str) -> str:
    """Return a text as a TEXT value (RFC 5545, 3.3.11)."""
    plain = words.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\r\n", "\n").replace("\r", "\n").replace("\n", "\\n")


def folded(line: str) -> str:
    """Return a line parted after 75 octets, never within a letter; what goes on begins with a
    blank.
    """
    out, size = [], 0
    for letter in line:
        n = len(letter.encode())
        if size + n > OCTETS:
            out.append("\r\n ")
            size = 1
        out.append(letter)
        size += n
    return "".join(out)
