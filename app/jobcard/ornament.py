"""What the Ornament tool is to draw: its kind, its tesserae, and how it fits. Shown with the tool
in hand."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout

from app.canvas import Bench
from app.jobcard.toolchoices import ToolChoices
from app.session import Session
from app.tools.ornament import OrnamentTool
from app.widgets import Choice, Number, button, row, text
from core.ornament.kinds import KINDS

PLACES = (("frame", "A frame"), ("strip", "A strip along a curve"), ("disc", "A disc or ring"))


class OrnamentChoices(ToolChoices):
    """The choices, the fit in words, and Place."""

    def __init__(self, session: Session, bench: Bench) -> None:
        super().__init__(bench)
        self.session = session
        self.kind = Choice(
            "", [(k, kind.words) for k, kind in KINDS.items()], lambda k: self.tool.ask(kind=k)
        )
        self.place = Choice("", PLACES, lambda v: self.tool.ask(place=v))
        self.tessera = Number("Tessera", "mm", 1, 500, lambda v: self.tool.ask(tessera_mm=v))
        self.joint = Number(
            "Joint", "mm", 0.1, 50, lambda v: self.tool.ask(joint_mm=v), decimals=1, step=0.1
        )
        self.courses = Number(
            "Courses to a figure",
            "",
            1,
            20,
            lambda v: self.tool.ask(courses=int(v)),
            decimals=0,
            step=1,
            tip="Of a bar, a strand, a cell or a tooth; the width of the ornament hangs on it",
        )
        self.repeats = Number(
            "Repeats",
            "",
            0,
            500,
            lambda v: self.tool.ask(repeats=int(v)),
            decimals=0,
            step=1,
            tip="0: as many as fit best",
        )
        self.repeats.spin.setSpecialValueText("as fits")
        self.width = text("", "hint")
        self.words = text("", "hint")
        self.lay = button("Place", self._place, tip="Make fields of it (Enter)")
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(8)
        for w in (
            row("Ornament", self.kind),
            row("Lies in", self.place),
            self.tessera,
            self.joint,
            self.courses,
            self.width,
            self.repeats,
            self.words,
            row(self.lay, button("Give up", lambda: self.bench.take("Hand"))),
        ):
            box.addWidget(w)

    @property
    def tool(self) -> OrnamentTool:
        """The tool whose choices these are."""
        tool = self.bench.tools[OrnamentTool.name]
        assert isinstance(tool, OrnamentTool)
        return tool

    def show_choices(self) -> None:
        """Show what is asked for and how it fits."""
        tool, wish = self.tool, self.tool.wish
        disc_only = wish.band is None
        self.kind.show_value(wish.kind)
        self.place.show_value(wish.lies)
        self.place.setEnabled(not disc_only)
        self.tessera.show_value(wish.tessera_mm)
        self.joint.show_value(wish.joint_mm)
        self.courses.spin.setMinimum(KINDS[wish.kind].least)
        self.courses.show_value(wish.courses)
        self.courses.setVisible(not disc_only)
        self.repeats.show_value(wish.repeats)
        self.width.setVisible(not disc_only)
        self.width.setText(f"{wish.width_mm:.1f} mm wide.")
        self.words.setText("\n".join(tool.words) or "Draw on the bench where it is to lie.")
        self.lay.setEnabled(tool.seen is not None)
