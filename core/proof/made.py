"""Draws the pictures of a proof in their materials and under its light, and writes them."""

from __future__ import annotations

import io
from datetime import date
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

from core.bounds import within
from core.commission import Commission
from core.files import write_whole
from core.kept_rounds import Round
from core.look.light import Light
from core.look.render import Scene
from core.proof.pages import MOST_PX_MM, Box, Drawn, Told

COARSEST_PX_MM: Final = 0.05


def drawn(doc: Commission, scene: Scene) -> Drawn:
    """Return what draws parts of a work in their materials, under the light of its proof."""
    light = Light(doc.proof.light_deg, doc.proof.light_high_deg)

    def draw(px_per_mm: float, box: Box) -> NDArray[np.uint8]:
        return scene.picture(px_per_mm, box, light)

    return draw


def told_of(day: date, kept: Round | None) -> Told:
    """Return the occasion: a round's own name and day where the work is kept as one."""
    if kept is None:
        return Told(day.isoformat())
    return Told(
        kept.on or day.isoformat(), ", ".join(w for w in (f"Round {kept.number}", kept.name) if w)
    )


def check_fineness(px_per_mm: float) -> None:
    """Raise EmblemaError where a picture cannot be as fine as that."""
    within("The picture's fineness", px_per_mm, COARSEST_PX_MM, MOST_PX_MM, " px a mm")


def write_picture(path: str | Path, pixels: NDArray[np.uint8]) -> None:
    """Write a picture as PNG with the profile of its colours, sRGB.

    Raises
    ------
    core.errors.EmblemaError
        The file cannot be written.
    """
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "PNG", icc_profile=profile)
    write_whole(path, lambda file: file.write(out.getvalue()))
