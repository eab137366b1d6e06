"""Takes a photograph of the wall in, brought down to what a proof can show."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from PIL import Image

from core.pictures import as_kept, read_picture
from core.proof.asked import InPlace

LONGEST_PX = 3600  # a page of A4 at 300 dots an inch
SHARE = 0.5  # of the photograph that the work takes to begin with


def import_photograph(
    source: bytes | Path, size_mm: tuple[float, float], before: InPlace | None = None
) -> tuple[InPlace, dict[str, bytes]]:
    """Return how the work hangs in a photograph to begin with, and its file by its key.

    Parameters
    ----------
    before : InPlace, optional
        What was chosen for the photograph before: light, wall and figure stay.

    Raises
    ------
    core.errors.EmblemaError
        It is no picture that can be read.
    """
    name = source.name if isinstance(source, Path) else "photograph"
    picture = Image.fromarray(read_picture(source, name).pixels)
    picture.thumbnail((LONGEST_PX, LONGEST_PX), Image.Resampling.LANCZOS)
    key, data = as_kept(picture)
    wide, high = picture.size
    by = SHARE * min(wide / size_mm[0], high / size_mm[1])
    w, h = size_mm[0] * by, size_mm[1] * by
    x, y = (wide - w) / 2, 0.42 * (high - h)
    corners = ((x, y), (x + w, y), (x + w, y + h), (x, y + h))
    place = replace(before, image=key, corners_px=corners) if before else InPlace(key, corners)
    return place, {key: data}
