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


def _stock() -> Any:
    from core.stock.store import StockStore

    with StockStore() as store:
        return store.offered()
