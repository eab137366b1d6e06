"""What stands: each field's pieces and colours as they were laid, and what they hang on.

What a person saw, printed or ordered is not worked out again. A field's pieces are kept with the
key of the setting they were laid by, and what they are laid in with the key of all that this
hangs on; they are worked out again only when that key changes, whatever the program has learnt
meanwhile.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
import shapely

from core.laying.spec import Setting
from core.packing import UM


@dataclass(frozen=True, slots=True)
class KeptColours:
    """What a field's pieces are laid in.

    Attributes
    ----------
    key : str
        Of all that it hangs on.
    codes : tuple of str
        The materials, as `packed` counts them.
    packed : bytes
        See `core.packing.packed_colours`.
    unswapped : tuple
        As in `core.pieces.LaidField`.
    """

    key: str
    codes: tuple[str, ...]
    packed: bytes
    unswapped: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class KeptField:
    """One field's pieces before work by hand, packed (`core.packing`).

    `key` is that of the setting they were laid by (`key_of`), `solver` the version that did it.
    """

    key: str
    solver: int
    packed: bytes
    colours: KeptColours | None = None


Kept = Mapping[str, KeptField]  # by the field's id


def key_of(setting: Setting) -> str:
    """Return a key of all that a field's pieces hang on, the same on every machine.

    Coordinates are taken to whole micrometres, so that numbers that differ in their last bits
    have one key.
    """
    digest = hashlib.sha256(_said([setting.laying, setting.seed]))
    for shapes in ((setting.outline,), setting.flow, setting.hug):
        digest.update(_drawn(shapes))
    for s in setting.sizes:
        digest.update(_said([s.tessera_mm, s.grade]) + _drawn((s.lines,)))
    return digest.hexdigest()


def key_of_choices(*choices: Any) -> str:
    """Return a key of numbers, words and dataclasses, the same on every machine.

    Attributes at their default do not count, so that an attribute added later changes no key.
    """
    return hashlib.sha256(_said(choices)).hexdigest()


def _said(value: Any) -> bytes:
    return json.dumps(_plain(value), sort_keys=True, separators=(",", ":")).encode()


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        given = ((f, getattr(value, f.name)) for f in dataclasses.fields(value))
        return {f.name: _plain(v) for f, v in given if f.default != v}
    if isinstance(value, tuple | list):
        return [_plain(v) for v in value]
    return str(value) if isinstance(value, Decimal) else value


def _drawn(shapes: Iterable[shapely.Geometry]) -> bytes:
    """Return shapes, ring by ring, in whole micrometres."""
    flat = shapely.get_parts(shapely.get_parts(np.array(list(shapes), dtype=object)))
    area = shapely.get_type_id(flat) == shapely.GeometryType.POLYGON
    rings, owner = shapely.get_rings(flat[area], return_index=True)
    lines = np.r_[rings, flat[~area]]
    holds = np.bincount(owner, minlength=np.count_nonzero(area))
    um = np.round(shapely.get_coordinates(lines) * UM).astype("<i8")
    counts = np.r_[len(rings), len(lines), holds, shapely.get_num_coordinates(lines)]
    return bytes(counts.astype("<i8").tobytes() + um.tobytes())
