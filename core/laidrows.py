"""What stands of fields as rows of JSON, their pieces and colours as blocks of bytes apart."""

from __future__ import annotations

import reprlib
from collections.abc import Callable, Iterable
from typing import Any

from core.kept import Kept, KeptColours, KeptField

Row = dict[str, Any]


def rows_of(kept: Kept, put: Callable[[bytes], Any]) -> list[Row]:
    """Return a row for each field; `put` takes a block and returns what it is found again by."""
    rows = []
    for field_id, one in kept.items():
        row: Row = {"field": field_id, "key": one.key, "solver": one.solver}
        row["bytes"] = put(one.packed)
        if (c := one.colours) is not None:
            colours = {"key": c.key, "codes": c.codes, "bytes": put(c.packed)}
            row["colours"] = colours | ({"unswapped": c.unswapped} if c.unswapped else {})
        rows.append(row)
    return rows


def kept_of(rows: Iterable[Any], get: Callable[[Any], bytes]) -> Kept:
    """Return what stands of each field; whoever reads its pieces finds whether they are sound.

    Raises
    ------
    ValueError, KeyError, TypeError
        A row is none, or its block is not there.
    """
    kept = {}
    for row in rows:
        packed, colours = get(row["bytes"]), None
        if "colours" in row:
            c = row["colours"]
            unswapped = tuple((word(code), int(n)) for code, n in c.get("unswapped", ()))
            codes = tuple(word(code) for code in c["codes"])
            colours = KeptColours(word(c["key"]), codes, get(c["bytes"]), unswapped)
        if type(row["solver"]) is not int:
            raise ValueError("a version is no number")
        kept[word(row["field"])] = KeptField(word(row["key"]), row["solver"], packed, colours)
    return kept


def word(value: Any) -> str:
    """Return a text, or raise ValueError where it is none."""
    if not isinstance(value, str):
        raise ValueError(f"{reprlib.repr(value)} is no word")
    return value
