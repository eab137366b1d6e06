"""Fields found in the sketch: all of its areas of colour, or one that a person points at."""

from core.trace.flat import CALM
from core.trace.names import colour_name
from core.trace.pick import Flat, Picked, picked_at, picked_within
from core.trace.whole import INKS, Traced, Wish, trace

__all__ = [
    "CALM",
    "INKS",
    "Flat",
    "Picked",
    "Traced",
    "Wish",
    "colour_name",
    "picked_at",
    "picked_within",
    "trace",
]
