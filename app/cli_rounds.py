"""The commands of the command line that are about rounds."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

from core.errors import EmblemaError

NOW = "now"


def add_to(sub: Any, layout: Callable[..., Any]) -> None:
    """Add the commands; `layout` lays what is opened."""
    c = sub.add_parser("compare", help="compare two rounds of a commission, as PDF")
    c.add_argument("file", type=Path)
    c.add_argument("before", metavar="ROUND", help="a round's number, or 'now'")
    c.add_argument("after", metavar="ROUND", help="another one, or 'now'")
    c.add_argument("--out", type=Path, required=True, metavar="PDF")
    c.set_defaults(run=lambda a: _compare(a, layout))


def _compare(a: argparse.Namespace, layout: Callable[..., Any]) -> int:
    from app.painting import write_pdf
    from core import archive
    from core.kept_rounds import numbered
    from core.kept_rounds.compare import compare, state_now, state_of
    from core.kept_rounds.pages import compare_pages

    work = archive.open_work(a.file)

    def state(asked: str) -> Any:
        if asked.lower() == NOW:
            return state_now(work.doc, layout(work.doc, work.images, work.kept))
        try:
            return state_of(numbered(work.rounds, int(asked)), work.images)
        except ValueError:
            raise EmblemaError(f"'{asked}' is neither a round's number nor '{NOW}'.") from None
        except KeyError:
            there = ", ".join(str(r.number) for r in work.rounds) or "none"
            raise EmblemaError(f"There is no round {asked} in '{a.file.name}': {there}.") from None

    before, after = state(a.before), state(a.after)
    write_pdf(a.out, compare_pages(before, after), work.doc.title)
    found = compare(before, after)
    print(f"{len(found.fields)} fields and {len(found.materials)} materials differ: {a.out}")
    return 0
