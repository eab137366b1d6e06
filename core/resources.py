"""Finds the files that come with the program: icons, the demo commission, the starter stock."""

from pathlib import Path

ASSETS = Path(__file__).resolve().parent.parent / "assets"


def asset(name: str) -> Path:
    """Return the path of a file in assets, such as ``asset("stock/starter.csv")``."""
    return ASSETS / name
