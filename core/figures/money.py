"""Money is Decimal, rounded to the cent once, where a line ends."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal


def dec(x: float) -> Decimal:
    """Return a measured number as Decimal, with the digits that are shown of it."""
    return Decimal(repr(x))


def money(x: Decimal) -> Decimal:
    """Return a sum rounded to the cent, halves upwards."""
    return x.quantize(Decimal("0.01"), ROUND_HALF_UP)
