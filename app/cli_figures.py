"""The commands of the command line that are about figures: all of them, and the orders."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import Any

Opened = Callable[[Path], tuple[Any, Any, Any]]


def add_to(sub: Any, opened: Opened, folder: Callable[[Path], Path]) -> None:
    """Add the commands; `opened` opens and lays a commission, `folder` makes one."""
    c = sub.add_parser("figures", help="write what a commission needs, weighs and costs")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="DIR")
    c.set_defaults(run=lambda a: _figures(a, opened, folder))

    c = sub.add_parser("order", help="write what is short as an order for each supplier")
    c.add_argument("file", type=Path)
    c.add_argument("--out", type=Path, required=True, metavar="DIR")
    c.set_defaults(run=lambda a: _order(a, opened, folder))


def _figures(a: argparse.Namespace, opened: Opened, folder: Callable[[Path], Path]) -> int:
    from app.figurefiles import write_figures

    doc, _, layout = opened(a.file)
    out = folder(a.out)
    write_figures(out, doc, layout)
    print(f"{len(layout):,} tesserae reckoned in {out}")
    return 0


def _order(a: argparse.Namespace, opened: Opened, folder: Callable[[Path], Path]) -> int:
    from app.figurefiles import write_orders

    doc, _, layout = opened(a.file)
    out = folder(a.out)
    found = write_orders(out, doc, layout)
    if not found:
        print("Nothing is short: there is nothing to order.")
    for order in found:
        cost = f"{order.cost:,} {doc.currency}".rstrip()
        print(f"{order.named}: {len(order.lines)} materials, {order.kg:.1f} kg, {cost}")
    return 0
