"""Two states of a work side by side: what changed by field, by material, and in the figures.

A piece counts as the same where it lies corner for corner as it lay and is laid in the same
material.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from core.agreed import piece_marks
from core.commission import Commission, Field
from core.figures import figures
from core.geometry import polygon_of
from core.kept_rounds.round import Round, Sum, summary
from core.pieces import Layout
from core.plan import Planner

CHANGED, ADDED, GONE = "changed", "added", "gone"
NAMES = {  # what choices are called where a field's choices are told
    "opus": "laying",
    "tessera_mm": "tessera",
    "joint_mm": "joint",
    "follow_border": "courses follow the border",
    "unseen": "where the sketch is not seen",
    "wanted_lab": "wanted colour",
    "at_most": "number of colours",
    "sketch_move": "its part of the sketch",
    "sketch_times": "size of its part of the sketch",
    "blend": "mixture",
}


@dataclass(frozen=True, slots=True)
class State:
    """A work at one time: what it is called, what was said, the document, its pieces, figures."""

    name: str
    words: str
    doc: Commission
    layout: Layout
    sums: tuple[Sum, ...]


@dataclass(frozen=True, slots=True)
class FieldChange:
    """One field that differs: how (`CHANGED`, `ADDED`, `GONE`), in what, and its pieces.

    `out` pieces of those `before` are taken up, `put_in` are laid, which leaves those `after`.
    """

    name: str
    how: str
    what: tuple[str, ...]
    before: int
    out: int
    put_in: int
    after: int


@dataclass(frozen=True, slots=True)
class MaterialChange:
    """One material (no code: none) of which pieces are taken up or laid, as in `FieldChange`."""

    code: str
    before: int
    out: int
    put_in: int
    after: int


@dataclass(frozen=True, slots=True)
class SumChange:
    """A figure of both; None where one of them has it not."""

    name: str
    before: Sum | None
    after: Sum | None

    @property
    def difference(self) -> Decimal | None:
        """By how much it is more, None where that cannot be said."""
        a, b = self.before, self.after
        if a is None or b is None or a.unit != b.unit:
            return None
        return b.amount - a.amount

    @property
    def shown(self) -> str:
        """The difference with its sign and unit."""
        d = self.difference
        if d is None:
            return ""
        return f"{d:+,} {self.after.unit}".rstrip() if d and self.after else "as before"


@dataclass(frozen=True, slots=True)
class Comparison:
    """All that differs from one state to another."""

    fields: tuple[FieldChange, ...]
    materials: tuple[MaterialChange, ...]
    sums: tuple[SumChange, ...]


def state_now(doc: Commission, layout: Layout, name: str = "Now") -> State:
    """Return the present work as a state."""
    return State(name, "", doc, layout, summary(figures(doc, layout), doc.currency))


def state_of(r: Round, images: Mapping[str, bytes]) -> State:
    """Return a round as a state, its pieces as they were kept and its figures as reckoned then."""
    planner = Planner()
    try:
        layout = planner.layout(r.doc, images, kept=r.kept)
    finally:
        planner.close()
    return State(r.title, r.words, r.doc, layout, r.sums)


def compare(a: State, b: State) -> Comparison:
    """Return what differs from one state to another."""
    was, now = _pieces(a), _pieces(b)
    out, put_in = was - now, now - was
    pairs = _pairs(a.doc, b.doc)
    return Comparison(
        _fields(pairs, was, now, out, put_in),
        _materials(a, b, was, now, out, put_in),
        _sums(a.sums, b.sums),
    )


Place = tuple[str, str, int]  # of a piece: its field's id, its material, where it lies


def _pieces(s: State) -> Counter[Place]:
    """Return all pieces of a state."""
    marks = iter(piece_marks(s.doc, s.layout).tolist())
    codes = [*(m.code for m in s.doc.materials), ""]
    return Counter(
        (f.field_id, codes[k], next(marks)) for f in s.layout.fields for k in f.stock.tolist()
    )


def _pairs(a: Commission, b: Commission) -> list[tuple[Field | None, Field | None]]:
    """Return the fields of both in the order of the later, those that are gone last.

    An id is given again once its field is gone: what neither has the name nor lies where the
    other lay is another field.
    """
    before = {f.id: f for f in a.fields}
    pairs: list[tuple[Field | None, Field | None]] = []
    for f in b.fields:
        was = before.get(f.id)
        if was is not None and was.name != f.name:
            was = was if polygon_of(was.outline).intersects(polygon_of(f.outline)) else None
        if was is not None:
            del before[f.id]
        pairs.append((was, f))
    return [*pairs, *((f, None) for f in before.values())]


def _fields(
    pairs: list[tuple[Field | None, Field | None]],
    was: Counter[Place],
    now: Counter[Place],
    out: Counter[Place],
    put_in: Counter[Place],
) -> tuple[FieldChange, ...]:
    by_id = [_by(pieces, 0) for pieces in (was, out, put_in, now)]
    changes = []
    for a, b in pairs:
        f = b or a
        assert f is not None
        before, gone, new, after = (n[f.id] for n in by_id)
        if a is None:
            changes.append(FieldChange(f.name, ADDED, (), 0, 0, after, after))
        elif b is None:
            changes.append(FieldChange(f.name, GONE, (), before, before, 0, 0))
        elif a != b or gone or new:
            what = _what(a, b)
            changes.append(FieldChange(f.name, CHANGED, what, before, gone, new, after))
    return tuple(changes)


def _materials(
    a: State,
    b: State,
    was: Counter[Place],
    now: Counter[Place],
    out: Counter[Place],
    put_in: Counter[Place],
) -> tuple[MaterialChange, ...]:
    codes = dict.fromkeys([*(m.code for s in (b, a) for m in s.doc.materials), ""])
    by_code = [_by(pieces, 1) for pieces in (was, out, put_in, now)]
    rows = (MaterialChange(code, *(n[code] for n in by_code)) for code in codes)
    return tuple(row for row in rows if row.out or row.put_in)


def _by(pieces: Counter[Place], k: int) -> Counter[str]:
    """Return how many pieces there are of each field (0) or material (1)."""
    found: Counter[str] = Counter()
    for place, n in pieces.items():
        found[str(place[k])] += n
    return found


def _sums(a: tuple[Sum, ...], b: tuple[Sum, ...]) -> tuple[SumChange, ...]:
    before, after = ({s.name: s for s in sums} for sums in (a, b))
    names = dict.fromkeys([*after, *before])
    return tuple(SumChange(name, before.get(name), after.get(name)) for name in names)


def _what(a: Field, b: Field) -> tuple[str, ...]:
    """Return in words in what a field differs, its pieces apart."""
    words = []
    if a.name != b.name:
        words.append(f"was named {a.name}")
    if a.outline != b.outline:
        by = (polygon_of(b.outline).area - polygon_of(a.outline).area) / 100
        words.append(f"outline ({by:+,.1f} cm²)" if abs(by) >= 0.05 else "outline")
    if a.motif != b.motif:
        words.append(f"motif {a.motif or 'none'} to {b.motif or 'none'}")
    for was, now in ((a.laying, b.laying), (a.colour, b.colour)):
        words += [
            _choice(f.name, getattr(was, f.name), getattr(now, f.name))
            for f in dataclasses.fields(was)
            if getattr(was, f.name) != getattr(now, f.name)
        ]
    return tuple(words)


def _choice(name: str, was: Any, now: Any) -> str:
    if name == "shift_lab":
        light, red, yellow = (b - a for a, b in zip(was, now, strict=True))
        pairs = [("darker", "lighter", light)]
        if red * yellow > 0:
            pairs.append(("cooler", "warmer", red))
        else:
            pairs += [("greener", "redder", red), ("bluer", "yellower", yellow)]
        return ", ".join(more if by > 0 else less for less, more, by in pairs if by)
    words = NAMES.get(name, name.removesuffix("_mm").replace("_", " "))
    if isinstance(was, bool):
        return words if now else f"no longer: {words}"
    if isinstance(was, str | int | float) and isinstance(now, str | int | float):
        return f"{words} {was or 'none'} to {now or 'none'}"
    return words
