"""Measured colours from a spectrophotometer's CGATS.17 text file, as ISO 28178 describes it.

A file holds one or more tables: a data format that names the columns, then the data. Colours are
taken from L*a*b*, else from XYZ, else from reflectances, and brought to D65 and the 2 degree
observer, the light that the rest of the program works under.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from core.colour.convert import WHITES, lab_from_xyz, lab_under_d65
from core.colour.science import colour_science
from core.errors import EmblemaError
from core.material import Lab, Material

_LAB: Final = ("LAB_L", "LAB_A", "LAB_B")
_XYZ: Final = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_BAND: Final = re.compile(r"(?:SPECTRAL_)?(?:NM|R)?_?(\d{3})(?:\.0+)?$")


@dataclass(frozen=True, slots=True)
class Sample:
    """One measured sample: its id and name in the file, and its colour under D65, 2 degrees."""

    id: str
    name: str
    lab: Lab
    line: int


@dataclass(frozen=True, slots=True)
class _Table:
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    keywords: Mapping[str, str]


def is_cgats(path: Path | str) -> bool:
    """Return whether a file looks like measurements, whatever it is called."""
    try:
        with Path(path).open("rb") as file:
            begin = file.read(1 << 16)
    except OSError as error:
        raise EmblemaError(f"'{path}' cannot be opened: {error.strerror}.") from error
    return b"BEGIN_DATA" in begin or begin.lstrip(b"\xef\xbb\xbf \r\n").startswith(b"CGATS")


def read_cgats(
    path: Path | str, illuminant: str | None = None, observer: int | None = None
) -> tuple[Sample, ...]:
    """Read every sample of a file.

    Parameters
    ----------
    illuminant, observer
        What L*a*b* or XYZ were measured under, where the file does not say; D50 and 2 degrees,
        the instruments' usual setting, where left out.

    Raises
    ------
    EmblemaError
        The file is no such file, or a line of it cannot be read; the line is named.

    References
    ----------
    ANSI CGATS.17-2009; ISO 28178:2009.
    """
    path = Path(path)
    try:
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise EmblemaError(f"The measurements '{path}' cannot be opened.") from error
    samples: list[Sample] = []
    for table in _tables(text, path.name):
        said = _measured_under(table.keywords)
        light = illuminant or said[0] or "D50"
        eye = observer or said[1] or 2
        if (light, eye) not in WHITES:
            raise EmblemaError(
                f"'{path.name}' was measured under '{light}' at {eye} degrees, which is not known."
            )
        samples += _samples(table, path.name, light, eye)
    if not samples:
        raise EmblemaError(f"'{path.name}' holds no measured colours.")
    return tuple(samples)


def with_measured(
    materials: Iterable[Material], samples: Iterable[Sample]
) -> tuple[tuple[Material, ...], tuple[str, ...]]:
    """Give materials their measured colour, where a sample's name or id is the material's code.

    Returns
    -------
    materials : tuple of Material
        Those that were measured, changed; the mean where one was measured several times.
    unknown : tuple of str
        Names of samples that are no material's code.
    """
    by_code = {m.code: m for m in materials}
    found: dict[str, list[Lab]] = {}
    unknown = []
    for s in samples:
        code = next((c for c in (s.name, s.id) if c in by_code), None)
        if code is None:
            unknown.append(s.name or s.id)
        else:
            found.setdefault(code, []).append(s.lab)
    changed = []
    for code, labs in found.items():
        light, a, b = (round(float(v), 4) for v in np.mean(labs, axis=0))
        changed.append(
            replace(
                by_code[code], lab=(light, a, b), illuminant="D65", observer=2, obtained="measured"
            )
        )
    return tuple(changed), tuple(unknown)


def _tables(text: str, name: str) -> list[_Table]:
    if "BEGIN_DATA_FORMAT" not in text:
        raise EmblemaError(f"'{name}' is not a CGATS file: it names no columns.")
    tables = []
    keywords: dict[str, str] = {}
    columns: list[str] = []
    rows: list[tuple[int, tuple[str, ...]]] = []
    part = ""
    for number, line in enumerate(text.splitlines(), 1):
        bare = line.strip()
        if not bare or bare.startswith("#"):
            continue
        word = bare.split()[0].upper()
        if word in ("BEGIN_DATA_FORMAT", "BEGIN_DATA"):
            part = word
            if part == "BEGIN_DATA_FORMAT":
                columns = []
        elif word == "END_DATA_FORMAT":
            part = ""
        elif word == "END_DATA":
            tables.append(_table(columns, rows, keywords, name))
            rows, part = [], ""
        elif part == "BEGIN_DATA_FORMAT":
            columns += [c.upper() for c in bare.split()]
        elif part == "BEGIN_DATA":
            cells = _cells(line, number, name)
            if len(cells) != len(columns):
                raise EmblemaError(
                    f"'{name}', line {number}: {len(cells)} values for {len(columns)} columns."
                )
            rows.append((number, cells))
        else:
            keywords[word] = bare[len(word) :].strip().strip('"')
    if part:
        raise EmblemaError(
            f"'{name}' ends in the middle: {part.replace('BEGIN', 'END')} is missing."
        )
    return tables


def _table(
    columns: list[str],
    rows: list[tuple[int, tuple[str, ...]]],
    keywords: Mapping[str, str],
    name: str,
) -> _Table:
    said = keywords.get("NUMBER_OF_SETS", "")
    if said.isdigit() and int(said) != len(rows):
        raise EmblemaError(f"'{name}' says that it holds {said} samples, but it holds {len(rows)}.")
    return _Table(tuple(columns), tuple(rows), dict(keywords))


def _cells(line: str, number: int, name: str) -> tuple[str, ...]:
    """Split a line of data: at tabs where it has any, so that names may hold blanks."""
    if "\t" in line:
        return tuple(cell.strip().strip('"') for cell in line.strip("\r\n\t ").split("\t"))
    try:
        lexer = shlex.shlex(line, posix=True)
        lexer.whitespace_split, lexer.commenters, lexer.quotes, lexer.escape = True, "", '"', ""
        return tuple(lexer)
    except ValueError:
        raise EmblemaError(f"'{name}', line {number}: a quotation mark is not closed.") from None


def _measured_under(keywords: Mapping[str, str]) -> tuple[str | None, int | None]:
    text = " ".join(f"{k}={v}" for k, v in keywords.items())
    light = re.search(r"ILLUMIN\w*\W+(D50|D55|D65|A|C)\b", text, re.IGNORECASE)
    eye = re.search(r"OBSERVER\w*\W+(10|2)\b", text, re.IGNORECASE)
    return (light[1].upper() if light else None, int(eye[1]) if eye else None)


def _samples(table: _Table, name: str, illuminant: str, observer: int) -> list[Sample]:
    place = {c: k for k, c in enumerate(table.columns)}
    bands = {int(m[1]): k for c, k in place.items() if (m := _BAND.match(c))}
    if set(_LAB) <= set(place):
        wanted = [place[c] for c in _LAB]
    elif set(_XYZ) <= set(place):
        wanted = [place[c] for c in _XYZ]
    elif len(bands) >= 10:
        wanted = [bands[nm] for nm in sorted(bands)]
    else:
        raise EmblemaError(f"'{name}' holds neither L*a*b* nor XYZ nor reflectances.")
    if not table.rows:
        return []
    values = np.array([_numbers(row, wanted, number, name) for number, row in table.rows])
    if wanted == [place.get(c) for c in _LAB]:
        lab = lab_under_d65(values, illuminant, observer)
    elif wanted == [place.get(c) for c in _XYZ]:
        white = WHITES[illuminant, observer]
        lab = lab_under_d65(lab_from_xyz(values / 100, white), illuminant, observer)
    else:
        lab = _lab_of_reflectance(np.array(sorted(bands)), values)
    low, high = lab[:, 0].min(), lab[:, 0].max()
    if low < -1 or high > 110:
        worst = int(np.argmax(np.abs(lab[:, 0] - 50)))
        raise EmblemaError(
            f"'{name}', line {table.rows[worst][0]}: L* would be {lab[worst, 0]:.1f}; it must be "
            "0 to 100."
        )
    lab[:, 0] = np.clip(lab[:, 0], 0, 100)
    id_at, name_at = place.get("SAMPLE_ID"), place.get("SAMPLE_NAME")
    return [
        Sample(
            row[id_at] if id_at is not None else str(k + 1),
            row[name_at] if name_at is not None else "",
            (float(colour[0]), float(colour[1]), float(colour[2])),
            number,
        )
        for k, ((number, row), colour) in enumerate(zip(table.rows, lab, strict=True))
    ]


def _numbers(row: tuple[str, ...], wanted: list[int], line: int, name: str) -> list[float]:
    try:
        found = [float(row[k].replace(",", ".")) for k in wanted]
    except ValueError:
        bad = next(row[k] for k in wanted if not _is_number(row[k]))
        raise EmblemaError(f"'{name}', line {line}: '{bad}' is not a number.") from None
    if not np.isfinite(found).all():
        raise EmblemaError(f"'{name}', line {line}: a value is not a number.")
    return found


def _is_number(cell: str) -> bool:
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True


def _lab_of_reflectance(nm: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return CIELAB under D65, 2 degrees, of reflectances (n, bands), as shares or per cent."""
    colour = colour_science()
    values = values / 100 if values.max() > 2 else values
    steps = np.unique(np.diff(nm))
    interval = int(steps[0]) if len(steps) == 1 else 10
    grid = np.arange(max(nm[0], 360), min(nm[-1], 780) + 1, interval)
    shape = colour.SpectralShape(int(grid[0]), int(grid[-1]), interval)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    matching = observer.copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    at = np.stack([np.interp(grid, nm, row) for row in values])
    weight = matching * light[:, None]
    xyz = at @ weight / weight[:, 1].sum()
    # Against the perfect diffuser of these same sums, so that a coarse grid keeps white white.
    return lab_from_xyz(xyz, weight.sum(axis=0) / weight[:, 1].sum())
