"""A round: the work as it was on a day, its pieces as they lay, and what the client said of it.

Rounds stand beside the document, not in it: no edit changes one, and undo takes none back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Final

from core.agreed import agree
from core.bounds import said, shown, within, written
from core.checks import LONGEST_NOTES, check_document
from core.commission import LONGEST_NAME, Commission, new_commission_id
from core.errors import EmblemaError
from core.figures import Figures, figures
from core.kept import Kept
from core.pieces import Layout
from core.plan import with_colours

MOST_ROUNDS: Final = 200
MOST_SUMS: Final = 50
_FAR: Final = Decimal(10) ** 30  # beyond any sum of money or weight


@dataclass(frozen=True, slots=True)
class Sum:
    """One figure of a whole work: its name, its amount, and in what."""

    name: str
    amount: Decimal
    unit: str = ""

    @property
    def shown(self) -> str:
        """The amount with its unit."""
        return f"{self.amount:,} {self.unit}".rstrip()


@dataclass(frozen=True, slots=True)
class Round:
    """What was agreed with the client.

    Attributes
    ----------
    number : int
        Given once.
    name, on, words : str
        What it is called, its day (YYYY-MM-DD), and what the client said.
    sums : tuple of Sum
        The figures as they were reckoned then.
    doc, kept
        The document and its pieces with their colours, as they stood.
    """

    number: int
    name: str
    on: str
    words: str
    sums: tuple[Sum, ...]
    doc: Commission
    kept: Kept = field(default_factory=dict)

    @property
    def title(self) -> str:
        """Number, name and day on one line."""
        return ", ".join(w for w in (f"Round {self.number}", self.name, self.on) if w)


def summary(f: Figures, currency: str = "") -> tuple[Sum, ...]:
    """Return the figures that two states of a work are compared by."""

    def rounded(x: float, places: str) -> Decimal:
        return Decimal(repr(float(x))).quantize(Decimal(places))

    return (
        Sum("Pieces", Decimal(f.pieces)),
        Sum("Materials", Decimal(sum(not c.bare for c in f.counts))),
        Sum("Area", rounded(f.area_m2, "0.001"), "m²"),
        Sum("Weight", rounded(f.total_kg, "0.01"), "kg"),
        Sum("On the wall", rounded(f.kg_m2, "0.1"), "kg/m²"),
        Sum("Hours", rounded(f.hours, "0.1"), "h"),
        Sum("Cost", f.cost, currency),
        Sum("Quote", f.quote, currency),
    )


def round_of(number: int, doc: Commission, layout: Layout, name: str, on: str, words: str) -> Round:
    """Return a document and its layout as a round of a number."""
    sums = summary(figures(doc, layout), doc.currency)
    return Round(number, name, on, words, sums, doc, with_colours(doc, layout))


def with_round(
    rounds: Sequence[Round],
    doc: Commission,
    layout: Layout,
    name: str = "",
    on: str = "",
    words: str = "",
) -> tuple[Round, ...]:
    """Return the rounds with the work as it stands as one more.

    Raises
    ------
    EmblemaError
        Name or words could not be saved, or there are as many rounds as there may be.
    """
    number = max((r.number for r in rounds), default=0) + 1
    new = round_of(number, doc, layout, name, on, words)
    _check(new)
    _check_count(len(rounds) + 1)
    return (*rounds, new)


def is_kept(rounds: Sequence[Round], doc: Commission, kept: Kept) -> Round | None:
    """Return the newest round that has the very same work, piece for piece; None if there is none.

    What was agreed or printed of it since does not count.
    """
    now, pieces = _bare(doc), _pieces(kept)
    return next(
        (r for r in reversed(rounds) if _pieces(r.kept) == pieces and _bare(r.doc) == now), None
    )


def _pieces(kept: Kept) -> dict[str, tuple[str, bytes]]:
    return {i: (one.key, one.packed) for i, one in kept.items()}


def _bare(doc: Commission) -> Commission:
    return replace(doc, id="", agreed=(), printed=())


def back_to(r: Round, doc: Commission) -> Commission:
    """Return a round's document to go on with, in place of another of the same commission.

    Paper is not taken back, nor is what was agreed: prints and agreements of today stay.
    """
    out = replace(r.doc, id=doc.id, printed=doc.printed)
    for a in doc.agreed:
        out = agree(out, {a.field_id}, a.on)
    return out


def branched(rounds: Sequence[Round], number: int) -> tuple[Commission, tuple[Round, ...]]:
    """Return a round's document as a commission of its own, and the rounds that led to it.

    Raises
    ------
    KeyError
        There is no such round.
    """
    r = numbered(rounds, number)
    led = tuple(x for x in rounds if x.number <= number)
    return replace(r.doc, id=new_commission_id()), led


def numbered(rounds: Sequence[Round], number: int) -> Round:
    """Return the round of a number, or raise KeyError."""
    for r in rounds:
        if r.number == number:
            return r
    raise KeyError(number)


def check_rounds(rounds: Sequence[Round]) -> None:
    """Raise EmblemaError where rounds cannot be worked with, as `core.checks` does."""
    _check_count(len(rounds))
    numbers = [r.number for r in rounds]
    for n in numbers:
        if numbers.count(n) > 1:
            raise EmblemaError(f"{numbers.count(n)} rounds have the number {n}; each has its own.")
    for r in rounds:
        _check(r)


def _check_count(count: int) -> None:
    within("The number of rounds", count, 0, MOST_ROUNDS)


def _check(r: Round) -> None:
    within("The number of a round", r.number, 1, 1_000_000)
    who = f"Round {r.number}"
    written(f"{who}: its name", r.name, LONGEST_NAME)
    written(f"{who}: its day", r.on, LONGEST_NAME)
    written(f"{who}: what was said", r.words, LONGEST_NOTES, lines=True)
    within(f"{who}: the number of its figures", len(r.sums), 0, MOST_SUMS)
    for s in r.sums:
        written(f"{who}: a figure's name", s.name, LONGEST_NAME)
        written(f"{who}: a figure's unit", s.unit, LONGEST_NAME)
        if not s.amount.is_finite() or abs(s.amount) > _FAR:
            raise EmblemaError(f"{who}: {shown(s.name)} is {said(s.amount)}, which is no figure.")
    try:
        check_document(r.doc)
    except EmblemaError as e:
        raise EmblemaError(f"{who}: {e}") from e
