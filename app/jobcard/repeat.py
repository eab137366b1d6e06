"""How the chosen motif is to be repeated. Shown with the Repeat tool in hand."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout

from app.canvas import Bench
from app.jobcard.toolchoices import ToolChoices
from app.tools.repeat import RepeatTool
from app.widgets import Choice, Number, Switch, button, row, text
from core.repeats.arrange import MOST_PLACES

WAYS = (("line", "Along a line"), ("frame", "Round a frame"), ("centre", "About a centre"))


class RepeatChoices(ToolChoices):
    """The choices, the fit in words, and Repeat."""

    def __init__(self, bench: Bench) -> None:
        super().__init__(bench)
        self.way = Choice("", WAYS, lambda v: self.tool.ask(way=v))
        self.places = Number(
            "Places",
            "",
            0,
            MOST_PLACES,
            lambda v: self.tool.ask(places=int(v)),
            decimals=0,
            step=1,
            tip="0: as many as fit. Round a frame: from corner to corner of the upper side",
        )
        self.places.spin.setSpecialValueText("as fits")
        self.turned = Switch("Each turned with the way", lambda on: self.tool.ask(turned=on))
        self.mirrored = Switch("Every other one mirrored", lambda on: self.tool.ask(mirrored=on))
        self.corners = Switch("One in each corner", lambda on: self.tool.ask(corners=on))
        self.words = text("", "hint")
        self.lay = button("Repeat", self._place, "main", tip="Lay the motif there (Enter)")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            self.way,
            self.places,
            self.turned,
            self.mirrored,
            self.corners,
            self.words,
            row(self.lay, button("Give up", lambda: self.bench.take("Hand"))),
        ):
            box.addWidget(w)

    @property
    def tool(self) -> RepeatTool:
        """The tool whose choices these are."""
        tool = self.bench.tools.setdefault(RepeatTool.name, RepeatTool(self.bench))
        assert isinstance(tool, RepeatTool)
        return tool

    def show_choices(self) -> None:
        """Show what is asked for and how it fits."""
        tool, wish = self.tool, self.tool.wish
        self.way.show_value(wish.way)
        self.places.show_value(wish.places)
        self.turned.show_value(wish.turned)
        self.mirrored.show_value(wish.mirrored)
        self.corners.show_value(wish.corners)
        self.corners.setVisible(wish.way == "frame")
        self.words.setText("\n".join(tool.words))
        self.lay.setEnabled(tool.seen is not None)
