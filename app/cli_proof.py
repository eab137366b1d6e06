"""The command of the command line that makes the client's proof."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

Opened = Callable[[Path], tuple[Any, Any, Any]]


def add_to(sub: Any, opened: Opened) -> None:
    """Add the command; `opened` opens and lays a commission."""
    c = sub.add_parser("proof", help="write the proof that the client keeps, as PDF")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="PDF")
    c.add_argument("--picture", type=Path, metavar="PNG", help="the work as a picture, too")
    c.add_argument("--fine", type=float, default=4.0, metavar="N", help="its pixels a mm (4)")
    c.set_defaults(run=lambda a: _proof(a, opened))


def _proof(a: argparse.Namespace, opened: Opened) -> int:
    from app.painting import write_pdf
    from core import archive
    from core.kept_rounds import is_kept
    from core.look.render import Scene
    from core.proof import made
    from core.proof.pages import proof_pages, whole_of

    doc, images, layout = opened(a.file)
    made.check_fineness(a.fine)
    drawn = made.drawn(doc, Scene(doc, layout))
    kept = is_kept(archive.open_work(a.file).rounds, doc, layout.kept)
    told = made.told_of(date.today(), kept)
    write_pdf(a.out, proof_pages(doc, layout, images, drawn, told), doc.title)
    if a.picture:
        made.write_picture(a.picture, whole_of(doc, drawn, a.fine))
    print(f"{len(layout):,} tesserae shown in {a.out}")
    return 0
