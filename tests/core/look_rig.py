"""Panels of square pieces in one material each, and how their pictures are measured."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from core.colour.science import colour_science
from core.commission import Commission, field_of
from core.material import Lab, Material
from core.pieces import LaidField, Layout, Pieces

TESSERA, JOINT = 10.0, 1.0
PITCH = TESSERA + JOINT


def panel(*materials: Material, across: int = 10, down: int = 6) -> tuple[Commission, Layout]:
    """Return a panel of squares, a field for each material side by side."""
    fields, laid = [], []
    for k, _ in enumerate(materials):
        x0 = k * across * PITCH
        x, y = (v.ravel() for v in np.meshgrid(np.arange(across), np.arange(down)))
        x, y = x0 + x * PITCH + JOINT / 2, y * PITCH + JOINT / 2
        n = len(x)
        pieces = Pieces(
            shapely.box(x, y, x + TESSERA, y + TESSERA), np.zeros(n, int), np.arange(n), np.zeros(n)
        )
        x1, y1 = x0 + across * PITCH, down * PITCH
        ring = ((x0, 0.0), (x1, 0.0), (x1, y1), (x0, y1))
        fields.append(field_of(f"f{k}", f"Field {k}", ((ring,),), tessera_mm=TESSERA))
        nothing = np.full((n, 3), np.nan)
        laid.append(LaidField(f"f{k}", pieces, nothing, np.full(n, k), np.zeros(n)))
    size = len(materials) * across * PITCH, down * PITCH
    doc = Commission("Panel", *size, fields=tuple(fields), materials=materials)
    return doc, Layout(tuple(laid))


def on_pieces(px_per_mm: float, across: int, down: int, in_by_mm: float = 0.0) -> NDArray[np.bool_]:
    """Return which pixels of a panel's field lie on its pieces, by their middles."""

    def along(n: int) -> NDArray[np.bool_]:
        at = (np.arange(round(n * PITCH * px_per_mm)) + 0.5) / px_per_mm % PITCH
        low = JOINT / 2 + in_by_mm
        return (at > low) & (at < PITCH - low)

    return along(down)[:, None] & along(across)[None, :]


def mean_lab(srgb: NDArray[np.uint8]) -> Lab:
    """Return CIELAB (D65) of the mean light of sRGB pixels (n, 3), by colour-science."""
    colour = colour_science()
    linear = colour.models.eotf_sRGB(srgb.reshape(-1, 3) / 255).mean(0)
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    lab = colour.XYZ_to_Lab(linear @ colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ.T, white)
    return tuple(lab.tolist())


def off_by(a: Lab, b: Lab) -> float:
    """Return CIEDE2000 between two colours, by colour-science."""
    return float(colour_science().delta_E(np.array(a), np.array(b), method="CIE 2000"))
