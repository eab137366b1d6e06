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
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from core.checks import check_document
from core.commission import Colour, Commission, Laying
from core.errors import EmblemaError, lowered
from core.files import write_whole
from core.kept import Kept
from core.kept_rounds import Round, file
from core.laidrows import kept_of, rows_of
from core.members import (
    MOST_JSON,
    MOST_PICTURE,
    MOST_UNPACKED,
    Members,
    json_fits,
    read_json,
)
from core.typed import to_json, typed

VERSION = 4
DOCUMENT = "commission.json"
LAID = "laid.json"  # what stands of each field
PIECES = "laid.bin"  # its pieces and colours, packed
ROUNDS = "rounds.json"  # what was agreed with the client, round by round
ROUND_PIECES = "rounds.bin"  # their pieces and colours, where they are not those that stand
MOST_PIECES_BYTES = 400_000_000
_EPOCH = (2000, 1, 1, 0, 0, 0)  # one time for all members: the same document, the same bytes

# A step takes the JSON of one version to the next: {version it reads: step}.
MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {
    1: lambda raw: raw,  # lots of their own colour and the commission's id came later
    2: lambda raw: _divided(raw),
    3: lambda raw: raw,  # rounds came later
}


@dataclass(frozen=True, slots=True)
class Work:
    """All that a file holds: the document, its pictures, what stands of its layout, its rounds."""

    doc: Commission
    images: Mapping[str, bytes]
    kept: Kept = field(default_factory=dict)
    rounds: tuple[Round, ...] = ()


def save(
    path: str | Path,
    doc: Commission,
    images: Mapping[str, bytes],
    kept: Kept | None = None,
    rounds: Sequence[Round] = (),
) -> None:
    """Write a commission, the pictures it uses, what stands of its layout, and its rounds.

    Raises
    ------
    EmblemaError
        The file cannot be written; what stood there before is untouched.
    """
    used = _pictures_of(doc, rounds)
    for key, what in used.items():
        if key not in images:
            raise EmblemaError(f"The {what} '{key}' is missing; the file was not written.")
        if len(images[key]) > MOST_PICTURE:
            raise _too_large(what)
    body = {"emblema": VERSION, "commission": to_json(doc)}
    text = json.dumps(body, indent=1, ensure_ascii=False).encode()
    told, blocks = file.written(rounds, kept or {}) if rounds else (b"", b"")
    if not json_fits(text):
        raise _too_large("commission")
    if not json_fits(told) or len(blocks) > MOST_PIECES_BYTES:
        raise _too_large("list of its rounds")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as z:
        _put(z, DOCUMENT, text, True)
        if kept:
            index, pieces = _laid(kept)
            _put(z, LAID, index, True)
            _put(z, PIECES, pieces, False)
        if rounds:
            _put(z, ROUNDS, told, True)
            _put(z, ROUND_PIECES, blocks, False)
        for key in used:
            _put(z, f"images/{key}", images[key], False)
    write_whole(path, lambda out: out.write(packed.getvalue()))


def _too_large(what: str) -> EmblemaError:
    return EmblemaError(f"The {what} is too large to be opened again; the file was not written.")


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
    with Members(path) as members:
        if DOCUMENT not in members.names:
            raise EmblemaError(f"'{name}' is not an Emblema commission: {DOCUMENT} is missing.")
        doc, version = _document(name, members.read(DOCUMENT, MOST_JSON))
        kept = _kept(name, members) if {LAID, PIECES} <= set(members.names) else {}
        rounds = _rounds(name, members, kept, version) if ROUNDS in members.names else ()
        images = {
            key: _picture(name, members, key, what)
            for key, what in _pictures_of(doc, rounds).items()
        }
    return Work(doc, images, kept, rounds)


def _laid(kept: Kept) -> tuple[bytes, bytes]:
    """Return what stands as an index of JSON and the packed pieces, one field after the other."""
    blocks: list[bytes] = []

    def put(block: bytes) -> int:
        blocks.append(block)
        return len(block)

    return json.dumps(rows_of(kept, put), ensure_ascii=False).encode(), b"".join(blocks)


def _kept(name: str, members: Members) -> Kept:
    """Return what stands of each field."""
    data, at = members.read(PIECES, MOST_PIECES_BYTES), 0

    def block(size: Any) -> bytes:
        nonlocal at
        if type(size) is not int or not 0 <= size <= len(data) - at:
            raise ValueError("the pieces are not as many as it says")
        at += size
        return data[at - size : at]

    try:
        return kept_of(read_json(members.read(LAID, MOST_JSON)), block)
    except (ValueError, KeyError, TypeError) as e:
        raise EmblemaError(f"'{name}' is damaged: {LAID} cannot be read ({e}).") from e


def _rounds(name: str, members: Members, kept: Kept, version: int) -> tuple[Round, ...]:
    """Return the rounds that a file keeps; blocks that stand are not kept twice."""
    try:
        index = members.read(ROUNDS, MOST_JSON)
        data = members.read(ROUND_PIECES, MOST_PIECES_BYTES)
        return file.read(index, data, kept, lambda raw: _migrated(raw, version))
    except EmblemaError as e:
        raise EmblemaError(f"'{name}' cannot be opened: {lowered(e)}") from e
    except (ValueError, KeyError, TypeError, IndexError, AttributeError) as e:
        raise EmblemaError(f"'{name}' is damaged: {ROUNDS} cannot be read ({e}).") from e


def _pictures_of(doc: Commission, rounds: Sequence[Round]) -> dict[str, str]:
    """Return the pictures of a document and its rounds: what each is, by its key."""
    return {key: what for d in (*(r.doc for r in rounds), doc) for key, what in d.pictures.items()}


def _picture(name: str, members: Members, key: str, what: str) -> bytes:
    member = f"images/{key}"
    if member not in members.names:
        raise EmblemaError(f"'{name}': the {what} is missing from the file.")
    data = members.read(member, MOST_PICTURE, MOST_UNPACKED)
    if hashlib.sha256(data).hexdigest() != key.split(".")[0]:
        raise EmblemaError(f"'{name}': the {what} is damaged.")
    return data


def _document(name: str, data: bytes) -> tuple[Commission, int]:
    """Return the document, and the version of the file that it was read from."""
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
    try:
        doc = typed(Commission, _migrated(raw, version))
        check_document(doc)
    except EmblemaError as e:
        raise EmblemaError(f"'{name}' cannot be opened: {lowered(e)}") from e
    return doc, version


def _migrated(raw: dict[str, Any], version: int) -> dict[str, Any]:
    for step in range(version, VERSION):
        raw = MIGRATIONS[step](raw)
    return raw


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
