"""The bar above the bench: what is done most, the commission's title, and what is shown."""

from __future__ import annotations

from PySide6.QtCore import QSize
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QFrame, QHBoxLayout, QToolButton

from app import settings, theme
from app.canvas import Bench
from app.icons import icon
from app.shell.status import OneLine

HIGH = 52
LAYERS = (
    ("sketch", "Sketch"),
    ("outlines", "Outlines"),
    ("flow", "Flow"),
    ("tesserae", "Tesserae"),
    ("look", "Material look"),
)


class Bar(QFrame):
    """Buttons of some commands, and a switch for each layer of the bench."""

    def __init__(self, commands: dict[str, QAction], bench: Bench) -> None:
        super().__init__()
        self.setProperty("role", "bar")
        self._buttons: dict[str, QToolButton] = {}
        self._box = QHBoxLayout(self)
        self._box.setContentsMargins(10, 3, 10, 3)
        self._box.setSpacing(4)
        for name in ("New", "Open", "Save"):
            self._add(name, commands[name])
        self._box.addSpacing(10)
        for name in ("Undo", "Redo"):
            self._add(name, commands[name])
        self._box.addSpacing(14)
        self.title = OneLine("title")
        self._box.addWidget(self.title, 1)
        self.switches: dict[str, QToolButton] = {}
        for name, words in LAYERS:
            b = QToolButton()
            b.setText(words)
            b.setCheckable(True)
            b.setChecked(bench.layers[name])
            theme.fix(b, b.sizeHint().width() if name == "look" else 76, 36)
            b.setToolTip(f"Show or hide the {words.lower()}")
            b.toggled.connect(lambda on, n=name: bench.set_layer(n, on))
            self.switches[name] = b
            self._box.addWidget(b)
        look = self.switches["look"]
        look.setToolTip("Show tesserae as their materials look, once nothing moves")
        look.toggled.connect(lambda on: settings.change(material_look=on))
        self._box.addSpacing(6)
        self._add("Whole", commands["Whole"])
        theme.fix(self, high=HIGH)
        self.draw_icons()

    def _add(self, name: str, action: QAction) -> None:
        b = QToolButton()
        b.setDefaultAction(action)
        b.setIconSize(QSize(26, 26))
        b.setFixedSize(44, 42)
        self._buttons[name] = b
        self._box.addWidget(b)

    def draw_icons(self) -> None:
        """Draw the icons in the colours of the look."""
        for name, b in self._buttons.items():
            b.defaultAction().setIcon(icon(name))
