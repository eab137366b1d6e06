"""Turns what was read from JSON into the document's dataclasses, and those into JSON.

Never one kind of value into another: text is no number, a number no yes or no. What does not fit
is told by its place.
"""

from __future__ import annotations

import dataclasses
import re
from decimal import Decimal
from typing import Any, TypeVar

import msgspec

from core.bounds import shown
from core.errors import EmblemaError

T = TypeVar("T")

_KINDS = {
    "str": "text",
    "int": "a whole number",
    "float": "a number",
    "bool": "yes or no",
    "array": "a list",
    "object": "a table",
    "decimal": "an amount",
    "null": "nothing",
}
# what the entries of a list are, from the outside in, and the attribute that they are known by
_ENTRIES: dict[str, tuple[tuple[str, ...], str]] = {
    "fields": (("field",), "name"),
    "flow_lines": (("flow line",), "id"),
    "materials": (("material",), "code"),
    "swaps": (("swap",), "old"),
    "edits": (("hand edit",), "kind"),
    "repeats": (("repeat",), "id"),
    "places": (("place",), ""),
    "motif_palettes": (("motif palette",), "motif"),
    "outline": (("part", "ring", "point", "coordinate"), ""),
    "unseen": (("part", "ring", "point", "coordinate"), ""),
    "points": (("point", "coordinate"), ""),
}
_UNITS = re.compile(r"_(mm|deg|rad|px|lab|id|kg_m3|kg_dm3|kg_m2_mm)$")
_STEP = re.compile(r"\.([^.\[\]`]+)|\[(\d+)\]")


def typed(kind: type[T], value: Any, whole: str = "the commission") -> T:
    """Return JSON as a dataclass.

    Parameters
    ----------
    whole : str
        What `value` is, for faults of its own kind.

    Raises
    ------
    EmblemaError
        A value is missing or of another kind; names its place and what it is.
    """
    try:
        return msgspec.convert(value, kind)
    except msgspec.ValidationError as e:
        fault, _, path = str(e).partition(" - at `$")
        place, found = _place(value, [a or int(b) for a, b in _STEP.findall(path)])
        words = _fault(fault, place or whole, found)
        raise EmblemaError(f"{words[0].upper()}{words[1:]}.") from e
    except UnicodeEncodeError as e:
        raise EmblemaError(
            f"In {whole} stands half a sign (code {ord(e.object[e.start])}), which is no letter."
        ) from e
    except RecursionError as e:
        raise EmblemaError(f"In {whole} one thing lies in another too many times over.") from e


def _fault(fault: str, place: str, value: Any) -> str:
    """Return in our words what is wrong with a value."""
    if found := re.match(r"Object missing required field `(\w+)`", fault):
        return f"{_plain(found[1])} is missing in {place}"
    if found := re.match(r"Expected `array` of length (\d+)", fault):
        return f"{place} has {len(value)} entries instead of {found[1]}"
    what = f"{place} is {_what(value)}, which is"
    if found := re.match(r"Expected `(\w+)", fault):
        return f"{what} not {_KINDS.get(found[1], found[1])}"
    return f"{what} not an amount" if "decimal" in fault else f"{what} out of range"


def _place(value: Any, steps: list[str | int]) -> tuple[str, Any]:
    """Return where a path leads, as one who never saw the file would say it, and what is there."""
    words: list[str] = []
    nouns: tuple[str, ...] = ()
    known_by = ""
    for step in steps:
        value = value[step]
        if isinstance(step, str):
            words.append(_plain(step))
            nouns, known_by = _ENTRIES.get(step, ((), ""))
            continue
        noun, nouns = (nouns[0], nouns[1:]) if nouns else ("entry", ())
        name = value.get(known_by) if isinstance(value, dict) else None
        if known_by:
            words.pop()  # "field 3" says as much as "fields, field 3"
        words.append(f"{noun} {step + 1}" + (f" '{shown(name)}'" if name else ""))
        known_by = ""
    return ", ".join(words), value


def _plain(name: str) -> str:
    return _UNITS.sub("", name).replace("_", " ")


def _what(value: Any) -> str:
    for kind, word in ((list, "a list"), (dict, "a table")):
        if isinstance(value, kind):
            return word
    if value is None or isinstance(value, bool):
        return {None: "nothing", True: "yes", False: "no"}[value]
    return f"the text '{shown(value)}'" if isinstance(value, str) else shown(value)


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
