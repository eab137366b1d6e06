"""Colour: conversions, differences, what the sketch wants and which material answers it."""

from core.colour.convert import (
    bytes_from_lab,
    in_gamut,
    lab_from_linear,
    lab_from_srgb,
    linear_from_lab,
    linear_from_srgb,
    srgb_from_lab,
    srgb_from_linear,
    swatch_rgb,
)
from core.colour.difference import ciede2000, nearest

__all__ = [
    "bytes_from_lab",
    "ciede2000",
    "in_gamut",
    "lab_from_linear",
    "lab_from_srgb",
    "linear_from_lab",
    "linear_from_srgb",
    "nearest",
    "srgb_from_lab",
    "srgb_from_linear",
    "swatch_rgb",
]
