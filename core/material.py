"""A stocked material: what the studio calls it, what it looks like, weighs and costs."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from core.bounds import money, one_of, said, within, written
from core.errors import EmblemaError

KINDS = ("smalti", "gold glass", "vitreous", "marble", "stone", "ceramic", "shell", "other")
FINISHES = ("matt", "polished", "metallic", "iridescent", "transparent")
ILLUMINANTS = ("D65", "D50", "D55", "A", "C")
BY_CHOICE = ("gold glass", "shell", "metallic", "iridescent", "transparent")
OBTAINED = ("estimated", "measured", "photograph")
PRICE_UNITS = ("kg", "sheet", "piece", "m2")
PACK_UNITS = ("kg", "pieces", "m2")
MOST_PIECES = 100_000_000
MOST_PRICE = 100_000_000
LONGEST_CODE = 60
LONGEST_LOT = 100  # a lot in a commission is named by its material's code, and more
LONGEST_TEXT = 10_000
MOST_LOT = 2**62
MOST_SORTED_OUT = 0.99
LEAST_PACK = 1e-3  # of a piece: a slab may be sold by less than its whole

Lab = tuple[float, float, float]
# What pieces are taken of: a material by its code, or one lot of it that has a colour of its own.
Key = str | tuple[str, int]


@dataclass(frozen=True, slots=True)
class Material:
    """One material in one colour, as the studio stocks it.

    Attributes
    ----------
    code : str
        The studio's own code, unique in a stock list.
    lab : tuple of float
        CIELAB L* (0 to 100), a*, b* under `illuminant` and `observer` degrees.
    obtained : str
        How `lab` was obtained: "estimated", "measured" or "photograph".
    length_mm, width_mm, thickness_mm : float
        The piece as bought, before cutting.
    price : Decimal
        For one `price_unit`.
    pieces : int
        Pieces in hand.
    waste : float
        Share lost in cutting, 0 to 1; in sorting too, where the three shares below are 0.
    broken, off_colour, wrong_size : float
        Shares of what is bought that sorting puts aside: of pebbles, shells, hand-cut glass.
    pieces_a_kg : float
        Stocked pieces to the kilo as weighed; 0 where they were not, so that size and density say.
    pack, pack_unit : float, str
        It is sold in packs of so many kg, pieces or m2; 0 for loose. Where the price is by the
        sheet, a pack is a sheet.
    supplier_no : str
        The supplier's own number of it.
    absorption, slip_ptv, frost_cycles
        As the maker declares or a test found, 0 where not known: water absorption in per cent
        (EN ISO 10545-3), wet pendulum value (EN 16165), cycles of frost withstood (EN 12371).
    lot : int or None
        The lot's number, where this is one lot with a colour of its own in a commission; no such
        material is stocked.
    lot_of : str
        The code of the material that the lot belongs to.
    example : bool
        Whether it is of the list that a new studio begins with, and not the studio's own.
    """

    code: str
    description: str
    kind: str
    lab: Lab
    finish: str = "matt"
    illuminant: str = "D65"
    observer: int = 2
    obtained: str = "estimated"
    length_mm: float = 10.0
    width_mm: float = 10.0
    thickness_mm: float = 4.0
    density_kg_m3: float = 2500.0
    price: Decimal = Decimal(0)
    price_unit: str = "kg"
    pieces: int = 0
    waste: float = 0.1
    broken: float = 0.0
    off_colour: float = 0.0
    wrong_size: float = 0.0
    pieces_a_kg: float = 0.0
    pack: float = 0.0
    pack_unit: str = "kg"
    grade: str = ""
    supplier: str = ""
    supplier_no: str = ""
    absorption: float = 0.0
    slip_ptv: float = 0.0
    frost_cycles: int = 0
    lot: int | None = None
    lot_of: str = ""
    example: bool = False

    @property
    def said(self) -> str:
        """The description, and whether it is but an example."""
        return f"{self.description} (example)" if self.example else self.description

    @property
    def key(self) -> Key:
        """What the stock knows it by, whatever the commission calls it."""
        return self.code if self.lot is None else (self.lot_of, self.lot)

    @property
    def kg_mm2(self) -> float:
        """What a mm2 of it weighs, by the pieces that were weighed or else by its density."""
        if self.pieces_a_kg:
            return 1 / (self.pieces_a_kg * self.length_mm * self.width_mm)
        return self.thickness_mm * self.density_kg_m3 / 1e9

    @property
    def sorted_out(self) -> float:
        """Share of what is bought that sorting puts aside."""
        return self.broken + self.off_colour + self.wrong_size

    @property
    def pack_pieces(self) -> float:
        """Stocked pieces in a pack, 0 where it is sold loose."""
        mm2 = self.length_mm * self.width_mm
        return self.pack * {"kg": 1 / (self.kg_mm2 * mm2), "m2": 1e6 / mm2}.get(self.pack_unit, 1)

    @property
    def by_choice(self) -> bool:
        """Whether it has no one colour, so that a person lays it and never the match alone."""
        return self.kind in BY_CHOICE or self.finish in BY_CHOICE

    @property
    def order_code(self) -> str:
        """The code to order more under: a lot cannot be bought again, its material can."""
        return self.lot_of or self.code


@dataclass(frozen=True, slots=True)
class Lot:
    """One purchase of a material: glass of one lot matches itself better than another's.

    Attributes
    ----------
    bought_on : str
        Date as YYYY-MM-DD.
    bought, in_hand, set_aside, lost : int
        Pieces: as bought, still on the shelf, of those promised to commissions, and gone by
        breakage or a count that came out short.
    lab : tuple of float or None
        The lot's own colour where it differs from the material's.
    """

    id: int
    code: str
    bought_on: str = ""
    bought: int = 0
    in_hand: int = 0
    set_aside: int = 0
    lost: int = 0
    lab: Lab | None = None
    note: str = ""

    @property
    def used(self) -> int:
        """Pieces laid in finished commissions."""
        return self.bought - self.in_hand - self.lost

    @property
    def free(self) -> int:
        """Pieces in hand that no commission has been promised."""
        return self.in_hand - self.set_aside

    @property
    def share_lost(self) -> float:
        """Share of the lot that was lost, 0 to 1 (less than 0 where a count found more)."""
        return self.lost / self.bought if self.bought else 0.0


def named(key: Key) -> str:
    """Return a key in words."""
    return key if isinstance(key, str) else f"{key[0]} lot {key[1]}"


def price_per_m2(m: Material) -> Decimal | None:
    """Return what a square metre of the material costs without joints or waste.

    None where it is sold by the sheet, and how many pieces one holds is not known.
    """
    if m.price_unit == "m2":
        return m.price
    if m.price_unit == "kg":
        kg = 1e6 * m.kg_mm2 if m.pieces_a_kg else m.thickness_mm * m.density_kg_m3 / 1000
        return m.price * Decimal(repr(kg))
    if m.price_unit == "piece" or m.pack:
        each = 1e6 / (m.length_mm * m.width_mm)
        return m.price * Decimal(repr(each if m.price_unit == "piece" else each / m.pack_pieces))
    return None


def check_lab(who: str, lab: Lab) -> None:
    """Raise EmblemaError where a colour cannot be that of a material; `who` begins the sentence."""
    within(f"{who} L*", lab[0], 0, 100)
    within(f"{who} a*", lab[1], -160, 160)
    within(f"{who} b*", lab[2], -160, 160)


def check_material(m: Material) -> None:
    """Raise EmblemaError, in words for the user, where a material cannot be stocked."""
    check_code(m.code, LONGEST_CODE if m.lot is None else LONGEST_LOT)
    who = f"Material '{m.code}':"
    one_of(f"{who} kind", m.kind, KINDS)
    one_of(f"{who} finish", m.finish, FINISHES)
    one_of(f"{who} price unit", m.price_unit, PRICE_UNITS)
    one_of(f"{who} way of obtaining the colour", m.obtained, OBTAINED)
    one_of(f"{who} illuminant", m.illuminant, ILLUMINANTS)
    if m.observer not in (2, 10):
        raise EmblemaError(f"{who} observer is {said(m.observer)}; it must be 2 or 10 degrees.")
    check_lab(who, m.lab)
    within(f"{who} length", m.length_mm, 0.5, 2000, " mm")
    within(f"{who} width", m.width_mm, 0.5, 2000, " mm")
    within(f"{who} thickness", m.thickness_mm, 0.1, 200, " mm")
    within(f"{who} density", m.density_kg_m3, 100, 25000, " kg/m3")
    money(f"{who} price", m.price, MOST_PRICE)
    one_of(f"{who} unit of a pack", m.pack_unit, PACK_UNITS)
    for what, value, most, unit in (
        ("pack", m.pack, 1_000_000, ""),
        ("water absorption", m.absorption, 100, " %"),
        ("pendulum value", m.slip_ptv, 150, ""),
        ("cycles of frost", m.frost_cycles, 10_000, ""),
    ):
        within(f"{who} {what}", value, 0, most, unit)
    if m.pieces_a_kg:
        within(f"{who} pieces to the kilo", m.pieces_a_kg, 1e-3, 1e7)
    for what, value in (
        ("the share broken", m.broken),
        ("the share off colour", m.off_colour),
        ("the share of the wrong size", m.wrong_size),
    ):
        within(f"{who} {what}", value, 0, 1)
    if not m.sorted_out < MOST_SORTED_OUT:
        raise EmblemaError(
            f"{who} sorting puts {said(100 * m.sorted_out)} % aside; it must be less than "
            f"{said(100 * MOST_SORTED_OUT)} %."
        )
    if 0 < m.pack_pieces < LEAST_PACK:
        raise EmblemaError(f"{who} a pack of {said(m.pack)} {m.pack_unit} holds hardly a piece.")
    check_pieces(m.code, m.pieces)
    if not 0 <= m.waste < 1:
        raise EmblemaError(
            f"{who} waste is {said(m.waste)}; it must be a share from 0 to less than 1."
        )
    for what, text in (
        ("description", m.description),
        ("grade", m.grade),
        ("supplier", m.supplier),
        ("supplier's number", m.supplier_no),
    ):
        written(f"{who} {what}", text, LONGEST_TEXT, lines=True)
    if m.lot is not None:
        within(f"{who} lot", m.lot, 1, MOST_LOT)
        check_code(m.lot_of, LONGEST_CODE)


def check_code(code: str, most: int = LONGEST_LOT) -> None:
    """Raise EmblemaError where a text cannot be a material's code."""
    if not code.strip() or code != code.strip() or not code.isprintable():
        raise EmblemaError("A material needs a code of its own, on one line, without blank ends.")
    if len(code) > most:
        raise EmblemaError(f"The code '{code[:20]}...' has {len(code)} signs; {most} are the most.")


def check_pieces(code: str, pieces: int) -> None:
    """Raise EmblemaError where a material or a lot of it cannot be so many pieces."""
    if pieces < 0:
        fault = f"pieces in hand are {said(pieces)}; there cannot be fewer than none"
    elif pieces > MOST_PIECES:
        fault = f"pieces in hand are {said(pieces)}; {MOST_PIECES:,} are the most"
    else:
        return
    raise EmblemaError(f"Material '{code}': {fault}.")
