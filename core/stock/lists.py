"""Stock lists as CSV: reads the studio's own and a supplier's, and writes the studio's own.

A list is looked into first: its delimiter, its decimal sign and which of its headings mean what
are guessed and can be corrected before anything is taken. Taking a list goes line by line; a line
that cannot be stocked is refused with the reason and the rest is taken.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any, Final, NamedTuple

from core.colour.convert import lab_from_srgb
from core.errors import EmblemaError
from core.files import write_text
from core.material import (
    FINISHES,
    KINDS,
    OBTAINED,
    PACK_UNITS,
    PRICE_UNITS,
    Material,
    check_material,
)
from core.plaintext import csv_text, number, read_text, unguarded
from core.resources import asset

COLUMNS: Final = (
    "code",
    "description",
    "kind",
    "finish",
    "L",
    "a",
    "b",
    "length_mm",
    "width_mm",
    "thickness_mm",
    "density_kg_m3",
    "price",
    "price_unit",
    "pieces",
    "waste",
    "illuminant",
    "observer",
    "obtained",
    "grade",
    "supplier",
    "supplier_no",
    "broken",
    "off_colour",
    "wrong_size",
    "pieces_a_kg",
    "pack",
    "pack_unit",
    "absorption",
    "slip_ptv",
    "frost_cycles",
)
SCREEN_COLOUR: Final = "screen_colour"  # instead of L, a, b: sRGB as #rrggbb
_CHOSEN: Final = {
    "kind": KINDS,
    "finish": FINISHES,
    "obtained": OBTAINED,
    "price_unit": PRICE_UNITS,
    "pack_unit": PACK_UNITS,
}
_SHARES: Final = ("waste", "broken", "off_colour", "wrong_size")
_WHOLE: Final = ("pieces", "observer", "frost_cycles")
_NUMBERS: Final = frozenset(COLUMNS[4:12]).union(
    ("pieces_a_kg", "pack", "absorption", "slip_ptv"), _SHARES, _WHOLE
)

# Other words for our headings, letters and digits only.
_WORDS: Final[Mapping[str, str]] = {
    "code": "code colourcode itemcode item article articleno number no ref reference",
    "description": "description name title colourname material colour color",
    "kind": "kind type sort",
    "finish": "finish surface",
    "L": "l lstar labl cielabl lightness",
    "a": "a astar laba cielaba",
    "b": "b bstar labb cielabb",
    "length_mm": "lengthmm length",
    "width_mm": "widthmm width",
    "thickness_mm": "thicknessmm thickness depth height",
    "density_kg_m3": "densitykgm3 density",
    "price": "price unitprice cost",
    "price_unit": "priceunit unit per soldby",
    "pieces": "pieces piecesinhand inhand instock quantity qty count",
    "waste": "waste loss",
    "illuminant": "illuminant light",
    "observer": "observer",
    "obtained": "obtained",
    "grade": "grade quality",
    "supplier": "supplier source boughtfrom",
    "supplier_no": "suppliersno suppliersnumber suppliernumber suppliercode supplierscode theirno",
    "broken": "broken breakage",
    "off_colour": "offcolour offcolor",
    "wrong_size": "wrongsize offsize",
    "pieces_a_kg": "piecesakg piecesperkg piecesperkilo pcskg",
    "pack": "pack packsize packing",
    "pack_unit": "packunit",
    "absorption": "absorption waterabsorption",
    "slip_ptv": "slipptv ptv pendulum",
    "frost_cycles": "frostcycles frost",
    SCREEN_COLOUR: "screencolour hex rgb srgb hexcode",
}
_OURS: Final = {word: ours for ours, words in _WORDS.items() for word in words.split()}


class Refused(NamedTuple):
    """A line of a list that was not taken (1 is the first line of the file), and why."""

    line: int
    why: str


@dataclass(frozen=True, slots=True)
class StockList:
    """A CSV file looked into but not yet taken.

    Attributes
    ----------
    headings : tuple of str
    rows : tuple of (int, tuple of str)
        The line each record begins on, and its cells.
    delimiter, decimal : str
        As found: "," ";" tab or "|", and "." or ",".
    columns : mapping of str to int
        Our name of each column recognised, to its place in the file.
    """

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    delimiter: str
    decimal: str
    columns: Mapping[str, int]


def look_into(path: Path | str) -> StockList:
    """Read a CSV file and guess what its columns mean.

    Raises
    ------
    EmblemaError
        The file is missing, is not text or holds no table.
    """
    path = Path(path)
    text = read_text(path, "stock list")
    delimiter, records = max(
        ((d, _records(text, d, path.name)) for d in (",", ";", "\t", "|")), key=_regularity
    )
    if not records:
        raise EmblemaError(f"The stock list '{path.name}' is empty.")
    headings = tuple(cell.strip() for cell in records[0][1])
    columns: dict[str, int] = {}
    for place, heading in enumerate(headings):
        ours = (
            heading if heading in COLUMNS else _OURS.get(re.sub("[^a-z0-9]", "", heading.lower()))
        )
        if ours is not None:
            columns.setdefault(ours, place)
    numeric = [columns[c] for c in _NUMBERS if c in columns]
    cells = [row[k] for _, row in records[1:] for k in numeric if k < len(row)]
    return StockList(path.name, headings, tuple(records[1:]), delimiter, _decimal(cells), columns)


def take(
    found: StockList,
    columns: Mapping[str, int] | None = None,
    decimal: str | None = None,
    stocked: Mapping[str, Material] | None = None,
) -> tuple[tuple[Material, ...], tuple[Refused, ...]]:
    """Turn a list into materials, line by line.

    Parameters
    ----------
    columns : mapping of str to int, optional
        Our column names (`COLUMNS`, or `SCREEN_COLOUR` in place of L, a, b) to places in the
        file; the guess where left out.
    decimal : str, optional
        "." or ","; the guess where left out.
    stocked : mapping of str to Material, optional
        What there is already, by code. Of these, what a line does not say stays as it is: a
        price list leaves counts and colours alone. Of others it is the usual value.

    Raises
    ------
    EmblemaError
        No column gives the code, or none the colour of what is not stocked.
    """
    stocked = stocked or {}
    columns = found.columns if columns is None else columns
    decimal = found.decimal if decimal is None else decimal
    if "code" not in columns:
        raise EmblemaError(f"The stock list '{found.name}' has no column for the code.")
    codes = {row[columns["code"]].strip() for _, row in found.rows if columns["code"] < len(row)}
    coloured = SCREEN_COLOUR in columns or {"L", "a", "b"} <= set(columns)
    if not coloured and codes.isdisjoint(stocked):
        raise EmblemaError(
            f"The stock list '{found.name}' has no columns L, a and b (nor a screen colour)."
        )
    taken: dict[str, tuple[int, Material]] = {}
    refused = []
    for line, row in found.rows:
        cells = {ours: row[k].strip() for ours, k in columns.items() if k < len(row)}
        if not any(cell.strip() for cell in row):
            continue
        try:
            if len(row) > len(found.headings):
                raise EmblemaError(
                    f"there are {len(row)} values for {len(found.headings)} headings."
                )
            material = _material(cells, decimal, stocked.get(cells.get("code", "")))
            if material.code in taken:
                raise EmblemaError(
                    f"Material '{material.code}' is already on line {taken[material.code][0]}."
                )
            taken[material.code] = (line, material)
        except EmblemaError as error:
            refused.append(Refused(line, str(error)))
    return tuple(m for _, m in taken.values()), tuple(refused)


def read_stock_csv(
    path: Path | str, stocked: Mapping[str, Material] | None = None
) -> tuple[tuple[Material, ...], tuple[Refused, ...]]:
    """Read a stock list with the guesses of `look_into`; see `take`."""
    return take(look_into(path), stocked=stocked)


def write_stock_csv(path: Path | str, materials: Iterable[Material]) -> None:
    """Write the studio's own list: comma, decimal point, UTF-8; replaces the file in one step."""
    rows = [COLUMNS, *([_cell(m, column) for column in COLUMNS] for m in materials)]
    write_text(path, csv_text(rows))


@cache
def starter_stock() -> tuple[Material, ...]:
    """Return the stock that a new studio begins with: an example of what the trade sells."""
    materials, refused = read_stock_csv(asset("stock/starter.csv"))
    if refused:
        raise EmblemaError(f"The starter stock is damaged: line {refused[0].line}.")
    return tuple(replace(m, example=True) for m in materials)


def _records(text: str, delimiter: str, name: str) -> list[tuple[int, tuple[str, ...]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    records, line = [], 1
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                records.append((line, tuple(unguarded(cell) for cell in row)))
            line = reader.line_num + 1
    except csv.Error as error:
        raise EmblemaError(f"'{name}' is not a stock list: line {line} cannot be read.") from error
    return records


def _regularity(found: tuple[str, list[tuple[int, tuple[str, ...]]]]) -> tuple[float, int]:
    """Rank a delimiter: how many of the first records are as wide as the headings, and how wide."""
    records = found[1][:50]
    width = len(records[0][1]) if records else 0
    if width < 2:
        return (0.0, width)
    return (sum(len(row) == width for _, row in records) / len(records), width)


def _decimal(cells: Iterable[str]) -> str:
    point = comma = 0
    for cell in cells:
        point += re.search(r"\d\.\d", cell) is not None
        comma += re.search(r"\d,\d", cell) is not None
    return "," if comma > point else "."


def _number(cell: str, what: str, decimal: str) -> Decimal:
    plain = re.sub(r"[\s'’_\u00a0\u202f]", "", cell).replace("\u2212", "-")
    other = "," if decimal == "." else "."
    if re.fullmatch(rf"[+-]?\d{{1,3}}(\{other}\d{{3}})+(\{decimal}\d*)?", plain):
        plain = plain.replace(other, "")
    value = None if other in plain else number(plain.replace(decimal, "."))
    if value is None:
        said = cell if len(cell) <= 40 else f"{cell[:40]}..."
        raise EmblemaError(f"{what} '{said}' is not a number that can be used.")
    return value


def _material(cells: Mapping[str, str], decimal: str, before: Material | None) -> Material:
    if not cells.get("code"):
        raise EmblemaError("the code is missing.")
    given: dict[str, Any] = {}
    if before is None or any(cells.get(c) for c in ("L", "a", "b", SCREEN_COLOUR)):
        # another colour is not under the old one's light
        given = {"illuminant": "D65", "observer": 2, "obtained": "estimated"}
        given["lab"] = _lab(cells, decimal)
    for f in fields(Material):
        cell = cells.get(f.name, "")
        if cell == "":
            continue
        elif f.name == "price":
            given["price"] = _number(re.sub(r"^[^\d+\-.,]+|[^\d.,]+$", "", cell), "price", decimal)
        elif f.name in _SHARES:
            percent = cell.endswith("%")
            share = _number(cell.rstrip("% "), f.name, decimal)
            given[f.name] = float(share / 100 if percent else share)
        elif f.name in _WHOLE:
            count = _number(cell, f.name, decimal)
            if count != int(count):
                raise EmblemaError(f"{f.name} '{cell}' is not a whole number.")
            given[f.name] = int(count)
        elif f.name in _NUMBERS:
            given[f.name] = float(_number(cell, f.name, decimal))
        elif f.name in _CHOSEN:
            word = cell.lower().replace("²", "2")
            given[f.name] = word if word in _CHOSEN[f.name] else cell
        elif f.name == "illuminant":
            given[f.name] = cell.upper()
        else:
            given[f.name] = cell
    if before is not None:
        material = replace(before, **given)
    else:
        material = Material(**{"description": given["code"], "kind": "other", **given})
    check_material(material)
    return material


def _lab(cells: Mapping[str, str], decimal: str) -> tuple[float, float, float]:
    screen = cells.get(SCREEN_COLOUR, "")
    if screen and not cells.get("L"):
        digits = screen.removeprefix("#")
        if not re.fullmatch("[0-9a-fA-F]{6}", digits):
            raise EmblemaError(f"screen colour '{screen}' is not of the form #rrggbb.")
        light, a, b = lab_from_srgb([v / 255 for v in bytes.fromhex(digits)])
        return (round(float(light), 4), round(float(a), 4), round(float(b), 4))
    for name in ("L", "a", "b"):
        if not cells.get(name):
            raise EmblemaError(f"the colour's {name} is missing.")
    light, a, b = (float(_number(cells[name], name, decimal)) for name in ("L", "a", "b"))
    return (light, a, b)


def _cell(m: Material, column: str) -> str:
    if column in ("L", "a", "b"):
        return repr(float(m.lab["Lab".index(column)]))
    value = getattr(m, column)
    return f"{value:f}" if isinstance(value, Decimal) else str(value)
