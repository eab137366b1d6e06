"""Times a swap in the window, by what stands on the screen.

python tests/bench/bench_swap.py [PIECES] [LEAF ...]: the demo laid about so fine (20,000 where
left out), with one leaf after the other open. "Figures" are the trays and the leaf's counts,
weight, cost or mean colour difference: the time until their pixels are those that stay. "Drawn
anew" is the time until the bench's picture is the newest. First as many are laid as are asked
for, then within the stock, of which so little is in hand that eight materials fall short.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "packaging")]
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

import numpy as np
from PySide6.QtCore import QEventLoop, QRect, QTimer
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QWidget
from shots import settle

from app import theme
from app.canvas.dropped import drop_menu
from app.window import Window
from core.commission import Commission
from core.material import Material
from core.pieces import Layout
from core.quantities import blank_of
from core.resources import asset

# everywhere, in a field and in a motif
SWAPS = (
    ("SP-78", "SP-68", {}),
    ("VG-64", "SP-65", {}),
    ("SP-46", "SP-45", {"motif": "reeds"}),
    ("SP-67", "SP-65", {"field_id": "f6"}),
)
SHORT = 8
PIECE = (560.0, 262.0), "SP-75"  # and one piece, by the menu of a tray dropped on it
# the Colour leaf is the heaviest, and the first swap of all the slowest
FIGURES = {
    "Colour": ("near",),
    "Figures": ("sum", "order", "weight", "price"),
    "Fields": ("list",),
    "Look again": (),
}
WAIT = QEventLoop.ProcessEventsFlag.WaitForMoreEvents


def look(window: Window, widgets: list[QWidget]) -> list[QImage]:
    """Return what the screen shows of widgets."""
    seen = []
    for w in widgets:
        box = w.visibleRegion().boundingRect()
        box = QRect(w.mapTo(window, box.topLeft()), box.size())
        grabbed = window.screen().grabWindow(window.winId(), *box.getRect())
        seen.append(grabbed.toImage())
    return seen


def lay_piece(window: Window) -> None:
    """Choose the first of what a tray dropped on a piece offers."""
    (x, y), code = PIECE
    menu = drop_menu(window.bench, code, x, y)
    assert menu is not None
    next(a for a in menu.actions() if a.text() == "This piece").trigger()


def shortened(layout: Layout, doc: Commission) -> tuple[Material, ...]:
    """Return the materials with three fifths of the blanks in hand that the most laid would take,
    and plenty of the rest."""
    box = np.concatenate([f.pieces.box_mm for f in layout.fields])
    stock = np.concatenate([f.stock for f in layout.fields])
    laid = np.bincount(stock[stock >= 0], minlength=len(doc.materials))
    blanks = [blank_of(m, doc.rates).taken(box[stock == k]) for k, m in enumerate(doc.materials)]
    in_hand = [3 * n + 1500 for n in blanks]
    for k in np.argsort(-laid)[:SHORT]:
        in_hand[k] = blanks[k] * 3 // 5
    return tuple(replace(m, pieces=n) for m, n in zip(doc.materials, in_hand, strict=True))


def timed(
    app: QApplication, window: Window, widgets: list[QWidget], swap: Callable[[], object]
) -> str:
    """Swap, and return how long what takes."""
    s = window.session
    seen: list[tuple[float, list[QImage]]] = []
    begun = time.perf_counter()
    swap()
    while not (s.layout_is_current and window.bench.settled()):
        app.processEvents(WAIT)  # with a time limit it would not wait, but keep the thread busy
        if s.layout_is_current:
            seen.append((time.perf_counter() - begun, look(window, widgets)))
    drawn = time.perf_counter() - begun
    settle(app, window)
    last = look(window, widgets)
    stays = next(k for k in range(len(seen)) if all(images == last for _, images in seen[k:]))
    return f"figures {1000 * seen[stays][0]:5.0f} ms   drawn anew {1000 * drawn:5.0f} ms"


def main() -> None:
    app = QApplication([])
    theme.dress(app)
    window = Window()
    window.resize(1440, 900)
    window.show()
    window.open(asset("demo/heron.emblema"))
    settle(app, window)
    s = window.session
    assert s.layout is not None
    words = sys.argv[1:]
    pieces = int(words.pop(0)) if words and words[0].isdigit() else 20_000
    by = (len(s.layout) / pieces) ** 0.5
    fine = tuple(
        replace(f, tessera_mm=max(2.0, f.laying.tessera_mm * by), joint_mm=f.laying.joint_mm * by)
        for f in s.doc.fields
    )
    s.apply("Finer", replace(s.doc, fields=fine))
    settle(app, window, 120)
    print(f"{len(s.layout):,} pieces")
    tick = QTimer(interval=10)  # so that a wait for events ends
    tick.start()
    plenty = s.doc
    short = replace(plenty, within_stock=True, materials=shortened(s.layout, plenty))
    for how, laid in (("plenty", plenty), ("within stock", short)):
        for name in words or FIGURES:
            s.apply("As before", laid)
            window.card.turn_to(name)
            settle(app, window)
            widgets = [window.trays, *(getattr(window.card.leaf, w) for w in FIGURES[name])]
            swaps = {
                f"{old} to {new} {'in ' if where else ''}{''.join(where.values())}": partial(
                    s.swap, old, new, **where
                )
                for old, new, where in SWAPS
            }
            swaps["one piece"] = partial(lay_piece, window)
            for what, swap in swaps.items():
                told = timed(app, window, widgets, swap)
                print(f"{how:13} {name:10} {what:26} {told}", flush=True)
    window.end()


if __name__ == "__main__":
    main()
