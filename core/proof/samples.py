"""Small samples of materials, laid and grouted as in the work, to be shown by their names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray

from core.commission import Commission, field_of
from core.look.light import Light
from core.look.render import Scene
from core.material import Material
from core.pieces import LaidField, Layout, Pieces

ACROSS, DOWN = 4, 3  # tesserae of a sample
TESSERA_MM: Final = 10.0
JOINT_MM: Final = 1.2
WIDE_MM: Final = ACROSS * (TESSERA_MM + JOINT_MM)
HIGH_MM: Final = DOWN * (TESSERA_MM + JOINT_MM)


def samples(
    doc: Commission, materials: Sequence[Material], px_per_mm: float
) -> list[NDArray[np.uint8]]:
    """Return a picture of each material, under the light of the proof.

    Returns
    -------
    list of uint8 arrays, sRGB
        Each shows `WIDE_MM` by `HIGH_MM`.
    """
    n = len(materials)
    outline = ((((0.0, 0.0), (WIDE_MM, 0.0), (WIDE_MM, n * HIGH_MM), (0.0, n * HIGH_MM)),),)
    board = Commission(
        "samples",
        WIDE_MM,
        n * HIGH_MM,
        fields=(field_of("f1", "samples", outline, tessera_mm=TESSERA_MM, joint_mm=JOINT_MM),),
        materials=tuple(materials),
        grout_lab=doc.grout_lab,
    )
    pitch = TESSERA_MM + JOINT_MM
    row, column = (v.ravel() for v in np.mgrid[0 : n * DOWN, 0:ACROSS])
    x, y = column * pitch + JOINT_MM / 2, row * pitch + JOINT_MM / 2
    squares = shapely.box(x, y, x + TESSERA_MM, y + TESSERA_MM)
    pieces = Pieces(squares, row, column, np.zeros(len(squares)))
    stock = row // DOWN
    lab = np.zeros((len(squares), 3))
    laid = LaidField("f1", pieces, lab, stock, np.zeros(len(squares)))
    scene = Scene(board, Layout((laid,)))
    light = Light(doc.proof.light_deg, doc.proof.light_high_deg)
    cells = [(0.0, k * HIGH_MM, WIDE_MM, (k + 1) * HIGH_MM) for k in range(n)]
    return [scene.picture(px_per_mm, cell, light) for cell in cells]
