"""The `.emblema` file: one zip of readable JSON, the pictures it uses and the pieces as laid.

The document is turned to JSON and back by the types of its own dataclasses, so that a choice
added to the document needs no work here. A file is written beside its place and put there whole.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import math
import reprlib
import types
import typing
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from functools import cache
from pathlib import Path
from typing import Any

from core.commission import Colour, Commission, Laying
from core.errors import EmblemaError
from core.files import write_whole
from core.kept import Kept, KeptColours, KeptField
from core.members import (
    MOST_JSON,
    MOST_PICTURE,
    MOST_UNPACKED,
    Members,
    json_fits,
    read_json,
)

VERSION = 3
DOCUMENT = "commission.json"
LAID = "laid.json"  # what stands of each field
PIECES = "laid.bin"  # its pieces and colours, packed
MOST_PIECES_BYTES = 400_000_000
_EPOCH = (2000, 1, 1, 0, 0, 0)  # one time for all members: the same document, the same bytes

# A step takes the JSON of one version to the next: {version it reads: step}.
MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {
    1: lambda raw: raw,  # lots of their own colour and the commission's id came later
    2: lambda raw: _divided(raw),
}


@dataclass(frozen=True, slots=True)
class Work:
    """All that a file holds: the document, its pictures and what stands of its layout."""

    doc: Commission
    images: Mapping[str, bytes]
    kept: Kept = field(default_factory=dict)


def save(
    path: str | Path, doc: Commission, images: Mapping[str, bytes], kept: Kept | None = None
) -> None:
    """Write a commission, the pictures it uses and what stands of its layout.

    Raises
    ------
    EmblemaError
        The file cannot be written; what stood there before is untouched.
    """
    used = doc.sketch.image if doc.sketch else None
    if used is not None and used not in images:
        raise EmblemaError(f"The sketch's picture '{used}' is missing; the file was not written.")
    body = {"emblema": VERSION, "commission": to_json(doc)}
    text = json.dumps(body, indent=1, ensure_ascii=False).encode()
    if not json_fits(text) or (used is not None and len(images[used]) > MOST_PICTURE):
        what = "sketch's picture" if json_fits(text) else "commission"
        raise EmblemaError(f"The {what} is too large to be opened again; the file was not written.")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as z:
        _put(z, DOCUMENT, text, True)
        if kept:
            index, pieces = _laid(kept)
            _put(z, LAID, index, True)
            _put(z, PIECES, pieces, False)
        if used is not None:
            _put(z, f"images/{used}", images[used], False)
    write_whole(path, lambda out: out.write(packed.getvalue()))


def load(path: str | Path) -> tuple[Commission, dict[str, bytes]]:
    """Read a commission and its pictures alone (see `open_work`)."""
    work = open_work(path)
    return work.doc, dict(work.images)


def open_work(path: str | Path) -> Work:
    """Read all that a file holds.

    Raises
    ------
    EmblemaError
        The file is missing, damaged, or written by a later Emblema.
    """
    name = Path(path).name
    images = {}
    with Members(path) as members:
        if DOCUMENT not in members.names:
            raise EmblemaError(f"'{name}' is not an Emblema commission: {DOCUMENT} is missing.")
        doc = _document(name, members.read(DOCUMENT, MOST_JSON))
        if doc.sketch is not None:
            images = _picture(name, members, doc.sketch.image)
        kept = _kept(name, members) if {LAID, PIECES} <= set(members.names) else {}
    return Work(doc, images, kept)


def _laid(kept: Kept) -> tuple[bytes, bytes]:
    """Return what stands as an index of JSON and the packed pieces, one field after the other."""
    index: list[dict[str, Any]] = []
    blocks = []
    for field_id, one in kept.items():
        row = {"field": field_id, "key": one.key, "solver": one.solver, "bytes": len(one.packed)}
        blocks.append(one.packed)
        if (c := one.colours) is not None:
            colours = {"key": c.key, "codes": c.codes, "bytes": len(c.packed)}
            row |= {"colours": colours | ({"unswapped": c.unswapped} if c.unswapped else {})}
            blocks.append(c.packed)
        index.append(row)
    return json.dumps(index, ensure_ascii=False).encode(), b"".join(blocks)


def _kept(name: str, members: Members) -> Kept:
    """Return what stands of each field; whoever reads its pieces finds whether they are sound."""
    data, at = members.read(PIECES, MOST_PIECES_BYTES), 0

    def block(size: Any) -> bytes:
        nonlocal at
        if type(size) is not int or not 0 <= size <= len(data) - at:
            raise ValueError("the pieces are not as many as it says")
        at += size
        return data[at - size : at]

    try:
        kept = {}
        for row in read_json(members.read(LAID, MOST_JSON)):
            packed, colours = block(row["bytes"]), None
            if "colours" in row:
                c = row["colours"]
                unswapped = tuple((_word(code), int(n)) for code, n in c.get("unswapped", ()))
                codes = tuple(_word(code) for code in c["codes"])
                colours = KeptColours(_word(c["key"]), codes, block(c["bytes"]), unswapped)
            solver = row["solver"]
            if type(solver) is not int:
                raise ValueError("a version is no number")
            kept[_word(row["field"])] = KeptField(_word(row["key"]), solver, packed, colours)
    except (ValueError, KeyError, TypeError) as e:
        raise EmblemaError(f"'{name}' is damaged: {LAID} cannot be read ({e}).") from e
    return kept


def _word(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{reprlib.repr(value)} is no word")
    return value


def _picture(name: str, members: Members, key: str) -> dict[str, bytes]:
    member = f"images/{key}"
    if member not in members.names:
        raise EmblemaError(f"'{name}': the sketch's picture is missing from the file.")
    data = members.read(member, MOST_PICTURE, MOST_UNPACKED)
    if hashlib.sha256(data).hexdigest() != key.split(".")[0]:
        raise EmblemaError(f"'{name}': the sketch's picture is damaged.")
    return {key: data}


def _document(name: str, data: bytes) -> Commission:
    try:
        body = read_json(data)
        version = body["emblema"]
        raw = body["commission"]
    except (ValueError, KeyError, TypeError) as e:
        raise EmblemaError(f"'{name}' is damaged: {DOCUMENT} cannot be read ({e}).") from e
    if not isinstance(version, int) or version < 1:
        raise EmblemaError(f"'{name}' is damaged: its version is {reprlib.repr(version)}.")
    if version > VERSION:
        raise EmblemaError(
            f"'{name}' was written by a later Emblema (file version {version}, this one reads up "
            f"to {VERSION}). Open it with that one."
        )
    for step in range(version, VERSION):
        raw = MIGRATIONS[step](raw)
    try:
        return typing.cast(Commission, from_json(Commission, raw, "commission"))
    except _Wrong as e:
        raise EmblemaError(f"'{name}' is damaged: {e}.") from e


def _divided(raw: dict[str, Any]) -> dict[str, Any]:
    """Divide each field's choices into its laying and its colour, which stood side by side."""
    if not isinstance(raw, dict) or not isinstance(raw.get("fields"), list):
        return raw
    laying = {f.name for f in dataclasses.fields(Laying)}
    colour = {f.name for f in dataclasses.fields(Colour)}
    fields = []
    for f in raw["fields"]:
        if isinstance(f, dict):
            named = {("opus" if k == "laying" else k): v for k, v in f.items()}
            f = {k: v for k, v in named.items() if k not in laying | colour}
            f["laying"] = {k: v for k, v in named.items() if k in laying}
            f["colour"] = {k: v for k, v in named.items() if k in colour}
        fields.append(f)
    return {**raw, "fields": fields}


def _put(z: zipfile.ZipFile, name: str, data: bytes, press: bool) -> None:
    info = zipfile.ZipInfo(name, _EPOCH)
    info.compress_type = zipfile.ZIP_DEFLATED if press else zipfile.ZIP_STORED
    info.external_attr = 0o644 << 16
    z.writestr(info, data)


# --- the document as JSON -------------------------------------------------------------------


class _Wrong(Exception):
    pass


def to_json(value: Any) -> Any:
    """Return a dataclass, or what one holds, as JSON; attributes at their default are left out."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        out = {}
        for f in dataclasses.fields(value):
            v = getattr(value, f.name)
            default = (
                f.default_factory() if f.default_factory is not dataclasses.MISSING else f.default
            )
            if default is dataclasses.MISSING or v != default or type(v) is not type(default):
                out[f.name] = to_json(v)
        return out
    if isinstance(value, tuple | list):
        return [to_json(v) for v in value]
    if isinstance(value, dict):
        return {str(k): to_json(v) for k, v in value.items()}
    if isinstance(value, Decimal):
        return str(value)
    return value


@cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def from_json(kind: Any, value: Any, where: str) -> Any:
    """Return JSON as the type it was made from; `where` names the place in messages."""
    origin, args = typing.get_origin(kind), typing.get_args(kind)
    if kind is Any:
        return value
    if origin in (typing.Union, types.UnionType):
        if value is None and type(None) in args:
            return None
        inner = [a for a in args if a is not type(None)]
        return from_json(inner[0], value, where)
    if dataclasses.is_dataclass(kind):
        return _dataclass(typing.cast(type, kind), value, where)
    if origin is tuple:
        if not isinstance(value, list):
            raise _Wrong(f"{where} is not a list")
        if len(args) == 2 and args[1] is ...:
            return tuple(from_json(args[0], v, f"{where}[{k}]") for k, v in enumerate(value))
        if len(value) != len(args):
            raise _Wrong(f"{where} has {len(value)} entries instead of {len(args)}")
        return tuple(
            from_json(a, v, f"{where}[{k}]")
            for k, (a, v) in enumerate(zip(args, value, strict=True))
        )
    if origin is dict or kind is dict:
        if not isinstance(value, dict):
            raise _Wrong(f"{where} is not a table")
        return dict(value)
    return _plain(kind, value, where)


def _plain(kind: Any, value: Any, where: str) -> Any:
    if kind is Decimal:
        try:
            amount = Decimal(value)
            if abs(amount.adjusted()) > 30 or not amount.is_finite():
                raise ValueError
            return amount
        except (InvalidOperation, TypeError, ValueError) as e:
            raise _Wrong(f"{where} is not an amount") from e
    if kind is float and type(value) in (int, float):
        try:
            number = float(value)
        except OverflowError:  # a whole number of hundreds of digits
            number = math.inf
        if not math.isfinite(number):
            raise _Wrong(f"{where} is not a number")
        return number
    if type(value) is not kind:
        raise _Wrong(f"{where} is {reprlib.repr(value)}, which is not {_NAMES.get(kind, kind)}")
    return value


_NAMES = {str: "text", int: "a whole number", float: "a number", bool: "yes or no"}


def _dataclass(kind: type, value: Any, where: str) -> Any:
    if not isinstance(value, dict):
        raise _Wrong(f"{where} is not a table")
    hints = _hints(kind)
    known = {}
    for f in dataclasses.fields(kind):
        if f.name in value:
            known[f.name] = from_json(hints[f.name], value[f.name], f"{where}.{f.name}")
        elif f.default is dataclasses.MISSING and f.default_factory is dataclasses.MISSING:
            raise _Wrong(f"{where}.{f.name} is missing")
    return kind(**known)
