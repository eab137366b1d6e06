"""The patches of a work as a list, for the board above the bench."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from core.files import write_text
from core.patches import Patch
from core.plaintext import csv_text

COLUMNS: Final = ("patch", "pieces", "minutes", "area_mm2", "mix_kg")


def write_patches_csv(path: str | Path, patches: Sequence[Patch]) -> None:
    """Write one row a patch, in the order of laying."""
    rows: list[list[object]] = [[*COLUMNS]]
    for k, p in enumerate(patches, 1):
        rows.append([k, p.pieces, f"{p.seconds / 60:.2f}", f"{p.area_mm2:.1f}", f"{p.kg:.4f}"])
    write_text(path, csv_text(rows))
