"""Loads colour-science when it is first needed, without its side effects.

Its import takes most of a second, warns about plotting parts that the program has no use for and
changes how numpy prints numbers everywhere; the warning is silenced and the printing put back.
"""

from __future__ import annotations

import warnings
from functools import cache
from typing import Any

import numpy as np


@cache
def colour_science() -> Any:
    """Return the `colour` package."""
    printing = np.get_printoptions()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    np.set_printoptions(**printing)
    return colour
