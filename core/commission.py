"""The commission: everything a person authored, as one immutable document.

Nothing derived lives here. An edit returns a new document, so that undo is a list of
documents and the same document with the same seed always gives the same layout.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any

from core import quality
from core.bounds import one_of, said, shown, within, written
from core.errors import EmblemaError
from core.goods import USUAL, Goods
from core.material import Lab, Material, check_lab
from core.moves import STILL, Move
from core.place import ANYWHERE, Place
from core.proof.asked import AS_IT_IS, InPlace, Proof
from core.site import Opening
from core.terms import NO_TERMS, USUAL_DAYS, Days, Measured, Quoted, Terms, WorkDone

Point = tuple[float, float]
Ring = tuple[Point, ...]
Part = tuple[Ring, ...]
Outline = tuple[Part, ...]

LAYINGS = (
    "tessellatum",
    "regulatum",
    "vermiculatum",
    "musivum",
    "classicum",
    "palladianum",
    "circumactum",
    "sectile",
)
PIECES = ("cut", "rounds", "tapers")
CORNERS = ("mitre", "butt")
MATCHES = ("nearest", "mix", "shade")
IN_COURSES = ("tessellatum", "vermiculatum", "musivum", "classicum")
HUGGING = ("vermiculatum", "classicum")  # with courses of their own size along a border
WAYS_LAID = ("direct", "mirrored", "turned")
EDITS = ("lift", "set", "nip", "join", "shift", "pin", "stock")


@dataclass(frozen=True, slots=True)
class Sketch:
    """The client's sketch and where it lies on the work.

    The pixels travel beside the document, keyed by `image` (the SHA-256 of the file's bytes,
    with its ending, such as ``"ab12….png"``). Pixel (0, 0)'s upper left corner lies at
    `origin_mm`; one pixel is `mm_per_px` wide and high; `turn_rad` turns the picture about
    that corner, clockwise on screen.
    """

    image: str
    width_px: int
    height_px: int
    mm_per_px: float
    origin_mm: Point = (0.0, 0.0)
    turn_rad: float = 0.0


@dataclass(frozen=True, slots=True)
class Laying:
    """How a field is laid: all of it that the places of its pieces hang on, but for its outline.

    Attributes
    ----------
    opus : str
        One of `LAYINGS`.
    variation, width_variation : float
        Spread of piece lengths and of course widths by hand, as a share of the tessera, 0 to 0.3.
    pieces : str
        "cut" (tesserae), "rounds" (pebbles, small shells) or "tapers" (long shells).
    hug : tuple of str
        Motifs whose borders the small courses of vermiculatum and classicum hug; empty means the
        field's own outline.
    hug_courses, hug_tessera_mm
        How many hugging courses (1 to 5) and their tessera; None means two thirds of the field's.
    spread : float
        Spread of sizes for palladianum and natural pieces, standard deviation over mean.
    strictness : float
        How strictly natural pieces turn along the flow, 0 to 1.
    slenderness : float
        Length over width of natural pieces.
    module_mm : float
        Distance between the fans of circumactum.
    corners : str
        How a straight band turns a square corner: "mitre" (both arms cut on the slant) or "butt"
        (one runs through, the next stops against its side, alike at all corners).
    finer_toward, finer_mm, finer_within
        A motif toward which the pieces of a field in courses are graded: of `finer_mm` beside it
        (None: half the tessera), of the tessera from so many pieces on (2 to 100).
    throw : int
        Another throw of the hand: the same choices with other small irregularities.
    """

    opus: str = "tessellatum"
    tessera_mm: float = 10.0
    joint_mm: float = 1.5
    follow_border: bool = True
    variation: float = 0.05
    width_variation: float = 0.0
    pieces: str = "cut"
    hug: tuple[str, ...] = ()
    hug_courses: int = 3
    hug_tessera_mm: float | None = None
    spread: float = 0.25
    strictness: float = 0.7
    slenderness: float = 1.4
    module_mm: float = 120.0
    throw: int = 0
    corners: str = "mitre"
    finer_toward: str = ""
    finer_mm: float | None = None
    finer_within: int = 8

    @property
    def pitch_mm(self) -> float:
        """Tessera and joint together."""
        return self.tessera_mm + self.joint_mm

    @property
    def finest_mm(self) -> float:
        """The tessera beside the motif toward which it is graded."""
        return self.tessera_mm / 2 if self.finer_mm is None else self.finer_mm


@dataclass(frozen=True, slots=True)
class Colour:
    """What the pieces of a field are laid in.

    Attributes
    ----------
    palette : tuple of str
        Material codes the match may use; empty means every material of the commission.
    wanted_lab : Lab or None
        One wanted colour for the whole field instead of the sketch's.
    shift_lab : Lab
        Added to the wanted colour before matching (lighter, darker, warmer, cooler).
    accent, accent_share, accent_along
        A second material, the share of pieces that take it (0 to 1), and whether it runs along
        courses instead of being scattered evenly.
    match : str
        "nearest" (each piece its nearest material), "mix" (`blend` or a found mixture, dealt out
        so that the eye blends it to the field's mean colour) or "shade" (from the first to the
        last of `blend`).
    blend : tuple of str
        Codes to mix (two or three) or to shade through (two or more).
    shade_along : bool
        Whether shading runs along the flow instead of across it.
    at_most : int
        Lay at most so many colours; 0 for as many as match.
    locked : tuple of str
        Materials that stay on the pieces they match best, whatever the shift or `at_most`.
    sketch_move, sketch_times
        Carry the part of the sketch that colours the field to it, made so many times as large
        about (0, 0) first; None and 1 for what lies beneath.
    unseen : Outline
        Where, before it is carried, the sketch shows what lies there no longer; the field's
        pieces there take their colour from those around.
    """

    palette: tuple[str, ...] = ()
    wanted_lab: Lab | None = None
    shift_lab: Lab = (0.0, 0.0, 0.0)
    accent: str = ""
    accent_share: float = 0.0
    accent_along: bool = False
    match: str = "nearest"
    blend: tuple[str, ...] = ()
    shade_along: bool = False
    at_most: int = 0
    locked: tuple[str, ...] = ()
    sketch_move: Move | None = None
    sketch_times: float = 1.0
    unseen: Outline = ()


@dataclass(frozen=True, slots=True)
class Field:
    """One area laid in one way. The outline's rings are open (first point not repeated)."""

    id: str
    name: str
    outline: Outline
    motif: str = ""
    laying: Laying = Laying()
    colour: Colour = Colour()

    def with_choices(self, **choices: Any) -> Field:
        """Return the field with attributes of it, of its laying or its colour changed.

        Raises
        ------
        TypeError
            There is no such attribute.
        """
        laid = {k: v for k, v in choices.items() if k in _LAYING}
        coloured = {k: v for k, v in choices.items() if k in _COLOUR}
        own = {k: v for k, v in choices.items() if k not in laid and k not in coloured}
        if laid:
            own["laying"] = replace(own.get("laying", self.laying), **laid)
        if coloured:
            own["colour"] = replace(own.get("colour", self.colour), **coloured)
        return replace(self, **own)


_LAYING = frozenset(Laying.__dataclass_fields__)
_COLOUR = frozenset(Colour.__dataclass_fields__)


def field_of(field_id: str, name: str, outline: Outline, motif: str = "", **choices: Any) -> Field:
    """Return a field of attributes of its own, its laying and its colour."""
    return Field(field_id, name, outline, motif).with_choices(**choices)


@dataclass(frozen=True, slots=True)
class FlowLine:
    """A guide for the courses through `points`, for one field or for all (None).

    A smooth curve unless `smooth` is off; then straight from point to point. It `leads` the way of
    the courses, says how large the pieces are along it (`tessera_mm`), or both.
    """

    id: str
    points: tuple[Point, ...]
    field_id: str | None = None
    smooth: bool = True
    tessera_mm: float | None = None
    leads: bool = True


@dataclass(frozen=True, slots=True)
class Swap:
    """Where the match gives `old`, lay `new`: in one field, in one motif, or everywhere."""

    old: str
    new: str
    field_id: str | None = None
    motif: str | None = None


@dataclass(frozen=True, slots=True)
class HandEdit:
    """One piece changed by hand, kept by its field and place so that it outlives a new laying.

    Attributes
    ----------
    kind : str
        "lift" takes the piece out; "set" puts a new piece, `outline`, down; "nip" cuts the piece
        along `line`; "join" makes one of it and the piece at `other_mm`; "shift" moves it by
        `move_mm` and turns it by `turn_rad`; "pin" keeps it, as `outline`, at every new laying;
        "stock" lays it in `material`.
    at_mm : tuple of float
        Centre of the piece when it was edited.
    """

    kind: str
    field_id: str
    at_mm: Point
    line: tuple[Point, Point] | None = None
    other_mm: Point | None = None
    move_mm: Point = (0.0, 0.0)
    turn_rad: float = 0.0
    outline: Ring = ()
    material: str = ""


@dataclass(frozen=True, slots=True)
class Limits:
    """Beyond what a piece is shown when looking again; lengths in joints or tesserae, angles in
    degrees, colour in CIEDE2000. The defaults are those of `core.quality`.
    """

    sliver_tesserae: float = quality.SLIVER
    sharp_deg: float = quality.SHARP_DEG
    too_big_times: float = quality.TOO_BIG
    too_small_times: float = quality.TOO_SMALL
    convex_share: float = quality.CONVEX
    narrow_joint: float = quality.TOUCHING
    wide_joint: float = quality.EVEN_JOINT[1]
    pool_joints: float = quality.POOL
    joints_in_line: int = quality.MOST_RUN_ON
    off_flow_deg: float = quality.PIECE_OFF_FLOW_DEG
    course_end_times: float = quality.END
    colour_delta_e: float = 10.0
    lone_piece: bool = True


@dataclass(frozen=True, slots=True)
class Rates:
    """What figures are reckoned with. The defaults are common practice, for the user to change.

    Attributes
    ----------
    bed_mm : float
        Depth of the adhesive bed; `adhesive_kg_m2_mm` is what a millimetre of it weighs a m2.
    grout_kg_dm3, grout_surplus
        Cement grout 1.4 to 1.8 kg/dm3; surplus as a share.
    seconds_a_piece : float
        To pick, nip and lay one tessera in courses; other layings by `core.figures.EFFORT`.
    putty_minutes : float
        How long putty or adhesive that was mixed stays workable: 20 minutes for two-part epoxy.
    hour, grout_kg, adhesive_kg : Decimal
        Prices in the commission's currency.
    glass_kerf_mm, stone_kerf_mm : float
        What a cut takes: a scored or nipped edge of glass, a saw's blade in stone.
    edge_mm : float
        Lost at each rough edge of a plate, slab or rod.
    margin, tax : float
        Shares: of the cost, and of the price with it.
    goods : Goods
        What a m2 takes beside pieces and grout.
    measured : tuple of Measured
        What the studio measured in earlier commissions.
    """

    bed_mm: float = 3.0
    adhesive_kg_m2_mm: float = 5.0 / 3.0
    grout_kg_dm3: float = 1.6
    grout_surplus: float = 0.12
    seconds_a_piece: float = 40.0
    putty_minutes: float = 20.0
    hour: Decimal = Decimal(0)
    grout_kg: Decimal = Decimal(0)
    adhesive_kg: Decimal = Decimal(0)
    glass_kerf_mm: float = 0.5
    stone_kerf_mm: float = 2.0
    edge_mm: float = 3.0
    margin: float = 0.0
    tax: float = 0.0
    goods: Goods = USUAL
    measured: tuple[Measured, ...] = ()


@dataclass(frozen=True, slots=True)
class Studio:
    """Who lays it, and what figures are reckoned with there; `terms` are no client's yet.

    The studio keeps one; each commission keeps its own as it was when that began, so that what
    was agreed with a client does not change by itself.
    """

    name: str = ""
    address: str = ""
    currency: str = ""
    rates: Rates = Rates()
    terms: Terms = NO_TERMS


@dataclass(frozen=True, slots=True)
class Agreed:
    """A field that is not to change unasked, since a day (YYYY-MM-DD)."""

    field_id: str
    on: str


@dataclass(frozen=True, slots=True)
class Printed:
    """A print that was made: on which day (YYYY-MM-DD), what in words, and each page's mark.

    `paper` and `mirrored` are as in `core.cartoon`; `marks` holds (page's name, mark).
    """

    on: str
    what: str
    paper: str
    mirrored: bool
    marks: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Sheeting:
    """How a work is to be parted into sheets that are faced with paper and carried to the wall.

    `width_mm`, `height_mm`: the largest sheet, either way round. `laid`: see `WAYS_LAID`. `seams`
    are drawn lines that a seam must follow: a corner of the room, a movement joint; `spared` are
    rings that seams go round where they can, `spared_little` where it costs them little, and
    `spared_never` whatever it costs. `level_mm` is the height above the work's lower edge
    from which it is set, upwards first.
    """

    width_mm: float = 300.0
    height_mm: float = 600.0
    weight_kg: float = 8.0
    laid: str = "direct"
    level_mm: float = 0.0
    seams: tuple[Ring, ...] = ()
    spared: tuple[Ring, ...] = ()
    spared_little: tuple[Ring, ...] = ()
    spared_never: tuple[Ring, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, as the room of its pieces: a piece is on the sheet that its middle lies in.

    Its number is what is written on its paper, and stays. One that is `pinned` stays when the work
    is divided again.
    """

    number: int
    outline: Outline
    pinned: bool = False


@dataclass(frozen=True, slots=True)
class Linked:
    """One place of a repeat: its fields in the order of the first place's, and the move there."""

    fields: tuple[str, ...]
    move: Move = STILL


@dataclass(frozen=True, slots=True)
class Repeat:
    """A motif laid once and repeated: two places or more, alike until parted.

    The first lies where it was laid; the others are moved from there (see `core.repeats`).
    """

    id: str
    places: tuple[Linked, ...]


@dataclass(frozen=True, slots=True)
class Commission:
    """The whole authored document. `width_mm` and `height_mm` are the finished size.

    `motif_palettes` holds (motif, codes): the palette of that motif's fields which have none of
    their own. `within_stock` matches all pieces at once within what is in hand.
    `studio` and `address` are who lays it, under whose `rates`, in `currency`.
    `lightness_weight` above 1 keeps lightness before hue, below 1 hue before lightness. `id` is
    given once and stays whatever the title becomes. `place` is where it goes, `terms` are the
    quote's, `quoted` the quotes that were given, `days` when it is worked on, `done` what was
    ticked off. `site` is the outline of the wall about the work, an open ring in mm of the work,
    empty where none was measured.
    """

    title: str
    width_mm: float
    height_mm: float
    seed: int = 1
    sketch: Sketch | None = None
    fields: tuple[Field, ...] = ()
    flow_lines: tuple[FlowLine, ...] = ()
    materials: tuple[Material, ...] = ()
    swaps: tuple[Swap, ...] = ()
    edits: tuple[HandEdit, ...] = ()
    limits: Limits = Limits()
    rates: Rates = Rates()
    motif_palettes: tuple[tuple[str, tuple[str, ...]], ...] = ()
    within_stock: bool = False
    lightness_weight: float = 1.0
    grout_lab: Lab = (62.0, 0.5, 4.0)
    notes: str = ""
    currency: str = ""
    studio: str = ""
    address: str = ""
    id: str = ""
    agreed: tuple[Agreed, ...] = ()
    printed: tuple[Printed, ...] = ()
    repeats: tuple[Repeat, ...] = ()
    sheeting: Sheeting = Sheeting()
    sheets: tuple[Sheet, ...] = ()
    place: Place = ANYWHERE
    terms: Terms = NO_TERMS
    days: Days = USUAL_DAYS
    done: tuple[WorkDone, ...] = ()
    quoted: tuple[Quoted, ...] = ()
    openings: tuple[Opening, ...] = ()
    site: Ring = ()
    proof: Proof = AS_IT_IS
    in_place: InPlace | None = None
    extra: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    @property
    def key(self) -> str:
        """What the studio's stock knows it by: its id, or its title where it has none yet."""
        return self.id or self.title

    @property
    def reckoned_by(self) -> Studio:
        """The studio as this commission has it."""
        terms = self.terms.of_studio()
        return Studio(self.studio, self.address, self.currency, self.rates, terms)

    def by_studio(self, s: Studio) -> Commission:
        """Return the commission with the particulars and rates of a studio."""
        terms = s.terms.for_client_of(self.terms)
        who = replace(self, studio=s.name, address=s.address, terms=terms)
        return replace(who, currency=s.currency, rates=s.rates)

    @property
    def pictures(self) -> dict[str, str]:
        """The pictures that travel beside it: what each is, in words, by its key."""
        used = {self.in_place.image: "photograph of the wall"} if self.in_place else {}
        return used | ({self.sketch.image: "sketch's picture"} if self.sketch else {})

    def field_by_id(self, field_id: str) -> Field:
        """Return the field, or raise KeyError."""
        for f in self.fields:
            if f.id == field_id:
                return f
        raise KeyError(field_id)

    def material(self, code: str) -> Material:
        """Return the material of this code, or raise KeyError."""
        for m in self.materials:
            if m.code == code:
                return m
        raise KeyError(code)

    def copies(self) -> dict[str, tuple[str, Move]]:
        """Return the fields that repeat another, by id: that one's id, and the move from it."""
        return {
            copy: (first, place.move)
            for r in self.repeats
            for place in r.places[1:]
            for first, copy in zip(r.places[0].fields, place.fields, strict=True)
        }

    def linked(self) -> frozenset[str]:
        """Return the ids of all fields that are linked in repeats."""
        return frozenset(i for r in self.repeats for place in r.places for i in place.fields)

    def motifs(self) -> tuple[str, ...]:
        """Motif names in the order in which the fields first use them."""
        return tuple(dict.fromkeys(f.motif for f in self.fields if f.motif))


def untaken(name: str, taken: Collection[str]) -> str:
    """Return a name, with the first number that makes it new."""
    number = 1
    while (new := name if number == 1 else f"{name} {number}") in taken:
        number += 1
    return new


def new_commission_id() -> str:
    """Return an id that no other commission has."""
    return uuid.uuid4().hex


def next_id(prefix: str, taken: Iterable[str]) -> str:
    """Return the first of prefix1, prefix2, … above every number taken (ids are never reused
    while a later one stands)."""
    numbers = [int(t[len(prefix) :]) for t in taken if t[len(prefix) :].isdigit()]
    return f"{prefix}{max(numbers, default=0) + 1}"


def change_field(doc: Commission, field_id: str, **changes: Any) -> Commission:
    """Return the document with some attributes of one field, its laying or its colour changed.

    Raises
    ------
    KeyError
        No such field.
    EmblemaError
        A value that cannot be laid (see `check_field`).
    """
    changed = doc.field_by_id(field_id).with_choices(**changes)
    check_field(changed)
    return replace(doc, fields=tuple(changed if f.id == field_id else f for f in doc.fields))


def remove_field(doc: Commission, field_id: str) -> Commission:
    """Return the document without a field, its own flow lines, swaps and hand edits."""
    doc.field_by_id(field_id)
    return replace(
        doc,
        fields=tuple(f for f in doc.fields if f.id != field_id),
        flow_lines=tuple(line for line in doc.flow_lines if line.field_id != field_id),
        swaps=tuple(s for s in doc.swaps if s.field_id != field_id),
        edits=tuple(e for e in doc.edits if e.field_id != field_id),
        agreed=tuple(a for a in doc.agreed if a.field_id != field_id),
    )


def add_flow_line(
    doc: Commission,
    points: Iterable[Point],
    field_id: str | None = None,
    tessera_mm: float | None = None,
) -> tuple[Commission, str]:
    """Add a flow line through two or more points; return the document and the line's id.

    With a tessera it says how large pieces are along it, and leaves the courses to run as they do.
    """
    through = tuple((float(x), float(y)) for x, y in points)
    if len(set(through)) < 2:
        raise EmblemaError("A flow line needs at least two different points.")
    if field_id is not None:
        doc.field_by_id(field_id)
    number = next_id("l", (w.id for w in doc.flow_lines))
    line = FlowLine(number, through, field_id, tessera_mm=tessera_mm, leads=tessera_mm is None)
    return replace(doc, flow_lines=(*doc.flow_lines, line)), line.id


def change_flow_line(doc: Commission, line_id: str, **changes: Any) -> Commission:
    """Return the document with some attributes of one flow line changed."""
    return replace(
        doc,
        flow_lines=tuple(replace(w, **changes) if w.id == line_id else w for w in doc.flow_lines),
    )


def remove_flow_line(doc: Commission, line_id: str) -> Commission:
    """Return the document without one flow line."""
    return replace(doc, flow_lines=tuple(w for w in doc.flow_lines if w.id != line_id))


def add_swap(
    doc: Commission, old: str, new: str, *, field_id: str | None = None, motif: str | None = None
) -> Commission:
    """Lay `new` wherever `old` would be laid, in a field, a motif or everywhere.

    Swaps work in the order in which they were made, so that a later one may undo an earlier.
    """
    doc.material(old)
    doc.material(new)
    if old == new:
        return doc
    return replace(doc, swaps=(*doc.swaps, Swap(old, new, field_id, motif)))


def rename_codes(doc: Commission, new: Mapping[str, str]) -> Commission:
    """Return the document with material codes changed wherever a choice names them."""

    def one(code: str) -> str:
        return new.get(code, code)

    def some(codes: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(one(c) for c in codes))

    swaps = (replace(s, old=one(s.old), new=one(s.new)) for s in doc.swaps)
    return replace(
        doc,
        fields=tuple(
            f.with_choices(
                palette=some(f.colour.palette),
                accent=one(f.colour.accent),
                blend=some(f.colour.blend),
                locked=some(f.colour.locked),
            )
            for f in doc.fields
        ),
        motif_palettes=tuple((motif, some(codes)) for motif, codes in doc.motif_palettes),
        swaps=tuple(s for s in swaps if s.old != s.new),
        edits=tuple(replace(e, material=one(e.material)) for e in doc.edits),
    )


# name, words, least, most, unit
_RANGES = (
    ("tessera_mm", "the tessera", 1, 500, " mm"),
    ("variation", "how much lengths vary", 0, 0.3, ""),
    ("width_variation", "how much widths vary", 0, 0.3, ""),
    ("hug_courses", "the number of hugging courses", 1, 5, ""),
    ("spread", "the spread of sizes", 0, 0.6, ""),
    ("strictness", "how strictly pieces turn along the flow", 0, 1, ""),
    ("slenderness", "length over width", 1, 8, ""),
    ("module_mm", "the distance between fans", 5, 2000, " mm"),
    ("finer_within", "the pieces within which it is graded", 2, 100, ""),
    ("throw", "the throw of its hand", 0, 2**62, ""),
    ("accent_share", "the accent's share", 0, 1, ""),
    ("at_most", "the number of colours at most", 0, 1000, ""),
    ("sketch_times", "how large its part of the sketch is", 0.001, 1000, ""),
)
LEAST_JOINT_MM = 0.01
WIDEST_FAN = 300  # pitches
LONGEST_NAME = 200
MOST_NAMED = 2000  # materials or motifs that one choice names


def check_field(f: Field) -> None:
    """Raise EmblemaError where a field's names, numbers or choices cannot be used.

    Its outline is looked at by `core.checks.check_document`.
    """
    written("A field's name", f.name, LONGEST_NAME)
    who, laying, colour = f"Field '{f.name}':", f.laying, f.colour
    written(f"{who} its motif", f.motif, LONGEST_NAME)
    one_of(f"{who} the laying", laying.opus, LAYINGS)
    one_of(f"{who} the kind of pieces", laying.pieces, PIECES)
    one_of(f"{who} the corners", laying.corners, CORNERS)
    one_of(f"{who} the match", colour.match, MATCHES)
    for name, words, least, most, unit in _RANGES:
        value = getattr(laying if name in _LAYING else colour, name)
        within(f"{who} {words}", value, least, most, unit)
    joint, small = laying.joint_mm, laying.hug_tessera_mm
    if not LEAST_JOINT_MM <= joint < laying.tessera_mm:
        raise EmblemaError(
            f"{who} the joint is {said(joint)} mm; it must be more than 0 and less than the "
            f"tessera ({laying.tessera_mm:g} mm)."
        )
    if laying.opus == "circumactum":  # a fan is laid whole, also where the field is small
        most = WIDEST_FAN * laying.pitch_mm
        within(f"{who} the distance between fans", laying.module_mm, 5, most, " mm")
    if small is not None:
        within(f"{who} the tessera of its hugging courses", small, 1, 500, " mm")
    small = small or laying.tessera_mm * 2 / 3
    if laying.opus in HUGGING and joint >= small:
        raise EmblemaError(
            f"{who} the joint is {said(joint)} mm; it must be less than the tessera of its hugging "
            f"courses ({small:.3g} mm)."
        )
    written(f"{who} the motif toward which it is graded", laying.finer_toward, LONGEST_NAME)
    if laying.finer_mm is not None:
        within(f"{who} the tessera beside that motif", laying.finer_mm, 1, 500, " mm")
    if laying.finer_toward and joint >= laying.finest_mm:
        raise EmblemaError(
            f"{who} the joint is {said(joint)} mm; it must be less than the tessera beside "
            f"'{shown(laying.finer_toward)}' ({laying.finest_mm:.3g} mm)."
        )
    if colour.wanted_lab is not None:
        check_lab(f"{who} the wanted colour's", colour.wanted_lab)
    for value in colour.shift_lab:
        within(f"{who} the shift of its colour", value, -200, 200)
    codes = ("palette", "blend", "locked")
    for words, some in (("motifs", laying.hug), *((k, getattr(colour, k)) for k in codes)):
        if len(some) > MOST_NAMED:
            raise EmblemaError(f"{who} its {words} are {len(some):,}; {MOST_NAMED:,} are the most.")
        for name in some:
            written(f"{who} its {words}", name, LONGEST_NAME)
    written(f"{who} its accent", colour.accent, LONGEST_NAME)
