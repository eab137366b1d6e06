"""What a tool that places something asks: shown on the job card while the tool is in hand."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from app.canvas import Bench
from app.tools.placing import PlacingTool


class ToolChoices(QWidget):
    """The choices of a tool, which it tells when they change."""

    def __init__(self, bench: Bench) -> None:
        super().__init__()
        self.bench = bench

    @property
    def tool(self) -> PlacingTool:
        """The tool whose choices these are."""
        raise NotImplementedError

    def take_up(self) -> None:
        """Show the tool's choices, and follow it from now on."""
        self.tool.told = self.show_choices
        self.show_choices()

    def show_choices(self) -> None:
        """Show what is asked for and how it fits."""
        raise NotImplementedError

    def _place(self) -> None:
        self.bench.guarded(self.tool.finish)
        self.bench.update()
