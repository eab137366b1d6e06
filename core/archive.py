"""The `.emblema` file: one zip of readable JSON, the pictures it uses and the pieces as laid.

The document is turned to JSON and back by the types of its own dataclasses, so that a choice
added to the document needs no work here. A file is written beside its place and put there whole.
"""

from __future__ import annotations

import dataclasses
import hashlib
import io
import json
import reprlib
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from core.checks import check_document
from core.commission import Colour, Commission, Laying
from core.errors import EmblemaError, lowered
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
from core.typed import typed

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
    if type(version) is not int or version < 1:
        raise EmblemaError(f"'{name}' is damaged: its version is {reprlib.repr(version)}.")
    if version > VERSION:
        raise EmblemaError(
            f"'{name}' was written by a later Emblema (file version {version}, this one reads up "
            f"to {VERSION}). Open it with that one."
        )
    for step in range(version, VERSION):
        raw = MIGRATIONS[step](raw)
    try:
        doc = typed(Commission, raw)
        check_document(doc)
    except EmblemaError as e:
        raise EmblemaError(f"'{name}' cannot be opened: {lowered(e)}") from e
    return doc


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
