"""Takes pictures of the window, leaf by leaf: python packaging/shots.py OUT [COMMISSION]"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from app import theme
from app.jobcard import LEAVES
from app.window import Window
from core.resources import asset


def settle(app: QApplication, window: Window, seconds: float = 60.0) -> None:
    """Wait until everything is laid and drawn."""
    end = time.monotonic() + seconds
    calm = 0
    while time.monotonic() < end and calm < 12:
        app.processEvents()
        time.sleep(0.02)
        done = window.session.layout_is_current and window.bench.settled()
        calm = calm + 1 if done else 0


def main() -> None:
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    app = QApplication([])
    theme.dress(app)
    window = Window()
    window.resize(1440, 900)
    window.show()
    window.open(sys.argv[2] if len(sys.argv) > 2 else asset("demo/heron.emblema"))
    settle(app, window)
    window.say("")
    for leaf in LEAVES:
        window.card.turn_to(leaf.name)
        if leaf.name in ("Laying", "Colour", "Flow"):
            sky = [f.id for f in window.session.doc.fields if f.name == "Sky"]
            window.session.select(sky)
        else:
            window.session.select(())
        settle(app, window, 20)
        window.grab().save(str(out / f"{leaf.name.lower().replace(' ', '-')}.png"))
    window.end()


if __name__ == "__main__":
    main()
