"""The commands of the command line that are about sheets: their pages, the key plan, the notes."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

Opened = Callable[[Path], tuple[Any, Any, Any]]


def add_to(sub: Any, opened: Opened, folder: Callable[[Path], Path]) -> None:
    """Add the commands; `opened` opens and lays a commission, `folder` makes one."""
    c = sub.add_parser("sheets", help="write a page for each sheet, with key plan, notes and lists")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="DIR")
    c.add_argument(
        "--paper", default="A4", choices=("A4", "A3", "true"), help="true: each at its true size"
    )
    c.add_argument("--fill", default="lines", choices=("lines", "colour", "patterns"))
    c.add_argument("--mirrored", action="store_true", help="seen from the back, as laid face down")
    c.add_argument(
        "--correct",
        default="100x100",
        metavar="ACROSSxUP",
        help="what the check bars of an uncorrected print measure in mm, such as 99.6x100.2",
    )
    c.set_defaults(run=lambda a: _sheets(a, opened, folder))

    c = sub.add_parser("keyplan", help="write the key plan of a commission's sheets as PDF")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="PDF")
    c.set_defaults(run=lambda a: _keyplan(a, opened))


def _divided(file: Path, opened: Opened) -> tuple[Any, Any, Any]:
    """Return a commission with sheets, its layout, and what is on each sheet."""
    from core.sheets.made import divided, sheets_of

    doc, _, layout = opened(file)
    if not doc.sheets:
        doc = divided(doc, layout)
        print(
            f"'{file.name}' was not divided into sheets; it is for these pages, "
            f"into {len(doc.sheets)}. The file is as it was.",
            file=sys.stderr,
        )
    sheets = sheets_of(doc, layout)
    if sheets.loose:
        print(f"{sheets.loose:,} pieces are on no sheet.", file=sys.stderr)
    return doc, layout, sheets


def _sheets(a: argparse.Namespace, opened: Opened, folder: Callable[[Path], Path]) -> int:
    from app.sheetfiles import write_sheets
    from core.paper.printer import correction_of

    correction = correction_of(a.correct)
    doc, layout, sheets = _divided(a.file, opened)
    out = folder(a.out)
    write_sheets(out, doc, layout, a.paper, a.fill, a.mirrored or None, sheets, correction)
    print(f"{len(layout):,} tesserae on {len(sheets.each)} sheets in {out}")
    return 0


def _keyplan(a: argparse.Namespace, opened: Opened) -> int:
    from app.painting import write_pdf
    from core.sheets.keyplan import keyplan_pages

    doc, layout, sheets = _divided(a.file, opened)
    write_pdf(a.out, keyplan_pages(doc, layout, sheets), doc.title)
    print(f"{len(sheets.each)} sheets planned in {a.out}")
    return 0
