"""The command that writes a work's days as iCalendar, read back by the library icalendar."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import icalendar
import pytest
from jobcard_rig import small

from app.cli import main
from core import archive
from core.terms import Days


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    doc, images = small()
    path = tmp_path_factory.mktemp("work") / "t.emblema"
    archive.save(path, replace(doc, days=Days(promised="2027-03-31", hours_a_day=2.0)), images)
    return path


def test_it_writes_the_days(file: Path, tmp_path: Path, capsys) -> None:
    out = tmp_path / "t.ics"
    assert main(["calendar", str(file), "--out", str(out), "--begin", "2027-01-04"]) == 0
    events = icalendar.Calendar.from_ical(out.read_bytes()).walk("VEVENT")
    names = [str(e["SUMMARY"]) for e in events]
    assert names[0] == "Lay Left: Threshold" and names[-1] == "Promised: Threshold"
    assert events[0].decoded("DTSTART") == date(2027, 1, 4)
    assert events[-1].decoded("DTSTART") == date(2027, 3, 31)
    told = capsys.readouterr().out
    assert "h of laying left; ready on" in told and "as promised" in told
    before = out.read_bytes()
    assert main(["calendar", str(file), "--out", str(out), "--begin", "2027-01-04"]) == 0
    now = [line for line in out.read_bytes().split(b"\r\n") if b"DTSTAMP" not in line]
    assert now == [line for line in before.split(b"\r\n") if b"DTSTAMP" not in line]


def test_a_day_that_is_none_is_told(file: Path, tmp_path: Path, capsys) -> None:
    out = str(tmp_path / "t.ics")
    assert main(["calendar", str(file), "--out", out, "--begin", "4 Jan"]) == 2
    assert "'4 Jan' is no day" in capsys.readouterr().err
