"""Words and tables that flow down upright pages of A4 as they fill: figures, orders, lists."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.drawing import Page, Paths, Rgb, Text
from core.lettering import LEAST_MM, fitted, wide_mm, wrapped
from core.paper.sizes import PAPERS

MARGIN_MM = 14.0
FOOT_MM = 8.0
SIZE_MM = 3.0
LONGEST_CELL = 400  # signs of a cell that are shown: the lists hold all
LINE = 1.4  # of the size, from line to line
GAP_MM = 3.0  # between columns
GREY: Rgb = (110, 110, 110)
FAINT: Rgb = (200, 200, 200)
RED: Rgb = (168, 40, 30)

Items = list[Paths | Text]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table: its head, its share of the width, whether figures end at its right."""

    head: str
    share: float
    figures: bool = False


class Report:
    """Pages in the making: what is said next stands beneath what was said before."""

    def __init__(self, title: str, beneath: str, foot: str) -> None:
        self.width_mm, self.height_mm = PAPERS["A4"][1], PAPERS["A4"][0]
        self.title, self.foot = title, foot
        self._pages: list[Items] = []
        self._turn()
        head, size = fitted(title, 7.0, self._wide, 3.5, bold=True)
        self._put(Text(MARGIN_MM, self._y + 3, head, size, bold=True))
        self._y += 10.0
        self.say(beneath, colour=GREY)
        self._y += 2.0

    @property
    def _wide(self) -> float:
        return self.width_mm - 2 * MARGIN_MM

    @property
    def _low(self) -> float:
        return self.height_mm - MARGIN_MM - FOOT_MM

    def _put(self, *items: Paths | Text) -> None:
        self._pages[-1].extend(items)

    def _turn(self) -> None:
        self._pages.append([])
        self._y = MARGIN_MM

    def room(self, high_mm: float) -> bool:
        """Turn to a new page where so much has no room; return whether it was turned."""
        if self._y + high_mm <= self._low or self._y == MARGIN_MM:
            return False
        self._turn()
        return True

    def head(self, words: str) -> None:
        """Begin a part, with room for something beneath its head."""
        self.room(26.0)
        self._y += 3.0
        line, size = fitted(words, 4.2, self._wide, LEAST_MM, bold=True)
        self._put(Text(MARGIN_MM, self._y, line, size, bold=True))
        self._y += 6.0

    def say(self, words: str, size: float = SIZE_MM, colour: Rgb = (0, 0, 0)) -> None:
        """Say something, in as many lines as it takes."""
        for line in wrapped(words, size, self._wide):
            self.room(LINE * size)
            self._put(Text(MARGIN_MM, self._y, line, size, colour=colour))
            self._y += LINE * size
        self._y += 0.5 * size

    def table(
        self,
        columns: Sequence[Column],
        rows: Sequence[Sequence[str]],
        last: Sequence[str] = (),
        marked: Sequence[bool] = (),
        size: float = 2.6,
    ) -> None:
        """Set a table; its heads stand again on every page that it runs on to.

        Parameters
        ----------
        rows : sequence of sequence of str
            Words wrap in their cell; a figure is made smaller, down to what can still be read.
        last : sequence of str, optional
            The sums, in bold beneath a line.
        marked : sequence of bool, optional
            Which rows stand out.
        """
        total = sum(c.share for c in columns)
        sides = MARGIN_MM + np.cumsum([0.0, *(c.share for c in columns)]) / total * self._wide
        lefts, rights = sides[:-1].tolist(), (sides[1:] - GAP_MM).tolist()
        rights[-1] = float(sides[-1])
        heads = [c.head for c in columns]
        red = [RED if k < len(marked) and marked[k] else (0, 0, 0) for k in range(len(rows))]
        self._row(columns, heads, lefts, rights, size, GREY, ruled=True)
        for row, colour in zip(rows, red, strict=True):
            if self.room(self._high(columns, row, lefts, rights, size)):
                self._row(columns, heads, lefts, rights, size, GREY, ruled=True)
            self._row(columns, row, lefts, rights, size, colour)
        if last:
            self.room(self._high(columns, last, lefts, rights, size))
            self._rule(-1.2)
            self._row(columns, last, lefts, rights, size, (0, 0, 0), bold=True)
        self._y += 2.0

    def _cells(
        self,
        columns: Sequence[Column],
        row: Sequence[str],
        lefts: list[float],
        rights: list[float],
        size: float,
        bold: bool = False,
    ) -> list[list[str]]:
        return [
            [words] if c.figures else wrapped(words[:LONGEST_CELL], size, x1 - x0, bold)
            for c, words, x0, x1 in zip(columns, row, lefts, rights, strict=True)
        ]

    def _high(
        self,
        columns: Sequence[Column],
        row: Sequence[str],
        lefts: list[float],
        rights: list[float],
        size: float,
    ) -> float:
        lines = max(len(c) for c in self._cells(columns, row, lefts, rights, size))
        return LINE * size * max(lines, 1) + 1.0

    def _row(
        self,
        columns: Sequence[Column],
        row: Sequence[str],
        lefts: list[float],
        rights: list[float],
        size: float,
        colour: Rgb,
        bold: bool = False,
        ruled: bool = False,
    ) -> None:
        cells = self._cells(columns, row, lefts, rights, size, bold)
        for c, lines, x0, x1 in zip(columns, cells, lefts, rights, strict=True):
            for k, words in enumerate(lines):
                at = x1 if c.figures else x0
                words, small = fitted(words, size, x1 - x0, LEAST_MM, bold)
                y = self._y + k * LINE * size
                anchor = "end" if c.figures else "start"
                self._put(Text(at, y, words, small, anchor, colour=colour, bold=bold))
        self._y += LINE * size * max(max(len(c) for c in cells), 1) + 1.0
        if ruled:
            self._rule(-1.4)

    def _rule(self, off_mm: float) -> None:
        y = self._y + off_mm - 0.6
        ends = np.array([[MARGIN_MM, y], [self.width_mm - MARGIN_MM, y]])
        self._put(Paths.of([ends], closed=False, pen_mm=0.15, pen=FAINT))
        self._y += 0.8

    def pages(self) -> list[Page]:
        """Return the pages as they stand, each with its foot and number."""
        out = []
        y = self.height_mm - MARGIN_MM
        for k, items in enumerate(self._pages, 1):
            number = f"{k} of {len(self._pages)}"
            room = self._wide - wide_mm(number, 2.6) - 4
            foot, size = fitted(self.foot, 2.6, room, LEAST_MM)
            at_foot = Text(MARGIN_MM, y, foot, size, colour=GREY)
            count = Text(self.width_mm - MARGIN_MM, y, number, 2.6, "end", colour=GREY)
            page = Page(self.width_mm, self.height_mm, str(k), tuple(items))
            out.append(replace(page, items=(*page.items, at_foot, count)))
        return out
