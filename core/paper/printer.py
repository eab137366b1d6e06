"""The correction of this computer's printer: what the check bars of a print truly measure.

It belongs to the printer, not to a commission, and is kept in the user's data folder.
"""

from __future__ import annotations

import json
import re
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from core.errors import EmblemaError
from core.files import data_folder, why, write_text

CHECK_MM = 100.0
LEAST_MM, MOST_MM = 95.0, 105.0  # beyond, a print was fitted to the page or the wrong bar read
_FILE = "printer.json"
_WORDS = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*[x×]\s*(\d+(?:[.,]\d+)?)\s*", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Correction:
    """What the check bars, drawn 100 mm long, measure on an uncorrected print: mm, across and up.

    Raises
    ------
    EmblemaError
        A bar reads less than 95 mm or more than 105 mm.
    """

    across_mm: float = CHECK_MM
    up_mm: float = CHECK_MM

    def __post_init__(self) -> None:
        for axis, read in (("across", self.across_mm), ("up", self.up_mm)):
            if not LEAST_MM <= read <= MOST_MM:  # so that no number that is none gets by
                raise EmblemaError(
                    f"A check bar that reads {read:g} mm {axis} cannot be corrected, only one from "
                    f"{LEAST_MM:g} to {MOST_MM:g} mm; see that the page is printed at 100 %."
                )

    @property
    def in_use(self) -> bool:
        """Whether it changes anything."""
        return (self.across_mm, self.up_mm) != (CHECK_MM, CHECK_MM)

    @property
    def scale(self) -> tuple[float, float]:
        """By how much a page is drawn larger, across and up, for its print to be true."""
        return CHECK_MM / self.across_mm, CHECK_MM / self.up_mm

    @property
    def words(self) -> str:
        """As it is written, such as 99.6x100.2."""
        return f"{self.across_mm:g}x{self.up_mm:g}"


TRUE = Correction()


def correction_of(words: str) -> Correction:
    """Return the correction that is written as 99.6x100.2: across, then up.

    Raises
    ------
    EmblemaError
        It is written otherwise, or a bar is too far off.
    """
    found = _WORDS.fullmatch(words)
    if found is None:
        raise EmblemaError(
            f"'{words}' is no correction; write what the bars read, across and up: 99.6x100.2."
        )
    across, up = (float(number.replace(",", ".")) for number in found.groups())
    return Correction(across, up)


def kept_correction() -> Correction:
    """Return the correction kept for this computer's printer, TRUE where there is none.

    Raises
    ------
    EmblemaError
        What is kept cannot be read.
    """
    path = data_folder() / _FILE
    try:
        return correction_of(str(json.loads(path.read_text(encoding="utf-8"))["check_bars_mm"]))
    except FileNotFoundError:
        return TRUE
    except OSError as e:
        raise EmblemaError(f"The printer's correction in '{path}' cannot be read: {why(e)}.") from e
    except (ValueError, KeyError, TypeError, EmblemaError) as e:
        raise EmblemaError(
            f"The printer's correction in '{path}' cannot be understood; none is in use."
        ) from e


def keep_correction(correction: Correction) -> None:
    """Keep a correction for all that is printed from this computer.

    Raises
    ------
    EmblemaError
        It cannot be kept.
    """
    path: Path = data_folder() / _FILE
    if correction.in_use:
        write_text(path, json.dumps({"check_bars_mm": correction.words}) + "\n")
        return
    with suppress(FileNotFoundError):
        try:
            path.unlink()
        except PermissionError as e:
            raise EmblemaError(f"'{path}' cannot be taken away: {why(e)}.") from e
