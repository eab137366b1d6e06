"""Measured colours from a spectrophotometer's CGATS.17 text file, as ISO 28178 describes it.

A file holds one or more tables: a data format that names the columns, then the data. Colours are
taken from L*a*b*, else from XYZ, else from reflectances, and brought to D65 and the 2 degree
observer, the light that the rest of the program works under. Light, observer and scale are what
the file says; where it says nothing, what the standards say, and the reader is told so.
"""

from __future__ import annotations

import re
import shlex
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from core.colour.convert import WHITES, Floats, lab_from_xyz, lab_under_d65
from core.colour.science import colour_science
from core.errors import EmblemaError
from core.material import Lab, Material
from core.plaintext import decoded, number, read_text

_LAB: Final = ("LAB_L", "LAB_A", "LAB_B")
_XYZ: Final = ("XYZ_X", "XYZ_Y", "XYZ_Z")
# One column a band, under the names in use; PCT and DEC say per cent and share.
_BAND: Final = re.compile(r"(?:SPEC(?:TRAL)?_?)?(NM|R|PCT|DEC)?_?([0-9]{3})(?:\.0+)?(?:NM)?")
# The standard's own form: pairs of a wavelength and a value.
_PAIR: Final = {"SPECTRAL_PCT": "PCT", "SPECTRAL_DEC": "DEC"}
_LIGHT: Final = re.compile(
    r"ILLUMINA(?:NT|TION)(?:_?(?:NAME|TYPE))?[\s,:=\"']+([^\s,;\"']+)", re.IGNORECASE
)
_EYE: Final = re.compile(
    r"OBSERVER(?:_?(?:ANGLE|NAME|TYPE))?[\s,:=\"']+(?:CIE\s+)?([^\s,;\"']+)|"
    r"ILLUMINA(?:NT|TION)(?:_?(?:NAME|TYPE))?[\s,:=\"']+[A-Z0-9]+[/_-]([0-9]+)",
    re.IGNORECASE,
)
_LIGHT_NAME: Final = re.compile(r"(?:CIE[-_]?)?([A-Z]+[0-9]*)(?:[/_-][0-9]+(?:°|DEG\w*)?)?")
_NOT_SAID: Final = ("UNKNOWN", "NONE", "NA", "N/A", "-")
_EYES: Final = {"2": "2", "1931": "2", "10": "10", "1964": "10"}  # the observers' years too
_SAID_TWICE: Final = "says two different things of the {}: {}."


class UnknownScale(EmblemaError):
    """A file does not say whether its reflectances, or XYZ, are shares or per cent.

    `lightest` is the L* of its lightest sample either way, by what white would be: 1 or 100.
    """

    def __init__(self, words: str, lightest: dict[int, float]) -> None:
        super().__init__(words)
        self.lightest = lightest


@dataclass(frozen=True, slots=True)
class Sample:
    """One measured sample: its id and name in the file, and its colour under D65, 2 degrees."""

    id: str
    name: str
    lab: Lab
    line: int


@dataclass(frozen=True, slots=True)
class Measurements:
    """The samples of a file, and what had to be taken for granted in reading it."""

    samples: tuple[Sample, ...]
    notes: tuple[str, ...]


Keywords = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class _Table:
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[str, ...]], ...]
    keywords: Keywords  # in their order, each as often as it stands in the table's head
    above: tuple[Keywords, ...]  # the heads of the tables before, the nearest first


def is_cgats(path: Path | str) -> bool:
    """Return whether a file looks like measurements, whatever it is called."""
    try:
        with Path(path).open("rb") as file:
            begin = file.read(1 << 16)
    except OSError as error:
        raise EmblemaError(f"'{path}' cannot be opened: {error.strerror}.") from error
    text = decoded(begin[: len(begin) // 2 * 2]) or ""
    return "BEGIN_DATA" in text or text.lstrip().startswith("CGATS")


def read_cgats(
    path: Path | str,
    illuminant: str | None = None,
    observer: int | None = None,
    white: int | None = None,
) -> Measurements:
    """Read every sample of a file.

    Parameters
    ----------
    illuminant, observer
        What L*a*b* or XYZ were measured under, where the file does not say. D50 and 2 degrees
        where left out (ISO 13655), and a note says so.
    white : 1 or 100, optional
        What a perfect white is in XYZ's Y and in reflectances, where the file does not say. For
        XYZ 100 where left out (ISO 13655), and a note says so, unless all could as well be shares.

    Raises
    ------
    UnknownScale
        Nobody says whether reflectances, or XYZ of which no Y is above 1, are shares or per cent.
    EmblemaError
        The file is no such file, a line of it cannot be read (it is named), or its light or
        observer is not known.

    References
    ----------
    ANSI CGATS.17-2009; ISO 28178:2009. ISO 13655 (computing colour from spectra: D50, 2 degrees,
    Y = 100 for the perfect diffuser; from memory).
    """
    path = Path(path)
    samples: list[Sample] = []
    notes: dict[str, None] = {}
    for table in _tables(read_text(path, "file of measurements"), path.name):
        if table.rows:
            samples += _samples(table, path.name, (illuminant, observer, white), notes)
    if not samples:
        raise EmblemaError(f"'{path.name}' holds no measured colours.")
    return Measurements(tuple(samples), tuple(notes))


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
    keywords: list[tuple[str, str]] = []
    above: tuple[Keywords, ...] = ()
    columns: list[str] = []
    rows: list[tuple[int, tuple[str, ...]]] = []
    part = ""
    for line_number, line in enumerate(text.splitlines(), 1):
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
            tables.append(_table(columns, rows, tuple(keywords), above, name))
            above = (tuple(keywords), *above)
            rows, keywords, part = [], [], ""
        elif part == "BEGIN_DATA_FORMAT":
            columns += [c.upper() for c in bare.split()]
        elif part == "BEGIN_DATA":
            cells = _cells(line, line_number, name)
            if len(cells) != len(columns):
                raise EmblemaError(
                    f"'{name}', line {line_number}: {len(cells)} values for {len(columns)} columns."
                )
            rows.append((line_number, cells))
        else:
            keywords.append((word, bare[len(word) :].strip()))
    if part:
        raise EmblemaError(
            f"'{name}' ends in the middle: {part.replace('BEGIN', 'END')} is missing."
        )
    return tables


def _table(
    columns: list[str],
    rows: list[tuple[int, tuple[str, ...]]],
    keywords: Keywords,
    above: tuple[Keywords, ...],
    name: str,
) -> _Table:
    said = next((v.strip('"') for k, v in keywords if k == "NUMBER_OF_SETS"), "")
    if re.fullmatch("[0-9]{1,9}", said) and int(said) != len(rows):
        raise EmblemaError(f"'{name}' says that it holds {said} samples, but it holds {len(rows)}.")
    return _Table(tuple(columns), tuple(rows), keywords, above)


def _cells(line: str, at: int, name: str) -> tuple[str, ...]:
    """Split a line of data: at tabs where it has any, so that names may hold blanks."""
    if "\t" in line:
        return tuple(cell.strip().strip('"') for cell in line.strip("\r\n\t ").split("\t"))
    try:
        lexer = shlex.shlex(line, posix=True)
        lexer.whitespace_split, lexer.commenters, lexer.quotes, lexer.escape = True, "", '"', ""
        return tuple(lexer)
    except ValueError:
        raise EmblemaError(f"'{name}', line {at}: a quotation mark is not closed.") from None


def _measured_under(table: _Table, name: str) -> tuple[str | None, int | None]:
    """Return the light and the observer that a table says its colours are for."""
    columns = [
        (c, row[k])
        for k, c in enumerate(table.columns)
        if c.startswith(("ILLUMINA", "OBSERVER"))
        for _, row in table.rows
    ]
    sources = []
    for keywords in ((*table.keywords, *columns), *table.above):
        # What colours were computed for goes before what the instrument shone on the sample.
        first = ("WEIGHTING_FUNCTION", "ILLUMINA", "OBSERVER")
        sources.append([k for k in keywords if k[0].startswith(first)])
        sources.append([k for k in keywords if k[0] != "KEYWORD"])
    lights = ", ".join(sorted({light for light, _ in WHITES}))

    def no_light(said: str) -> str:
        return (
            f"'{name}' was measured under '{said}', which is none of the lights that are known: "
            f"{lights}."
        )

    def no_eye(said: str) -> str:
        return f"'{name}' was measured for the observer '{said}'; 2 and 10 degrees are known."

    light = _said(sources, _LIGHT, _known_light, no_light)
    eye = _said(sources, _EYE, _known_eye, no_eye)
    for what, found in (("light", light), ("observer", eye)):
        if len(found) > 1:
            raise EmblemaError(f"'{name}' {_SAID_TWICE.format(what, ' and '.join(found))}")
    return (light[0] if light else None), (int(eye[0]) if eye else None)


def _said(
    sources: Iterable[Sequence[tuple[str, str]]],
    pattern: re.Pattern[str],
    known: Callable[[str], str | None],
    refusal: Callable[[str], str],
) -> list[str]:
    """Return what the first of several sources that says anything says, each thing once."""
    for keywords in sources:
        found: set[str] = set()
        for word, value in keywords:
            for m in pattern.finditer(f"{word} {value}"):
                said = m[m.lastindex or 0]
                if said.upper() in _NOT_SAID:
                    continue
                it = known(said.upper())
                if it is None:
                    raise EmblemaError(refusal(said[:40]))
                found.add(it)
        if found:
            return sorted(found)
    return []


def _known_light(said: str) -> str | None:
    m = _LIGHT_NAME.fullmatch(said)
    return m[1] if m and (m[1], 2) in WHITES else None


def _known_eye(said: str) -> str | None:
    m = re.search("[0-9]+", said)
    return _EYES.get(m[0].lstrip("0")) if m else None


def _under(
    table: _Table, name: str, illuminant: str | None, observer: int | None, notes: dict[str, None]
) -> tuple[str, int]:
    light, eye = _measured_under(table, name)
    light, eye = light or illuminant, eye or observer
    missing = [
        w for w, have in (("under which light", light), ("for which observer", eye)) if not have
    ]
    if missing:
        taken = [w for w, have in (("D50", light), ("2 degrees", eye)) if not have]
        notes[
            f"'{name}' does not say {' and '.join(missing)} it was measured; "
            f"{' and '.join(taken)} taken, as ISO 13655 has it."
        ] = None
    light, eye = light or "D50", eye or 2
    if (light, eye) not in WHITES:
        raise EmblemaError(f"'{name}': the light '{light}' at {eye} degrees is not known.")
    return light, eye


def _samples(
    table: _Table,
    name: str,
    given: tuple[str | None, int | None, int | None],
    notes: dict[str, None],
) -> list[Sample]:
    place = {c: k for k, c in enumerate(table.columns)}
    illuminant, observer, white = given

    def values(wanted: Sequence[int]) -> Floats:
        return np.array([_numbers(row, wanted, line, name) for line, row in table.rows])

    if set(_LAB) <= set(place):
        under = _under(table, name, illuminant, observer, notes)
        lab = lab_under_d65(values([place[c] for c in _LAB]), *under)
    elif set(_XYZ) <= set(place):
        under = _under(table, name, illuminant, observer, notes)
        scale, assumed = _scale_of_xyz(table, name, white)
        xyz = values([place[c] for c in _XYZ])
        if assumed and xyz[:, 1].max() <= 1:
            lightest = {w: float(lab_from_xyz(xyz / w)[:, 0].max()) for w in (1, 100)}
            raise UnknownScale(
                f"'{name}' does not say whether its XYZ are shares (white is Y 1; the lightest "
                f"sample is L* {lightest[1]:.1f} then) or per cent (white is Y 100; L* "
                f"{lightest[100]:.1f}).",
                lightest,
            )
        xyz = xyz / scale
        lab = lab_under_d65(lab_from_xyz(xyz, WHITES[under]), *under)
        if assumed:
            notes[
                f"'{name}' does not say on which scale its XYZ are; Y 100 taken for white, as ISO "
                f"13655 has it. Its lightest sample then has L* {lab[:, 0].max():.1f}."
            ] = None
    else:
        lab = _from_bands(table, name, white, values)
    _check_lab(lab, table, name)
    lab[:, 0] = np.clip(lab[:, 0], 0, 100)
    id_at, name_at = place.get("SAMPLE_ID"), place.get("SAMPLE_NAME")
    return [
        Sample(
            row[id_at] if id_at is not None else str(k + 1),
            row[name_at] if name_at is not None else "",
            (float(colour[0]), float(colour[1]), float(colour[2])),
            line,
        )
        for k, ((line, row), colour) in enumerate(zip(table.rows, lab, strict=True))
    ]


def _check_lab(lab: Floats, table: _Table, name: str) -> None:
    off = np.abs(lab - (50, 0, 0))
    wrong = (lab[:, 0] < -1) | (lab[:, 0] > 110) | (off[:, 1:] > 160).any(axis=1)
    if wrong.any():
        worst = int(np.argmax(np.where(wrong, off.max(axis=1), 0)))
        said = ", ".join(f"{v:.1f}" if abs(v) < 1e4 else f"{v:.0e}" for v in lab[worst])
        raise EmblemaError(
            f"'{name}', line {table.rows[worst][0]}: L*, a*, b* would be {said}; L* must be 0 to "
            "100, a* and b* -160 to 160."
        )


def _said_once(table: _Table, keyword: str) -> str:
    """Return what a keyword says, of the table's own head before the heads above."""
    heads = (table.keywords, *table.above)
    return next((v.strip('" ') for head in heads for k, v in head if k == keyword), "")


def _scale_of_xyz(table: _Table, name: str, white: int | None) -> tuple[float, bool]:
    """Return the Y of a perfect white, and whether nobody said so."""
    said = _said_once(table, "NORMALIZED_TO_Y_100").upper()
    if said == "NO":
        raise EmblemaError(
            f"'{name}' says that its XYZ are not on a scale where white is 100; its colours "
            "cannot be known."
        )
    if said == "YES":
        return 100.0, False
    return (100.0, True) if white is None else (float(white), False)


def _from_bands(
    table: _Table, name: str, white: int | None, values: Callable[[Sequence[int]], Floats]
) -> Floats:
    """Return the colours of a table that holds reflectances."""
    bands: dict[int, int] = {}
    units: set[str] = set()
    for k, column in enumerate(table.columns):
        m = _BAND.fullmatch(column)
        if m:
            bands[int(m[2])] = k
            units.add(m[1] or "")
        elif column in _PAIR and k and table.columns[k - 1] == "SPECTRAL_NM":
            at = values([k - 1])[:, 0]
            if np.ptp(at) > 0 or not 100 <= at[0] < 1000:
                raise EmblemaError(f"'{name}': the wavelengths are not the same in every line.")
            bands[round(float(at[0]))] = k
            units.add(_PAIR[column])
    if len(bands) < 10:
        raise EmblemaError(f"'{name}' holds neither L*a*b* nor XYZ nor reflectances.")
    nm = np.array(sorted(bands))
    if nm[0] > 400 or nm[-1] < 700 or np.diff(nm).max() > 20:
        raise EmblemaError(
            f"'{name}': reflectances must go from 400 nm or less to 700 nm or more, in steps of "
            "20 nm or less."
        )
    found = values([bands[int(v)] for v in nm])
    scale = _scale_of_reflectance(table, name, units)
    if scale is None and white is None:
        lightest = {
            way: float(_lab_of_reflectance(nm, found / way)[:, 0].max()) for way in (1, 100)
        }
        raise UnknownScale(
            f"'{name}' does not say whether its reflectances are shares (white is 1; the lightest "
            f"sample is L* {lightest[1]:.1f} then) or per cent (white is 100; L* "
            f"{lightest[100]:.1f}).",
            lightest,
        )
    shares = found / (scale or white or 1)
    beyond = (shares < -0.1) | (shares > 2)  # with some room for noise and for what fluoresces
    if beyond.any():
        line = table.rows[int(np.argmax(beyond.any(axis=1)))][0]
        raise EmblemaError(
            f"'{name}', line {line}: a reflectance would be {100 * shares[beyond][0]:.4g} %."
        )
    return _lab_of_reflectance(nm, shares)


def _scale_of_reflectance(table: _Table, name: str, units: set[str]) -> float | None:
    """Return what a perfect white is, by the columns' names or the head; None where not said."""
    said = units & {"PCT", "DEC"}
    if len(said) > 1:
        raise EmblemaError(f"'{name}' {_SAID_TWICE.format('reflectances', 'PCT and DEC')}")
    if said:
        return 100.0 if said == {"PCT"} else 1.0
    norm = _said_once(table, "SPECTRAL_NORM")
    value = number(norm)
    if norm and (value is None or value not in (1, 100)):
        raise EmblemaError(f"'{name}': SPECTRAL_NORM is '{norm[:20]}'; 1 and 100 are known.")
    return None if value is None else float(value)


def _numbers(row: tuple[str, ...], wanted: Sequence[int], line: int, name: str) -> list[float]:
    found = []
    for k in wanted:
        value = number(row[k].replace(",", "."))
        if value is None:
            raise EmblemaError(
                f"'{name}', line {line}: '{row[k][:40]}' is not a number that can be used."
            )
        found.append(float(value))
    return found


def _lab_of_reflectance(nm: np.ndarray, values: Floats) -> Floats:
    """Return CIELAB under D65, 2 degrees, of reflectances (n, bands), shares from 0 to 1."""
    colour = colour_science()
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
