"""What is agreed on besides the work itself: a quote's terms, a panel to carry, days, work done."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from core.bounds import money, one_of, said, shown, within, written
from core.errors import EmblemaError
from core.material import LONGEST_TEXT, MOST_PRICE

MOUNTS = ("fixed", "panel")  # fixed in place, or on a panel that the client can take along
OPTIONS = (*MOUNTS, "smalti", "vitreous")
ROUND_TO = tuple(Decimal(x) for x in ("0.01", "1", "5", "10", "50"))
CURING = ("normal", "fast")  # of cementitious adhesive (EN 12004)
DONE = ("sheet", "field")
LONGEST_LINE = 200
LONGEST_WORDS = 4000
LONGEST_DAYS = 3650
YEARS = range(1900, 2200)
MOST_STAGES = 12
MOST_DONE = 100_000
MOST_QUOTED = 10_000
MOST_TOTAL = 10**15
MOST_MEASURED = 20_000


@dataclass(frozen=True, slots=True)
class Stage:
    """A part of the price that falls due: when, in words, and its share of the whole."""

    words: str
    share: float


@dataclass(frozen=True, slots=True)
class Panel:
    """What a removable panel is made of.

    `board` is its name, `board_kg_m2` and `board_m2` what a square metre weighs and costs;
    `hanger_kg` is what one hanger is rated for, `safety` how many times the weight they carry.
    """

    board: str = "aluminium honeycomb, 20 mm"
    board_kg_m2: float = 7.0
    board_m2: Decimal = Decimal(0)
    hanger_kg: float = 25.0
    hanger: Decimal = Decimal(0)
    safety: float = 3.0


@dataclass(frozen=True, slots=True)
class Terms:
    """What a quote is made of besides materials and work. Money is in the commission's currency.

    Attributes
    ----------
    number, client, client_address : str
        Of the quote, and whom it is for.
    overhead : float
        Share of materials and work.
    drawing, mounting, transport, fixing : Decimal
        Fees for each; mounting is for a panel, fixing for a work fixed in place.
    revision, revisions
        What one round of changes costs, and how many are reckoned.
    round_to : Decimal
        What the price before tax is a whole number of, one of `ROUND_TO`.
    stages : tuple of Stage
        When it is paid; their shares make 1. None: all of it on completion.
    mount : str
        One of `MOUNTS`.
    options : tuple of str
        What is priced beside it, of `OPTIONS`.
    opening, included, conditions : str
        The studio's own words; the program's where empty.
    """

    number: str = ""
    client: str = ""
    client_address: str = ""
    overhead: float = 0.0
    drawing: Decimal = Decimal(0)
    revision: Decimal = Decimal(0)
    revisions: int = 0
    mounting: Decimal = Decimal(0)
    transport: Decimal = Decimal(0)
    fixing: Decimal = Decimal(0)
    round_to: Decimal = Decimal("0.01")
    valid_days: int = 30
    stages: tuple[Stage, ...] = ()
    mount: str = "fixed"
    panel: Panel = Panel()
    options: tuple[str, ...] = ()
    opening: str = ""
    included: str = ""
    conditions: str = ""

    def of_studio(self) -> Terms:
        """Return them without what belongs to one client."""
        return replace(self, number="", client="", client_address="")

    def for_client_of(self, other: Terms) -> Terms:
        """Return them for the client of others."""
        return replace(
            self, number=other.number, client=other.client, client_address=other.client_address
        )


NO_TERMS = Terms()


@dataclass(frozen=True, slots=True)
class Quoted:
    """A quote that was given: on which day (YYYY-MM-DD), its number, sum and currency, and the
    mark of the pieces that it is for (`core.agreed.mark_of`).
    """

    on: str
    number: str
    total: Decimal
    currency: str
    mark: str


@dataclass(frozen=True, slots=True)
class Laid:
    """So many pieces of one laying, size (`core.figures.pace.SIZES`) and kind of material."""

    opus: str
    size: str
    kind: str
    pieces: int


@dataclass(frozen=True, slots=True)
class WorkDone:
    """A sheet (by number) or field (by id) laid: its hours, the day, and the pieces it had then."""

    what: str
    of: str
    hours: float
    on: str
    laid: tuple[Laid, ...]


@dataclass(frozen=True, slots=True)
class Measured:
    """What a studio measured in one commission: pieces of a kind laid in so many hours."""

    commission: str
    laid: Laid
    hours: float


@dataclass(frozen=True, slots=True)
class Days:
    """When it is worked on.

    Attributes
    ----------
    promised : str
        The day on which it is to be ready (YYYY-MM-DD), or none.
    hours_a_day : float
    free_weekdays : tuple of int
        0 Monday to 6 Sunday.
    free_days : tuple of str
        Single days off (YYYY-MM-DD).
    curing : str
        One of `CURING`.
    setting_m2_a_day : float
        How much is set on the wall in a day.
    """

    promised: str = ""
    hours_a_day: float = 6.0
    free_weekdays: tuple[int, ...] = (5, 6)
    free_days: tuple[str, ...] = ()
    curing: str = "normal"
    setting_m2_a_day: float = 3.0


USUAL_DAYS = Days()


def day_of(what: str, words: str) -> date:
    """Return a day written as YYYY-MM-DD.

    Raises
    ------
    EmblemaError
        It is none, or in another century than anybody plans for.
    """
    try:
        if len(words) == 10 and (day := date.fromisoformat(words)).year in YEARS:
            return day
    except ValueError:
        pass
    raise EmblemaError(f"{what} '{shown(words)}' is no day; write it as 2027-03-31.")


def check_terms(terms: Terms) -> None:
    """Raise EmblemaError where the terms of a quote cannot be reckoned with."""
    for what, text in (("number", terms.number), ("client", terms.client)):
        written(f"The quote's {what}", text, LONGEST_LINE)
    written("The client's address", terms.client_address, LONGEST_WORDS, lines=True)
    for what, text in (
        ("opening", terms.opening),
        ("what is included", terms.included),
        ("conditions", terms.conditions),
    ):
        written(f"The quote's {what}", text, LONGEST_WORDS, lines=True)
    within("The overhead", terms.overhead, 0, 10)
    for name in ("drawing", "revision", "mounting", "transport", "fixing"):
        money(f"The fee for {name}", getattr(terms, name), MOST_PRICE)
    within("The number of revisions", terms.revisions, 0, 1000)
    if terms.round_to not in ROUND_TO:
        steps = ", ".join(f"{x:f}" for x in ROUND_TO)
        raise EmblemaError(f"Prices are rounded to {steps}, not to {said(terms.round_to)}.")
    within("The days that the quote holds", terms.valid_days, 0, LONGEST_DAYS)
    one_of("The way that it is mounted", terms.mount, MOUNTS)
    for option in terms.options:
        one_of("The option", option, OPTIONS)
    within("The number of options", len(terms.options), 0, len(OPTIONS))
    _check_stages(terms.stages)
    panel = terms.panel
    written("The panel's board", panel.board, LONGEST_LINE)
    within("The weight of the board", panel.board_kg_m2, 0, 200, " kg/m2")
    money("The price of the board", panel.board_m2, MOST_PRICE)
    within("What a hanger carries", panel.hanger_kg, 0.1, 10_000, " kg")
    money("The price of a hanger", panel.hanger, MOST_PRICE)
    within("The safety of the hangers", panel.safety, 1, 20)


def _check_stages(stages: tuple[Stage, ...]) -> None:
    within("The number of payments", len(stages), 0, MOST_STAGES)
    for stage in stages:
        written("A payment", stage.words, LONGEST_LINE)
        within(f"The share of '{stage.words}'", stage.share, 0, 1)
    whole = sum(s.share for s in stages)
    if stages and abs(whole - 1) > 1e-6:
        raise EmblemaError(
            f"The payments make {100 * whole:.6g} % of the price; together they must make 100 %."
        )


def check_quoted(quoted: tuple[Quoted, ...]) -> None:
    """Raise EmblemaError where a quote that was given is none."""
    within("The number of quotes given", len(quoted), 0, MOST_QUOTED)
    for k, q in enumerate(quoted, 1):
        day_of(f"Quote {k}: its day", q.on)
        money(f"Quote {k}: its sum", q.total, MOST_TOTAL)
        for word in (q.number, q.currency, q.mark):
            written(f"Quote {k}", word, LONGEST_LINE)


def check_days(days: Days, done: tuple[WorkDone, ...]) -> None:
    """Raise EmblemaError where days, hours or work done cannot be reckoned with."""
    if days.promised:
        day_of("The day promised", days.promised)
    within("The hours a day", days.hours_a_day, 0.25, 24, " h")
    for weekday in days.free_weekdays:
        within("A weekday off", weekday, 0, 6)
    if len(set(days.free_weekdays)) > 6:
        raise EmblemaError("All weekdays are off; leave one to work on.")
    within("The number of days off", len(days.free_days), 0, LONGEST_DAYS)
    for day in days.free_days:
        day_of("The day off", day)
    one_of("The adhesive", days.curing, CURING)
    within("What is set in a day", days.setting_m2_a_day, 0.05, 1000, " m2")
    for k, one in enumerate(done, 1):
        who = f"Work done {k}"
        one_of(f"{who}: what it is", one.what, DONE)
        written(f"{who}: which it is", one.of, LONGEST_LINE)
        within(f"{who}: its hours", one.hours, 0, 10_000, " h")
        day_of(f"{who}: its day", one.on)
        check_laid(who, one.laid)


def check_measured(measured: tuple[Measured, ...]) -> None:
    """Raise EmblemaError where what was measured in earlier work cannot be reckoned with."""
    within("The number of rates measured", len(measured), 0, MOST_MEASURED)
    for k, one in enumerate(measured, 1):
        written(f"Rate measured {k}", one.commission, LONGEST_LINE)
        within(f"Rate measured {k}: its hours", one.hours, 0, 1_000_000, " h")
        check_laid(f"Rate measured {k}", (one.laid,))


def check_laid(who: str, laid: tuple[Laid, ...]) -> None:
    """Raise EmblemaError where counts of pieces are none."""
    within(f"{who}: the number of its counts", len(laid), 0, 1000)
    for one in laid:
        for word in (one.opus, one.size, one.kind):
            written(f"{who}: its pieces", word, LONGEST_TEXT)
        within(f"{who}: its pieces", one.pieces, 0, 100_000_000)
