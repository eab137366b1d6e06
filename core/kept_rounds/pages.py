"""Two states of a work on paper: both pictures, what was said, what changed, and the figures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from core.colour.convert import bytes_from_lab, swatch_rgb
from core.colour.shown import shown_lab
from core.drawing import Item, Page, Paths, Rgb, Text
from core.kept_rounds.compare import Comparison, FieldChange, State, compare
from core.lettering import fitted, wrapped

WIDE_MM, HIGH_MM, MARGIN_MM = 297.0, 210.0, 12.0  # A4 lying (ISO 216)
GAP_MM: Final = 8.0
PICTURE_MM: Final = 96.0  # high at most
TEXT_MM, ROW_MM = 3.0, 5.0
MOST_WORDS: Final = 6  # lines of what was said under a picture
GREY: Rgb = (110, 110, 110)
FAINT: Rgb = (190, 190, 190)
HOW = {"added": "new", "gone": "gone", "changed": ""}


@dataclass(frozen=True, slots=True)
class Table:
    """Rows of words under their heads; `wide` are shares of the page."""

    title: str
    heads: tuple[str, ...]
    wide: tuple[float, ...]
    rows: list[tuple[str, ...]] = field(default_factory=list)


def compare_pages(a: State, b: State) -> tuple[Page, ...]:
    """Return pages that compare two states of a work, A4 lying."""
    found = compare(a, b)
    items, y = _first(a, b)
    tables = tables_of(found, a, b)
    pages: list[list[Item]] = [items]
    for table in tables:
        for k, row in enumerate(table.rows or [("Nothing",)]):
            if y + (3 if k == 0 else 1) * ROW_MM > HIGH_MM - MARGIN_MM:
                pages.append([])
                y = MARGIN_MM + 3
                k = 0
            if k == 0:
                pages[-1] += _heads(table, y)
                y += 2.4 * ROW_MM
            pages[-1] += _row(table, row, y)
            y += ROW_MM
        y += ROW_MM
    n = len(pages)
    return tuple(
        Page(WIDE_MM, HIGH_MM, f"Page {k}", (*page, _foot(b.doc.title, k, n)))
        for k, page in enumerate(pages, 1)
    )


def tables_of(found: Comparison, a: State, b: State) -> list[Table]:
    """Return what differs as tables of words: the figures, the fields, the materials."""
    sums = Table("Figures", ("", a.name, b.name, "Difference"), (0.2, 0.3, 0.3, 0.2))
    for s in found.sums:
        shown = [x.shown if x is not None else "" for x in (s.before, s.after)]
        sums.rows.append((s.name, *shown, s.shown))
    counts = ("Before", "Taken up", "Laid", "After")
    fields = Table(
        "What changed by field", ("Field", "What", *counts), (0.2, 0.4, 0.1, 0.1, 0.1, 0.1)
    )
    for f in found.fields:
        fields.rows.append((f.name, _what(f), *_counted(f.before, f.out, f.put_in, f.after)))
    materials = Table(
        "Pieces by material", ("Material", "", *counts), (0.2, 0.4, 0.1, 0.1, 0.1, 0.1)
    )
    said = {m.code: m.said for s in (a, b) for m in s.doc.materials}
    for m in found.materials:
        row = _counted(m.before, m.out, m.put_in, m.after)
        materials.rows.append((m.code or "none", said.get(m.code, ""), *row))
    return [sums, fields, materials]


def picture(s: State, x: float, y: float, wide: float, high: float) -> Iterator[Item]:
    """Return a state drawn as large as fits in a box, its upper left corner there."""
    by = min(wide / s.doc.width_mm, high / s.doc.height_mm)
    at = np.array([x, y])
    frame = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * (s.doc.width_mm, s.doc.height_mm)
    grout, _ = swatch_rgb(s.doc.grout_lab)
    yield Paths.of([frame * by + at], pen_mm=0.15, pen=GREY, fill=grout)
    rgb, shapes = [], []
    for f in s.layout.fields:
        if len(f.pieces):
            rgb.append(bytes_from_lab(shown_lab(s.doc, f)))
            shapes.append(f.pieces.polygons)
    if not shapes:
        return
    polygons, colours = np.concatenate(shapes), np.concatenate(rgb)
    each, of = np.unique(colours, axis=0, return_inverse=True)
    for k, colour in enumerate(each.tolist()):
        paths = Paths.around(polygons[of.ravel() == k], pen=None, fill=tuple(colour))
        yield Paths(paths.points * by + at, paths.starts, pen=None, fill=paths.fill)


def _first(a: State, b: State) -> tuple[list[Item], float]:
    """Return the head of the first page with both pictures, and where it ends."""
    m = MARGIN_MM
    items: list[Item] = [
        Text(m, m + 3, b.doc.title or "Commission", 6.0, bold=True),
        Text(m, m + 10, f"{a.name}  compared with  {b.name}", 3.4, colour=GREY),
    ]
    wide = (WIDE_MM - 2 * m - GAP_MM) / 2
    top, low = m + 16.0, 0.0
    for k, s in enumerate((a, b)):
        x = m + k * (wide + GAP_MM)
        by = min(wide / s.doc.width_mm, PICTURE_MM / s.doc.height_mm)
        items += picture(s, x, top, wide, PICTURE_MM)
        y = top + by * s.doc.height_mm + 5
        name, size = fitted(s.name, 3.4, wide, 2.2, bold=True)
        items.append(Text(x, y, name, size, bold=True))
        lines = [w for line in s.words.splitlines() for w in wrapped(line, TEXT_MM, wide)]
        if len(lines) > MOST_WORDS:
            lines = [*lines[: MOST_WORDS - 1], lines[MOST_WORDS - 1] + " ..."]
        for line in lines:
            y += 4.2
            items.append(Text(x, y, line, TEXT_MM))
        low = max(low, y)
    return items, low + 2 * ROW_MM


def _heads(table: Table, y: float) -> Iterator[Item]:
    yield Text(MARGIN_MM, y, table.title, 3.8, bold=True)
    yield from _row(table, table.heads, y + 1.2 * ROW_MM, GREY)
    under = y + 1.7 * ROW_MM
    ends = np.array([[MARGIN_MM, under], [WIDE_MM - MARGIN_MM, under]])
    yield Paths.of([ends], closed=False, pen_mm=0.15, pen=FAINT)


def _row(table: Table, row: Sequence[str], y: float, colour: Rgb = (0, 0, 0)) -> Iterator[Item]:
    room = WIDE_MM - 2 * MARGIN_MM
    x = MARGIN_MM
    for words, share in zip(row, table.wide, strict=False):
        cut, size = fitted(words, TEXT_MM, share * room - 2, 2.2)
        yield Text(x, y, cut, size, colour=colour)
        x += share * room


def _foot(title: str, k: int, n: int) -> Text:
    return Text(WIDE_MM - MARGIN_MM, HIGH_MM - 6, f"{title}   {k} of {n}", 2.4, "end", colour=GREY)


def _counted(*numbers: int) -> tuple[str, ...]:
    return tuple(f"{n:,}" for n in numbers)


def _what(f: FieldChange) -> str:
    if HOW[f.how]:
        return HOW[f.how]
    return ", ".join(f.what) or ("laid otherwise" if f.out or f.put_in else "")
