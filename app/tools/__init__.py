"""Hand tools of the bench. One tool is in hand at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from app.tools.drawing import FlowLineTool, OutlineTool, SizeLineTool
from app.tools.hand import HandTool, MeasureTool
from app.tools.ornament import OrnamentTool
from app.tools.piecework import JoinTool, LiftTool, NipTool, PinTool, SetTool, ShiftTool

if TYPE_CHECKING:
    from app.canvas import Bench
    from app.tools.base import Tool

# In the order of the tool strip; a gap stands before each of the names in GAPS.
TOOLS: tuple[type[Tool], ...] = (
    HandTool,
    OutlineTool,
    OrnamentTool,
    FlowLineTool,
    SizeLineTool,
    MeasureTool,
    LiftTool,
    SetTool,
    NipTool,
    JoinTool,
    ShiftTool,
    PinTool,
)
GAPS = ("Outline", "Lift")


def give_tools(bench: Bench) -> None:
    """Lay the tools out beside a bench and put the first in its hand."""
    bench.tools = {kind.name: kind(bench) for kind in TOOLS}
    bench.take(HandTool.name)
