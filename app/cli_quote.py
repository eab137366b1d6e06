"""The commands of the command line that are about price and time."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from core.errors import EmblemaError

Opened = Callable[[Path], tuple[Any, Any, Any]]


def add_to(sub: Any, opened: Opened) -> None:
    """Add the commands; `opened` opens and lays a commission."""
    c = sub.add_parser("quote", help="write the quote of a commission as PDF")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="PDF")
    c.set_defaults(run=lambda a: _quote(a, opened))

    c = sub.add_parser("calendar", help="write the days of a commission's work as iCalendar")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="ICS")
    c.add_argument("--begin", metavar="DAY", help="from which day on, such as 2027-03-31; today")
    c.set_defaults(run=lambda a: _calendar(a, opened))


def _laid(file: Path, opened: Opened) -> tuple[Any, Any]:
    doc, _, layout = opened(file)
    if not len(layout):
        raise EmblemaError(f"'{file.name}' has no piece laid, so there is nothing to reckon.")
    return doc, layout


def _quote(a: argparse.Namespace, opened: Opened) -> int:
    from app.painting import write_pdf
    from core.figures import figures
    from core.figures.money import paid
    from core.figures.options import GLASSES
    from core.quotepage import quote_pages

    doc, layout = _laid(a.file, opened)
    stock = _stock() if set(doc.terms.options) & set(GLASSES) else ()
    write_pdf(a.out, quote_pages(doc, layout, date.today(), stock), doc.title)
    f = figures(doc, layout)
    if f.unpriced:
        print(f"Not reckoned, since sold by the sheet: {', '.join(f.unpriced)}", file=sys.stderr)
    print(f"{paid(f.quote, doc.currency)} for {len(layout):,} tesserae in {a.out}")
    return 0


def _calendar(a: argparse.Namespace, opened: Opened) -> int:
    from core.terms import day_of
    from core.timeplan.calendar import plan_for
    from core.timeplan.ical import write_ical
    from core.timeplan.said import promise_said

    begin = day_of("The day to begin on", a.begin) if a.begin else date.today()
    doc, layout = _laid(a.file, opened)
    plan = plan_for(doc, layout, begin)
    write_ical(a.out, doc, plan)
    print(f"{promise_said(plan)} in {a.out}")
    return 0


def _stock() -> Any:
    from core.stock.store import StockStore

    with StockStore() as store:
        return store.offered()
