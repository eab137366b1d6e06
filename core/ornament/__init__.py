"""Ornaments of the trade, drawn on the module of the tessera and fitted to a place."""

from core.ornament.fit import Module, frame, ring, strip
from core.ornament.parts import Band, Figure, Ornament, Part
from core.ornament.place import add_ornament

__all__ = [
    "Band",
    "Figure",
    "Module",
    "Ornament",
    "Part",
    "add_ornament",
    "frame",
    "ring",
    "strip",
]
