"""Money is Decimal, rounded to the cent once, where a line ends."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

CENT = Decimal("0.01")


def dec(x: float) -> Decimal:
    """Return a measured number as Decimal, with the digits that are shown of it."""
    return Decimal(repr(x))


def money(x: Decimal) -> Decimal:
    """Return a sum rounded to the cent, halves upwards."""
    return x.quantize(CENT, ROUND_HALF_UP)


def rounded(x: Decimal, to: Decimal) -> Decimal:
    """Return a sum as the nearest whole number of `to`, halves upwards."""
    return money((x / to).quantize(Decimal(1), ROUND_HALF_UP) * to)


def parted(whole: Decimal, shares: Sequence[float]) -> tuple[Decimal, ...]:
    """Return a sum in parts by their shares, which make 1: to the cent, and nothing is lost.

    Each part ends where the sum of the shares so far does, so that none is off by a cent or more.
    """
    out, before, so_far = [], Decimal("0.00"), Decimal(0)
    for k, share in enumerate(shares, 1):
        so_far += dec(share)
        end = whole if k == len(shares) else min(money(whole * so_far), whole)
        out.append(end - before)
        before = end
    return tuple(out)


def paid(x: Decimal, currency: str) -> str:
    """Return a sum as it is written, with its currency."""
    return f"{x:,.2f} {currency}".rstrip()
