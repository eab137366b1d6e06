"""The wall that a work is for, and what opens in it: sockets, windows, taps."""

from __future__ import annotations

from dataclasses import dataclass

OPENINGS = ("socket", "switch", "window", "tap", "hood", "hob", "other")


@dataclass(frozen=True, slots=True)
class Opening:
    """A place of the wall that stays free, or is cut out when the sheets are set.

    Attributes
    ----------
    kind : str
        One of `OPENINGS`.
    name : str
        What is written beside it.
    outline : tuple of (x, y)
        An open ring, mm of the work (x right, y down); it may lie beside the work too.
    """

    kind: str
    name: str
    outline: tuple[tuple[float, float], ...]
