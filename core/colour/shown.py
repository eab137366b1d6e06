"""The colour that each laid piece is drawn in."""

from __future__ import annotations

import numpy as np

from core.colour.convert import Floats
from core.colour.wanted import stocked_lab
from core.commission import Commission
from core.pieces import LaidField

BARE: Floats = np.array([82.0, 1.0, 8.0])  # a piece with neither a material nor a wanted colour


def shown_lab(doc: Commission, laid: LaidField) -> Floats:
    """Return CIELAB of every piece (n, 3): its material's, else what is wanted, else bare stone."""
    lab = np.where(np.isfinite(laid.wanted_lab), laid.wanted_lab, BARE)
    if len(doc.materials):
        stocked = stocked_lab(doc.materials)
        lab = np.where((laid.stock >= 0)[:, None], stocked[laid.stock.clip(0)], lab)
    return np.asarray(lab, np.float64).reshape(-1, 3)
